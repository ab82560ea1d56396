"""What widgets and threads tell the screen, in the past tense."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from textual.message import Message

if TYPE_CHECKING:
    from rounds.ui.screens.room_screen import Question


class RowPicked(Message):
    """A row was clicked."""

    def __init__(self, place: int) -> None:
        super().__init__()
        self.place = place


class StopPicked(Message):
    """A station was chosen in the route."""

    def __init__(self, index: int) -> None:
        super().__init__()
        self.index = index


class Answered(Message):
    """A thread has found something of what it was asked."""

    def __init__(self, question: Question, answer: Any) -> None:
        super().__init__()
        self.question = question
        """Only answers to the last question under its name count."""
        self.answer = answer


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


class BackAsked(Message):
    """What was asked before is wanted again."""
