"""Who did what, when; and correcting it: a record is struck, or struck and written anew, never changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.screen import Screen
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from rounds.core.account import record_line, title_of
from rounds.core.errors import RoundsError
from rounds.core.record import STRIKE, Record
from rounds.core.recording import Draft, draft_amended
from rounds.core.words import moment, plain
from rounds.storage.room import RoomFolder
from rounds.ui.screens.ask import Choice, Question

LINES = 300
"""Records shown at the most, the newest first."""

REASONS = ("typing slip", "wrong task", "written twice", "not done after all")


class HistoryPage(Screen[bool]):
    """The records of a task or a station; answers whether anything was corrected."""

    @dataclass
    class Read(Message):
        """The records were found."""

        records: list[Record]

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,q", "back", show=False),
        Binding("x", "strike", show=False),
        Binding("a", "amend", show=False),
    ]

    def __init__(
        self,
        room: RoomFolder,
        keeper: str | None,
        title: str,
        now: datetime,
        *,
        task: str | None = None,
        station: tuple[str, str] | None = None,
    ) -> None:
        super().__init__()
        self._room, self._keeper, self._heading, self._now = room, keeper, title, now
        self._about_task, self._about_station = task, station
        self._records: list[Record] = []
        self._corrected = False
        self._filled = False

    def compose(self) -> ComposeResult:
        yield Static(Content.styled(f"History: {plain(self._heading)}", "bold"), classes="page-title")
        yield OptionList(Option(Content("Reading what was recorded …"), disabled=True), id="history", classes="page")
        yield Static(id="history-said")
        keys = (("↑ ↓", " choose   "), ("x", " strike   "), ("a", " amend   "), ("Esc", " back"))
        yield Static(Content.assemble(*(part for key, label in keys for part in ((key, "bold $text-accent"), label))))

    def on_mount(self) -> None:
        self.query_one("#history", OptionList).focus()
        self.run_worker(self._read, thread=True, group="history", exclusive=True, exit_on_error=False)

    def _read(self) -> None:
        """Runs in a thread of its own: the past of a large room takes its time."""
        records = self._room.records_about(task=self._about_task, station=self._about_station)
        self.app.call_from_thread(self.post_message, self.Read(records[::-1][:LINES]))

    def on_history_page_read(self, event: HistoryPage.Read) -> None:
        if self._records != event.records or not self._filled:
            self._records = event.records
            self._show()

    def _show(self) -> None:
        model, history = self._room.model, self._room.history
        self._filled = True
        listed = self.query_one("#history", OptionList)
        place = listed.highlighted or 0
        listed.clear_options()
        options = []
        for record in self._records:
            line = f"{moment(model.calendar, record.at, self._now)}  {record_line(model, history, record)}"
            struck = history.strike_of(record.id) is not None
            options.append(Option(Content.styled(plain(line), "strike $text-muted" if struck else "")))
        listed.add_options(options or [Option(Content("Nothing is recorded yet."), disabled=True)])
        if self._records:
            listed.highlighted = min(place, len(self._records) - 1)
        listed.focus()

    @property
    def _chosen(self) -> Record | None:
        place = self.query_one("#history", OptionList).highlighted
        return self._records[place] if place is not None and place < len(self._records) else None

    def action_back(self) -> None:
        self.dismiss(self._corrected)

    def action_strike(self) -> None:
        record = self._chosen
        if record is not None and self._may(record):
            self._ask_why(lambda why, by: self._correct(lambda: self._room.strike(record.id, why, by)))

    def action_amend(self) -> None:
        """Ask for the entry as it should read, then for the reason."""
        record = self._chosen
        task = self._room.model.tasks.get(record.task or "") if record is not None else None
        if record is None or not self._may(record):
            return
        if task is None:
            self._say("Only what was recorded of a task can be amended; strike this and write it again.")
            return
        before = " ".join((*(value.entered for value in record.values), record.note)).strip()

        def entered(text: str | None) -> None:
            if text is None:
                return
            try:
                draft = self._room.ask(
                    lambda history: draft_amended(
                        self._room.model, history, task, record, text, seawater=self._room.seawater
                    )
                )
            except RoundsError as refused:
                self._say(str(refused))
                return
            self._sure(record, draft)

        choices = [(before, before)] if before else []
        self.app.push_screen(
            Choice(f"{title_of(self._room.model, record)}, as it should read", choices, free="values, then a note"),
            entered,
        )

    def _sure(self, record: Record, draft: Draft) -> None:
        def write(why: str, by: str) -> None:
            self._correct(lambda: self._room.amend(record.id, why, draft, by))

        def answered(sure: bool | None) -> None:
            if sure:
                self._ask_why(write)

        if draft.questions:
            self.app.push_screen(Question("Amend", list(draft.questions), "yes, it is right", "no"), answered)
        else:
            answered(True)

    def _may(self, record: Record) -> bool:
        if record.kind == STRIKE or self._room.history.strike_of(record.id) is not None:
            self._say("A strike cannot be struck, and what is struck stays struck; record the work again.")
            return False
        if self._keeper is None:
            self._say("Nobody keeps the room yet; go back and press k.")
            return False
        return True

    def _ask_why(self, then: Callable[[str, str], None]) -> None:
        by = self._keeper or ""
        choices = [(reason, reason) for reason in REASONS]

        def answered(why: str | None) -> None:
            if why:
                then(why, by)

        self.app.push_screen(Choice("Why?", choices, free="a reason"), answered)

    def _correct(self, write: Callable[[], Record]) -> None:
        try:
            write()
        except RoundsError as refused:
            self._say(str(refused))
            return
        self._corrected = True
        self._say("")
        self._show()
        self.on_mount()

    def _say(self, sentence: str) -> None:
        self.query_one("#history-said", Static).update(Content.styled(plain(sentence), "$text-warning"))
