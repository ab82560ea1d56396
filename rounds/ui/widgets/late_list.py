"""The list of what is late, drawn line by line."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

from textual.content import Content

from rounds.core.items import DueItem
from rounds.core.model import Room
from rounds.core.walk import place_name
from rounds.core.why import state_text
from rounds.core.words import plain
from rounds.ui.text import MUTED, SHAPES, STYLES, fit
from rounds.ui.widgets.pick_list import PickList


class Late(NamedTuple):
    """A row."""

    item: DueItem
    keeper: str
    """Who does it, also in whose place; empty: everyone."""
    ticked: bool


class LateList(PickList):
    """Each with its importance and lateness, below where it is and whose; those that are ticked have a mark."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._late: Sequence[Late] = ()
        self._shown: tuple[Room, datetime] | None = None

    def show(self, room: Room, late: Sequence[Late], now: datetime, current: int) -> None:
        self._late, self._shown = late, (room, now)
        self.mark(current)

    def heights(self) -> list[int]:
        return [2] * len(self._late)

    def row_lines(self, place: int, width: int) -> list[Content]:
        if self._shown is None:
            return []
        (room, now), (item, keeper, ticked) = self._shown, self._late[place]
        task, style = item.task, STYLES[item.state]
        state = f"{task.importance}, {state_text(room, item, now)}"
        if item.out_of_service is not None:
            state = f"{plain(item.out_of_service)} not in service"
        missed = f"  {item.missed} missed since" if item.missed else ""
        where = f"{place_name(room, task.system, task.station)}{missed}{f'  {keeper}' if keeper else ''}"
        tick = "✓ " if ticked else f"{SHAPES[item.state]} "
        state = fit(state, min(len(state), max(8, width * 2 // 3)))
        current = place == self.current
        return [
            Content.assemble(
                ("▸ " if current else "  ", "bold $text-accent"),
                (tick, style),
                (fit(plain(task.title), max(8, width - 6 - len(state))), "bold" if current else ""),
                "  ",
                (state, style),
            ),
            Content.assemble("    ", (fit(where, max(0, width - 4)), MUTED)),
        ]
