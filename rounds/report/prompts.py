"""Feeding and condition on one time line, and the prompts of a system with the records they stand on."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise

import msgspec

from rounds.core.account import title_of, values_text
from rounds.core.bands import surely_beyond
from rounds.core.calendar import ONE_DAY
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.items import MISSED
from rounds.core.model import Reading, Room, System
from rounds.core.plan import items_of
from rounds.core.record import DONE, Record
from rounds.core.series import points_of
from rounds.core.units import show
from rounds.core.waters import Water, part_of, waters
from rounds.core.words import full_moment, plain
from rounds.report.balance import SystemBalance, system_balance
from rounds.report.condition import SEEN, light_steps, sightings
from rounds.report.past import Past, in_utc
from rounds.report.series import tank_reading, when
from rounds.report.trend import sentence
from rounds.water.levels import LEAST_SPAN
from rounds.water.prompts import (
    AFTER_LIGHT,
    DEAD,
    LATELY,
    PALE,
    PALING_BEGAN,
    TESTED,
    Draw,
    Drift,
    Evidence,
    Feeding,
    Measured,
    Missed,
    Prompt,
    Seen,
    prompts,
)
from rounds.water.top_off import fresh_water

NUTRIENTS = ("nitrate", "nitrite", "phosphate", "ammonia")
FED = {"mass": ("g", 1.0), "volume": ("mL", 1000.0), "count": ("pieces", 1.0)}
"""Quantities of feed, how they are said, and the factor from the canonical unit."""
BEFORE = timedelta(days=28)
EARLIER = timedelta(days=45)
"""The balance so long ago is the one before."""


class Event(msgspec.Struct, frozen=True):
    """One thing on the time line of a system."""

    at: datetime
    kind: str
    """``feed``, ``condition``, ``light``, ``water change`` or the quantity measured."""
    text: str
    record: str


def timeline(room: Room, past: Past, system: System, begin: datetime, now: datetime) -> list[Event]:
    """Feeds, nutrients, condition words, light steps and water changes from `begin` to `now`, the oldest first."""
    history = past.history
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
                for record in history.closings(task.id).through(begin, now)
                if record.kind == DONE
            ]
    for reading in system.readings:
        if reading.quantity in NUTRIENTS:
            values = measured(reading, past.about((reading.id,)), begin, now)
            found += [Event(m.at, reading.quantity, m.shown, m.record) for m in values]
    found += [
        Event(when(record), "condition", f"{_station(room, record)}: {plain(record.note)}", record.id)
        for record in history.since(begin, now)
        if record.system == system.id and record.kind in SEEN and record.words
    ]
    return sorted(found, key=lambda event: (event.at, event.kind, event.record))


def system_prompts(room: Room, past: Past, system: System, now: datetime) -> list[Prompt]:
    """The prompts of every water of the system at `now`."""
    found = []
    for water in waters(past.history, system, now):
        of_it = prompts(gather(room, past, system, now, water))
        found += [msgspec.structs.replace(each, water=water.name) if water.tank else each for each in of_it]
    return found


def gather(room: Room, past: Past, system: System, now: datetime, water: Water | None = None) -> Evidence:
    """What the records say of one water of the system, as the rules look at it; `water` as for `system_balance`."""
    history, whole = past.history, system
    water = water or waters(history, whole, now)[0]
    system = part_of(whole, water)

    def series(quantity: str) -> tuple[Measured, ...]:
        reading = tank_reading(system, quantity)
        if reading is None:
            return ()
        return tuple(measured(reading, past.of_water(room, reading, now), now - TESTED, now))

    def seen(words: Iterable[str], reach: timedelta) -> tuple[Seen, ...]:
        found = sightings(history, system, words, now - reach, now)
        return tuple(
            Seen(when(record), _station(room, record), record.id) for record in found if water.holds(record.station)
        )

    lime = [plain(tank.name) for tank in system.reservoirs if tank.kind == "limewater"]
    balance = _balance(room, past, whole, now, water)
    before = now - EARLIER
    earlier = _balance(room, past, whole, before, water) if water.from_its_time(before) == before else None
    return Evidence(
        calendar=room.calendar,
        now=now,
        pale=seen(PALE, PALING_BEGAN),
        dead=seen(DEAD, LATELY),
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
        fresh=tuple(_draws(room, past, whole, now, water)),
        alkalinity=_drift(room, past, system, now),
        balance=balance.balance if balance is not None else None,
        earlier=earlier.balance if earlier is not None else None,
        failing=tuple(each.said for each in balance.failing) if balance is not None else (),
    )


def _balance(room: Room, past: Past, system: System, now: datetime, water: Water) -> SystemBalance | None:
    try:
        return system_balance(room, past, system, now, water)
    except Refused:
        return None


def _drift(room: Room, past: Past, system: System, now: datetime) -> Drift | None:
    """Where alkalinity is heading, as the readings have it; None: it is not known to leave its band."""
    reading = tank_reading(system, "alkalinity")
    trend = past.trend(room, reading, now) if reading is not None else None
    if reading is None or trend is None or trend.leaves is None or trend.latest is None:
        return None
    return Drift(
        said=f"{plain(reading.name)} {show(reading, past.numbers(room, reading, trend.latest.at, now)[-1].value)}: "
        f"{sentence(trend, now)}",
        leaves_at=trend.leaves.at,
        records=tuple(value.id for value in trend.used),
    )


def measured(reading: Reading, records: Iterable[Record], begin: datetime, now: datetime) -> Iterable[Measured]:
    """Values of a reading, also those beyond a kit's limit: a bound is compared, never calculated with."""
    low, high = reading.low, reading.high
    for point in map(in_utc, points_of(reading, records, now)):
        if point.at < begin or not (point.usable or point.bound):
            continue
        number, bound = point.value, point.bound
        yield Measured(
            at=point.at,
            name=plain(reading.name),
            value=number,
            shown=f"{plain(reading.name)} {bound or ''}{show(reading, number)}",
            below=low is not None and surely_beyond(number, bound, low.canonical, low=True),
            above=high is not None and surely_beyond(number, bound, high.canonical, low=False),
            record=point.id,
        )


def _feeding(room: Room, history: History, system: System, now: datetime) -> tuple[Feeding, ...]:
    """How much was fed over the last 14 days and the 28 before, by quantity, and how often."""
    middle, begin = now - LATELY, now - LATELY - BEFORE
    sums: dict[str, list[float]] = {}
    lately: list[str] = []
    for task in system.tasks:
        if not task.feed:
            continue
        for record in history.closings(task.id).through(begin, now):
            if record.kind != DONE:
                continue
            place = int(record.at >= middle)
            lately += [record.id] * place
            for what, amount in (("feeds", 1.0), *_amounts(room, record)):
                sums.setdefault(what, [0.0, 0.0])[place] += amount
    return tuple(
        Feeding(what=what, lately=after / (LATELY / ONE_DAY), before=before / (BEFORE / ONE_DAY), records=tuple(lately))
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
    day = room.calendar.round_day(now)
    return tuple(
        Missed(plain(task.title), item.due_at)
        for task in system.tasks
        if task.feed and room.runs(task)
        for item in items_of(room, history, task, now, day)
        if item.state == MISSED and item.due_at is not None
    )


def _draws(room: Room, past: Past, system: System, now: datetime, water: Water) -> Iterable[Draw]:
    """What each source of fresh water gave between its last two levels that tell of a use."""
    fresh = fresh_water(past.levels, room, past.history, system, now, water)
    for id in fresh.sources if fresh is not None else ():
        tank = room.reservoirs[id]
        measured = past.levels.measured(room, past.history, tank, now)
        steps = [step for stretch in measured.stretches for step in pairwise(stretch)]
        falls = [(a, b) for a, b in steps if b.at - a.at >= LEAST_SPAN and b.litres <= a.litres]
        if falls and measured.use.per_day:
            before, after = falls[-1]
            levels = past.history.valued(f"{id}-level")
            records = tuple(levels.through(point.at, point.at)[-1].id for point in (before, after))
            yield Draw(
                name=plain(tank.name), litres=before.litres - after.litres, since=before.at, at=after.at,
                usual=measured.use.per_day, records=records,
            )  # fmt: skip


def _station(room: Room, record: Record) -> str:
    station = room.stations.get((record.system or "", record.station or ""))
    return plain(station.name) if station is not None else ""


def _words(room: Room, record: Record) -> str:
    """Its values and its note."""
    return _said(values_text(room, record), plain(record.note))


def _said(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


# -- as text ------------------------------------------------------------------------------------


def prompt_lines(room: Room, history: History, system: System, found: Iterable[Prompt]) -> list[str]:
    """Each prompt and, below it, the records it stands on."""
    lines = []
    for prompt in found:
        name = plain(f"{system.name}, {prompt.water}" if prompt.water else system.name)
        lines.append(f"{name}: {prompt.text}")
        for id in prompt.records:
            record = history.get(id)
            if record is not None:
                said = _words(room, record) or _said(plain(record.kind), title_of(room, record))
                lines.append(f"    {full_moment(room.calendar, record.at)} {plain(record.by)} {said}")
    return lines


def timeline_lines(room: Room, events: Iterable[Event]) -> list[str]:
    return [f"{full_moment(room.calendar, event.at)} {event.kind}: {event.text}" for event in events]
