"""What all sections of one handover are made of: the shift, its items and records, and how they are spoken of."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any

from rounds.core.handovers import MID_SHIFT
from rounds.core.history import History
from rounds.core.items import DUE, OPEN_STATES, OVERDUE, DueItem, Forecast, lapsed_at
from rounds.core.model import IMPORTANCES, Room
from rounds.core.record import DONE
from rounds.core.shifts import Duty, covering, covers, next_duty, span_of
from rounds.core.walk import place_name
from rounds.core.words import moment, plain
from rounds.report.handover import ANSWERED, Line
from rounds.report.past import Past

PastOf = Callable[[str], Past]
"""The records that stand of one system."""


class ShiftState:
    """One shift at the instant at which it is handed over."""

    def __init__(
        self,
        room: Room,
        history: History,
        now: datetime,
        duty: Duty,
        kind: str,
        items: Sequence[DueItem],
        forecasts: Sequence[Forecast],
        past_of: PastOf,
    ) -> None:
        self.room, self.history, self.now = room, history, now
        self.duty, self.kind = duty, kind
        self.items, self.forecasts, self.past_of = items, forecasts, past_of
        self.next = duty if kind == MID_SHIFT else next_duty(room, duty)
        self.begin, self.end = span_of(room, duty, now)
        self.calendar = room.calendar
        self.covers = covers(history, now)

    def missed_items(self) -> list[DueItem]:
        """What lapsed in the shift and is not made up."""
        lapsed = ((item, lapsed_at(self.room, item)) for item in self.items)
        return [item for item, at in lapsed if at is not None and at > self.begin]

    def counts(self, system: str | None = None) -> dict[str, int]:
        """Of the round of this round day: done, not needed, left, late and all of these; missed in the shift."""
        items = [item for item in self.items if item.in_round and system in (None, item.task.system)]
        done = sum(1 for item in items if item.closed_at is not None and item.state == DONE)
        found = {
            "done": done,
            "not_needed": sum(1 for item in items if item.closed_at is not None) - done,
            "left": sum(1 for item in items if item.state in OPEN_STATES),
            "late": sum(1 for item in items if item.state == OVERDUE),
            "missed": sum(1 for item in self.missed_items() if system in (None, item.task.system)),
        }
        found["round"] = found["done"] + found["not_needed"] + found["left"]
        return found

    def of_next(self, item: DueItem) -> bool:
        """Whether it came due for the next shift, which has begun already, and nobody tried it yet."""
        shift = item.task.shift
        return (
            self.next is not self.duty
            and item.state == DUE
            and shift is not None
            and shift.name == self.next.name
            and item.due_at is not None
            and item.due_at >= self.next.begins
            and item.could_not is None
        )

    def when(self, at: datetime | None) -> str:
        """As near as it is: ``08:00``, ``tomorrow 12:00``"""
        return moment(self.calendar, at, self.now) if at is not None else "at no known time"

    def item(self, item: DueItem) -> str:
        """``Reef, Sump: Rinse the cup (life support; for MK, who covers TV)``"""
        task = item.task
        about = [task.importance] if protecting(item) else []
        if task.keeper is not None:
            there = covering(self.covers, task.keeper)
            about.append(f"for {plain(there)}" + (f", who covers {plain(task.keeper)}" if there != task.keeper else ""))
        more = f" ({'; '.join(about)})" if about else ""
        return f"{place_name(self.room, task.system, task.station)}: {plain(task.title)}{more}"

    def item_json(self, item: DueItem) -> dict[str, Any]:
        stamp, task = self.calendar.stamp, item.task
        return {
            "id": task.id,
            "state": item.state,
            "importance": task.importance,
            "due_at": stamp(item.due_at),
            "fine_until": stamp(item.fine_until),
            "postponed_until": stamp(item.postponed_until),
            "could_not": item.could_not,
            "keeper": covering(self.covers, task.keeper) if task.keeper is not None else None,
            "out_of_service": item.out_of_service,
        }


def line(
    section: str,
    what: str,
    text: str,
    *,
    open: bool | None = None,
    strong: bool = False,
    system: str | None,
    data: dict[str, Any],
) -> Line:
    """A line of a section; without `open`, the section says whether it has to be answered."""
    asks = section in ANSWERED if open is None else open
    return Line(about=f"{section}:{what}", text=text, open=asks, strong=strong, system=system or "", data=data)


def protecting(item: DueItem) -> bool:
    """Whether it protects people or keeps animals alive."""
    return item.task.importance in IMPORTANCES[:2]


def pressing(item: DueItem) -> tuple[int, float]:
    """People and life support first, then what is most of its intervals late."""
    return IMPORTANCES.index(item.task.importance), -item.late_intervals
