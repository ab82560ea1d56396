"""The head of the screen: room, time, shift, keeper, how far the round has come; and its foot."""

from __future__ import annotations

import msgspec
from textual.content import Content
from textual.widget import Widget

from rounds.core.walk import Counts
from rounds.ui.keymap import WALK, Action, foot
from rounds.ui.text import fit


class Head(msgspec.Struct, frozen=True):
    """What the head shows."""

    room: str
    time: str
    shift: str
    keeper: str
    counts: Counts
    notes: str = ""
    """Filters in force, faults, a clock set by hand."""


class RoomBar(Widget):
    """Two lines."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._head: Head | None = None

    def show(self, head: Head) -> None:
        if head != self._head:
            self._head = head
            self.refresh()

    def render(self) -> Content:
        head = self._head
        if head is None:
            return Content("")
        width = self.size.width
        right = f"{head.time}  {head.shift}  {head.keeper}"
        counts = head.counts
        late = f"▲ {counts.late} late" if counts.late else "0 late"
        shown = f"{counts.done} done  {counts.left} left  "
        return Content.assemble(
            (fit(head.room, max(8, width - len(right) - 1)), "bold"),
            " ",
            (right, ""),
            "\n",
            (shown, ""),
            (late, "bold $text-error" if counts.late else ""),
            (fit(head.notes, max(0, width - len(shown) - len(late)), right=True), "$text-warning"),
        )


class FootBar(Widget):
    """The keys most used, as many as fit."""

    def __init__(self, actions: tuple[Action, ...] = WALK, *, id: str) -> None:
        super().__init__(id=id)
        self._actions = actions

    def render(self) -> Content:
        parts: list[tuple[str, str] | str] = []
        for key, label in foot(self._actions, self.size.width):
            parts += [(key, "bold $text-accent"), f" {label}  "]
        return Content.assemble(*parts)
