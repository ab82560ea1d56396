"""Screens with a list, one of whose rows is chosen."""

from __future__ import annotations

from abc import abstractmethod

from rounds.ui.messages import RowPicked
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.widgets.pick_list import PickList


class PickScreen(RoomScreen):
    """A list whose rows are known by an id; the pointer stays on its row wherever that comes to stand."""

    CSS_PATH = "../later.tcss"

    _chosen = ""
    """The id of the row that the pointer is on; empty: on the first one, whichever that is."""
    _stood = 0
    """Where it stood last."""

    @property
    @abstractmethod
    def ids(self) -> list[str]:
        """The ids of the rows as they stand."""

    @abstractmethod
    def draw_chosen(self) -> None:
        """Show what is known of the chosen row."""

    @abstractmethod
    def open_chosen(self) -> None:
        """What Enter does with the chosen row, and a click on it."""

    @property
    def listed(self) -> PickList:
        """The list."""
        return self.query_one(PickList)  # type: ignore[type-abstract]  # looked for, never made

    def begin(self) -> None:
        self.fold()
        super().begin()

    def draw(self) -> None:
        """Where the chosen row has gone, the one that has come to its place is chosen."""
        super().draw()
        self._stood = self.place
        if self._chosen and (ids := self.ids):
            self.choose(ids[self._stood])

    @property
    def place(self) -> int:
        """Where the pointer stands."""
        ids = self.ids
        return ids.index(self._chosen) if self._chosen in ids else max(0, min(self._stood, len(ids) - 1))

    def choose(self, id: str) -> None:
        """Put the pointer on a row."""
        self._chosen = id

    def go(self, place: int) -> None:
        """Move the pointer to a place, or to the end that lies that way."""
        ids = self.ids
        if ids:
            place = max(0, min(place, len(ids) - 1))
            self._stood = place
            self.choose(ids[place])
            self.listed.mark(place)
            self.draw_chosen()

    def action_next_row(self) -> None:
        self.go(self.place + 1)

    def action_row_before(self) -> None:
        self.go(self.place - 1)

    def action_first(self) -> None:
        self.go(0)

    def action_last(self) -> None:
        self.go(len(self.ids) - 1)

    @property
    def busy(self) -> bool:
        """Whether a click chooses nothing now."""
        return False

    def on_row_picked(self, event: RowPicked) -> None:
        if self.busy:
            return
        if event.place == self.place:
            self.open_chosen()
        else:
            self.go(event.place)
