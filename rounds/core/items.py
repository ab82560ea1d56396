"""A task as it stands at one instant: open, closed or missed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.due import Due, fine_until, in_window, lapses, occurrences_of
from rounds.core.history import History, closings_of
from rounds.core.log import Log
from rounds.core.model import IMPORTANCES, Room, Task
from rounds.core.occurrences import Occurrence
from rounds.core.record import NOT_NEEDED, Record

LATER = "later"
DUE = "due"
OVERDUE = "overdue"
POSTPONED = "postponed"
DONE = "done"
MISSED = "missed"

OPEN_STATES = frozenset((LATER, DUE, OVERDUE, POSTPONED))

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
    """Only while it is postponed."""
    put_off: Record | None = None
    """Once it has come due: by what it was postponed last to after that, also where that time has passed or it is
    overdue."""
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


def open_item(
    room: Room, history: History, task: Task, current: Due, last: Record | None, now: datetime, day: date
) -> DueItem:
    """The task that is open and comes due as `current` says; `last` closed it last, `day` is the round day of `now`."""
    state, until, put_off = LATER, None, None
    if now >= current.due:
        put_off = _put_off(history, task, current, last, now)
        until = _still_to_come(put_off, now) if now <= current.fine_until else None
        late_at_once = current.fine_until == current.due
        state = OVERDUE if late_at_once or now > current.fine_until else POSTPONED if until is not None else DUE
    late = now - current.due if state != LATER else _NONE
    tried = _standing(history.could_nots(task.id), last, current.opens, now)
    return DueItem(
        task=task,
        state=state,
        in_round=state != LATER or current.due < room.calendar.end(day),
        due_at=current.due,
        fine_until=current.fine_until,
        postponed_until=until,
        put_off=put_off,
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


def closed_item(
    history: History, task: Task, closing: Record, was: Due | None, current: Due | None, now: datetime
) -> DueItem:
    """The task that `closing` closed: `was` due until then, `current` what comes next."""
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


def missed_item(
    room: Room, history: History, task: Task, occurrence: Occurrence, following: Occurrence | None,
    now: datetime, last: Record | None,
) -> DueItem:  # fmt: skip
    """The occurrence that lapsed without being closed; `following` comes after it, `last` closed the task last."""
    tried = in_window(history.could_nots(task.id), occurrence, following, now)
    return DueItem(
        task=task,
        state=MISSED,
        in_round=True,
        due_at=occurrence.due,
        fine_until=fine_until(room, task, occurrence.due, occurrence.day, occurrence.gap),
        could_not=tried[-1].reason if tried else None,
        last_done=_last_done(history, task, now),
        last_closed=last,
    )


def postponed_until(
    history: History, task: Task, opens: datetime | None, last: Record | None, now: datetime
) -> datetime | None:
    """Until when the open item is put off: its window `opens`, or it has none, and `last` closed its task last."""
    return _still_to_come(_standing(history.postponements(task.id), last, opens, now), now)


def _put_off(history: History, task: Task, current: Due, last: Record | None, now: datetime) -> Record | None:
    said = _standing(history.postponements(task.id), last, current.opens, now)
    return said if said is not None and said.until is not None and said.until > current.due else None


def _still_to_come(postponed: Record | None, now: datetime) -> datetime | None:
    return postponed.until if postponed is not None and postponed.until is not None and postponed.until > now else None


def _standing(log: Log, last: Record | None, opens: datetime | None, now: datetime) -> Record | None:
    """The latest of the log that still stands for the open item: said after its last closing, and in its window."""
    said = log.last(now)
    if said is None or (last is not None and said.key <= last.key) or (opens is not None and said.at < opens):
        return None
    return said


def _last_done(history: History, task: Task, now: datetime) -> Record | None:
    return next((r for r in closings_of(history, task).latest(now) if r.kind != NOT_NEEDED), None)


def lapsed_at(room: Room, item: DueItem) -> datetime | None:
    """When a missed item lapsed; None for what is not missed."""
    if item.state != MISSED or item.due_at is None:
        return None
    occurrences = occurrences_of(room, item.task)
    occurrence = occurrences.due_from(item.due_at)
    return lapses(room, item.task, occurrence, occurrences.next(occurrence)) if occurrence is not None else None


def overdue_order(items: Iterable[DueItem]) -> list[DueItem]:
    """What is overdue, by importance and then by how many of its intervals it is late."""
    late = [item for item in items if item.state == OVERDUE]
    return sorted(late, key=lambda item: (IMPORTANCES.index(item.task.importance), -item.late_intervals))
