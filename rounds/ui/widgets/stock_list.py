"""The list of stock, drawn line by line."""

from __future__ import annotations

from textual.content import Content

from rounds.report.stock import (
    LATER,
    NOW,
    SOON,
    StockRow,
    asked_text,
    expires_text,
    lasts_text,
    level_text,
    minimum_text,
)
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.row_list import RowList

SHAPES = {NOW: "▲", SOON: "○", LATER: "·"}
STYLES = {NOW: "bold $text-error", SOON: "bold $text-warning", LATER: ""}

_LEVEL = 14
_ASKED = 16
"""Columns."""


class StockList(RowList[StockRow]):
    """Each item with what is left and what is asked for; its minimum, how long it lasts and its last day below."""

    def height(self, row: StockRow) -> int:
        return 2

    def lines_of(self, row: StockRow, width: int, *, current: bool) -> list[Content]:
        style = STYLES[row.urgency]
        parts = (minimum_text(row.found), lasts_text(row.found), expires_text(row.found), row.place)
        return [
            Content.assemble(
                ("▸ " if current else "  ", "bold $text-accent"),
                (f"{SHAPES[row.urgency]} ", style),
                (fit(row.name, max(8, width - 4 - _LEVEL - _ASKED)), "bold" if current else ""),
                fit(level_text(row.found), _LEVEL, right=True),
                (fit(asked_text(row), _ASKED, right=True), style),
            ),
            Content.assemble("    ", (fit(", ".join(part for part in parts if part), max(0, width - 4)), MUTED)),
        ]
