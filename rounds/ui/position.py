"""Where a keeper stands in the round: at which stop, on which row, and which rows are shown."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from rounds.core.items import OPEN_STATES, DueItem
from rounds.core.model import Room, Shift
from rounds.core.walk import Stop, in_shift, next_to_do, shift_at, stops


class Position:
    """Stays on its item when the round is worked out anew."""

    def __init__(self) -> None:
        self.items: list[DueItem] = []
        """All of the round and after it."""
        self.stops: list[Stop] = []
        self.stop = 0
        """Of the stops, the one where the keeper stands."""
        self.row = 0
        """Of the rows that are shown there, the one that the pointer is on."""
        self.only_left = False
        """Only what is left is shown."""
        self.only_shift = False
        """Only this shift's work is shown."""
        self._shift: Shift | None = None

    def take(self, room: Room, items: list[DueItem], now: datetime) -> None:
        """Take in the round as it stands at `now`."""
        current, key = self.current, self.stops[self.stop].key if self.stops else None
        self.items, self.stops, self._shift = items, stops(room, items), shift_at(room, now)
        keys = [stop.key for stop in self.stops]
        self.stop = keys.index(key) if key in keys else 0
        self.put(self.stop, self._same(self.rows, current, self.row))

    @staticmethod
    def _same(rows: Sequence[DueItem], item: DueItem | None, otherwise: int) -> int:
        """The place of an item among rows: of the same time, else of the same task, else another."""
        same = [place for place, each in enumerate(rows) if item is not None and each.task.id == item.task.id]
        exact = [place for place in same if item is not None and rows[place].due_at == item.due_at]
        return (exact or same or [otherwise])[0]

    @property
    def rows(self) -> list[DueItem]:
        """The items of the current station that are shown."""
        return self._rows_of(self.stop) if self.stops else []

    def _rows_of(self, stop: int) -> list[DueItem]:
        return [item for item in self.stops[stop].items if self.shown(item)]

    @property
    def current(self) -> DueItem | None:
        """The item the pointer is on; None where the station shows nothing."""
        rows = self.rows
        return rows[self.row] if 0 <= self.row < len(rows) else None

    def shown(self, item: DueItem) -> bool:
        if self.only_left and item.state not in OPEN_STATES:
            return False
        return not self.only_shift or in_shift(item, self._shift)

    def put(self, stop: int, row: int) -> None:
        """Stand somewhere else, or at the nearest row there is."""
        self.stop = stop % len(self.stops) if self.stops else 0
        self.row = max(0, min(row, len(self.rows) - 1))

    def put_on(self, station: tuple[str, str], task: str | None) -> None:
        """Stand at a station, on the row of a task; stay where neither is."""
        keys = [stop.key for stop in self.stops]
        if station in keys:
            self.stop = keys.index(station)
            self.row = next((row for row, item in enumerate(self.rows) if item.task.id == task), 0)

    def beyond(self, direction: int, *, last: bool = False) -> tuple[int, int] | None:
        """The next stop that way which shows something, and its first or `last` row; None: there is none."""
        stop = self.stop + direction
        while 0 <= stop < len(self.stops):
            if rows := self._rows_of(stop):
                return stop, len(rows) - 1 if last else 0
            stop += direction
        return None

    def next_to_do(self, after: DueItem | None = None) -> tuple[int, int] | None:
        """Stop and row of the next thing to do: on from here, or after the item that was recorded, this station first.

        None: nothing is left to do now.
        """
        here = self.stops[self.stop].items if self.stops else ()
        return self._next_after(self._same(here, after or self.current, -1), finish=after is not None)

    def first_to_do(self) -> tuple[int, int] | None:
        """Stop and row of the first thing to do of the round."""
        self.stop = 0
        return self._next_after(-1, finish=True)

    def _next_after(self, place: int, *, finish: bool) -> tuple[int, int] | None:
        found = next_to_do(self.stops, self.stop, place, self.shown, finish=finish)
        return (found[0], self.row_of(*found)) if found is not None else None

    def row_of(self, stop: int, item: DueItem) -> int:
        """The row of an item among those that are shown at its stop."""
        rows = self._rows_of(stop)
        return rows.index(item) if item in rows else 0

    def show(self, *, only_left: bool, only_shift: bool) -> None:
        """Show less or more, and stay on the same item, else go to what is next to do."""
        current = self.current
        self.only_left, self.only_shift = only_left, only_shift
        if current is not None and self.shown(current):
            self.row = self.row_of(self.stop, current)
        elif (there := self.next_to_do(current)) is not None:
            self.stop, self.row = there
        self.put(self.stop, self.row)
