"""Screens with a list of everything of one sort, and beside it the account of the chosen one, which scrolls."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable

from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget

from rounds.ui.messages import RowPicked
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.pick_list import PickList


class AccountScreen(RoomScreen):
    """A list whose rows are known by an id; the pointer stays on its row wherever that comes to stand."""

    CSS_PATH = "../later.tcss"

    listed: PickList

    _chosen = ""
    """The id of the row that the pointer is on; of no row: on the first one."""

    @abstractmethod
    def make_list(self) -> PickList:
        """The list, still empty."""

    @property
    @abstractmethod
    def ids(self) -> list[str]:
        """The ids of the rows as they stand."""

    @abstractmethod
    def told(self) -> Content:
        """What is known of the chosen row."""

    @abstractmethod
    def open_chosen(self) -> None:
        """What Enter does with the chosen row, and a click on it."""

    # -- what is shown -------------------------------------------------------------------------------

    def body(self) -> Iterable[Widget]:
        self.listed = self.make_list()
        yield Horizontal(self.listed, Details(id="account-of"), id="watch-body")

    def begin(self) -> None:
        self.fold()
        super().begin()

    def on_resize(self) -> None:
        self.fold()
        self.draw()

    def draw_chosen(self) -> None:
        """Show the account of the chosen row."""
        self.query_one("#account-of", Details).show(self.told())

    # -- moving ----------------------------------------------------------------------------------------

    @property
    def place(self) -> int:
        """Where the pointer stands."""
        ids = self.ids
        return ids.index(self._chosen) if self._chosen in ids else 0

    def _go(self, place: int) -> None:
        ids = self.ids
        if ids:
            place = max(0, min(place, len(ids) - 1))
            self._chosen = ids[place]
            self.listed.mark(place)
            self.draw_chosen()

    def action_next_row(self) -> None:
        self._go(self.place + 1)

    def action_row_before(self) -> None:
        self._go(self.place - 1)

    def on_row_picked(self, event: RowPicked) -> None:
        if event.place == self.place:
            self.open_chosen()
        else:
            self._go(event.place)

    def action_page_down(self) -> None:
        self._scroll(1)

    def action_page_up(self) -> None:
        self._scroll(-1)

    def _scroll(self, direction: int) -> None:
        details = self.query_one("#account-of", Details)
        details.scroll_relative(y=direction * max(1, details.size.height - 1), animate=False)
