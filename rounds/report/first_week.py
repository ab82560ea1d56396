"""What the first week of a room that does not stand yet asks for, and what is unsafe about it as it would be."""

from __future__ import annotations

from datetime import date, datetime
from itertools import groupby

import msgspec

from rounds.core.ahead import Coming, coming
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.words import plain
from rounds.water.top_off import warnings

DAYS = 7


class FirstDay(msgspec.Struct, frozen=True, kw_only=True):
    """One round day."""

    day: date
    tasks: int
    minutes: int
    """Of the tasks that say how long they take."""
    titles: tuple[tuple[str, str], ...]
    """System and title of each, in walking order."""


def first_week(room: Room, now: datetime) -> list[FirstDay]:
    """The days from `now`, or from the room's first round day where that lies ahead; each thing done when it is due.

    A day without anything to do is left out.
    """
    begins = max(now, room.calendar.start(room.began))
    work = coming(room, History(), begins, DAYS)
    return [_day(room, day, list(items)) for day, items in groupby(work, key=lambda each: each.day)]


def unsafe(room: Room, now: datetime) -> list[tuple[str, str]]:
    """Name of each container of fresh water that is set up unsafely, and why: ``its 80 L usable are 13% of …``"""
    return [
        (plain(tank.name), each) for tank in room.reservoirs.values() for each in warnings(room, History(), tank, now)
    ]


def _day(room: Room, day: date, work: list[Coming]) -> FirstDay:
    return FirstDay(
        day=day,
        tasks=len(work),
        minutes=sum(each.minutes or 0 for each in work),
        titles=tuple((room.system[each.task.system].name, each.task.title) for each in work),
    )
