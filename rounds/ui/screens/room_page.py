"""Screens that are read: a text that scrolls, with keys that record what follows from it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import starmap

from textual.content import Content
from textual.widget import Widget

from rounds.core.errors import RoundsError
from rounds.core.record import Record
from rounds.core.recording import Draft
from rounds.core.words import plain
from rounds.storage.room import RoomFolder
from rounds.ui.screens.ask import Question
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.text import hanging
from rounds.ui.widgets.details import Details


class RoomPage(RoomScreen):
    """One text over the whole screen."""

    CSS_PATH = "../later.tcss"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._unsaved: tuple[object, list[Record]] | None = None
        """What the disk refused, with what it was for."""
        self._of: object = None
        """What the lines that are shown are of."""

    def body(self) -> Iterable[Widget]:
        yield Details(id="page")

    @property
    def page(self) -> Details:
        return self.query_one("#page", Details)

    def show_lines(self, lines: Iterable[tuple[str, str]], of: object = None) -> None:
        """Show lines with their styles, broken to the width of the page.

        While they are `of` the same, what is read does not move when they are worked out anew.
        """
        width = self.page.scrollable_content_region.width

        def styled(line: str, style: str) -> Content:
            return Content.styled(hanging(plain(line), width), style)

        self.page.show(Content("\n").join(starmap(styled, lines)), stay=of == self._of)
        self._of = of

    def on_resize(self) -> None:
        self.call_after_refresh(self.draw)

    # -- scrolling -------------------------------------------------------------------------------------

    def action_line_down(self) -> None:
        self.page.scroll_relative(y=1, animate=False)

    def action_line_up(self) -> None:
        self.page.scroll_relative(y=-1, animate=False)

    def action_page_down(self) -> None:
        self.page.turn(1)

    def action_page_up(self) -> None:
        self.page.turn(-1)

    # -- recording -------------------------------------------------------------------------------------

    def confirm(self, title: str, lines: Iterable[str], then: Callable[[], object]) -> None:
        """Ask before a step is recorded, also when the clock may be wrong; only a yes goes on."""
        doubt = self.room.clock_question()

        def answered(sure: bool | None) -> None:
            if sure:
                then()

        asked = [*lines, *([doubt] if doubt else [])]
        self.app.push_screen(Question(title, asked, "yes, record the step", "no, go back"), answered)

    def record(self, what: object, drafts: Sequence[Draft], again: str) -> list[Record]:
        """Put the drafts on disk at once; a second try at the same `what` writes the same records.

        Empty when the disk refused, which is said with `again`, the key to press.
        """
        if self._unsaved is None or self._unsaved[0] != what:
            self._unsaved = (what, [self.room.prepare(draft, self.keeper or "") for draft in drafts])
        records = self._unsaved[1]
        try:
            self.room.save(*records)
        except RoundsError as refused:
            self.say(f"{refused} Press {again} to try again.")
            return []
        self._unsaved = None
        self.changed()
        self.draw()
        return records
