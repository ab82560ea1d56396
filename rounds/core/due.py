"""When one task is due: its times, its occurrences, until when it is fine and when it lapses."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple

from rounds.core.calendar import INSTANT, ONE_DAY, Calendar
from rounds.core.log import Log
from rounds.core.model import AgainAfter, Called, Once, OnDates, Room, Task
from rounds.core.occurrences import Occurrence, Occurrences
from rounds.core.record import Record
from rounds.core.recurrence import RRule, dates_of

GRACE_AT_MOST = timedelta(days=14)
"""Longest grace that follows from the interval alone.

A quarter of the interval is the extension that US NRC Generic Letter 89-14 allows a surveillance
interval, there too measured from the last performance.
"""


SAME_WITHIN = 10
"""Closed again within such a part of its interval, a task may have been recorded twice."""


class Due(NamedTuple):
    """The one open item of a task, before its state is known."""

    due: datetime
    fine_until: datetime
    interval: timedelta
    opens: datetime | None
    """Beginning of the window of its occurrence, or when it was called; None without either."""
    occurrence: Occurrence | None = None
    missed: int = 0
    because: str = ""


def occurrences_of(room: Room, task: Task) -> Occurrences:
    """The occurrences of a task with a rule fixed in the calendar; one object per distinct rule."""
    assert isinstance(task.rule, OnDates)
    times = task.times or (task_time(room, task),)
    start, end = task.first_day or room.began, ends_at(room, task)
    last = room.calendar.round_day(end) if end is not None else task.last_day
    return _occurrences(room.calendar, task.rule.dates, start, times, task.early, last, end)


@lru_cache(maxsize=8192)
def _occurrences(
    calendar: Calendar,
    dates: RRule | tuple[date, ...],
    start: date,
    times: tuple[time, ...],
    early: timedelta | None,
    last: date | None,
    end: datetime | None,
) -> Occurrences:
    return Occurrences(calendar, dates_of(dates, start), times, early, last, end)


def ends_at(room: Room, task: Task) -> datetime | None:
    """The instant from which on the task no longer exists; None: it says none."""
    return room.calendar.instant(task.until.date(), task.until.time()) if task.until is not None else None


def task_time(room: Room, task: Task) -> time:
    """The wall time at which the task comes due: its own, its shift's beginning, the day's."""
    if task.times:
        return task.times[0]
    return task.shift.begins if task.shift else room.day_begins


def fine_until(room: Room, task: Task, due: datetime, day: date, interval: timedelta) -> datetime:
    """Until when an item that was due at `due` on the round day `day` is not late."""
    if task.grace is not None:
        grace = task.grace
    elif isinstance(task.rule, Once):
        grace = ONE_DAY
    else:
        grace = min(interval / 4, GRACE_AT_MOST)
    fine = due + grace
    if task.times or _timed(task):
        return fine
    return max(fine, shift_end(room, task, day))


def _timed(task: Task) -> bool:
    """Whether the rule itself says the hour and minute."""
    rule = task.rule
    return (isinstance(rule, AgainAfter) and rule.span.exact) or (isinstance(rule, Once) and rule.clock is not None)


def interval_of(room: Room, task: Task, at: datetime) -> timedelta:
    """The nominal interval of the task around the instant `at`."""
    if isinstance(task.rule, AgainAfter):
        return task.rule.span.nominal
    if isinstance(task.rule, OnDates):
        occurrences = occurrences_of(room, task)
        around = occurrences.holding(at) or occurrences.first
        return around.gap if around else ONE_DAY
    return ONE_DAY


def due_after(room: Room, task: Task, last: datetime | None) -> Due | None:
    """When a task without dates of its own is due, last closed at `last`; None when it does not come due again."""
    found, end = _due_after(room, task, last), ends_at(room, task)
    return found if found is None or end is None or found.due < end else None


def _due_after(room: Room, task: Task, last: datetime | None) -> Due | None:
    """Without regard to when the task ends by the clock."""
    rule, calendar = task.rule, room.calendar
    if isinstance(rule, Called) or (isinstance(rule, Once) and last is not None):
        return None
    assert not isinstance(rule, OnDates)
    if isinstance(rule, Once):
        if rule.clock is not None:
            due = calendar.instant(rule.day, rule.clock)
            due_day = calendar.round_day(due)
        else:
            due_day = rule.day
            due = calendar.wall(due_day, task_time(room, task))
        return Due(due, fine_until(room, task, due, due_day, ONE_DAY), ONE_DAY, None)
    interval = rule.span.nominal
    begins = calendar.instant(task.begins.date(), task.begins.time()) if task.begins is not None else None
    if last is None and begins is not None:
        due, due_day = begins, calendar.round_day(begins)
    elif last is None:
        due_day = task.first_day or room.began
        due = calendar.start(due_day) if rule.span.exact else calendar.wall(due_day, task_time(room, task))
    else:
        if rule.span.exact:
            due = last.astimezone(UTC) + interval
            due_day = calendar.round_day(due)
        else:
            due_day = rule.span.after(calendar.round_day(last))
            due = calendar.wall(due_day, task_time(room, task))
        if task.first_day is not None and due_day < task.first_day:
            due_day = task.first_day
            due = calendar.wall(due_day, task_time(room, task))
    if task.last_day is not None and due_day > task.last_day:
        return None
    return Due(due, fine_until(room, task, due, due_day, interval), interval, None)


def in_window(
    log: Log, occurrence: Occurrence, following: Occurrence | None, now: datetime | None = None
) -> list[Record]:
    """The records of the log in the window of an occurrence, up to `now`; `following` is the one after it."""
    end = following.opens if following is not None else datetime.max.replace(tzinfo=UTC)
    return log.between(occurrence.opens, end if now is None else min(end, now + INSTANT))


def shift_end(room: Room, task: Task, day: date) -> datetime:
    """When the shift of the task ends on a round day, else that day."""
    shift = task.shift
    return room.calendar.shift_end(day, shift.begins, shift.ends) if shift else room.calendar.end(day)


def due_on(room: Room, task: Task, occurrence: Occurrence, missed: int = 0) -> Due:
    """One occurrence of a rule fixed in the calendar, as the open item of its task."""
    fine = fine_until(room, task, occurrence.due, occurrence.day, occurrence.gap)
    return Due(occurrence.due, fine, occurrence.gap, occurrence.opens, occurrence, missed)


def lapses(room: Room, task: Task, occurrence: Occurrence, following: Occurrence | None) -> datetime:
    """When an occurrence that is not made up lapses; `following` is the one after it."""
    if task.lapse is not None:
        return occurrence.due + task.lapse
    end = room.calendar.end(occurrence.day)
    return min(end, following.opens) if following is not None else end


def last_chance(room: Room, task: Task, occurrence: Occurrence, following: Occurrence | None) -> datetime:
    """The first instant at which an occurrence that is not made up can no longer be done."""
    lapsed = lapses(room, task, occurrence, following)
    return min(lapsed, following.opens) if following is not None else lapsed
