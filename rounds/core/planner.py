"""The round worked out again and again: only what has changed since the last time is worked out anew."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

import msgspec

from rounds.core.calendar import INSTANT
from rounds.core.due import ends_at, occurrences_of
from rounds.core.history import History
from rounds.core.items import LATER, OPEN_STATES, DueItem, Forecast
from rounds.core.model import OnDates, Room, Task
from rounds.core.plan import items_of, lapsing, tasks_with, with_errands


class _Known(msgspec.Struct):
    """The items of one task and how long they hold."""

    version: int
    forecasts: tuple[Forecast, ...]
    since: datetime
    items: list[DueItem]
    until: datetime | None = None
    """From this instant on something may be different even if nothing is recorded; None: not asked yet."""


class Planner:
    """Answers like `due_items`, and remembers each task's items until time or a record changes them."""

    def __init__(self) -> None:
        self._known: dict[str, _Known] = {}
        self._of: tuple[Room, History, date] | None = None

    def items(self, room: Room, history: History, now: datetime, forecasts: Sequence[Forecast] = ()) -> list[DueItem]:
        """Every item at `now`; see `due_items`."""
        history.check(now)
        day = room.calendar.round_day(now)
        if self._of is None or self._of[0] is not room or self._of[1] is not history or self._of[2] != day:
            self._of = (room, history, day)
            self._known = {}
        found: list[DueItem] = []
        for task, called in tasks_with(room, forecasts):
            known = self._known.get(task.id)
            version = history.version(task.id)
            if known is not None and (known.version != version or known.forecasts != called):
                known = None
            if known is not None and known.until is None:
                known.until = _holds_until(room, history, task, known.items, known.since, day)
            if known is None or not known.since <= now < (known.until or now):
                items = items_of(room, history, task, now, day, called)
                self._known[task.id] = _Known(version, called, now, items)
                found += items
            else:
                found += [_at(item, now) if item.state in OPEN_STATES else item for item in known.items]
        return with_errands(room, history, found, now, day)


def _at(item: DueItem, now: datetime) -> DueItem:
    """The same item a little later: only its lateness grows."""
    if item.state == LATER or item.due_at is None or item.late_by == now - item.due_at:
        return item
    late = now - item.due_at
    return msgspec.structs.replace(item, late_by=late, late_intervals=late / item.interval)


def _holds_until(room: Room, history: History, task: Task, items: list[DueItem], now: datetime, day: date) -> datetime:
    """The next instant at which an item of the task can be another."""
    turns = [room.calendar.end(day)]
    for item in items:
        turns += [at for at in (item.due_at, item.postponed_until) if at is not None]
        if item.fine_until is not None:
            turn = item.fine_until + INSTANT  # it is fine up to and with that instant
            turns.append(turn)
    if (end := ends_at(room, task)) is not None:
        turns.append(end)
    if isinstance(task.rule, OnDates):
        occurrences = occurrences_of(room, task)
        around = [*lapsing(room, task, occurrences, day)]
        held = occurrences.holding(now) or occurrences.first
        if held is not None:
            around += [held, *(each for each in (occurrences.next(held),) if each is not None)]
        for each in around:
            turns += [each.due, each.opens, room.calendar.end(each.day)]
            if task.lapse is not None:
                turns.append(each.due + task.lapse)
    turns += history.turns(task.id, now)
    return min((turn for turn in turns if turn > now), default=now)
