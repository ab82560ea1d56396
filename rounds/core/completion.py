"""What came due in a time and what became of it: each task planned once over the whole of it, held against the records.

With it what was asked for by records: putting back, looks, steps of protocols, moving out of isolation, stock and kits.
Judged by the rules as they now stand. An occurrence fixed in the calendar is closed by what was recorded in its window;
what is counted from the last time, by the next closing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta

import msgspec

from rounds.core.calendar import INSTANT
from rounds.core.due import SAME_WITHIN, due_after, ends_at, fine_until, in_window, interval_of, lapses, occurrences_of
from rounds.core.errand import CameDue
from rounds.core.errands import came_due
from rounds.core.history import History, closings_of
from rounds.core.log import Log
from rounds.core.model import Called, OnDates, Room, Task
from rounds.core.occurrences import Occurrence
from rounds.core.record import NOT_NEEDED as SAID_NOT_NEEDED
from rounds.core.record import OFF_NORMAL, Record

IN_TIME = "in time"
LATE = "late"
NOT_NEEDED = "not needed"
NOT_DONE = "not done"
MISSED = "missed"
NOT_IN_SERVICE = "not in service"
OPEN = "open"

OUTCOMES = (IN_TIME, LATE, NOT_NEEDED, NOT_DONE, MISSED, NOT_IN_SERVICE, OPEN)
"""What can become of something that came due: `NOT_DONE` is open and late, `OPEN` is open and fine for a while."""

FAILED = frozenset((LATE, NOT_DONE, MISSED))


class Judged(msgspec.Struct, frozen=True, kw_only=True):
    """One time that a task came due, and what became of it."""

    task: Task
    due_at: datetime
    day: date
    """The round day it counts for: that on which it came due, or the first of the time looked at."""
    outcome: str
    """One of `OUTCOMES`."""
    late_by: timedelta = timedelta(0)
    """After it was fine, until it was closed, or until now."""


class Completion(msgspec.Struct, frozen=True, kw_only=True):
    """How one task fared."""

    task: Task
    counts: dict[str, int]
    """Number by outcome; those that are none are left out."""
    causes: tuple[tuple[str, int], ...]
    """What was recorded as the reason, with how often, the most frequent first."""

    @property
    def due(self) -> int:
        return sum(self.counts.values())

    @property
    def failed(self) -> int:
        """How often it was late, not done or missed."""
        return sum(self.counts.get(outcome, 0) for outcome in FAILED)


def judged(room: Room, history: History, begin: datetime, end: datetime, now: datetime) -> list[Judged]:
    """Everything that came due from `begin` up to `end` (and by `now`), or was open when that time began.

    Raises `Incomplete` where not enough of the history was kept.
    """
    by_rule = (each for task in room.running for each in _of_task(room, history, task, begin, end, now))
    return [*by_rule, *(_of_errand(room, each, begin, now) for each in came_due(room, history, begin, end, now))]


def completions(
    room: Room, history: History, found: Iterable[Judged], begin: datetime, end: datetime
) -> list[Completion]:
    """By task, what was late or not done most often first, with the causes recorded since the first of it was due."""
    by_task: dict[str, list[Judged]] = {}
    for each in found:
        by_task.setdefault(each.task.id, []).append(each)
    tasks = [
        Completion(
            task=of_it[0].task,
            counts=dict(Counter(each.outcome for each in of_it)),
            causes=causes(history, of_it[0].task, min(begin, of_it[0].due_at), end),
        )
        for of_it in by_task.values()
    ]
    return sorted(tasks, key=lambda each: (-each.failed, -each.failed / each.due))


def causes(history: History, task: Task, begin: datetime, end: datetime) -> tuple[tuple[str, int], ...]:
    """The reasons given for what could not be done, was postponed or was not needed, the most frequent first."""
    said = [
        f"{what}: {record.reason}"
        for what, log in (("could not", history.could_nots(task.id)), ("postponed", history.postponements(task.id)))
        for record in log.between(begin, end)
        if record.reason
    ]
    closed = closings_of(history, task).between(begin, end)
    said += [f"not needed: {each.reason}" for each in closed if each.kind == SAID_NOT_NEEDED and each.reason]
    return tuple(Counter(said).most_common())


def _of_task(
    room: Room, history: History, task: Task, begin: datetime, end: datetime, now: datetime
) -> Iterator[Judged]:
    times = _occurring if isinstance(task.rule, OnDates) else _one_by_one
    for due, fine, closing, lapsed in times(room, history, task, begin, min(end, now + INSTANT), now):
        if closing is not None:
            outcome = _closed(closing, fine)
        elif _not_in_service(history, task, due):
            outcome = NOT_IN_SERVICE
        else:
            outcome = MISSED if lapsed else _left_open(fine, now)
        yield _judged(room, task, due, begin, outcome, _until(closing, now) - fine)


def _of_errand(room: Room, each: CameDue, begin: datetime, now: datetime) -> Judged:
    fine, closing = each.fine_until, each.closing
    outcome = _closed(closing, fine) if closing is not None else _left_open(fine, now)
    return _judged(room, each.task, each.due_at, begin, outcome, _until(closing, now) - fine)


def _closed(closing: Record, fine: datetime) -> str:
    return NOT_NEEDED if closing.kind == SAID_NOT_NEEDED else LATE if closing.at > fine else IN_TIME


def _left_open(fine: datetime, now: datetime) -> str:
    return NOT_DONE if now > fine else OPEN


def _until(closing: Record | None, now: datetime) -> datetime:
    return closing.at if closing is not None else now


def _judged(room: Room, task: Task, due: datetime, begin: datetime, outcome: str, late: timedelta) -> Judged:
    return Judged(
        task=task,
        due_at=due,
        day=room.calendar.round_day(max(due, begin)),
        outcome=outcome,
        late_by=late if outcome in FAILED else timedelta(0),
    )


_Time = tuple[datetime, datetime, Record | None, bool]
"""Due, fine until, what closed it, and whether it has lapsed."""


def _one_by_one(
    room: Room, history: History, task: Task, begin: datetime, end: datetime, now: datetime
) -> Iterator[_Time]:
    """The times of a task that has one item at a time; a second closing soon after one is the same time twice."""
    if isinstance(task.rule, Called):
        return
    log = closings_of(history, task)
    near = interval_of(room, task, begin) / SAME_WITHIN
    last = log.last(begin - INSTANT)
    for closing in log.through(begin, now):
        due = due_after(room, task, last.at if last is not None else None)
        again = last is not None and closing.at - last.at < near
        last = closing
        if due is not None and due.due < end and not again:
            yield due.due, due.fine_until, closing, False
    due = due_after(room, task, last.at if last is not None else None)
    over = ends_at(room, task)
    if due is not None and due.due < end:
        yield due.due, due.fine_until, None, over is not None and now >= over


def _occurring(
    room: Room, history: History, task: Task, begin: datetime, end: datetime, now: datetime
) -> Iterator[_Time]:
    """The occurrences of a task that is fixed in the calendar, the one that was open at `begin` first."""
    occurrences = occurrences_of(room, task)
    log = closings_of(history, task)
    each = occurrences.due_from(begin)
    before = occurrences.holding(begin)
    if before is not None and before.due < begin:
        following = occurrences.next(before)
        closing = _closing(log, before, following, now)
        over = _over(room, task, before, following)
        if (closing is None or closing.at >= begin) and (over is None or over > begin):
            yield _time(room, task, before, following, closing, now)
    while each is not None and each.due < end:
        following = occurrences.next(each)
        yield _time(room, task, each, following, _closing(log, each, following, now), now)
        each = following


def _time(
    room: Room, task: Task, each: Occurrence, following: Occurrence | None, closing: Record | None, now: datetime
) -> _Time:
    over = _over(room, task, each, following)
    lapsed = over is not None and now >= over
    return each.due, fine_until(room, task, each.due, each.day, each.gap), closing, lapsed


def _over(room: Room, task: Task, each: Occurrence, following: Occurrence | None) -> datetime | None:
    """When it can be done no more: it lapses, the window of the next one opens or the task ends; None: never."""
    if not task.make_up:
        over: datetime | None = lapses(room, task, each, following)
    else:
        over = following.opens if following is not None else None
    end = ends_at(room, task)
    return min((at for at in (over, end) if at is not None), default=None)


def _closing(log: Log, each: Occurrence, following: Occurrence | None, now: datetime) -> Record | None:
    """What closed the occurrence first."""
    return next(iter(in_window(log, each, following, now)), None)


def _not_in_service(history: History, task: Task, at: datetime) -> bool:
    """Whether the equipment that it needs was off or shut when it came due."""
    if task.equipment is None:
        return False
    left = history.left_log(task.equipment).last(at)
    return left is not None and left.kind == OFF_NORMAL and not {"off", "shut"}.isdisjoint(left.words)
