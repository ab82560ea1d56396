"""The lists of set-up: the room's tables, and the fields of one of them."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from textual.content import Content

from rounds.report.setup import Row
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

_KIND = 11
_LABEL = 14
"""Columns."""


class SetupList(PickList):
    """Systems, their stations and what stands there, a line each."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[Row] = ()

    def show(self, rows: Sequence[Row], current: int) -> None:
        self._shown = rows
        self.mark(current)

    def heights(self) -> list[int]:
        return [1] * len(self._shown)

    def row_lines(self, place: int, width: int) -> list[Content]:
        row, current = self._shown[place], place == self.current
        left = max(8, width - 2 - _KIND - 2 * row.depth)
        note = fit(row.note, min(len(row.note), left // 2)) if row.note else ""
        style = "bold $text-accent" if row.depth == 0 else "bold" if current else ""
        return [
            Content.assemble(
                ("▸ " if current else "  ", "bold $text-accent"),
                "  " * row.depth,
                (fit(row.title, max(4, left - len(note) - 1)), style),
                " ",
                (note, MUTED),
                (f"{row.kind:>{_KIND}}", MUTED),
            )
        ]


class FieldRow(msgspec.Struct, frozen=True, kw_only=True):
    """One field as it stands in a form."""

    key: str
    label: str
    value: str
    fault: str = ""
    changed: bool = False


class FieldList(PickList):
    """The fields of a form: label, value, and under it what is wrong with it."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[FieldRow] = ()

    def show(self, rows: Sequence[FieldRow], current: int) -> None:
        self._shown = rows
        self.mark(current)
        self.refresh()

    def heights(self) -> list[int]:
        return [2 if row.fault else 1 for row in self._shown]

    def row_lines(self, place: int, width: int) -> list[Content]:
        row, current = self._shown[place], place == self.current
        line = Content.assemble(
            ("▸ " if current else "  ", "bold $text-accent"),
            (f"{row.label:<{_LABEL}} ", MUTED),
            ("* " if row.changed else "  ", "bold $text-warning"),
            (fit(row.value, max(4, width - _LABEL - 5)), "bold" if current else ""),
        )
        if not row.fault:
            return [line]
        return [line, Content.assemble("    ", (fit(f"▲ {row.fault}", max(4, width - 4)), "$text-error"))]
