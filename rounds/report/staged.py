"""Everything that is changed in steps: what was done, what is next, what it may affect, and when to hold it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

import msgspec

from rounds.core.model import Equipment, Lights, Reading, Reservoir, Room, System
from rounds.core.record import Record
from rounds.core.staged import HELD, MADE, TAKEN_BACK, Step, held_at, last_made, steps
from rounds.core.walk import place_name
from rounds.core.words import clock, plain
from rounds.report.condition import light_steps, sightings
from rounds.report.light import LightState, light_state
from rounds.report.past import Past
from rounds.report.prompts import measured
from rounds.report.series import day_of, tank_reading, when
from rounds.water.prompts import AFTER_LIGHT, LATELY, WORSE, Measured

LIGHT = "light"
DOSE = "dose"

WATCHED = {LIGHT: ("light",), DOSE: ("alkalinity", "calcium", "magnesium", "pH")}
"""Quantities that a change of the kind may affect."""

LOOK_BACK = timedelta(days=400)
"""Steps so far back are listed."""

AFTER = AFTER_LIGHT
"""So long after a step what is read and seen may come of it; common practice, without a source."""


class Made(msgspec.Struct, frozen=True):
    """One step as it is listed."""

    at: datetime
    by: str
    text: str
    outcome: str
    """`MADE`, `HELD` or `TAKEN_BACK`."""
    record: str
    """Its id."""


class Watched(msgspec.Struct, frozen=True):
    """A reading that the change may affect."""

    reading: Reading
    last: Measured | None


class Against(msgspec.Struct, frozen=True):
    """What speaks for holding it, with the records that is based on."""

    text: str
    records: tuple[str, ...]


class Staged(msgspec.Struct, frozen=True, kw_only=True):
    """Something that is changed in steps, as it stands at one instant."""

    id: str
    """Full."""
    name: str
    kind: str
    """`LIGHT` or `DOSE`."""
    place: str
    present: str
    """What it is set to, as a keeper reads it; empty: not known."""
    steps: tuple[Made, ...]
    """The oldest first."""
    last: Step | None
    """The last step that stands, and can be taken back; None: none was recorded with both settings."""
    held: Step | None
    """The hold that stands."""
    next: str
    """What comes next, in a sentence."""
    watched: tuple[Watched, ...]
    words: tuple[Record, ...]
    """What was seen of the animals since the last step."""
    against: tuple[Against, ...]
    """Why a hold is proposed; empty: nothing speaks against it, or it is held."""
    light: LightState | None = None
    """Of lights."""


def staged_changes(room: Room, past: Past, system: System, now: datetime) -> list[Staged]:
    """The light programmes of a system and the doses that were changed in steps, by all its records."""
    sources: list[Reservoir | Equipment] = [*system.reservoirs, *system.equipment]
    return [
        *(_lights(room, past, system, lights, now) for lights in system.lights),
        *(_dose(room, past, system, each, now) for each in sources if steps(past.history, each.id, now)),
    ]


def _lights(room: Room, past: Past, system: System, lights: Lights, now: datetime) -> Staged:
    state, found = light_state(room, past.history, lights, now), steps(past.history, lights.id, now)
    made = {step.record.id: _made(step) for step in found}
    for change in light_steps(room, past.history, lights, now - LOOK_BACK, now):
        record = past.history.get(change.record)
        if change.planned and record is not None and change.record not in made:
            made[change.record] = Made(
                when(record), plain(record.by), plain(record.note) or change.said, MADE, record.id
            )
    risen = [step.at for step in state.steps if step.planned and (step.rise is None or step.rise > 0)]
    highest = f"; at most {state.highest:.2f} mol/m2 a day" if state.verdict.may_rise and state.highest else ""
    return _account(
        room, past, system, now,
        kind=LIGHT, id=lights.id, name=plain(lights.name), station=lights.station,
        present=f"{state.integral:.2f} mol/m2 a day" if state.integral is not None else "",
        made=made.values(), found=found, since=max(risen, default=None),
        following=f"{state.verdict.why}{highest}", light=state,
    )  # fmt: skip


def _dose(room: Room, past: Past, system: System, source: Reservoir | Equipment, now: datetime) -> Staged:
    found = steps(past.history, source.id, now)
    made = [step.record.at for step in found if step.outcome == MADE]
    held = held_at(found, now)
    following = "test alkalinity, then see what dose is proposed"
    if held is not None:
        until = f" until {day_of(room, held.record.until, now)}" if held.record.until is not None else ""
        following = f"held{until} by {plain(held.record.by)}: {plain(held.record.note)}"
    return _account(
        room, past, system, now,
        kind=DOSE, id=source.id, name=plain(source.name), station=source.station,
        present=plain(found[-1].record.values[1].entered), made=[_made(step) for step in found], found=found,
        since=max(made, default=None), following=following,
    )  # fmt: skip


def _account(
    room: Room, past: Past, system: System, now: datetime, *, kind: str, id: str, name: str, station: str,
    present: str, made: Iterable[Made], found: Sequence[Step], since: datetime | None, following: str,
    light: LightState | None = None,
) -> Staged:  # fmt: skip
    """What all of them have in common; `since` is the last step that may have done harm."""
    readings = _watched_readings(system, kind, light)
    held = held_at(found, now)
    recent = since if since is not None and now - since <= AFTER else None
    against: list[Against] = []
    if recent is not None and held is None:
        against = [*_left_their_band(room, past, readings, recent, now), *_worse(room, past, system, recent, now)]
    return Staged(
        id=id, name=name, kind=kind, place=place_name(room, system.id, station), present=present,
        steps=tuple(sorted(made, key=lambda each: (each.at, each.record))), last=last_made(found), held=held,
        next=following, watched=tuple(_watched(room, past, each, now) for each in readings),
        words=tuple(sightings(past.history, system, WORSE, recent, now)) if recent is not None else (),
        against=tuple(against), light=light,
    )  # fmt: skip


def _made(step: Step) -> Made:
    record = step.record
    return Made(when(record), plain(record.by), plain(record.note), step.outcome, record.id)


# -- what it may affect ----------------------------------------------------------------------------


def _watched_readings(system: System, kind: str, light: LightState | None) -> list[Reading]:
    """The readings of the water, or that under the lights."""
    if kind == LIGHT:
        return [each for each in system.readings if light is not None and each.id == light.lights.measured]
    found = (tank_reading(system, quantity) for quantity in WATCHED[kind])
    return [reading for reading in found if reading is not None]


def _watched(room: Room, past: Past, reading: Reading, now: datetime) -> Watched:
    values = list(measured(reading, past.of_water(room, reading, now), now - LOOK_BACK, now))
    return Watched(reading, values[-1] if values else None)


def _left_their_band(
    room: Room, past: Past, readings: Iterable[Reading], since: datetime, now: datetime
) -> Iterator[Against]:
    """Readings out of their band since the step that were inside, or out the other way, at the last test before."""
    for reading in readings:
        values = list(measured(reading, past.of_water(room, reading, now), since - LOOK_BACK, now))
        before = [value for value in values if value.at <= since]
        after = [value for value in values if value.at > since]
        if after and _side(after[-1]) and _side(after[-1]) != (_side(before[-1]) if before else 0):
            last = after[-1]
            where = "above" if last.above else "below"
            text = f"{last.shown} ({day_of(room, last.at)}) is {where} its band since the step of {day_of(room, since)}"
            yield Against(f"{text[:1].upper()}{text[1:]}", (last.record,))


def _side(value: Measured) -> int:
    return int(value.above) - int(value.below)


def _worse(room: Room, past: Past, system: System, since: datetime, now: datetime) -> Iterator[Against]:
    """Condition words that were not seen at their station in the days before the step."""
    known = {
        (record.station, word)
        for record in sightings(past.history, system, WORSE, since - LATELY, since)
        for word in record.words
    }
    new: dict[str, list[Record]] = {}
    for record in sightings(past.history, system, WORSE, since, now):
        if record.at > since:
            for word in record.words:
                if word in WORSE and (record.station, word) not in known:
                    new.setdefault(word, []).append(record)
    for word, records in new.items():
        places = dict.fromkeys(place_name(room, record.system, record.station) for record in records)
        days = dict.fromkeys(day_of(room, record.at) for record in records)
        yield Against(
            f"{word.capitalize()} seen since the step of {day_of(room, since)}: {'; '.join(places)} "
            f"({', '.join(days)})",
            tuple(record.id for record in records),
        )


# -- as text and values ------------------------------------------------------------------------------


def state_text(change: Staged) -> str:
    """``hold?``, ``held``, ``may rise``, else nothing."""
    if change.against:
        return "hold?"
    if change.held is not None:
        return "held"
    return "may rise" if change.light is not None and change.light.verdict.may_rise else ""


def account(room: Room, change: Staged) -> Iterator[tuple[str, str]]:
    """What is known of it, as (heading, text)."""
    for against in change.against:
        yield "▲ Hold?", f"{against.text}. A hold is proposed, and made only with h."
    yield "Now", f"{change.present or 'not known'}."
    yield "Next", f"{change.next}."
    for watched in change.watched:
        yield "May affect", f"{_watched_text(room, watched)}."
    for record in change.words:
        where = place_name(room, record.system, record.station)
        yield "Seen since", f"{day_of(room, record.at)} {plain(record.by)}, {where}: {plain(record.note)}"
    for step in reversed(change.steps):
        yield _SHAPES[step.outcome], f"{day_of(room, step.at)} {clock(room.calendar, step.at)} {step.by}: {step.text}"


_SHAPES = {MADE: "·", HELD: "=", TAKEN_BACK: "↶"}


def _watched_text(room: Room, watched: Watched) -> str:
    last = watched.last
    if last is None:
        return f"{plain(watched.reading.name)}, not read yet"
    where = ", above its band" if last.above else ", below its band" if last.below else ""
    return f"{last.shown} ({day_of(room, last.at)}){where}"


def staged_json(room: Room, change: Staged) -> dict[str, Any]:
    """As plain values; times RFC 3339 with the room's offset."""
    stamp = room.calendar.stamp
    return {
        "id": change.id,
        "name": change.name,
        "kind": change.kind,
        "present": change.present or None,
        "held_until": stamp(change.held.record.until) if change.held is not None else None,
        "next": change.next,
        "steps": [
            {"at": stamp(step.at), "by": step.by, "text": step.text, "outcome": step.outcome, "record": step.record}
            for step in change.steps
        ],
        "watched": [
            {
                "reading": each.reading.id,
                "at": stamp(each.last.at) if each.last is not None else None,
                "shown": each.last.shown if each.last is not None else None,
                "band": _band(each.last),
            }
            for each in change.watched
        ],
        "hold": [{"why": each.text, "records": list(each.records)} for each in change.against],
    }


def _band(last: Measured | None) -> str | None:
    if last is None:
        return None
    return "above" if last.above else "below" if last.below else "inside"


def staged_text(room: Room, found: Iterable[Staged]) -> str:
    """Each with its account below it."""
    lines = []
    for change in found:
        lines.append(f"{change.id}  {change.name}, {change.place}")
        lines += [f"    {heading}: {text}" for heading, text in account(room, change)]
    return "".join(f"{line}\n" for line in lines) or "Nothing is changed in steps in this room yet.\n"
