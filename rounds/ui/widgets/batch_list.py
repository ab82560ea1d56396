"""The list of what stands somewhere, drawn line by line."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from rounds.core.words import plain
from rounds.report.batches import Row
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

_COUNT = 7
"""Columns."""


class BatchList(PickList):
    """How many of what; where and how it stands on a second line."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[Row] = ()

    def show(self, rows: Sequence[Row], current: int) -> None:
        self._shown = rows
        self.mark(current)

    def heights(self) -> list[int]:
        return [2] * len(self._shown)

    def row_lines(self, place: int, width: int) -> list[Content]:
        row, current = self._shown[place], place == self.current
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
