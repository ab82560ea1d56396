"""The list of all readings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from textual.content import Content

from rounds.core.words import plain
from rounds.report.readings import ACT, LEAVING, NO_BAND, OUTSIDE, UNKNOWN, WITHIN, ReadingRow, age
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

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


class ReadingList(PickList):
    """All readings in the order in which they ask for a look."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: tuple[Sequence[ReadingRow], datetime] | None = None

    def show(self, rows: Sequence[ReadingRow], now: datetime, current: int) -> None:
        self._shown = (rows, now)
        self.mark(current)

    def heights(self) -> list[int]:
        lines = 2 if self.scrollable_content_region.width >= _BROAD else 3
        return [lines] * len(self._shown[0]) if self._shown is not None else []

    def row_lines(self, place: int, width: int) -> list[Content]:
        if self._shown is None:
            return []
        rows, now = self._shown
        return row_lines(rows[place], now, width, place == self.current)
