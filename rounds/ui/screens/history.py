"""Who did what, when; and correcting it: a record is struck, or struck and written anew, never changed."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from rounds.core.account import record_line, title_of
from rounds.core.errors import RoundsError
from rounds.core.record import STRIKE, Record
from rounds.core.recording import Draft, draft_amended
from rounds.core.words import moment, plain
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import HISTORY, bindings
from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.room_screen import RoomScreen, Tell

LINES = 300
"""Records shown at the most, the newest first."""

REASONS = ("typing slip", "wrong task", "written twice", "not done after all")


class HistoryPage(RoomScreen):
    """The records of a task or a station."""

    CSS_PATH = "../later.tcss"
    ACTIONS = HISTORY
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(HISTORY)]
    AUTO_FOCUS = "#history"

    def __init__(
        self,
        room: RoomFolder,
        keeper: str | None,
        title: str,
        *,
        task: str | None = None,
        station: tuple[str, str] | None = None,
    ) -> None:
        super().__init__(room, keeper)
        self._heading = title
        self._about_task, self._about_station = task, station
        self._records: list[Record] | None = None
        """None: not read yet."""
        self._listed: list[Record] = []
        """Those of the rows that are shown."""
        self._waiting = "Reading what was recorded …"

    def body(self) -> Iterable[Widget]:
        yield OptionList(id="history", classes="page")

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        self.work_out("history", self._read, self._was_read, self._not_read)

    def _read(self, tell: Tell) -> None:
        """Runs in a thread of its own: the past of a large room takes its time."""
        records = self.room.records_about(task=self._about_task, station=self._about_station)
        tell(records[::-1][:LINES])

    def _was_read(self, records: list[Record]) -> None:
        self._records = records
        self.draw()

    def _not_read(self, why: str) -> None:
        """What was shown before stays."""
        self._waiting = "Nothing could be read."
        self.draw()
        self.say(f"What was recorded cannot be read: {why}")

    # -- what is shown -------------------------------------------------------------------------------

    def draw(self) -> None:
        super().draw()
        self.show_head([(f"History: {plain(self._heading)}", "bold")])
        listed, chosen = self.query_one("#history", OptionList), self._chosen
        self._listed = self._records or []
        listed.set_options(self._options())
        ids = [record.id for record in self._listed]
        if ids:
            listed.highlighted = ids.index(chosen.id) if chosen is not None and chosen.id in ids else 0

    def _options(self) -> Iterable[Option]:
        if not self._listed:
            said = self._waiting if self._records is None else "Nothing is recorded yet."
            yield Option(Content(said), disabled=True)
        model, history = self.room.model, self.room.history
        for record in self._listed:
            line = f"{moment(model.calendar, record.at, self.now)}  {record_line(model, history, record)}"
            struck = history.strike_of(record.id) is not None
            yield Option(Content.styled(plain(line), "strike $text-muted" if struck else ""))

    @property
    def _chosen(self) -> Record | None:
        place = self.query_one("#history", OptionList).highlighted
        return self._listed[place] if place is not None and place < len(self._listed) else None

    # -- correcting ------------------------------------------------------------------------------------

    def action_strike(self) -> None:
        record = self._chosen
        if record is not None and self._may(record):
            self._ask_why(lambda why, by: self._correct(lambda: self.room.strike(record.id, why, by)))

    def action_amend(self) -> None:
        """Ask for the entry as it should read, then for the reason."""
        record = self._chosen
        task = self.room.model.tasks.get(record.task or "") if record is not None else None
        if record is None or not self._may(record):
            return
        if task is None:
            self.say("Only what was recorded of a task can be amended; strike this and write it again.")
            return
        before = " ".join((*(value.entered for value in record.values), record.note)).strip()

        def entered(text: str | None) -> None:
            if text is None:
                return
            try:
                draft = self.room.ask(
                    lambda history: draft_amended(
                        self.room.model, history, task, record, text, seawater=self.room.seawater
                    )
                )
            except RoundsError as refused:
                self.say(str(refused))
                return
            self._sure(record, draft)

        choices = [(before, before)] if before else []
        self.app.push_screen(
            Choice(f"{title_of(self.room.model, record)}, as it should read", choices, free="values, then a note"),
            entered,
        )

    def _sure(self, record: Record, draft: Draft) -> None:
        def write(why: str, by: str) -> None:
            self._correct(lambda: self.room.amend(record.id, why, draft, by))

        def answered(sure: bool | None) -> None:
            if sure:
                self._ask_why(write)

        if draft.questions:
            self.app.push_screen(Question("Amend", list(draft.questions), "yes, it is right", "no"), answered)
        else:
            answered(True)

    def _may(self, record: Record) -> bool:
        if record.kind == STRIKE or self.room.history.strike_of(record.id) is not None:
            self.say("A strike cannot be struck, and what is struck stays struck; record the work again.")
            return False
        return self.has_keeper()

    def _ask_why(self, then: Callable[[str, str], None]) -> None:
        by = self.keeper or ""
        choices = [(reason, reason) for reason in REASONS]

        def answered(why: str | None) -> None:
            if why:
                then(why, by)

        self.app.push_screen(Choice("Why?", choices, free="a reason"), answered)

    def _correct(self, write: Callable[[], Record]) -> None:
        try:
            write()
        except RoundsError as refused:
            self.say(str(refused))
            return
        self.say("")
        self.changed()
        self.draw()
