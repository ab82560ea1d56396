"""Stock: what is on the shelves, how long it lasts, what to order; counted, taken in and ordered from here."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, ClassVar

from textual.binding import BindingType
from textual.content import Content

from rounds.core.words import plain, plural
from rounds.report.stock import NOW, SOON, StockRow, account, stock_rows
from rounds.storage.room import RoomFolder
from rounds.ui import stocktaking
from rounds.ui.asking import in_turn
from rounds.ui.keymap import STOCKS, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.text import MUTED
from rounds.ui.widgets.stock_list import SHAPES, STYLES, StockList


class StockShelf(AccountScreen):
    """All stock of the room."""

    ACTIONS = STOCKS
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(STOCKS)]
    AUTO_FOCUS = "#shelf"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._rows: list[StockRow] = []

    # -- what is shown -------------------------------------------------------------------------------

    def make_list(self) -> StockList:
        return StockList(id="shelf")

    def plan(self) -> None:
        super().plan()
        room, now = self.room, self.now
        self._rows = room.ask(lambda history: stock_rows(room.model, history, now), now, now)

    @property
    def ids(self) -> list[str]:
        return [row.id for row in self._rows]

    def draw(self) -> None:
        super().draw()
        self.query_one(StockList).show(self._rows, self.place)
        self.show_head(self._head_parts())
        self.draw_chosen()

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        yield "Stock  ", "bold"
        if not self._rows:
            yield "none in this room yet: add one in set-up", ""
        for urgency, words in ((NOW, "to see to"), (SOON, "ordered")):
            if number := sum(1 for row in self._rows if row.urgency == urgency):
                yield f"{SHAPES[urgency]} {number} {words}  ", STYLES[urgency]
        if self._rows:
            yield plural(len(self._rows), "item"), MUTED

    @property
    def chosen(self) -> StockRow | None:
        return self._rows[self.place] if self._rows else None

    def told(self) -> Content:
        row = self.chosen
        return Content("\n").join(self._told(row)) if row is not None else Content("")

    def _told(self, row: StockRow) -> Iterator[Content]:
        yield Content.assemble((row.name, "bold $text-accent"), (f"  {row.found.stock.kind}", MUTED))
        yield Content.styled(row.place, MUTED)
        for heading, text in account(self.room.model, self.room.history, row, self.now):
            yield Content.assemble((f"{heading}  ", "bold"), plain(text))

    # -- what can be recorded ----------------------------------------------------------------------------

    def open_chosen(self) -> None:
        self.action_count()

    def _about(self, asking: Callable[..., Any]) -> None:
        """Ask about the chosen row, which stays chosen wherever it comes to stand."""
        row = self.chosen
        if row is not None:
            self._chosen = row.id
            in_turn(self, partial(asking, self, row.found))

    def action_count(self) -> None:
        self._about(stocktaking.count)

    def action_delivered(self) -> None:
        self._about(stocktaking.take_in)

    def action_ordered(self) -> None:
        self._about(stocktaking.order)

    def action_history(self) -> None:
        row = self.chosen
        if row is not None:
            self.show_history(row.found.stock.name, task=row.id)
