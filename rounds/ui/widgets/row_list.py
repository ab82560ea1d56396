"""A list of rows that are given to it as they are to be shown."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Sequence
from typing import Generic, TypeVar

from textual.content import Content

from rounds.ui.widgets.pick_list import PickList

R = TypeVar("R")


class RowList(PickList, Generic[R]):
    """A subclass says how many lines a row takes, and how they are drawn."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: Sequence[R] = ()

    def show(self, rows: Sequence[R], current: int) -> None:
        """Show the rows, with the pointer on the one at the place `current`."""
        self._shown = rows
        self.mark(current)
        self.refresh()

    @abstractmethod
    def height(self, row: R) -> int:
        """How many lines the row takes."""

    @abstractmethod
    def lines_of(self, row: R, width: int, *, current: bool) -> list[Content]:
        """The lines of the row."""

    def heights(self) -> list[int]:
        return [self.height(row) for row in self._shown]

    def row_lines(self, place: int, width: int) -> list[Content]:
        return self.lines_of(self._shown[place], width, current=place == self.current)
