"""What the coming days ask for, each thing taken as done as soon as it is due."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from itertools import takewhile

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.due import due_after, due_on, ends_at, last_chance, occurrences_of
from rounds.core.errand import Errand, times
from rounds.core.errands import errands
from rounds.core.history import History
from rounds.core.items import OPEN_STATES, OVERDUE, DueItem, Forecast, postponed_until
from rounds.core.model import AgainAfter, OnDates, Room, Task
from rounds.core.off_normal import not_in_service, off_normal
from rounds.core.plan import items_of, tasks_with
from rounds.core.protocols import due_again

DAYS = 14
"""How far is looked ahead: two weeks, of which the first day is the current one."""


class Coming(msgspec.Struct, frozen=True, kw_only=True):
    """One time at which something is to be done."""

    task: Task
    day: date
    """The round day on which it is done."""
    at: datetime
    """When it is done: as soon as it is due, what is due already now, what is put off when that ends."""
    due_at: datetime
    fine_until: datetime

    @property
    def minutes(self) -> int | None:
        """How long it takes; None: its task does not say."""
        return self.task.minutes


def coming(
    room: Room, history: History, now: datetime, days: int = DAYS, forecasts: Sequence[Forecast] = ()
) -> list[Coming]:
    """Everything to be done in the current round day and those after it, `days` of them together.

    By day, then in walking order. What is counted from the last time is counted on from when it is done here; refills
    are those that `forecasts` call. Pure, like `due_items`; raises `Incomplete` where not enough history was kept.
    """
    history.check(now)
    calendar = room.calendar
    day = calendar.round_day(now)
    end = calendar.end(day + (days - 1) * ONE_DAY)
    off = not_in_service(off_normal(room, history, now)) if room.served else {}

    def within(found: Iterable[Coming]) -> Iterator[Coming]:
        return takewhile(lambda each: each.at < end, found)

    found: list[Coming] = []
    for task, called in tasks_with(room, forecasts):
        items = items_of(room, history, task, now, day, called)
        item = next((each for each in items if each.state in OPEN_STATES), None)
        if item is not None:
            left = off.get(task.equipment or "")
            served = max(now, left.until) if left is not None else now
            found += within(_of_task(room, history, item, now, served))
    asked = [each for each in errands(room, history, now, calendar.start(day)) if each.due_at is not None]
    awaited = {id for errand in asked for id in errand.waits_for}
    ends: dict[str, datetime] = {}
    for errand in sorted(asked, key=lambda each: bool(each.waits_for)):
        after = max((ends[id] for id in errand.waits_for if id in ends), default=None)
        times_of_it = _of_errand(room, history, errand, now, after)
        if errand.task.id in awaited and errand.every is not None:
            times_of_it = iter(whole := list(times_of_it))
            ends[errand.task.id] = due_again(room, errand.every, whole[-1].at)
        found += within(times_of_it)
    return sorted(found, key=lambda each: (each.day, room.places[each.task.system, each.task.station]))


def again(room: Room, task: Task, last: datetime, served: datetime | None = None) -> Iterator[Coming]:
    """A task counted from the last time, done at `last` and then whenever it is due, not before `served`."""
    while (due := due_after(room, task, last)) is not None:
        last = max(due.due, served or due.due)
        yield _coming(room, task, last, due.due, due.fine_until)


def _of_task(room: Room, history: History, item: DueItem, now: datetime, served: datetime) -> Iterator[Coming]:
    """The times of one task from its open item on; `served`: from when on its equipment is in service."""
    end = ends_at(room, item.task)
    return takewhile(lambda each: end is None or each.at < end, _times(room, history, item, now, served))


def _times(room: Room, history: History, item: DueItem, now: datetime, served: datetime) -> Iterator[Coming]:
    task = item.task
    if isinstance(task.rule, OnDates):
        yield from _on_dates(room, history, item, now, served)
        return
    first = _first(room, history, item, None, now, served)
    yield first
    if isinstance(task.rule, AgainAfter):
        yield from again(room, task, first.at, served)


def _on_dates(room: Room, history: History, item: DueItem, now: datetime, served: datetime) -> Iterator[Coming]:
    task, occurrences = item.task, occurrences_of(room, item.task)
    assert item.due_at is not None
    occurrence = occurrences.due_from(item.due_at)
    assert occurrence is not None
    each = _first(room, history, item, occurrence.opens, now, served)
    while occurrence is not None:
        following = occurrences.next(occurrence)
        if task.make_up:
            yield each
            closed = occurrences.holding(each.at)  # done late it may close a later one, and with it all before
            occurrence = occurrences.next(closed) if closed is not None else following
        else:
            if each.at < last_chance(room, task, occurrence, following):
                yield each
            occurrence = following
        if occurrence is not None:
            due = due_on(room, task, occurrence)
            each = _coming(room, task, max(due.due, served), due.due, due.fine_until)


def _first(
    room: Room, history: History, item: DueItem, opens: datetime | None, now: datetime, served: datetime
) -> Coming:
    """The open item: it waits until it is due, in service, and no longer put off; once overdue nothing puts it off."""
    assert item.due_at is not None
    assert item.fine_until is not None
    put_off = None
    if item.state != OVERDUE:
        put_off = postponed_until(history, item.task, opens, item.last_closed, now)
    at = max(now, item.due_at, served, min(put_off or now, item.fine_until))
    return _coming(room, item.task, at, item.due_at, item.fine_until)


def _of_errand(room: Room, history: History, errand: Errand, now: datetime, after: datetime | None) -> Iterator[Coming]:
    """The times of an errand; those it waits for let it come no sooner than `after`."""
    task, due, fine = errand.task, errand.due_at, errand.fine_until
    assert due is not None
    assert fine is not None
    if after is not None and after > due:
        due, fine = after, after + (fine - due)
    last = errand.closings[-1] if errand.closings else None
    put_off = postponed_until(history, task, None, last, now) if now <= fine else None
    first = max(now, due, min(put_off or now, fine))
    yield _coming(room, task, first, due, fine)
    for at, until in times(room, errand, first):
        yield _coming(room, task, at, at, until)


def _coming(room: Room, task: Task, at: datetime, due: datetime, fine: datetime) -> Coming:
    return Coming(task=task, day=room.calendar.round_day(at), at=at, due_at=due, fine_until=fine)


def times_of(room: Room, history: History, task: Task, now: datetime) -> Iterator[Coming]:
    """The times of one task from `now` on, each done as soon as it is due; without end where its rule has none."""
    items = items_of(room, history, task, now, room.calendar.round_day(now), ())
    for item in items:
        if item.state in OPEN_STATES:
            return _of_task(room, history, item, now, now)
    return iter(())
