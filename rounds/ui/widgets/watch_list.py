"""The list of what is watched, drawn line by line."""

from __future__ import annotations

from textual.content import Content

from rounds.core.concerns import Concern
from rounds.core.off_normal import OffNormal
from rounds.core.protocols import Running
from rounds.report.watch import LATER, NOW, TODAY, Watched
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.row_list import RowList

SHAPES = {NOW: "▲", TODAY: "○", LATER: "·"}
STYLES = {NOW: "bold $text-error", TODAY: "bold $text-warning", LATER: ""}

_KINDS = {OffNormal: "off normal", Concern: "concern", Running: "protocol"}
_KIND = 11
"""Columns."""


class WatchList(RowList[Watched]):
    """What is off normal, concerns and protocols; each with its place and how it stands on a second line."""

    def height(self, row: Watched) -> int:
        return 2

    def lines_of(self, row: Watched, width: int, *, current: bool) -> list[Content]:
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
