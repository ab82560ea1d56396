"""A list drawn line by line, one of its rows current: hundreds of rows cost no more than what is on screen."""

from __future__ import annotations

from abc import abstractmethod
from bisect import bisect_right
from itertools import accumulate

from textual import events
from textual.content import Content
from textual.geometry import Region, Size
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.visual import Visual

from rounds.ui.messages import RowPicked


class PickList(ScrollView, inherit_bindings=False):
    """Rows of one or more lines; the screen has the keys and says which row is current."""

    can_focus = True

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self.current = 0
        """The place of the row that the pointer is on."""
        self._starts: list[int] = [0]
        """The first line of each row, and the line after the last."""

    @abstractmethod
    def heights(self) -> list[int]:
        """How many lines each row takes, with what keeps it apart from the next."""

    @abstractmethod
    def row_lines(self, place: int, width: int) -> list[Content]:
        """The lines of one row; those that are missing stay empty."""

    @property
    def page(self) -> int:
        """Rows that are seen at once."""
        return max(1, self.scrollable_content_region.height // max(self.heights(), default=1))

    def mark(self, current: int) -> None:
        """Move the pointer, and the list as far as it has to be seen."""
        self.current = current
        before = self._starts[-1]
        self._starts = [0, *accumulate(self.heights())]
        self.virtual_size = Size(0, self._starts[-1])
        self.refresh(layout=self._starts[-1] != before)
        if current < len(self._starts) - 1:
            first, height = self._starts[current], self._starts[current + 1] - self._starts[current]
            self.scroll_to_region(Region(0, first, 1, height), animate=False, force=True, immediate=True)

    def on_resize(self) -> None:
        self.mark(self.current)

    def notify_style_update(self) -> None:
        """Another theme: the lines are drawn again."""
        super().notify_style_update()
        self.refresh()

    def render_line(self, y: int) -> Strip:
        width = self.scrollable_content_region.width
        line = y + self.scroll_offset.y
        if width <= 0 or line >= self._starts[-1]:
            return Strip.blank(width, self.rich_style)
        place = self._place_of(line)
        lines = self.row_lines(place, width)
        if line - self._starts[place] >= len(lines):
            return Strip.blank(width, self.rich_style)
        content = lines[line - self._starts[place]]
        if place == self.current:
            content = Content.assemble(content, " " * max(0, width - content.cell_length)).stylize_before("on $panel")
        strips = Visual.to_strips(self, content, width, 1, self.visual_style)
        return strips[0] if strips else Strip.blank(width, self.rich_style)

    def _place_of(self, line: int) -> int:
        return bisect_right(self._starts, line) - 1

    def on_click(self, event: events.Click) -> None:
        event.stop()
        line = event.y + self.scroll_offset.y
        if line < self._starts[-1]:
            self.post_message(RowPicked(self._place_of(line)))
