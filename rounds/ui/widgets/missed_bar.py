"""What was missed since the round day before, at the top until it has been seen."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from textual.content import Content
from textual.widgets import Static

from rounds.core.items import DueItem
from rounds.core.model import Room
from rounds.core.walk import place_name
from rounds.core.words import moment, plain

_TALL = 30
"""Rows of the screen from which more than one is told."""


class MissedBar(Static):
    """Hidden when nothing was missed."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._unseen: Sequence[DueItem] = ()
        self.display = False

    def show(self, room: Room, unseen: Sequence[DueItem], now: datetime) -> None:
        if self.display != bool(unseen):
            self.display = bool(unseen)
        if not unseen or unseen == self._unseen:
            return
        self._unseen = unseen
        room_for = 3 if self.app.size.height >= _TALL else 1
        lines = [_line(room, item, now) for item in unseen[:room_for]]
        more = f"and {len(unseen) - room_for} more   " if len(unseen) > room_for else ""
        self.update(Content.assemble("\n".join(lines), "\n", more, ("m", "bold $text-accent"), " seen"))


def _line(room: Room, item: DueItem, now: datetime) -> str:
    """``× missed yesterday 16:30: Feed the fish (Tank A, Broodstock)``"""
    assert item.due_at is not None
    why = f", could not: {plain(item.could_not)}" if item.could_not else ""
    place = place_name(room, item.task.system, item.task.station)
    return f"× missed {moment(room.calendar, item.due_at, now)}: {plain(item.task.title)} ({place}){why}"
