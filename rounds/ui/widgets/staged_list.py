"""The list of what is changed in steps, drawn line by line."""

from __future__ import annotations

from textual.content import Content

from rounds.report.staged import Staged, state_text
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.row_list import RowList

_STATE = 10
"""Columns."""


class StagedList(RowList[Staged]):
    """Each with whether to hold it; where it is and what it is set to below."""

    def height(self, row: Staged) -> int:
        return 2

    def lines_of(self, row: Staged, width: int, *, current: bool) -> list[Content]:
        style = "bold $text-warning" if row.against else ""
        shape = "▲" if row.against else "=" if row.held is not None else "·"
        below = ", ".join(part for part in (row.present, row.place) if part)
        return [
            Content.assemble(
                ("▸ " if current else "  ", "bold $text-accent"),
                (f"{shape} ", style),
                (fit(row.name, max(8, width - 4 - _STATE)), "bold" if current else ""),
                (fit(state_text(row), _STATE, right=True), style),
            ),
            Content.assemble("    ", (fit(below, max(0, width - 4)), MUTED)),
        ]
