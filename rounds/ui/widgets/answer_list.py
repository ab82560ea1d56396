"""The rows of one step of the set-up, drawn line by line."""

from __future__ import annotations

from typing import Any

import msgspec
from textual.content import Content

from rounds.core.words import plain
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.row_list import RowList

_LABEL = 20
"""Columns of what stands before a value."""


class AnswerRow(msgspec.Struct, frozen=True, kw_only=True):
    """One row."""

    key: Any = None
    """What the step knows it by; None: it is only read."""
    label: str
    value: str = ""
    heading: str = ""
    """Stands above it."""
    ticked: bool | None = None
    """None: it is not to be ticked."""


class AnswerList(RowList[AnswerRow]):
    """Each row on one line, a heading on the line above."""

    def height(self, row: AnswerRow) -> int:
        return 2 if row.heading else 1

    def lines_of(self, row: AnswerRow, width: int, *, current: bool) -> list[Content]:
        mark = "" if row.ticked is None else "■ " if row.ticked else "□ "
        label, value = plain(row.label), plain(row.value)
        left = width - 2 - len(mark)
        if value:
            label = fit(label, min(_LABEL, left // 2))
            left -= min(_LABEL, left // 2) + 2
            value = f"  {fit(value, max(0, left))}"
        else:
            label = fit(label, max(0, left))
        line = Content.assemble(
            ("▸ " if current else "  ", "bold $text-accent"),
            (mark, "$text-accent" if row.ticked else MUTED),
            (label, "bold" if current else ""),
            value,
        )
        return [Content.styled(fit(plain(row.heading), width), "bold $text-accent"), line] if row.heading else [line]
