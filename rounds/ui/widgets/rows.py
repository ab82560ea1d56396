"""The rows of one station: only what is on screen is built, and rows are used again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from textual import events
from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget

from rounds.core.items import DueItem
from rounds.core.model import Room
from rounds.ui.messages import RowPicked
from rounds.ui.text import row


class ItemRow(Widget):
    """One line; redrawn without a new layout."""

    def __init__(self, place: int) -> None:
        super().__init__()
        self.place = place
        self._shown: tuple[Room, DueItem, datetime] | None = None
        self._current = False

    def show(self, room: Room, item: DueItem, now: datetime) -> None:
        self._shown = (room, item, now)
        self.refresh()

    def mark(self, current: bool) -> None:
        if current != self._current:
            self._current = current
            self.set_class(current, "-current")
            self.refresh()

    def render(self) -> Content:
        if self._shown is None:
            return Content("")
        room, item, now = self._shown
        return row(room, item, now, self.size.width, self.size.height, self._current)

    def on_click(self, event: events.Click) -> None:
        event.stop()
        self.post_message(RowPicked(self.place))


class StationRows(VerticalScroll, inherit_bindings=False):
    """The due items of the station, one of them current."""

    can_focus = True

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._rows: list[ItemRow] = []
        self._used = 0
        self._current = -1

    def compose(self) -> ComposeResult:
        yield from self._rows

    def show(self, room: Room, items: Sequence[DueItem], now: datetime, current: int) -> None:
        """Show the items and mark the row `current`."""
        new = [ItemRow(place) for place in range(len(self._rows), len(items))]
        self._rows += new
        if new and self.is_attached:
            self.mount_all(new)
        for place, line in enumerate(self._rows):
            used = place < len(items)
            if line.display != used:
                line.display = used
            if used:
                line.show(room, items[place], now)
        self._used = len(items)
        self.mark(current)

    def mark(self, current: int) -> None:
        """Move the pointer to the row `current`."""
        for place, line in enumerate(self._rows):
            line.mark(place == current)
        self._current = current
        if 0 <= current < self._used and self._rows[current].is_attached:
            self._rows[current].scroll_visible(animate=False, force=True)

    @property
    def current_row(self) -> ItemRow | None:
        return self._rows[self._current] if 0 <= self._current < self._used else None
