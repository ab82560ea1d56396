"""What is watched: everything off normal, open concerns, protocols under way; what presses most first."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import msgspec

from rounds.core.concerns import Concern, open_concerns
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.off_normal import OffNormal, off_normal, put_back_order, together_with
from rounds.core.protocols import Running, running
from rounds.core.record import Record
from rounds.core.walk import place_name
from rounds.core.words import length, moment, plain

NOW = "now"
TODAY = "today"
LATER = "later"

_NEARLY = timedelta(seconds=59)
"""What is left is said in minutes begun, what has passed in whole ones."""

SOON = timedelta(minutes=5)
"""So long before its time something off normal is counted in seconds."""


class Watched(msgspec.Struct, frozen=True, kw_only=True):
    """One row: something off normal, a concern or a protocol."""

    of: OffNormal | Concern | Running
    id: str
    """Of the record that began it."""
    title: str
    place: str
    state: str
    """``12 minutes left``, ``open 3 days, look again was due 09:00``."""
    urgency: str
    """`NOW`, `TODAY` or `LATER`."""


def watched(room: Room, history: History, now: datetime) -> list[Watched]:
    """What is off normal, by when it is put back; concerns, by when to look again; protocols, by their next step.

    What presses now stands before everything else. Raises `Incomplete` where not enough of the history was kept.
    """
    rows = [
        *(_off_normal(room, each, now) for each in off_normal(room, history, now)),
        *(_concern(room, each, now) for each in sorted(open_concerns(history, now), key=_next_look)),
        *(_protocol(room, each, now) for each in running(room, history, now)),
    ]
    return sorted(rows, key=lambda row: row.urgency != NOW)


def countdown(left: OffNormal, now: datetime) -> str:
    """``12 minutes left``, ``40 seconds left``, ``2 hours past its time``"""
    span = left.left(now)
    if left.passed(now):
        return f"{length(-span)} past its time"
    if span < SOON:
        minutes, seconds = divmod(int(span.total_seconds()), 60)
        return f"{minutes}:{seconds:02} min left"
    return f"{length(span + _NEARLY)} left"


def in_seconds(row: Watched, now: datetime) -> bool:
    """Whether the row counts seconds, or did until its time passed at `now`."""
    return isinstance(row.of, OffNormal) and row.urgency != NOW and row.of.left(now) < SOON


def alert(room: Room, left: OffNormal, now: datetime) -> str:
    """What every screen says of something off normal."""
    where = place_name(room, left.first.system, left.first.station)
    what = f"{plain(left.name)} {left.state} ({where})"
    return f"PUT BACK: {what}, {countdown(left, now)}" if left.passed(now) else f"{what}: {countdown(left, now)}"


def _off_normal(room: Room, left: OffNormal, now: datetime) -> Watched:
    return Watched(
        of=left,
        id=left.first.id,
        title=f"{plain(left.name)} {left.state}",
        place=place_name(room, left.first.system, left.first.station),
        state=countdown(left, now),
        urgency=NOW if left.passed(now) else _urgency(room, left.until, now),
    )


def _concern(room: Room, concern: Concern, now: datetime) -> Watched:
    record = concern.record
    look = ""
    if concern.look_at is not None:
        when = moment(room.calendar, concern.look_at, now)
        look = f"look since {when}, " if concern.look_at <= now else f"look {when}, "
    return Watched(
        of=concern,
        id=concern.id,
        title=plain(record.note),
        place=place_name(room, record.system, record.station),
        state=f"{look}open {length(concern.age(now))}",
        urgency=_urgency(room, concern.look_at, now),
    )


def _protocol(room: Room, under: Running, now: datetime) -> Watched:
    step = under.next
    due = step.due_at if step is not None else None
    about = f": {plain(under.call.note)}" if under.call.note else ""
    return Watched(
        of=under,
        id=under.call.id,
        title=f"{plain(under.name)}{about}",
        place=place_name(room, under.call.system, under.call.station),
        state=f"{under.done} of {len(under.steps)} steps done" if under.steps else "its steps are gone",
        urgency=_urgency(room, due, now),
    )


def _urgency(room: Room, due: datetime | None, now: datetime) -> str:
    if due is None:
        return LATER
    if due <= now:
        return NOW
    return TODAY if due < room.calendar.end(room.calendar.round_day(now)) else LATER


def _next_look(concern: Concern) -> tuple[bool, datetime]:
    return (concern.look_at is None, concern.look_at or concern.record.at)


# -- what is told of the chosen one ------------------------------------------------------------------


def account(room: Room, row: Watched, now: datetime) -> Iterator[tuple[str, str]]:
    """Headings and texts about one of them, what matters now first."""
    if isinstance(row.of, OffNormal):
        yield from _of_off_normal(room, row.of, now)
    elif isinstance(row.of, Concern):
        yield from _of_concern(room, row.of, now)
    else:
        yield from _of_protocol(room, row.of, now)


def _of_off_normal(room: Room, left: OffNormal, now: datetime) -> Iterator[tuple[str, str]]:
    calendar = room.calendar
    yield "Put back by", f"{moment(calendar, left.until, now)}: {countdown(left, now)}"
    yield "Why", left.reason
    yield "Since", f"{moment(calendar, left.since, now)}, {left.first.by}"
    if left.last is not left.first:
        yield "Extended", f"{moment(calendar, left.last.at, now)} by {left.last.by}: {left.last.reason}"
    equipment = room.equipment.get(left.thing)
    if equipment is not None and (together := together_with(room, equipment)):
        yield "Stops with it", ", ".join(each.name for each in together)
        yield "Put back in order", ", then ".join(each.name for each in put_back_order(room, equipment))


def _of_concern(room: Room, concern: Concern, now: datetime) -> Iterator[tuple[str, str]]:
    if concern.look_for:
        yield "Look for", concern.look_for
    if concern.look_at is not None:
        yield "Look again", moment(room.calendar, concern.look_at, now)
    yield "Opened", _said(room, concern.record, now)
    for update in reversed(concern.updates):
        yield "Since", _said(room, update, now)


def _of_protocol(room: Room, under: Running, now: datetime) -> Iterator[tuple[str, str]]:
    yield "Called", f"{moment(room.calendar, under.call.at, now)} by {under.call.by}"
    for step in under.steps:
        times = f" ({len(step.closings)} of {step.step.times})" if step.step.times > 1 else ""
        if step.due_at is not None:
            due = moment(room.calendar, step.due_at, now)
            yield ("▲ due" if step.due_at <= now else "· due"), f"{due}: {step.title}{times}"
        else:
            last = step.closings[-1]
            yield "✓", f"{step.title}{times}, {moment(room.calendar, last.at, now)} {last.by}"


def _said(room: Room, record: Record, now: datetime) -> str:
    return f"{moment(room.calendar, record.at, now)} {record.by}: {record.note or record.reason}"
