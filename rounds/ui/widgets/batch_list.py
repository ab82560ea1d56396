"""The list of what stands somewhere, drawn line by line."""

from __future__ import annotations

from textual.content import Content

from rounds.core.words import plain
from rounds.report.batches import Row
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.row_list import RowList

_COUNT = 7
"""Columns."""


class BatchList(RowList[Row]):
    """How many of what; where and how it stands on a second line."""

    def height(self, row: Row) -> int:
        return 2

    def lines_of(self, row: Row, width: int, *, current: bool) -> list[Content]:
        what = fit(plain(row.batch.what), max(8, width - 4 - _COUNT))
        state = fit(row.state, min(len(row.state), max(8, (width - _COUNT - 6) * 2 // 3)))
        return [
            Content.assemble(
                ("▸ " if current else "  ", "bold $text-accent"),
                (f"{row.batch.count:>{_COUNT}}  ", "bold"),
                (what, "bold" if current else ""),
            ),
            Content.assemble(
                " " * (_COUNT + 4),
                (fit(row.place, max(0, width - _COUNT - 6 - len(state))), MUTED),
                "  ",
                (state, "bold $text-warning" if row.urgent else MUTED),
            ),
        ]
