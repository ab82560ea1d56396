"""The list of what is changed in steps, drawn line by line."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from rounds.report.staged import Staged, state_text
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

_STATE = 10
"""Columns."""


class StagedList(PickList):
    """Each with whether to hold it; where it is and what it is set to below."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[Staged] = ()

    def show(self, rows: Sequence[Staged], current: int) -> None:
        self._shown = rows
        self.mark(current)

    def heights(self) -> list[int]:
        return [2] * len(self._shown)

    def row_lines(self, place: int, width: int) -> list[Content]:
        row, current = self._shown[place], place == self.current
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
