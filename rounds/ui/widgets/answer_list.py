"""The rows of one step of the set-up, drawn line by line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec
from textual.content import Content

from rounds.core.words import plain
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

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


class AnswerList(PickList):
    """Each row on one line, a heading on the line above."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[AnswerRow] = ()

    def show(self, rows: Sequence[AnswerRow], current: int) -> None:
        self._shown = rows
        self.mark(current)

    def heights(self) -> list[int]:
        return [2 if row.heading else 1 for row in self._shown]

    def row_lines(self, place: int, width: int) -> list[Content]:
        row, current = self._shown[place], place == self.current
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
