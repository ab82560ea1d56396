"""What widgets tell the screen, in the past tense."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.message import Message

from rounds.storage.files import FileStamps
from rounds.storage.records import Change

if TYPE_CHECKING:
    from rounds.report.doses import DoseAccount
    from rounds.report.readings import ReadingRow
    from rounds.report.reservoirs import LevelAccount
    from rounds.ui.trends import Drawing


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


class ReadingPicked(Message):
    """A reading of the list was clicked."""

    def __init__(self, place: int) -> None:
        super().__init__()
        self.place = place


class TrendsWorkedOut(Message):
    """The trends of one system are known."""

    def __init__(self, rows: list[ReadingRow]) -> None:
        super().__init__()
        self.rows = rows


class PlotWorkedOut(Message):
    """What the plot of a reading shows is known."""

    def __init__(self, number: int, drawing: Drawing) -> None:
        super().__init__()
        self.number = number
        """Of the question: only the answer to the last one counts."""
        self.drawing = drawing


class PlotFitted(Message):
    """The plot has found its place: so many rows are left for values."""

    def __init__(self, rows: int) -> None:
        super().__init__()
        self.rows = rows


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


class ReservoirPicked(Message):
    """A reservoir of the list was clicked."""

    def __init__(self, place: int) -> None:
        super().__init__()
        self.place = place


class LevelsWorkedOut(Message):
    """Every reservoir is known as it stands, what runs out first at the head."""

    def __init__(self, accounts: list[LevelAccount]) -> None:
        super().__init__()
        self.accounts = accounts


class DoseWorkedOut(Message):
    """The balance of one system is known."""

    def __init__(self, account: DoseAccount) -> None:
        super().__init__()
        self.account = account


class PromptsWorkedOut(Message):
    """What one system prompts and how its lights stand is known."""

    def __init__(self, prompts: list[str], lights: list[str]) -> None:
        super().__init__()
        self.prompts = prompts
        """Lines; what a prompt stands on is indented."""
        self.lights = lights
