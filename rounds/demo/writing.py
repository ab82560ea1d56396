"""The demo keepers' records: ids, devices, times of writing, values as they would be typed."""

from __future__ import annotations

from datetime import datetime, timedelta
from random import Random
from uuid import UUID

import msgspec

from rounds.core.model import Room, Task
from rounds.core.protocols import step_id
from rounds.core.quantities import QUANTITIES
from rounds.core.record import BACK_TO_NORMAL, OFF_NORMAL, PROTOCOL, READING, STRIKE, Record, Value
from rounds.core.recording import Draft, draft_instrument_step, finish
from rounds.core.staged import Setting, Step, draft_step
from rounds.core.units import from_canonical, to_canonical
from rounds.core.words import condition_words
from rounds.demo.recipe import Event, FeedStep, InstrumentStep, LightStep, Recipe
from rounds.demo.water import Clock, Water
from rounds.report.light import draft_light_held, draft_light_step, draft_light_taken_back
from rounds.water.programme import daily_integral

_DECIMALS = {0.01: 2, 0.05: 2, 0.1: 1, 0.5: 1}
"""Digits written after the point, by what an instrument is read to."""
_SMALL = 50.0
"""Litres: a container of up to this size is read to half a litre."""
_NO_WORDS = frozenset(("handover", "accepted", "protocol"))
"""Kinds whose notes speak of the shift and not of animals."""
_BENCH = frozenset(
    ("alkalinity", "calcium", "magnesium", "nitrate", "phosphate", "ammonia", "conductivity", "density", "salinity")
)
"""Quantities that are tested at the bench and written down there."""


class Writer:
    """Makes records; keeps the ids of those that others refer to."""

    def __init__(self, room: Room, recipe: Recipe, clock: Clock, rng: Random) -> None:
        self._room = room
        self._recipe = recipe
        self._clock = clock
        self._rng = rng
        self._aside = Random(f"beside {clock.opened.isoformat()}")
        self._named: dict[str, Record] = {}
        self._off: dict[str, Record] = {}
        """By equipment: the record that says how it was left."""
        self._equipment = {each.id: each for system in room.systems for each in system.equipment}

    def random(self, *, aside: bool) -> Random:
        """Where chance comes from; `aside` is of its own, so that such records do not move the noise of the water."""
        return self._aside if aside else self._rng

    def remember(self, name: str, record: Record) -> None:
        """Let events refer to a record by a name."""
        self._named[name] = record

    def named(self, name: str) -> Record:
        """The record that events refer to by a name."""
        return self._named[name]

    # -- values ------------------------------------------------------------------------------------

    def measured(self, water: Water, reading: str, at: datetime, how: str = "") -> Value:
        """A value read from the water as it is now: with noise; ``exact`` without, ``+0.25`` so much beside that."""
        spec = self._room.readings[reading]
        if spec.quantity == "level":
            reservoir = reading.removesuffix("-level")
            litres = water.level(reservoir) + self._rng.gauss(0, water.noise_of_level(reservoir))
            number = from_canonical("level", min(litres, spec.capacity or litres), spec.unit, reading=spec)
            if spec.unit == "L" and (spec.capacity or 0.0) <= _SMALL:
                return self._value(reading, f"{max(0, round(number * 2)) / 2:g} L")
            return self._value(reading, f"{max(0.0, number):.0f} {spec.unit}")
        number = water.shown(reading, at, noise=not how)
        if how not in ("", "exact"):
            number += float(how)
        decimals = _DECIMALS.get(water.series(reading).read_to, 0)
        unit = "" if spec.unit == "pH" else spec.unit
        return self._value(reading, f"{number:.{decimals}f} {unit}".strip())

    def _given(self, water: Water, reading: str, at: datetime, how: str) -> Value:
        """A value as the recipe has it: measured, or typed as it stands."""
        if how in ("", "exact") or how.startswith("+"):
            how = self.measured(water, reading, at, how).entered
        return self._value(reading, how)

    def _value(self, reading: str, entered: str) -> Value:
        """A value as typed."""
        spec = self._room.readings[reading]
        number, _, unit = entered.partition(" ")
        canonical = to_canonical(spec.quantity, float(number), unit or spec.unit, reading=spec)
        name = QUANTITIES[spec.quantity].canonical
        return Value(reading=reading, entered=entered, value=round(canonical, 6), unit=name)

    # -- records -----------------------------------------------------------------------------------

    def about(
        self,
        task: Task,
        kind: str,
        at: datetime,
        by: str,
        *,
        values: tuple[Value, ...] = (),
        note: str = "",
        reason: str = "",
        until: datetime | None = None,
        ref: str = "",
        late: bool = False,
    ) -> Record:
        """A record of a task at its station; `late`: written down well after it happened."""
        bench = task.source == "reading" and self._room.readings[task.takes[0]].quantity in _BENCH
        ref = self._named[ref].id if ref else ""
        return self.plain(
            kind, at, by, system=task.system, station=task.station, task=task.id, values=values, note=note,
            reason=reason, until=until, ref=ref, device="bench" if bench else "walk", late=late,
        )  # fmt: skip

    def event(self, water: Water, event: Event, number: int, at: datetime, by: str) -> Record:
        """What the recipe tells, on the day `number`."""
        task = self._room.tasks[event.task] if event.task else None
        equipment = self._equipment.get(event.equipment)
        system, _, station = event.station.partition("/")
        if task is not None:
            system, station = task.system, task.station
        elif equipment is not None:
            system, station = equipment.system, equipment.station
        values = tuple(self._given(water, reading, at, how) for reading, how in event.values.items())
        ref, about = "", event.task or event.equipment or event.protocol
        if event.ref:
            named = self._named[event.ref]
            ref = named.id
            if event.kind in (STRIKE, PROTOCOL) or event.step:
                system, station, about = named.system or "", named.station or "", named.task or ""
            if event.step:
                ref, about = "", step_id(named, event.step)
        elif event.kind == BACK_TO_NORMAL:
            ref = self._off[event.equipment].id
        until = self._clock.at(number + event.until_days, event.until) if event.until else None
        record = self.plain(
            event.kind, at, by, system=system, station=station, task=about, values=values, note=event.note,
            state=event.state, reason=event.reason, until=until, ref=ref, device=event.device, aside=event.step > 0,
        )  # fmt: skip
        if event.kind == OFF_NORMAL:
            self._off[event.equipment] = record
        if event.name:
            self._named[event.name] = record
        return record

    # -- steps -------------------------------------------------------------------------------------

    def light_step(self, step: LightStep, at: datetime, by: str) -> Record:
        """A step of a light programme made, held or taken back."""
        lights = self._room.lights[step.lights]
        before, after = (daily_integral(lights, each) for each in (step.before, step.after))
        if step.takes_back:
            draft = draft_light_taken_back(lights, Step(self._named[step.takes_back], after, before), at, step.why)
        elif step.before == step.after:
            until = at + timedelta(days=step.held_days) if step.held_days else None
            draft = draft_light_held(lights, before, until, at, step.why)
        else:
            draft = draft_light_step(lights, before, after, at, step.why)
        record = self.drafted(draft, by)
        if step.name:
            self._named[step.name] = record
        return record

    def light_reading(self, step: LightStep, at: datetime, by: str) -> Record:
        """What the PAR reading of the programme shows with a step."""
        reading = self._room.readings[self._room.lights[step.lights].measured or ""]
        value = self._value(reading.id, f"{step.after:g} {reading.unit}")
        return self.plain(
            READING, at, by, system=reading.system, station=reading.station, task=reading.id, values=(value,)
        )

    def instrument_step(self, water: Water, step: InstrumentStep, at: datetime, by: str) -> Record:
        """A new kit batch or a calibration, with old and new side by side."""
        old, new = (self._given(water, step.reading, at, how).entered for how in (step.old, step.new))
        reading = self._room.readings[step.reading]
        draft = draft_instrument_step(self._room, reading, at, batch=step.batch, old=old, new=new, note=step.note)
        return self.drafted(draft, by, step.device)

    def feed_step(self, step: FeedStep, at: datetime, by: str) -> Record:
        """Another amount of feed from now on."""
        task = self._room.tasks[step.task]
        before, after = (Setting(litres, "L", f"{litres * 1000:g} mL") for litres in (step.before, step.after))
        return self.drafted(draft_step((task.id, task.system, task.station), before, after, at, step.why), by)

    # -- writing down ------------------------------------------------------------------------------

    def plain(
        self,
        kind: str,
        at: datetime,
        by: str,
        *,
        system: str = "",
        station: str = "",
        task: str = "",
        values: tuple[Value, ...] = (),
        note: str = "",
        state: str = "",
        reason: str = "",
        until: datetime | None = None,
        ref: str = "",
        device: str = "walk",
        late: bool = False,
        aside: bool = False,
    ) -> Record:
        words = (state,) if state else condition_words(note) if kind not in _NO_WORDS else ()
        draft = Draft(
            kind=kind, at=at, system=system or None, station=station or None, task=task or None, values=values,
            note=note, words=words, reason=reason, until=until, ref=ref or None,
        )  # fmt: skip
        return self.drafted(draft, by, device, late=late, aside=aside)

    def drafted(
        self, draft: Draft, by: str, device: str = "walk", *, late: bool = False, aside: bool = False
    ) -> Record:
        """The record of a draft, written down within a minute, or `late` and within two hours."""
        at, rng = draft.at.replace(microsecond=0), self.random(aside=aside)
        recorded = at + timedelta(seconds=rng.randrange(3, 40))
        if late:
            end = self._room.calendar.end(self._room.calendar.round_day(at))
            recorded = min(at + timedelta(seconds=rng.randrange(1200, 7200)), end - timedelta(minutes=5))
        draft = msgspec.structs.replace(draft, at=at)
        name = self._recipe.devices[device]
        return finish(draft, id=_id(recorded, rng), by=by, device=name, recorded=recorded, room=self._room)


def _id(recorded: datetime, rng: Random) -> str:
    """A UUID of version 7 (RFC 9562 section 5.7) whose random bits come from the seed."""
    milliseconds = int(recorded.timestamp()) * 1000 + rng.randrange(1000)
    bits = milliseconds << 80 | 7 << 76 | rng.getrandbits(12) << 64 | 2 << 62 | rng.getrandbits(62)
    return str(UUID(int=bits))
