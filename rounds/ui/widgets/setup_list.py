"""The lists of set-up: the room's tables, and the fields of one of them."""

from __future__ import annotations

import msgspec
from textual.content import Content

from rounds.report.setup import Row
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.row_list import RowList

_KIND = 11
_LABEL = 14
"""Columns; where a label is longer, as wide as that."""


class SetupList(RowList[Row]):
    """Systems, their stations and what stands there, a line each."""

    def height(self, row: Row) -> int:
        return 1

    def lines_of(self, row: Row, width: int, *, current: bool) -> list[Content]:
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


class FieldList(RowList[FieldRow]):
    """The fields of a form: label, value, and under it what is wrong with it."""

    def height(self, row: FieldRow) -> int:
        return 2 if row.fault else 1

    def lines_of(self, row: FieldRow, width: int, *, current: bool) -> list[Content]:
        label = max(_LABEL, *(len(each.label) for each in self._shown))
        line = Content.assemble(
            ("▸ " if current else "  ", "bold $text-accent"),
            (f"{row.label:<{label}} ", MUTED),
            ("* " if row.changed else "  ", "bold $text-warning"),
            (fit(row.value, max(4, width - label - 5)), "bold" if current else ""),
        )
        if not row.fault:
            return [line]
        return [line, Content.assemble("    ", (fit(f"▲ {row.fault}", max(4, width - 4)), "$text-error"))]
