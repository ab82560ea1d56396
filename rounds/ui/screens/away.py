"""An absence: what to do before leaving, what is needed meanwhile, what fails first; and the sitter's sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import ClassVar

from textual.binding import BindingType

from rounds.core.absence import Absence, absence_of
from rounds.core.errors import RoundsError
from rounds.core.history import History
from rounds.core.moments import parse_until
from rounds.core.words import day_name
from rounds.report import printable
from rounds.report.away import Away, away
from rounds.report.away_forms import away_document, sheet_document
from rounds.report.past import pasts_of
from rounds.report.printable import Document, Entry, Heading, Paragraph
from rounds.storage.room import RoomFolder
from rounds.ui.asking import Left, in_turn, write_in
from rounds.ui.keymap import AWAY, bindings
from rounds.ui.saving import save
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import Tell

NOBODY = "nobody yet"


class AwayPage(RoomPage):
    """Asks from when to when, works it out, and shows it or the sitter's sheet."""

    ACTIONS = AWAY
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(AWAY)]

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._absence: Absence | None = None
        self._found: Away | None = None
        self._sheet = False

    def begin(self) -> None:
        super().begin()
        self.action_ask()

    # -- what is shown -------------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        if self._absence is not None:
            self.work_out("absence", partial(self._work_out, self._absence), self._taken, "It cannot be worked out")

    def _work_out(self, absence: Absence, tell: Tell) -> None:
        room, now = self.room, self.now
        pasts = pasts_of(room)

        def answer(history: History) -> Away:
            return away(room.model, history, pasts, absence, now)

        tell(room.ask(answer))

    def _taken(self, found: Away) -> None:
        self._found = found
        self.draw()

    def draw(self) -> None:
        super().draw()
        self.show_head([("Away  ", "bold"), (self._span(), "")])
        document = self._document
        self.show_lines(_lines(document) if document is not None else [("", "")], of=self._sheet)

    def _span(self) -> str:
        if self._absence is None:
            return ""
        local = self.room.model.calendar.local
        first, last = (day_name(local(at).date()) for at in (self._absence.begin, self._absence.end))
        state = "" if self._found is not None else ", being worked out …"
        return f"{first} to {last}{state}"

    @property
    def _document(self) -> Document | None:
        if self._found is None:
            return None
        return (sheet_document if self._sheet else away_document)(self.room.model, self._found)

    # -- what can be done ------------------------------------------------------------------------------

    def action_ask(self) -> None:
        self.run_worker(self._ask(), group="asking", exclusive=True, exit_on_error=False)

    async def _ask(self) -> None:
        room, calendar = self.room, self.room.model.calendar
        now = room.now()
        choices = ("tomorrow", "1 day", "2 days", "1 week", "2 weeks")
        wanted = 'a date, a time, "tomorrow" or "3 days"'
        try:
            begin = await write_in(
                self, "Away from when?", choices, wanted, lambda text: parse_until(text, calendar, now, now)
            )
            read: Callable[[str], Absence]

            def read(text: str) -> Absence:
                return absence_of(room.model, begin, parse_until(text, calendar, now, begin), now, "")

            absence = await write_in(self, "Back when? (a span counts from leaving)", choices[1:], wanted, read)
            keepers = (NOBODY, *(keeper.initials for keeper in room.model.keepers))
            sitter = await write_in(self, "Who looks after the room meanwhile?", keepers, "initials", self._sitter)
            self._absence = absence_of(room.model, absence.begin, absence.end, now, sitter)
        except Left:
            if self._absence is None:
                self.dismiss()
            return
        except RoundsError as refused:
            self.say(str(refused))
            return
        self._found = None
        self.plan()
        self.draw()

    def _sitter(self, text: str) -> str:
        return "" if text == NOBODY else self.room.keeper(text)

    def action_sheet(self) -> None:
        self._sheet = not self._sheet
        self.draw()

    def action_save(self) -> None:
        document, absence = self._document, self._absence
        if document is None or absence is None:
            return
        day = self.room.model.calendar.round_day(absence.begin)
        name = f"{'sitter' if self._sheet else 'away'}-{day.isoformat()}.html"
        forms = {".html": printable.as_html, ".md": printable.as_markdown, ".txt": printable.as_text}
        in_turn(self, partial(save, self, name, {end: partial(form, document) for end, form in forms.items()}))


def _lines(document: Document) -> Iterator[tuple[str, str]]:
    """The document as lines with their styles."""
    yield document.title, "bold"
    for block in document.blocks:
        if isinstance(block, Heading):
            yield "", ""
            yield block.text, "bold $text-accent"
        elif isinstance(block, Paragraph):
            yield block.text, "bold" if block.strong else ""
        elif isinstance(block, Entry):
            yield f"{'□' if block.box else '•'} {block.text}", ""
            for detail in block.details:
                yield f"    {detail}", "$foreground 75%"
        else:
            yield f"{block.label}: ______________", ""
