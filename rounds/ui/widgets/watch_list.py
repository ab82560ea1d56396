"""The list of what is watched, drawn line by line."""

from __future__ import annotations

from collections.abc import Sequence

from textual.content import Content

from rounds.core.concerns import Concern
from rounds.core.off_normal import OffNormal
from rounds.core.protocols import Running
from rounds.report.watch import LATER, NOW, TODAY, Watched
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

SHAPES = {NOW: "▲", TODAY: "○", LATER: "·"}
STYLES = {NOW: "bold $text-error", TODAY: "bold $text-warning", LATER: ""}

_KINDS = {OffNormal: "off normal", Concern: "concern", Running: "protocol"}
_KIND = 11
"""Columns."""


class WatchList(PickList):
    """What is off normal, concerns and protocols; each with its place and how it stands on a second line."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[Watched] = ()

    def show(self, rows: Sequence[Watched], current: int) -> None:
        self._shown = rows
        self.mark(current)

    def heights(self) -> list[int]:
        return [2] * len(self._shown)

    def row_lines(self, place: int, width: int) -> list[Content]:
        row, current = self._shown[place], place == self.current
        kind = _KINDS[type(row.of)]
        style = STYLES[row.urgency]
        title = fit(row.title, max(8, width - 4 - _KIND))
        state = fit(row.state, min(len(row.state), max(8, (width - 6) * 2 // 3)))
        return [
            Content.assemble(
                ("▸ " if current else "  ", "bold $text-accent"),
                (f"{SHAPES[row.urgency]} ", style),
                (title, "bold" if current else ""),
                (f"{kind:>{_KIND}}", MUTED),
            ),
            Content.assemble("    ", (fit(row.place, max(0, width - 6 - len(state))), MUTED), "  ", (state, style)),
        ]
