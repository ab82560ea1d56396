"""What widgets tell the screen, in the past tense."""

from __future__ import annotations

from textual.message import Message

from rounds.storage.files import FileStamps
from rounds.storage.records import Change


class RowPicked(Message):
    """A row of the station was clicked."""

    def __init__(self, place: int) -> None:
        super().__init__()
        self.place = place


class DiskLookedAt(Message):
    """What other processes have changed on disk was read."""

    def __init__(self, change: Change, stamps: FileStamps) -> None:
        super().__init__()
        self.change = change
        self.stamps = stamps


class StopPicked(Message):
    """A station was chosen in the route."""

    def __init__(self, index: int) -> None:
        super().__init__()
        self.index = index


class _Line(Message):
    """Something about the entry line, with what stands in it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.text = text


class LineEntered(_Line):
    """The entry line was submitted."""


class LineChanged(_Line):
    """What stands in the entry line changed."""


class LineLeft(_Line):
    """The entry line was closed without recording."""
