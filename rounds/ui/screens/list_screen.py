"""Screens with a list of everything of one sort, and what is known of the chosen one."""

from __future__ import annotations

from abc import abstractmethod

from rounds.storage.room import RoomFolder
from rounds.ui.messages import RowPicked
from rounds.ui.recorder import ListRecorder
from rounds.ui.screens.recording import RecordingScreen
from rounds.ui.widgets.pick_list import PickList


class ListScreen(RecordingScreen):
    """A list whose rows are known by an id; the pointer stays on its row wherever that comes to stand."""

    CSS_PATH = "../later.tcss"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._chosen = ""
        """The id of the row that the pointer is on; of no row: on the first one."""

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

    def make_recorder(self) -> ListRecorder:
        return ListRecorder(self)

    @property
    @abstractmethod
    def listed(self) -> PickList:
        """The list."""

    @property
    def place(self) -> int:
        """Where the pointer stands."""
        ids = self.ids
        return ids.index(self._chosen) if self._chosen in ids else 0

    def choose(self, id: str) -> None:
        """Put the pointer on a row."""
        self._chosen = id

    def go(self, place: int) -> None:
        """Move the pointer to a place, or to the end that lies that way."""
        ids = self.ids
        if ids:
            place = max(0, min(place, len(ids) - 1))
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

    def on_row_picked(self, event: RowPicked) -> None:
        if self.typing:
            return
        if event.place == self.place:
            self.open_chosen()
        else:
            self.go(event.place)
