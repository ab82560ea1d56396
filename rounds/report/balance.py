"""The balance of a system from its room and records: as lines to read, as plain values, as a step to record."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median
from typing import Any

import msgspec

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Equipment, Reading, Reservoir, Room, System
from rounds.core.record import DONE, REFILL
from rounds.core.recording import Draft
from rounds.core.solutions import CALCIUM_PER_MEQ
from rounds.core.staged import HELD, Setting, draft_step, setting_at, steps
from rounds.core.units import DKH_PER_MEQ
from rounds.core.words import day_name, plain, plural
from rounds.report.series import alkalinity, fresh_water, points, tank_reading, usual_use, when
from rounds.water.balance import (
    SATURATED_CONDUCTIVITY,
    SATURATED_LIMEWATER,
    WINDOW,
    Balance,
    Break,
    Point,
    Stretch,
    Supply,
    WaterChange,
    at_salinity_35,
    balance,
    dosing,
    latest_stretch,
    limewater,
    limewater_strength,
    reactor,
)
from rounds.water.proposal import Dial, Proposal, Water, propose

LOOK_BACK = WINDOW + timedelta(days=30)
"""Records so old still say how strong a source was when the window began."""
STRENGTH_STEP = 0.15
"""A measured strength that moves by so much from one test to the next has changed; common practice, no source."""
_NEW_SOLUTION = re.compile(r"\b(new|batch|lot)\b", re.IGNORECASE)
"""What the note of a refill says when another solution went in."""
_FRESH = timedelta(days=2)
_INSTANT = timedelta(microseconds=1)
_DAY = timedelta(days=1)


class SystemBalance(msgspec.Struct, frozen=True, kw_only=True):
    """The balance of one system and what is proposed."""

    system: System
    reading: Reading
    """The alkalinity it is worked out from."""
    balance: Balance
    target: float | None
    """dKH; None: the reading has neither a target nor a whole band."""
    proposal: Proposal | None
    """None: there is no target, or nothing that could be turned."""
    notes: tuple[str, ...]
    """What had to be assumed."""


def balanced_systems(room: Room) -> list[System]:
    """The systems that have alkalinity tests and something that supplies it, in walking order."""
    return [s for s in room.systems if s.volume and tank_reading(s, "alkalinity") is not None and _sources(s)]


def system_balance(
    room: Room,
    history: History,
    system: System,
    now: datetime,
    *,
    uses: Mapping[str, float] | None = None,
    breaks: Sequence[Break] = (),
) -> SystemBalance:
    """Supply, change and consumption of the system over its latest stretch of tests, and a proposal.

    `uses` are litres a day by reservoir as the levels have them, instead of what is written in the room;
    `breaks` are further ones, such as another batch of the test kit. Raises `Refused` with what is missing.
    """
    reading = tank_reading(system, "alkalinity")
    if reading is None or not system.volume:
        raise Refused(f"{system.name} has no alkalinity reading or no volume; add them to its file")
    found = _Gathered(room, history, system, system.volume, reading, now, uses or {})
    stretch = latest_stretch(found.tests, [*breaks, *found.breaks()], now)
    supplies = [found.supply(source, stretch.begin, stretch.end) for source in _sources(system)]
    result = balance(system.volume, supplies, stretch, found.water_changes(stretch.begin, stretch.end))
    target = _target(reading)
    proposal = found.proposal(result, target) if target is not None else None
    return SystemBalance(
        system=system, reading=reading, balance=result, target=target, proposal=proposal,
        notes=tuple(dict.fromkeys(found.notes)),
    )  # fmt: skip


def _sources(system: System) -> list[Reservoir | Equipment]:
    """What supplies alkalinity: solutions first, then limewater, then reactors."""
    solutions = [tank for tank in system.reservoirs if tank.doses == "alkalinity"]
    lime = [tank for tank in system.reservoirs if tank.kind == "limewater"]
    reactors = [each for each in system.equipment if each.outlet is not None]
    return [*solutions, *lime, *reactors]


def _target(reading: Reading) -> float | None:
    if reading.target is not None:
        return reading.target.canonical * DKH_PER_MEQ
    if reading.low is not None and reading.high is not None:
        return (reading.low.canonical + reading.high.canonical) / 2 * DKH_PER_MEQ
    return None


class _Gathered:
    """What the room and its records say about the alkalinity of one system."""

    def __init__(
        self,
        room: Room,
        history: History,
        system: System,
        volume: float,
        reading: Reading,
        now: datetime,
        uses: Mapping[str, float],
    ) -> None:
        self._room = room
        self._history = history
        self._system = system
        self._volume = volume
        self._now = now
        self._uses = uses
        self._begin = now - LOOK_BACK
        self.notes: list[str] = []
        raw = alkalinity(history, reading.id, self._begin, now)
        salinity = tank_reading(system, "salinity")
        self._salinities = points(history, salinity.id, self._begin, now) if salinity is not None else ()
        self.tests = at_salinity_35(raw, self._salinities)
        if raw and not self._salinities:
            self.notes.append("No salinity was read: the tests stand as they are, not at salinity 35")

    # -- breaks --------------------------------------------------------------------------------------

    def breaks(self) -> list[Break]:
        found = []
        for source in _sources(self._system):
            name = plain(source.name)
            found += [Break(at, f"another dose of {name}") for at in self._steps(source.id)]
            if isinstance(source, Reservoir) and source.kind == "dosing":
                found += [Break(at, f"new {name}") for at in self._new_solutions(source)]
            strengths = self._strengths(source)
            found += [
                Break(after.at, f"strength of {name} {(after.value / before.value - 1) * 100:+.0f} %")
                for before, after in pairwise(strengths)
                if before.value and abs(after.value / before.value - 1) > STRENGTH_STEP
            ]
        return found

    def _steps(self, id: str) -> list[datetime]:
        made = steps(self._history, id, self._now)
        return [when(step.record) for step in made if step.outcome != HELD]

    def _new_solutions(self, tank: Reservoir) -> list[datetime]:
        refills = self._history.closings(f"{tank.id}-refill").between(self._begin, self._now + _INSTANT)
        return [when(each) for each in refills if each.kind == REFILL and _NEW_SOLUTION.search(each.note)]

    def _strengths(self, source: Reservoir | Equipment) -> tuple[Point, ...]:
        id = source.strength_reading if isinstance(source, Reservoir) else source.outlet
        return points(self._history, id, self._begin, self._now) if id is not None else ()

    # -- sources -------------------------------------------------------------------------------------

    def supply(self, source: Reservoir | Equipment, begin: datetime, end: datetime) -> Supply:
        name = plain(source.name)
        if isinstance(source, Equipment):
            outlet = self._measured(source, begin, end)
            flow = self._present(source, end)
            if outlet is None:
                raise Refused(f"what comes out of the {name} was not tested in {LOOK_BACK.days} days; test its outlet")
            tank = median(test.value for test in self.tests if begin <= test.at <= end)
            return reactor(source.id, name, flow, outlet * DKH_PER_MEQ, tank)
        litres = self._present(source, end)
        if source.kind == "dosing":
            if source.strength is None:
                raise Refused(f'the strength of the {name} is not known; add strength = "1.0 meq/mL" to its table')
            return dosing(source.id, name, litres, source.strength)
        strength, said = self._lime_strength(source, begin, end)
        return limewater(source.id, name, litres, strength, said)

    def _present(self, source: Reservoir | Equipment, at: datetime) -> float:
        """Litres a day of a reservoir, litres an hour through a reactor: by steps, by the levels, by the room."""
        known = setting_at(self._history, source.id, at, self._now)
        if known is None and isinstance(source, Reservoir):
            known = self._uses.get(source.id, source.use)
            if known is None:
                known = usual_use(self._history, source, self._begin, self._now)
        elif known is None and isinstance(source, Equipment):
            known = source.flow
        if known is None:
            key = 'use = "70 mL/day"' if isinstance(source, Reservoir) else 'flow = "45 mL/min"'
            raise Refused(f"how much the {plain(source.name)} gives is not known; add {key} to its table")
        return known

    def _measured(self, source: Reservoir | Equipment, begin: datetime, end: datetime) -> float | None:
        """The middle of the strength tests of the stretch, else the last before it."""
        values = self._strengths(source)
        inside = [each.value for each in values if begin <= each.at <= end]
        before = [each.value for each in values if each.at < begin]
        return median(inside) if inside else before[-1] if before else None

    def _lime_strength(self, tank: Reservoir, begin: datetime, end: datetime) -> tuple[float, str]:
        saturated = tank.saturated or SATURATED_CONDUCTIVITY
        conductivity = self._measured(tank, begin, end)
        if conductivity is not None:
            said = f"{conductivity / 1000:.2f} of {saturated / 1000:.2f} mS/cm"
            return limewater_strength(conductivity, saturated), said
        if tank.strength is not None:
            return tank.strength / SATURATED_LIMEWATER, "as written"
        self.notes.append(
            f"The strength of the {plain(tank.name)} was not measured: taken as saturated, the most it is"
        )
        return 1.0, "not measured"

    # -- water changes -------------------------------------------------------------------------------

    def water_changes(self, begin: datetime, end: datetime) -> list[WaterChange]:
        found = []
        for task in self._system.tasks:
            if task.water_change is None:
                continue
            done = [r for r in self._history.closings(task.id).between(begin, end) if r.kind == DONE]
            if done and task.new_alkalinity is None:
                self.notes.append(
                    f"{plural(len(done), 'water change')} left out: the alkalinity of the new water is not known; "
                    f'add new_alkalinity = "8.6 dKH" to {task.id}'
                )
                continue
            for record in done:
                litres = next(
                    (
                        value.value
                        for value in record.values
                        if value.value is not None
                        and value.bound is None
                        and (known := self._room.readings.get(value.reading)) is not None
                        and known.quantity == "volume"
                    ),
                    task.water_change,
                )
                share = min(1.0, litres / self._volume)
                found.append(WaterChange(when(record), share, (task.new_alkalinity or 0.0) * DKH_PER_MEQ))
        return found

    # -- proposal ------------------------------------------------------------------------------------

    def proposal(self, result: Balance, target: float) -> Proposal | None:
        waiting = result.stretch.waiting
        since = waiting.at if waiting is not None else result.stretch.begin
        sources = _sources(self._system)
        dials = [dial for source in sources if (dial := self._dial(source, since)) is not None]
        if not dials:
            return None
        solutions = [tank for tank in self._system.reservoirs if tank.doses == "calcium" and tank.strength]
        calcium = self._dial(solutions[0], since) if solutions and dials[0].kind == "dosing" else None
        stepped = max((at for each in sources for at in self._steps(each.id)), default=None)
        now, last = self._now, self.tests[-1]
        ph = tank_reading(self._system, "pH")
        read = points(self._history, ph.id, now - _FRESH, now) if ph is not None else ()
        lime = [tank for tank in self._system.reservoirs if tank.kind == "limewater"]
        water = Water(
            volume=self._volume,
            supply=sum(self.supply(source, since, now).dkh(self._volume) for source in sources),
            consumption=result.consumption,
            consumption_low=result.low,
            consumption_high=result.high,
            level=result.level if result.stretch.end == last.at else last.value,
            target=target,
            changes=result.changes_per_day,
            ph=read[-1].value if read else None,
            salinity=self._salinities[-1].value if self._salinities else None,
            evaporation=self._evaporation(),
            limewater=sum(self._present(tank, now) for tank in lime),
            tests_since_step=sum(1 for test in self.tests if test.at > stepped) if stepped is not None else None,
            days_since_step=(now - stepped) / _DAY if stepped is not None else None,
        )
        return propose(water, dials[0], calcium)

    def _dial(self, source: Reservoir | Equipment, since: datetime) -> Dial | None:
        """What the source can be turned to; its strength is that since the instant `since`."""
        present, name = self._present(source, self._now), plain(source.name)
        if isinstance(source, Equipment):
            minute = round(present * 1000 / 60, 6)
            given = self.supply(source, since, self._now).meq_per_day
            if given <= 0 or minute <= 0:
                return None
            return Dial(
                source=source.id, name=name, kind="CO2 reactor", present=minute, unit="mL/min", meq=given / minute,
                step=1.0,
            )  # fmt: skip
        if source.kind == "dosing":
            per_millilitre = (source.strength or 0.0) / 1000
            if source.doses == "calcium":
                per_millilitre /= CALCIUM_PER_MEQ
            millilitres = round(present * 1000, 6)
            return Dial(
                source=source.id, name=name, kind="dosing", present=millilitres, unit="mL/day", meq=per_millilitre,
                step=1.0 if millilitres >= 20 else 0.5,
            )  # fmt: skip
        strength, _ = self._lime_strength(source, since, self._now)
        return Dial(
            source=source.id, name=name, kind="limewater", present=present, unit="L/day",
            meq=SATURATED_LIMEWATER * strength, step=0.1,
        )  # fmt: skip

    def _evaporation(self) -> float | None:
        """Litres a day of fresh water, when all of it is known."""
        found = []
        for tank in fresh_water(self._room, self._system):
            use = self._uses.get(tank.id, tank.use)
            found.append(usual_use(self._history, tank, self._begin, self._now) if use is None else use)
        known = [each for each in found if each is not None]
        return sum(known) if found and len(known) == len(found) else None


# -- as text and values --------------------------------------------------------------------------------


def balance_lines(room: Room, found: SystemBalance) -> list[str]:
    """The balance with its arithmetic, then the proposal with its own."""
    result, volume = found.balance, found.balance.volume
    lines = [f"{plain(found.system.name)}, {volume:g} L: alkalinity balance, dKH at salinity 35"]
    for each in result.supplies:
        lines.append(f"  {each.name}: {each.how} = {each.dkh(volume):.3f} dKH a day")
    lines.append(f"  supply together: {result.meq(result.supply):.0f} meq = {result.supply:.3f} dKH a day")
    stretch = result.stretch
    changes = (
        f", {plural(len(result.changes), 'water change')} taken out ({result.changed:+.2f} dKH)"
        if result.changes
        else ""
    )
    lines.append(
        f"  change: {result.slope:+.3f} dKH a day ({result.slope_low:+.3f} to {result.slope_high:+.3f}, 95 %), "
        f"Theil–Sen over {len(stretch.tests)} tests from {_day(room, stretch.begin)} to {_day(room, stretch.end)}"
        f"{changes}"
    )
    lines.append(
        f"  consumption = supply − change = {result.consumption:.3f} dKH a day ({result.low:.3f} to {result.high:.3f}) "
        f"= {result.meq(result.consumption):.0f} meq a day; the interval is that of the tests alone"
    )
    lines += [f"  {text}" for text in (*_stretch_notes(room, stretch), *found.notes)]
    if found.proposal is not None:
        lines += proposal_lines(found.proposal)
    return lines


def proposal_lines(proposal: Proposal) -> list[str]:
    """The proposal with its arithmetic and cautions."""
    head = "Proposal, never applied by itself" if proposal.changes or proposal.additions else "Nothing to change"
    lines = [f"{head}:", f"  {proposal.first}"]
    lines += [f"  {text}" for text in ((proposal.waits,) if proposal.waits else ())]
    lines += [f"  {text}" for text in proposal.lines]
    if proposal.days_to_target:
        lines.append(f"  at the target in about {plural(round(proposal.days_to_target) or 1, 'day')}")
    return lines + [f"  Caution: {text}" for text in proposal.cautions]


def _stretch_notes(room: Room, stretch: Stretch) -> list[str]:
    found = []
    if stretch.since is not None:
        found.append(f"judged from {_day(room, stretch.since.at)} on: {stretch.since.what}")
    if stretch.waiting is not None:
        found.append(
            f"too few tests since {_day(room, stretch.waiting.at)} ({stretch.waiting.what}): judged by those before it"
        )
    return found


def _day(room: Room, at: datetime) -> str:
    return day_name(room.calendar.round_day(at))


def balance_json(room: Room, found: SystemBalance) -> dict[str, Any]:
    """As plain values, unrounded; dKH at salinity 35 and a day, times with the room's offset."""
    result, stretch = found.balance, found.balance.stretch
    return {
        "system": found.system.id,
        "reading": found.reading.id,
        "volume_l": result.volume,
        "begin": _stamp(room, stretch.begin),
        "end": _stamp(room, stretch.end),
        "n": len(stretch.tests),
        "supplies": [
            {
                "source": each.source,
                "kind": each.kind,
                "meq_per_day": each.meq_per_day,
                "dkh_per_day": each.dkh(result.volume),
                "how": each.how,
            }
            for each in result.supplies
        ],
        "supply": result.supply,
        "supply_meq": result.meq(result.supply),
        "slope": result.slope,
        "slope_low": result.slope_low,
        "slope_high": result.slope_high,
        "water_changes": len(result.changes),
        "water_changes_dkh": result.changed,
        "consumption": result.consumption,
        "consumption_low": result.low,
        "consumption_high": result.high,
        "consumption_meq": result.meq(result.consumption),
        "level": result.level,
        "target": found.target,
        "notes": [*_stretch_notes(room, stretch), *found.notes],
        "proposal": _proposal_json(found.proposal) if found.proposal is not None else None,
    }


def _proposal_json(proposal: Proposal) -> dict[str, Any]:
    calcium = proposal.calcium
    return {
        "source": proposal.dial.source,
        "unit": proposal.dial.unit,
        "now": proposal.dial.present,
        "hold": proposal.wanted,
        "new": proposal.new,
        "supply_after": proposal.supply_after,
        "additions": [msgspec.structs.asdict(each) for each in proposal.additions],
        "calcium": {"source": calcium[0].source, "now": calcium[0].present, "new": calcium[1]} if calcium else None,
        "days_to_target": proposal.days_to_target,
        "waits": proposal.waits or None,
        "first": proposal.first,
        "lines": list(proposal.lines),
        "cautions": list(proposal.cautions),
    }


def _stamp(room: Room, at: datetime) -> str:
    return room.calendar.local(at).isoformat(timespec="seconds")


# -- accepting -------------------------------------------------------------------------------------------


def draft_dose(room: Room, proposal: Proposal, at: datetime) -> list[Draft]:
    """The steps that accepting a proposal records: its source, and the calcium solution that goes with it.

    Raises `Refused` when nothing is proposed.
    """
    if not proposal.changes:
        raise Refused(proposal.waits or f"{proposal.dial.name} stays as it is; there is nothing to accept")
    found = [(proposal.dial, proposal.new), *([proposal.calcium] if proposal.calcium is not None else [])]
    return [_draft(room, dial, new, at) for dial, new in found if new != dial.present]


def _draft(room: Room, dial: Dial, new: float, at: datetime) -> Draft:
    source = room.reservoirs.get(dial.source) or next(
        each for system in room.systems for each in system.equipment if each.id == dial.source
    )
    why = f"{dial.name} from {dial.present:g} to {new:g} {dial.unit}"
    return draft_step(
        (source.id, source.system, source.station), _setting(dial, dial.present), _setting(dial, new), at, why
    )


def _setting(dial: Dial, value: float) -> Setting:
    """In what the room is written in: litres a day of a reservoir, litres an hour through a reactor."""
    shown = f"{value:g} {dial.unit}"
    if dial.unit == "mL/min":
        return Setting(value * 60 / 1000, "L/h", shown)
    return Setting(value / 1000 if dial.unit == "mL/day" else value, "L/day", shown)
