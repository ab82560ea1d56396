"""When a task is due: the round of a day from the room, its history and an instant.

Pure: the same room, history and instant give the same answer. Instants are in UTC; wall times
are read through the room's `Calendar`.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import NamedTuple

import msgspec

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.errands import Errand, errands
from rounds.core.history import History, closings_of
from rounds.core.log import Log
from rounds.core.model import IMPORTANCES, AgainAfter, Called, Once, OnDates, Room, Task
from rounds.core.occurrences import Occurrence, Occurrences
from rounds.core.off_normal import OffNormal, not_in_service, off_normal, off_normal_at
from rounds.core.record import NOT_NEEDED, Record
from rounds.core.recurrence import RRule, dates_of

LATER = "later"
DUE = "due"
OVERDUE = "overdue"
POSTPONED = "postponed"
DONE = "done"
MISSED = "missed"

OPEN_STATES = frozenset((LATER, DUE, OVERDUE, POSTPONED))

GRACE_AT_MOST = timedelta(days=14)
"""Longest grace that follows from the interval alone.

A quarter of the interval is the extension that US NRC Generic Letter 89-14 allows a surveillance
interval, there too measured from the last performance.
"""
MISSED_AT_MOST = 99
_NONE = timedelta(0)


class DueItem(msgspec.Struct, frozen=True, kw_only=True):
    """A task as it stands at one instant; times are instants in UTC."""

    task: Task
    state: str
    in_round: bool
    """False: it comes due after the current round day."""
    due_at: datetime | None = None
    """For what was closed or missed: when it had been due."""
    fine_until: datetime | None = None
    postponed_until: datetime | None = None
    could_not: str | None = None
    tried_today: bool = False
    """Whether it could not be done in this round day."""
    closed_at: datetime | None = None
    closed_by: str | None = None
    closing: Record | None = None
    """The record that closed it."""
    next_due_at: datetime | None = None
    """Only of what was closed."""
    last_done: Record | None = None
    """The last time it was really done."""
    last_closed: Record | None = None
    """The last closing record, also "not needed"."""
    interval: timedelta = ONE_DAY
    """Its nominal interval."""
    late_by: timedelta = _NONE
    late_intervals: float = 0.0
    missed: int = 0
    """Later occurrences that have come meanwhile."""
    because: str = ""
    """The sentences of the forecast or the record that called it; empty: its rule did."""
    out_of_service: str | None = None
    """The name of the equipment that is off, so that it cannot be done or read, or was when it came due."""


class Forecast(msgspec.Struct, frozen=True, kw_only=True):
    """What the levels say about a reservoir: by when it has to be refilled."""

    task: str
    """Full id of the ``-refill`` task it calls."""
    due_at: datetime
    fine_until: datetime
    importance: str = "husbandry"
    """One of `IMPORTANCES`."""
    why: str = ""
    """The arithmetic, in sentences."""
    closed: bool = False
    """It stood so until the first refill of this round day closed it."""


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


def due_items(room: Room, history: History, now: datetime, forecasts: Sequence[Forecast] = ()) -> list[DueItem]:
    """Every item that stands at `now`, in the order of the round.

    The round of the current round day are those with ``in_round``; the others come due later.
    """
    history.check(now)
    day = room.calendar.round_day(now)
    found = [
        item for task, called in tasks_with(room, forecasts) for item in items_of(room, history, task, now, day, called)
    ]
    return with_errands(room, history, found, now, day)


def with_errands(room: Room, history: History, items: list[DueItem], now: datetime, day: date) -> list[DueItem]:
    """The items of the room's files in walking order, and at each station after them what records ask for.

    What cannot be done or read because its equipment is off is postponed until that is put back, and is not missed.
    """
    if room.served:
        off = not_in_service(off_normal(room, history, now))
        items = [_out_of_service(room, history, item, off) for item in items]
    asked = [
        item
        for errand in errands(room, history, now, room.calendar.start(day))
        for item in _errand_items(room, history, errand, now, day)
    ]
    if not asked:
        return items
    closed = {item.task.id for item in asked if item.closed_at is not None}
    others = (item for item in items if item.task.id not in closed)
    return sorted([*others, *asked], key=lambda item: room.places[item.task.system, item.task.station])


def _out_of_service(room: Room, history: History, item: DueItem, off: Mapping[str, OffNormal]) -> DueItem:
    equipment = item.task.equipment
    if equipment is None or item.closed_at is not None:
        return item
    if item.state == MISSED and item.due_at is not None:
        was = not_in_service(off_normal_at(room, history, equipment, item.due_at)).get(equipment)
        return msgspec.structs.replace(item, state=NOT_NEEDED, out_of_service=was.name) if was is not None else item
    left = off.get(equipment)
    if left is None:
        return item
    state = POSTPONED if item.state in (DUE, OVERDUE) else item.state
    until = left.until if state == POSTPONED else None
    return msgspec.structs.replace(item, state=state, postponed_until=until, out_of_service=left.name)


def _errand_items(room: Room, history: History, errand: Errand, now: datetime, day: date) -> Iterator[DueItem]:
    """What is open of an errand, and what of it was closed in this round day."""
    task, last = errand.task, errand.closings[-1] if errand.closings else None
    current = None
    if errand.due_at is not None and errand.fine_until is not None:
        current = Due(errand.due_at, errand.fine_until, errand.interval, errand.since, because=errand.why)
    if last is not None and (was := errand.was_due) is not None:
        before = Due(was, was, errand.interval, errand.since, because=errand.why)
        yield _closed_item(history, task, last, before, current, now)
    if current is not None:
        yield _open_item(room, history, task, current, last, now, day)


def tasks_with(room: Room, forecasts: Sequence[Forecast]) -> Iterable[tuple[Task, tuple[Forecast, ...]]]:
    """The tasks that are asked for by themselves and the refills that forecasts call, in walking order."""
    if not forecasts:
        return ((task, ()) for task in room.running)
    called: dict[str, tuple[Forecast, ...]] = {}
    for forecast in forecasts:
        called[forecast.task] = (*called.get(forecast.task, ()), forecast)
    return (
        (task, called.get(task.id, ()))
        for task in room.tasks.values()
        if (task.source != "refill" or task.id in called) and room.runs(task)
    )


def overdue_order(items: Iterable[DueItem]) -> list[DueItem]:
    """What is overdue, by importance and then by how many of its intervals it is late."""
    late = [item for item in items if item.state == OVERDUE]
    return sorted(late, key=lambda item: (IMPORTANCES.index(item.task.importance), -item.late_intervals))


def items_of(
    room: Room, history: History, task: Task, now: datetime, day: date, forecasts: Sequence[Forecast] = ()
) -> list[DueItem]:
    """The items of one task at `now`, which lies in the round day `day`, by when they were due."""
    if isinstance(task.rule, OnDates):
        items = list(_on_dates(room, history, task, now, day))
    else:
        items = list(_single(room, history, task, now, day, forecasts))
    if len(items) > 1:
        items.sort(key=lambda item: (item.due_at is not None, item.due_at))
    return items


def closed_before(room: Room, history: History, task: Task, at: datetime) -> Record | None:
    """A closing so near to `at` that a second one there may be a slip; None when there is none.

    Near is within a tenth of the task's interval, or in the same window.
    """
    log = closings_of(history, task)
    near = interval_of(room, task, at) / 10
    beside = log.through(at - near, at + near)
    if not beside and isinstance(task.rule, OnDates):
        occurrences = occurrences_of(room, task)
        window = occurrences.holding(at)
        if window is not None:
            beside = _closings_in(log, window, occurrences.next(window), None)
    elif not beside and isinstance(task.rule, Once):
        beside = list(log)
    return min(beside, key=lambda record: abs(record.at - at), default=None)


def interval_of(room: Room, task: Task, at: datetime) -> timedelta:
    """The nominal interval of the task around the instant `at`."""
    if isinstance(task.rule, AgainAfter):
        return task.rule.span.nominal
    if isinstance(task.rule, OnDates):
        occurrences = occurrences_of(room, task)
        around = occurrences.holding(at) or occurrences.first
        return around.gap if around else ONE_DAY
    return ONE_DAY


def occurrences_of(room: Room, task: Task) -> Occurrences:
    """The occurrences of a task with a rule fixed in the calendar; one object per distinct rule."""
    assert isinstance(task.rule, OnDates)
    times = task.times or (task_time(room, task),)
    start = task.first_day or room.began
    return _occurrences(room.calendar, task.rule.dates, start, times, task.early, task.last_day)


@lru_cache(maxsize=8192)
def _occurrences(
    calendar: Calendar,
    dates: RRule | tuple[date, ...],
    start: date,
    times: tuple[time, ...],
    early: timedelta | None,
    last: date | None,
) -> Occurrences:
    return Occurrences(calendar, dates_of(dates, start), times, early, last)


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
    calendar = room.calendar
    shift = task.shift
    return max(fine, calendar.shift_end(day, shift.begins, shift.ends) if shift else calendar.end(day))


def _timed(task: Task) -> bool:
    """Whether the rule itself says the hour and minute."""
    rule = task.rule
    return (isinstance(rule, AgainAfter) and rule.span.exact) or (isinstance(rule, Once) and rule.clock is not None)


# -- counted from the last closing, one time, or called ------------------------------------------


def _single(
    room: Room, history: History, task: Task, now: datetime, day: date, forecasts: Sequence[Forecast]
) -> Iterator[DueItem]:
    """Items of a task that has one at a time: the open one, and what was closed in this round day."""
    log = closings_of(history, task)
    last = log.last(now)
    called = next((forecast for forecast in forecasts if not forecast.closed), None)
    current = due_after(room, task, last.at if last is not None else None) if called is None else _called_due(called)
    begin = room.calendar.start(day)
    if last is not None and last.at >= begin:
        closed = log.through(begin, now)
        answered = next((forecast for forecast in forecasts if forecast.closed), None)
        if answered is None:
            before = next((r for r in log.latest(now) if r.key < closed[0].key), None)
            was = due_after(room, task, before.at if before is not None else None)
        else:
            was = _called_due(answered)
        yield _closed_item(history, _called(task, answered), closed[-1], was, current, now)
    if current is not None:
        yield _open_item(room, history, _called(task, called), current, last, now, day)


def _called_due(forecast: Forecast) -> Due:
    return Due(forecast.due_at, forecast.fine_until, ONE_DAY, None, because=forecast.why)


def _called(task: Task, forecast: Forecast | None) -> Task:
    """The task as important as the forecast that calls it."""
    if forecast is None or forecast.importance == task.importance:
        return task
    return msgspec.structs.replace(task, importance=forecast.importance)


def due_after(room: Room, task: Task, last: datetime | None) -> Due | None:
    """When a task without dates of its own is due, last closed at `last`; None when it does not come due again."""
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
    if last is None:
        due_day = task.first_day or room.began
        due = calendar.start(due_day) if rule.span.exact else calendar.wall(due_day, task_time(room, task))
    else:
        if rule.span.exact:
            due = last.astimezone(UTC) + interval
            due_day = calendar.round_day(due)
        else:
            due_day = _add(calendar.round_day(last), rule)
            due = calendar.wall(due_day, task_time(room, task))
        if task.first_day is not None and due_day < task.first_day:
            due_day = task.first_day
            due = calendar.wall(due_day, task_time(room, task))
    if task.last_day is not None and due_day > task.last_day:
        return None
    return Due(due, fine_until(room, task, due, due_day, interval), interval, None)


def _add(day: date, rule: AgainAfter) -> date:
    """The round day a nominal span after `day`; the 31st becomes the last day of a shorter month."""
    span = rule.span
    if span.unit in ("days", "weeks"):
        return day + span.nominal
    months = day.year * 12 + day.month - 1 + span.number * (12 if span.unit == "years" else 1)
    year, month = months // 12, months % 12 + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))


# -- fixed in the calendar -----------------------------------------------------------------------


def _on_dates(room: Room, history: History, task: Task, now: datetime, day: date) -> Iterator[DueItem]:
    occurrences = occurrences_of(room, task)
    log = closings_of(history, task)
    last = log.last(now)
    if task.make_up:
        occurrence = _to_make_up(occurrences, last)
    else:
        occurrence = _not_made_up(room, task, occurrences, log, now)
    current = None
    if occurrence is not None:
        missed = 0
        if task.make_up and occurrence.due <= now:
            missed = sum(1 for _, _ in zip(range(MISSED_AT_MOST), occurrences.following(occurrence, now), strict=False))
        current = due_on(room, task, occurrence, missed)
        yield _open_item(room, history, task, current, last, now, day)
    yield from _closed_occurrences(room, history, task, occurrences, current, now, day)
    if not task.make_up:
        for each in lapsing(room, task, occurrences, day):
            if occurrence is not None and each.due == occurrence.due:
                continue
            following = occurrences.next(each)
            if _closings_in(log, each, following, now):
                continue
            if now >= lapses(room, task, each, following):
                yield _missed_item(room, history, task, each, following, now, last)
            elif each.day == day and occurrence is not None and each.due > occurrence.due:
                yield _open_item(room, history, task, due_on(room, task, each), last, now, day)


def lapsing(room: Room, task: Task, occurrences: Occurrences, day: date) -> list[Occurrence]:
    """The occurrences of this round day and the one before, and older ones that lapse only in these days."""
    found = [*occurrences.on(day - ONE_DAY), *occurrences.on(day)]
    if task.lapse is None or task.lapse <= timedelta(0):
        return found
    older = occurrences.due_from(room.calendar.start(day - ONE_DAY) - task.lapse)
    older_found = []
    while older is not None and older.due + task.lapse < room.calendar.end(day) and older.day < day - ONE_DAY:
        older_found.append(older)
        older = occurrences.next(older)
    return older_found + found


def _to_make_up(occurrences: Occurrences, last: Record | None) -> Occurrence | None:
    """The first occurrence after the last closed one."""
    closed = occurrences.holding(last.at) if last is not None else None
    return occurrences.next(closed) if closed is not None else occurrences.first


def _not_made_up(room: Room, task: Task, occurrences: Occurrences, log: Log, now: datetime) -> Occurrence | None:
    """The occurrence whose window holds `now`, or the next one when that is closed or has lapsed."""
    held = occurrences.holding(now)
    if held is None:
        return occurrences.first
    following = occurrences.next(held)
    if _closings_in(log, held, following, now) or now >= lapses(room, task, held, following):
        return following
    return held


def lapses(room: Room, task: Task, occurrence: Occurrence, following: Occurrence | None) -> datetime:
    """When an occurrence that is not made up lapses; `following` is the one after it."""
    if task.lapse is not None:
        return occurrence.due + task.lapse
    end = room.calendar.end(occurrence.day)
    return min(end, following.opens) if following is not None else end


def lapsed_at(room: Room, item: DueItem) -> datetime | None:
    """When a missed item lapsed; None for what is not missed."""
    if item.state != MISSED or item.due_at is None:
        return None
    occurrences = occurrences_of(room, item.task)
    occurrence = occurrences.due_from(item.due_at)
    return lapses(room, item.task, occurrence, occurrences.next(occurrence)) if occurrence is not None else None


def last_chance(room: Room, task: Task, occurrence: Occurrence, following: Occurrence | None) -> datetime:
    """The first instant at which an occurrence that is not made up can no longer be done."""
    lapsed = lapses(room, task, occurrence, following)
    return min(lapsed, following.opens) if following is not None else lapsed


def _closings_in(log: Log, occurrence: Occurrence, following: Occurrence | None, now: datetime | None) -> list[Record]:
    """The closing records in the window of an occurrence, up to `now`."""
    end = following.opens if following is not None else datetime.max.replace(tzinfo=occurrence.due.tzinfo)
    if now is not None:
        end = min(end, now + timedelta(microseconds=1))
    return list(log.between(occurrence.opens, end))


def due_on(room: Room, task: Task, occurrence: Occurrence, missed: int = 0) -> Due:
    """One occurrence of a rule fixed in the calendar, as the open item of its task."""
    fine = fine_until(room, task, occurrence.due, occurrence.day, occurrence.gap)
    return Due(occurrence.due, fine, occurrence.gap, occurrence.opens, occurrence, missed)


def _closed_occurrences(
    room: Room, history: History, task: Task, occurrences: Occurrences, current: Due | None, now: datetime, day: date
) -> Iterator[DueItem]:
    """One item for each occurrence that was closed in this round day."""
    log = closings_of(history, task)
    begin = room.calendar.start(day)
    closed: dict[datetime, tuple[Occurrence, list[Record]]] = {}
    for record in log.through(begin, now):
        occurrence = occurrences.holding(record.at)
        if occurrence is not None:
            closed.setdefault(occurrence.due, (occurrence, []))[1].append(record)
    for occurrence, records in closed.values():
        was = occurrence
        if task.make_up:
            before = next((r for r in log.latest(now) if r.key < records[0].key), None)
            to_make_up = _to_make_up(occurrences, before)
            if to_make_up is not None and to_make_up.due < occurrence.due:
                was = to_make_up
        yield _closed_item(history, task, records[-1], due_on(room, task, was), current, now)


# -- one item --------------------------------------------------------------------------------------


def _open_item(
    room: Room, history: History, task: Task, current: Due, last: Record | None, now: datetime, day: date
) -> DueItem:
    state, until = LATER, None
    if now >= current.due:
        until = postponed_until(history, task, current.opens, last, now) if now <= current.fine_until else None
        late_at_once = current.fine_until == current.due
        state = OVERDUE if late_at_once or now > current.fine_until else POSTPONED if until is not None else DUE
    late = now - current.due if state != LATER else _NONE
    tried = _tried(history, task, last, current.opens, now)
    return DueItem(
        task=task,
        state=state,
        in_round=state != LATER or current.due < room.calendar.end(day),
        due_at=current.due,
        fine_until=current.fine_until,
        postponed_until=until,
        could_not=tried.reason if tried is not None else None,
        tried_today=tried is not None and tried.at >= room.calendar.start(day),
        last_done=_last_done(history, task, now),
        last_closed=last,
        late_by=late,
        late_intervals=late / current.interval,
        interval=current.interval,
        missed=current.missed,
        because=current.because,
    )


def postponed_until(
    history: History, task: Task, opens: datetime | None, last: Record | None, now: datetime
) -> datetime | None:
    """Until when the open item is put off: its window `opens`, or it has none, and `last` closed its task last."""
    postponed = history.postponements(task.id).last(now)
    if (
        postponed is None
        or postponed.until is None
        or postponed.until <= now
        or (last is not None and postponed.key <= last.key)
        or (opens is not None and postponed.at < opens)
    ):
        return None
    return postponed.until


def _tried(history: History, task: Task, last: Record | None, opens: datetime | None, now: datetime) -> Record | None:
    """The latest "could not" that still stands for the open item."""
    tried = history.could_nots(task.id).last(now)
    if tried is None or (last is not None and tried.key <= last.key) or (opens is not None and tried.at < opens):
        return None
    return tried


def _closed_item(
    history: History, task: Task, closing: Record, was: Due | None, current: Due | None, now: datetime
) -> DueItem:
    return DueItem(
        task=task,
        state=NOT_NEEDED if closing.kind == NOT_NEEDED else DONE,
        in_round=True,
        due_at=was.due if was is not None else None,
        fine_until=was.fine_until if was is not None else None,
        closed_at=closing.at,
        closed_by=closing.by,
        closing=closing,
        next_due_at=current.due if current is not None else None,
        last_done=_last_done(history, task, now),
        last_closed=closing,
        because=was.because if was is not None else "",
    )


def _missed_item(
    room: Room, history: History, task: Task, occurrence: Occurrence, following: Occurrence | None,
    now: datetime, last: Record | None,
) -> DueItem:  # fmt: skip
    could_not = None
    until = now + timedelta(microseconds=1)
    end = min(following.opens, until) if following is not None else until
    tried = history.could_nots(task.id).between(occurrence.opens, end)
    if tried:
        could_not = tried[-1].reason
    return DueItem(
        task=task,
        state=MISSED,
        in_round=True,
        due_at=occurrence.due,
        fine_until=fine_until(room, task, occurrence.due, occurrence.day, occurrence.gap),
        could_not=could_not,
        last_done=_last_done(history, task, now),
        last_closed=last,
    )


def _last_done(history: History, task: Task, now: datetime) -> Record | None:
    return next((r for r in closings_of(history, task).latest(now) if r.kind != NOT_NEEDED), None)
