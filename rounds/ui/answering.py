"""How far a keeper has come in answering the lines of a handover."""

from __future__ import annotations

from rounds.core.handovers import Handover
from rounds.core.record import Point


class Answering:
    """The answers to the open lines of one handover, given one by one; it can be left and gone on with."""

    def __init__(self, handover: Handover) -> None:
        self.lines = handover.open
        self.restart()

    def restart(self) -> None:
        """Nothing is answered."""
        self.place = 0
        """Of the line that is asked about; after the last one stands the summary."""
        self._answers: dict[int, str] = {}
        """By place; empty: confirmed, else the question."""
        self._typed: dict[int, str] = {}
        """What stands in the line at each place, answered or not."""

    @property
    def line(self) -> Point | None:
        """What is asked about; None: every line is answered."""
        return self.lines[self.place] if self.place < len(self.lines) else None

    @property
    def text(self) -> str:
        """What was typed at this place."""
        return self._typed.get(self.place, "")

    @property
    def asked(self) -> list[tuple[Point, str]]:
        """The lines that were questioned, each with its question."""
        return [(line, text) for place, line in enumerate(self.lines) if (text := self.answer_to(place))]

    def answer_to(self, place: int) -> str | None:
        """The question about a line; empty: confirmed; None: not answered yet."""
        return self._answers.get(place)

    def keep(self, text: str) -> None:
        """What is typed at this place, before it is an answer."""
        self._typed[self.place] = text

    def answer(self, text: str) -> None:
        """Confirm the line (nothing is said) or question it, and go on."""
        self.keep(text)
        self._answers[self.place] = text.strip()
        self.place += 1

    def back(self) -> None:
        """To the line before."""
        self.place = max(0, self.place - 1)

    def forward(self) -> None:
        """To the next line, where this one is answered."""
        if self.place in self._answers:
            self.place += 1


Started = dict[tuple[str, str], Answering]
"""By id of the handover and initials of who answers."""
