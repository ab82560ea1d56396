"""The sitter's sheet: what somebody who does not know the room has to do, day by day, in plain words.

What not to do and what to do when something is wrong is common practice, without a source; local codes and licensed
practice come first.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import groupby

import msgspec

from rounds.core.absence import Needed
from rounds.core.model import Reading, Room, Task
from rounds.core.units import show, show_band
from rounds.core.walk import place_name
from rounds.core.words import clock, full_moment
from rounds.report.away import Away

TO_CALL = ("Keeper", "On call", "Vet", "Electrician", "Local emergency number")
"""Whose telephone numbers are filled in by hand."""

TO_FIND = ("Spares and tools are kept", "Main switch and water tap")
"""What else is filled in by hand."""

NOT_TO_DO = (
    "Do not change a dose, a pump, a valve or a setting.",
    "Do not change the lights or their times.",
    "Do not feed twice: a meal that was forgotten is left out.",
    "Do not put anything into the water that is not on this sheet.",
    "Do not put a hand with cream, soap or a cut into the water.",
)

FIRST = "If somebody is hurt, call the emergency number first. When in doubt, touch nothing and call the keeper."

BEFORE_THIS_SHEET = "Local rules and what licensed people say come before this sheet."

IF_WRONG = (
    ("No water moves between tank and sump: the return pump has stopped", "Call the keeper at once. Do not feed."),
    (
        "Water on the floor",
        "Keep out of it: it may be live. Do not touch wet plugs, sockets or leads. Warn others, leave the room, call.",
    ),
    ("The power is off", "Write down the time and call. Do not feed. Do not touch a wet plug when it comes back."),
    ("A plug, a socket or a lead is wet", "Do not touch it, also not with gloves. Call the electrician."),
    ("An animal looks dead, or the water smells or is cloudy", "Call before you touch anything."),
    (
        "Somebody is hurt, or something has got into an eye",
        "Call the emergency number first. Rinse an eye with running water for 15 minutes.",
    ),
    ("Anything else that looks other than it says here", "Call. Leave it as it is."),
)
"""What may be wrong, and what to do then."""


class SitterTask(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do."""

    id: str
    title: str
    when: str
    """``from 08:45, by 10:15``"""
    may_skip: bool
    who: str
    steps: tuple[str, ...]
    looks: tuple[str, ...]
    """What it should look like: in words, levels with their marks, bands of readings."""
    cautions: tuple[str, ...]
    as_on: date | None
    """The day on which steps and looks are told; None: here."""


class SitterStop(msgspec.Struct, frozen=True, kw_only=True):
    """A station with what there is to do."""

    system: str
    station: str
    place: str
    tasks: tuple[SitterTask, ...]


class SitterDay(msgspec.Struct, frozen=True, kw_only=True):
    """A round day on which somebody has to come."""

    day: date
    stops: tuple[SitterStop, ...]
    """In walking order."""


def sitter_days(room: Room, away: Away) -> list[SitterDay]:
    """The days on which there is something to do; steps are told in full the first time."""
    told: dict[str, date] = {}
    found = []
    for day, needed in groupby(away.during, key=lambda each: each.day):
        walk = sorted(needed, key=lambda each: (room.places[each.task.system, each.task.station], each.at))
        stops = [
            SitterStop(
                system=system,
                station=station,
                place=place_name(room, system, station),
                tasks=tuple(_task(room, each, told) for each in there),
            )
            for (system, station), there in groupby(walk, key=lambda each: (each.task.system, each.task.station))
        ]
        found.append(SitterDay(day=day, stops=tuple(stops)))
    return found


def _task(room: Room, each: Needed, told: dict[str, date]) -> SitterTask:
    task = each.task
    first = told.setdefault(task.id, each.day)
    return SitterTask(
        id=task.id,
        title=task.title,
        when=f"from {clock(room.calendar, each.at)}, by {until_text(room, each)}",
        may_skip=each.may_skip,
        who=each.who,
        steps=task.steps,
        looks=tuple(_looks(room, task)),
        cautions=(task.caution,) if task.caution else (),
        as_on=first if first != each.day else None,
    )


def until_text(room: Room, each: Needed) -> str:
    """Until when it is fine: the hour, on another day with its date."""
    calendar = room.calendar
    same = calendar.round_day(each.fine_until) == each.day
    return clock(calendar, each.fine_until) if same else full_moment(calendar, each.fine_until, each.at)


def _looks(room: Room, task: Task) -> Iterator[str]:
    if task.look_for:
        yield task.look_for
    for id in task.takes:
        reading = room.readings.get(id)
        if reading is not None:
            yield from _marks(room, reading) if reading.quantity == "level" else _bands(reading)


def _marks(room: Room, level: Reading) -> Iterator[str]:
    tank = room.reservoirs[level.id.removesuffix("-level")]
    full = show(level, tank.capacity)
    if tank.kind == "waste":
        limit = f"empty it before it is above {show(level, tank.reserve)}; " if tank.reserve is not None else ""
    else:
        limit = f"refill it before it is below {show(level, tank.reserve)}; " if tank.reserve is not None else ""
    source = room.reservoirs.get(tank.fed_by or "")
    fed = f"; it is filled from the {source.name} ({place_name(room, source.system, source.station)})" if source else ""
    yield f"{level.name}: {limit}full is {full}{fed}"


def _bands(reading: Reading) -> Iterator[str]:
    usual = show_band(reading, reading.low, reading.high)
    act = [
        f"{word} {show(reading, limit.canonical)}"
        for word, limit in (("below", reading.act_low), ("above", reading.act_high))
        if limit is not None
    ]
    said = [*([f"usually {usual}"] if usual else []), *([f"call at once if it is {' or '.join(act)}"] if act else [])]
    if said:
        yield f"{reading.name}: {'; '.join(said)}"
