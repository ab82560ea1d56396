"""Tasks for once or for some days, as the tables that are written into the room's files."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from rounds.core.durations import parse_span
from rounds.core.errors import Refused
from rounds.core.model import Room
from rounds.core.moments import parse_until
from rounds.report.fields import make_id

Moment = date | datetime
"""A round day, or a wall time."""


def read_when(room: Room, text: str, now: datetime) -> Moment:
    """When something is to be done once: ``today``, ``tomorrow`` and a date are round days, the rest wall times.

    Raises `CannotRead`, or `Refused` for a time that has passed.
    """
    calendar, typed = room.calendar, " ".join(text.casefold().split())
    if typed == "today":
        return calendar.round_day(now)
    at = parse_until(typed, calendar, now, now)
    day = calendar.round_day(at)
    if day < calendar.round_day(now) or (at < now and at != calendar.start(day)):
        raise Refused("that has passed; give a later time")
    if at == calendar.start(day):
        return day
    return _wall(room, at)


def read_end(room: Room, text: str, now: datetime) -> datetime:
    """The wall time at which something ends; a day alone ends when its round day does. Raises as `read_when`."""
    calendar = room.calendar
    at = parse_until(text, calendar, now, now)
    if at == calendar.start(calendar.round_day(at)) and " ".join(text.casefold().split()) != "tomorrow":
        at = calendar.end(calendar.round_day(at))
    if at <= now:
        raise Refused("that has passed; give a later time")
    return _wall(room, at)


def once(
    room: Room, place: tuple[str, str], title: str, when: Moment, importance: str, now: datetime
) -> dict[str, Any]:
    """The table of a task that is done one time."""
    return {**_head(room, place, title, now), "once": when, "importance": importance}


def repeated(
    room: Room, place: tuple[str, str], title: str, every: str, until: datetime, importance: str, now: datetime
) -> dict[str, Any]:
    """The table of a task that comes again after a span, from now on until a wall time.

    Minutes and hours are counted from now; of longer spans the first is due today.
    """
    span = parse_span(every)
    first = {"from": _wall(room, now)} if span.exact else {"first_day": room.calendar.round_day(now)}
    return {
        **_head(room, place, title, now), "again_after": str(span), **first, "until": until, "importance": importance,
    }  # fmt: skip


def _head(room: Room, place: tuple[str, str], title: str, now: datetime) -> dict[str, Any]:
    system, station = place
    title = title.strip()
    if not title:
        raise Refused("say what is to be done: a few words are enough")
    found: dict[str, Any] = {"id": _id(room, system, title, room.calendar.round_day(now))}
    if station:
        found["station"] = station
    return {**found, "title": title}


def _id(room: Room, system: str, title: str, day: date) -> str:
    """An id of the title and the day, which nothing of the system has yet."""
    first = f"{make_id(title, (), 'task')}-{day.isoformat()}"
    number, id = 1, first
    while f"{system}/{id}" in room.tasks:
        number += 1
        id = f"{first}-{number}"
    return id


def _wall(room: Room, at: datetime) -> datetime:
    return room.calendar.local(at).replace(tzinfo=None, second=0, microsecond=0)
