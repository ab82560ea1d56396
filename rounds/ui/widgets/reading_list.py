"""The list of all readings, drawn line by line: a room of hundreds costs no more than what is on screen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from textual import events
from textual.content import Content
from textual.geometry import Region, Size
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.visual import Visual

from rounds.core.words import plain
from rounds.report.readings import ACT, LEAVING, NO_BAND, OUTSIDE, UNKNOWN, WITHIN, ReadingRow, age
from rounds.ui.messages import ReadingPicked
from rounds.ui.text import fit

MUTED = "$foreground 65%"

STYLES = {
    ACT: "bold $text-error",
    OUTSIDE: "bold $text-error",
    LEAVING: "bold $text-warning",
    WITHIN: "$text-success",
    NO_BAND: MUTED,
    UNKNOWN: MUTED,
}

_BROAD = 72
"""Columns from which two lines hold what otherwise takes three."""
_LAST, _AGE, _SPARK = 12, 14, 10


def shape(row: ReadingRow) -> str:
    """Filled where it is out of its band, hollow where it is on its way there, and pointing to that end."""
    if row.state == ACT:
        return "■"
    if row.state == OUTSIDE:
        return "▼" if row.below else "▲"
    if row.state == LEAVING:
        return "▽" if row.below else "△"
    return "·" if row.state == WITHIN else " "


def row_lines(row: ReadingRow, now: datetime, width: int, current: bool) -> list[Content]:
    """One reading on two lines, or on three where there is little room."""
    style = STYLES[row.state]
    pointer = Content.assemble(("▸ " if current else "  ", "bold $text-accent"), (f"{shape(row)} ", style))
    said = f"{plain(row.words)}; {plain(row.slope)}" if row.slope else plain(row.words)
    left = max(16, width - 4)
    spark = (fit(row.spark, _SPARK, right=True), style)
    band = (row.band, MUTED)
    if width >= _BROAD:
        name = _name(row, left - _LAST - _AGE - _SPARK - 4, current)
        value = (f"{fit(row.last, _LAST, right=True)}  ", "bold")
        when = (f"{fit(age(row, now), _AGE)}  ", MUTED)
        words = _said(row, said, left - len(row.band) - 2)
        return [Content.assemble(pointer, name, value, when, spark), Content.assemble("    ", words, "  ", band)]
    value = (f"{row.last}  " if row.last else "", "bold")
    when = (fit(age(row, now), max(0, left - len(value[0]) - len(row.band) - 1)), MUTED)
    return [
        Content.assemble(pointer, _name(row, left - _SPARK - 1, current), " ", spark),
        Content.assemble("    ", value, when, " ", band),
        Content.assemble("    ", _said(row, said, left)),
    ]


def _name(row: ReadingRow, width: int, current: bool) -> Content:
    """The reading, and behind it as much of its system's name as fits."""
    name = plain(row.reading.name)
    whole = fit(f"{name}  {plain(row.system)}", width)
    style = "bold" if current or row.state in (ACT, OUTSIDE, LEAVING) else ""
    return Content.assemble((whole[: len(name)], style), (whole[len(name) :], MUTED))


def _said(row: ReadingRow, said: str, width: int) -> Content:
    whole = fit(said, width)
    words = len(plain(row.words))
    return Content.assemble((whole[:words], STYLES[row.state]), (whole[words:], MUTED))


class ReadingList(ScrollView, inherit_bindings=False):
    """All readings in the order in which they ask for a look, one of them current."""

    can_focus = True

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._rows: Sequence[ReadingRow] = ()
        self._now: datetime | None = None
        self._current = 0

    @property
    def lines(self) -> int:
        """Lines that one reading takes."""
        return 2 if self.scrollable_content_region.width >= _BROAD else 3

    @property
    def page(self) -> int:
        """Readings that are seen at once."""
        return max(1, self.scrollable_content_region.height // self.lines)

    def show(self, rows: Sequence[ReadingRow], now: datetime, current: int) -> None:
        self._rows, self._now = rows, now
        self._measure()
        self.mark(current)
        self.refresh()

    def mark(self, current: int) -> None:
        """Move the pointer, and the list as far as it has to be seen."""
        self._current = current
        self.refresh()
        self.scroll_to_region(Region(0, current * self.lines, 1, self.lines), animate=False, force=True, immediate=True)

    def on_resize(self) -> None:
        self._measure()
        self.mark(self._current)

    def _measure(self) -> None:
        self.virtual_size = Size(0, len(self._rows) * self.lines)

    def render_line(self, y: int) -> Strip:
        width = self.scrollable_content_region.width
        place, line = divmod(y + self.scroll_offset.y, self.lines)
        if self._now is None or width <= 0 or place >= len(self._rows):
            return Strip.blank(width, self.rich_style)
        current = place == self._current
        content = row_lines(self._rows[place], self._now, width, current)[line]
        if current:
            content = Content.assemble(content, " " * max(0, width - content.cell_length)).stylize_before("on $panel")
        strips = Visual.to_strips(self, content, width, 1, self.visual_style)
        return strips[0] if strips else Strip.blank(width, self.rich_style)

    def on_click(self, event: events.Click) -> None:
        event.stop()
        place = (event.y + self.scroll_offset.y) // self.lines
        if place < len(self._rows):
            self.post_message(ReadingPicked(place))
