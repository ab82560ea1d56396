"""Feeding and condition on one time line, and the prompts of a system with the records they stand on."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any

import msgspec

from rounds.core.account import title_of, values_text
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Reading, Room, System
from rounds.core.plan import MISSED, due_items
from rounds.core.record import DONE, Record
from rounds.core.units import DKH_PER_MEQ, show
from rounds.core.words import clock, day_name, plain
from rounds.report.balance import system_balance
from rounds.report.condition import SEEN, light_steps, sightings
from rounds.report.series import falls, fresh_water, tank_reading, usual_use, when
from rounds.water.balance import WINDOW, Balance
from rounds.water.prompts import (
    AFTER_LIGHT,
    DEAD,
    LATELY,
    PALE,
    TESTED,
    Draw,
    Evidence,
    Feeding,
    Measured,
    Missed,
    Prompt,
    Seen,
    prompts,
)

NUTRIENTS = ("nitrate", "nitrite", "phosphate", "ammonia")
FED = {"mass": ("g", 1.0), "volume": ("mL", 1000.0), "count": ("pieces", 1.0)}
"""Quantities of feed, how they are said, and the factor from the canonical unit."""
BEFORE = timedelta(days=28)
EARLIER = timedelta(days=45)
"""The balance so long ago is the one before."""
_DAY = timedelta(days=1)
_INSTANT = timedelta(microseconds=1)


class Event(msgspec.Struct, frozen=True):
    """One thing on the time line of a system."""

    at: datetime
    kind: str
    """``feed``, ``condition``, ``light``, ``water change`` or the quantity measured."""
    text: str
    record: str


def timeline(room: Room, history: History, system: System, begin: datetime, now: datetime) -> list[Event]:
    """Feeds, nutrients, condition words, light steps and water changes from `begin` to `now`, the oldest first."""
    found = [
        Event(step.at, "light", step.said, step.record)
        for lights in system.lights
        for step in light_steps(room, history, lights, begin, now)
    ]
    for task in system.tasks:
        if task.feed or task.water_change is not None:
            kind = "feed" if task.feed else "water change"
            found += [
                Event(when(record), kind, _said(plain(task.title), _words(room, record)), record.id)
                for record in history.closings(task.id).between(begin, now + _INSTANT)
                if record.kind == DONE
            ]
    for reading in system.readings:
        if reading.quantity in NUTRIENTS:
            found += [Event(m.at, reading.quantity, m.shown, m.record) for m in _measured(history, reading, begin, now)]
    found += [
        Event(when(record), "condition", f"{_station(room, record)}: {plain(record.note)}", record.id)
        for record in history.since(begin, now)
        if record.system == system.id and record.kind in SEEN and record.words
    ]
    return sorted(found, key=lambda event: (event.at, event.kind, event.record))


def system_prompts(
    room: Room, history: History, system: System, now: datetime, uses: dict[str, float] | None = None
) -> list[Prompt]:
    """The prompts of the system at `now`; `uses` as in `system_balance`."""
    return prompts(gather(room, history, system, now, uses))


def gather(
    room: Room, history: History, system: System, now: datetime, uses: dict[str, float] | None = None
) -> Evidence:
    """What the records say of the system, as the rules look at it."""

    def series(quantity: str) -> tuple[Measured, ...]:
        reading = tank_reading(system, quantity)
        return tuple(_measured(history, reading, now - TESTED, now)) if reading is not None else ()

    def seen(words: Iterable[str]) -> tuple[Seen, ...]:
        found = sightings(history, system, words, now - LATELY, now)
        return tuple(Seen(when(record), _station(room, record), record.id) for record in found)

    alkalinity = tank_reading(system, "alkalinity")
    low, high = (alkalinity.low, alkalinity.high) if alkalinity is not None else (None, None)
    lime = [plain(tank.name) for tank in system.reservoirs if tank.kind == "limewater"]
    return Evidence(
        calendar=room.calendar,
        now=now,
        pale=seen(PALE),
        dead=seen(DEAD),
        nitrate=series("nitrate"),
        phosphate=series("phosphate"),
        ammonia=series("ammonia"),
        ph=series("pH"),
        salinity=series("salinity"),
        light=tuple(
            step for lights in system.lights for step in light_steps(room, history, lights, now - AFTER_LIGHT, now)
        ),
        feeding=_feeding(room, history, system, now),
        missed=_missed(room, history, system, now),
        limewater=lime[0] if lime else "",
        fresh=tuple(_draws(room, history, system, now)),
        balance=_balance(room, history, system, now, uses),
        earlier=_balance(room, history, system, now - EARLIER, uses),
        band=(
            low.canonical * DKH_PER_MEQ if low is not None else None,
            high.canonical * DKH_PER_MEQ if high is not None else None,
        ),
    )


def _balance(
    room: Room, history: History, system: System, now: datetime, uses: dict[str, float] | None
) -> Balance | None:
    try:
        return system_balance(room, history, system, now, uses=uses).balance
    except Refused:
        return None


def _measured(history: History, reading: Reading, begin: datetime, now: datetime) -> Iterable[Measured]:
    """Values of a reading, also those beyond a kit's limit: a bound is compared, never calculated with."""
    low = reading.low.canonical if reading.low is not None else None
    high = reading.high.canonical if reading.high is not None else None
    for record in history.valued(reading.id).between(begin, now + _INSTANT):
        for value in record.values:
            if value.reading != reading.id or value.value is None or value.flag is not None:
                continue
            number, bound = value.value, value.bound
            yield Measured(
                at=when(record),
                name=plain(reading.name),
                value=number,
                shown=f"{plain(reading.name)} {bound or ''}{show(reading, number)}",
                below=low is not None and bound != ">" and (number < low or (bound == "<" and number <= low)),
                above=high is not None and bound != "<" and (number > high or (bound == ">" and number >= high)),
                record=record.id,
            )


def _feeding(room: Room, history: History, system: System, now: datetime) -> tuple[Feeding, ...]:
    """How much was fed over the last 14 days and the 28 before, by quantity, and how often."""
    middle, begin = now - LATELY, now - LATELY - BEFORE
    sums: dict[str, list[float]] = {}
    lately: list[str] = []
    for task in system.tasks:
        if not task.feed:
            continue
        for record in history.closings(task.id).between(begin, now + _INSTANT):
            if record.kind != DONE:
                continue
            place = int(record.at >= middle)
            lately += [record.id] * place
            for what, amount in (("feeds", 1.0), *_amounts(room, record)):
                sums.setdefault(what, [0.0, 0.0])[place] += amount
    return tuple(
        Feeding(what=what, lately=after / (LATELY / _DAY), before=before / (BEFORE / _DAY), records=tuple(lately))
        for what, (before, after) in sums.items()
    )


def _amounts(room: Room, record: Record) -> Iterable[tuple[str, float]]:
    for value in record.values:
        reading = room.readings.get(value.reading)
        if reading is not None and value.value is not None and value.bound is None and reading.quantity in FED:
            what, factor = FED[reading.quantity]
            yield what, value.value * factor


def _missed(room: Room, history: History, system: System, now: datetime) -> tuple[Missed, ...]:
    """Feeds of this round day and the one before that were not given."""
    return tuple(
        Missed(plain(item.task.title), item.due_at)
        for item in due_items(room, history, now)
        if item.state == MISSED and item.task.feed and item.task.system == system.id and item.due_at is not None
    )


def _draws(room: Room, history: History, system: System, now: datetime) -> Iterable[Draw]:
    for tank in fresh_water(room, system):
        found = falls(history, tank, now - WINDOW, now)
        usual = usual_use(history, tank, now - WINDOW, now)
        if found and usual:
            yield Draw(
                name=plain(tank.name), litres=found[-1].litres, since=found[-1].begin, at=found[-1].end, usual=usual,
                records=found[-1].records,
            )  # fmt: skip


def _station(room: Room, record: Record) -> str:
    station = room.stations.get((record.system or "", record.station or ""))
    return plain(station.name) if station is not None else ""


def _words(room: Room, record: Record) -> str:
    """Its values and its note."""
    return _said(values_text(room, record), plain(record.note))


def _said(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


# -- as text and values ------------------------------------------------------------------------------------


def prompt_lines(room: Room, history: History, system: System, found: Iterable[Prompt]) -> list[str]:
    """Each prompt and, below it, the records it stands on."""
    lines = []
    for prompt in found:
        lines.append(f"{plain(system.name)}: {prompt.text}")
        for id in prompt.records:
            record = history.get(id)
            if record is not None:
                said = _words(room, record) or _said(plain(record.kind), title_of(room, record))
                lines.append(f"    {_moment(room, record.at)} {plain(record.by)} {said}")
    return lines


def prompts_json(system: System, found: Iterable[Prompt]) -> list[dict[str, Any]]:
    return [
        {"system": system.id, "rule": prompt.rule, "text": prompt.text, "records": list(prompt.records)}
        for prompt in found
    ]


def timeline_json(room: Room, events: Iterable[Event]) -> list[dict[str, Any]]:
    return [
        {
            "at": room.calendar.local(event.at).isoformat(timespec="seconds"),
            "kind": event.kind,
            "text": event.text,
            "record": event.record,
        }
        for event in events
    ]


def timeline_lines(room: Room, events: Iterable[Event]) -> list[str]:
    return [f"{_moment(room, event.at)} {event.kind}: {event.text}" for event in events]


def _moment(room: Room, at: datetime) -> str:
    return f"{day_name(room.calendar.local(at).date())} {clock(room.calendar, at)}"
