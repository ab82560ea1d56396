"""Screens with a list of everything of one sort, and beside it the account of the chosen one, which scrolls."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable

from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget

from rounds.ui.screens.pick_screen import PickScreen
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.pick_list import PickList


class AccountScreen(PickScreen):
    """The account is below the list where there is little room."""

    @abstractmethod
    def make_list(self) -> PickList:
        """The list, still empty."""

    @abstractmethod
    def told(self) -> Content:
        """What is known of the chosen row."""

    def body(self) -> Iterable[Widget]:
        yield Horizontal(self.make_list(), Details(id="account-of"), id="watch-body")

    def on_resize(self) -> None:
        self.fold()
        self.draw()

    @property
    def account(self) -> Details:
        return self.query_one("#account-of", Details)

    def draw_chosen(self) -> None:
        """Show the account of the chosen row."""
        self.account.show(self.told())

    def action_page_down(self) -> None:
        self.account.turn(1)

    def action_page_up(self) -> None:
        self.account.turn(-1)
