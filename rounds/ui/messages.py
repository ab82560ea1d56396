"""What widgets tell the screen, in the past tense."""

from __future__ import annotations

from dataclasses import dataclass

from textual.message import Message

from rounds.storage.records import Change


@dataclass
class RowPicked(Message):
    """A row of the station was clicked."""

    place: int


@dataclass
class DiskLookedAt(Message):
    """What other processes have changed on disk was read."""

    change: Change


@dataclass
class StopPicked(Message):
    """A station was chosen in the route."""

    index: int


@dataclass
class LineEntered(Message):
    """The entry line was submitted."""

    text: str


@dataclass
class LineChanged(Message):
    """What stands in the entry line changed."""

    text: str


@dataclass
class LineLeft(Message):
    """The entry line was closed without recording."""

    text: str
