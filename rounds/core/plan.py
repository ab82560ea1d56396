"""When a task is due: the round of a day from the room, its history and an instant.

Pure: the same room, history and instant give the same answer. Instants are in UTC; wall times
are read through the room's `Calendar`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, timedelta

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.due import SAME_WITHIN, Due, due_after, due_on, ends_at, in_window, interval_of, lapses, occurrences_of
from rounds.core.errand import Errand
from rounds.core.errands import errands
from rounds.core.history import History, closings_of
from rounds.core.items import (
    DUE,
    MISSED,
    OPEN_STATES,
    OVERDUE,
    POSTPONED,
    DueItem,
    Forecast,
    closed_item,
    missed_item,
    open_item,
)
from rounds.core.log import Log
from rounds.core.model import Once, OnDates, Room, Task
from rounds.core.occurrences import Occurrence, Occurrences
from rounds.core.off_normal import OffNormal, not_in_service, off_normal, off_normal_at
from rounds.core.record import NOT_NEEDED, Record

MISSED_AT_MOST = 99


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
        yield closed_item(history, task, last, before, current, now)
    if current is not None:
        yield open_item(room, history, task, current, last, now, day)


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


def items_of(
    room: Room, history: History, task: Task, now: datetime, day: date, forecasts: Sequence[Forecast] = ()
) -> list[DueItem]:
    """The items of one task at `now`, which lies in the round day `day`, by when they were due."""
    if isinstance(task.rule, OnDates):
        items = list(_on_dates(room, history, task, now, day))
    else:
        items = list(_single(room, history, task, now, day, forecasts))
    if (end := ends_at(room, task)) is not None and now >= end:
        items = [item for item in items if item.state not in OPEN_STATES]
    if len(items) > 1:
        items.sort(key=lambda item: (item.due_at is not None, item.due_at))
    return items


def closed_before(room: Room, history: History, task: Task, at: datetime) -> Record | None:
    """A closing so near to `at` that a second one there may be a slip; None when there is none.

    Near is within a tenth of the task's interval, or in the same window.
    """
    log = closings_of(history, task)
    near = interval_of(room, task, at) / SAME_WITHIN
    beside = log.through(at - near, at + near)
    if not beside and isinstance(task.rule, OnDates):
        occurrences = occurrences_of(room, task)
        window = occurrences.holding(at)
        if window is not None:
            beside = in_window(log, window, occurrences.next(window), None)
    elif not beside and isinstance(task.rule, Once):
        beside = list(log)
    return min(beside, key=lambda record: abs(record.at - at), default=None)


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
        yield closed_item(history, _called(task, answered), closed[-1], was, current, now)
    if current is not None:
        yield open_item(room, history, _called(task, called), current, last, now, day)


def _called_due(forecast: Forecast) -> Due:
    return Due(forecast.due_at, forecast.fine_until, ONE_DAY, None, because=forecast.why)


def _called(task: Task, forecast: Forecast | None) -> Task:
    """The task as important as the forecast that calls it."""
    if forecast is None or forecast.importance == task.importance:
        return task
    return msgspec.structs.replace(task, importance=forecast.importance)


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
        yield open_item(room, history, task, current, last, now, day)
    yield from _closed_occurrences(room, history, task, occurrences, current, now, day)
    if not task.make_up:
        for each in lapsing(room, task, occurrences, day):
            if occurrence is not None and each.due == occurrence.due:
                continue
            following = occurrences.next(each)
            if in_window(log, each, following, now):
                continue
            if now >= lapses(room, task, each, following):
                yield missed_item(room, history, task, each, following, now, last)
            elif each.day == day and occurrence is not None and each.due > occurrence.due:
                yield open_item(room, history, task, due_on(room, task, each), last, now, day)


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
    if in_window(log, held, following, now) or now >= lapses(room, task, held, following):
        return following
    return held


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
        yield closed_item(history, task, records[-1], due_on(room, task, was), current, now)
