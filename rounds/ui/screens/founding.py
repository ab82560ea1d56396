"""The set-up of a new room: one step at a time, everything kept as soon as it is answered."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from msgspec.structs import replace
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from rounds.core.calendar import Calendar
from rounds.core.errors import RoundsError
from rounds.core.first_times import usual_first_day
from rounds.core.founding import Answers
from rounds.core.words import plain
from rounds.report.first_week import FirstDay, first_week, unsafe
from rounds.storage.device import Clock, is_zone, system_zone, user_data
from rounds.storage.faults import RoomFaults
from rounds.storage.founding import NewRoom, drop_answers, keep_answers, kept_answers, new_room, write_room
from rounds.ui.asking import converse
from rounds.ui.founding import STEPS, PreviewStep, Step
from rounds.ui.keymap import FOUNDING, bindings
from rounds.ui.messages import RowPicked
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.answer_list import AnswerList, AnswerRow
from rounds.ui.widgets.room_bar import FootBar

_STEP = 11
"""Columns of a step's name."""
_NAME = 40
"""Columns of the room's name at the head, at most."""


def answers_for(folder: Path) -> tuple[Answers, str]:
    """The answers to begin with, and what is to be said of them: those that were kept, else what this device knows."""
    kept = kept_answers()
    if kept is None:
        return Answers(folder=str(folder), timezone=system_zone()), ""
    zone = kept.timezone if is_zone(kept.timezone) else system_zone()
    where = kept.folder if kept.folder and folder == user_data() else str(folder)
    return replace(kept, folder=where, timezone=zone), "The answers of last time are taken up."


class Founding(Screen[None]):
    """Steps at the left, the rows of one at the right."""

    ACTIONS = FOUNDING
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(FOUNDING)]
    AUTO_FOCUS = "#answers"
    CSS_PATH = "../later.tcss"

    def __init__(self, answers: Answers, said: str, opened: Callable[[Path], object]) -> None:
        """`opened` is told the folder once the room is written; `said` is what the keeper is told first."""
        super().__init__()
        self.answers = answers
        self._opened = opened
        self._said = said
        self._step = 0
        self._places = [0] * len(STEPS)
        """Where the pointer stands in each step."""
        self._rows: list[AnswerRow] = []
        self._made: tuple[tuple[Answers, date], NewRoom] | None = None
        """The room as it would be, by the last answers and the first day it was worked out of."""

    # -- what is shown -------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        yield Static(id="head")
        with Horizontal(id="founding-body"):
            yield Static(id="steps")
            yield AnswerList(id="answers")
        yield Static(id="said")
        yield FootBar(self.ACTIONS, id="foot")

    def on_mount(self) -> None:
        self.draw()
        self.say(self._said)

    def on_resize(self) -> None:
        self.draw()

    def draw(self) -> None:
        """Show the step as the answers stand."""
        self._rows = self.step.rows(self)
        self._places[self._step] = max(0, min(self.place, len(self._rows) - 1))
        self._draw_head()
        self.query_one("#steps", Static).update(Content("\n").join(map(self._step_line, range(len(STEPS)))))
        self.query_one(AnswerList).show(self._rows, self.place)

    def _draw_head(self) -> None:
        """The room, and of which system the row is: its heading may be out of sight."""
        name = plain(self.answers.name)
        headings = [row.heading for row in self._rows[: self.place + 1] if row.heading]
        self.query_one("#head", Static).update(
            Content.assemble(
                ("A new room", "bold"),
                f"  {fit(name, _NAME).rstrip()}" if name else "",
                (f"  {plain(headings[-1])}", "bold $text-accent") if headings else "",
                "\n",
                (self.step.hint, MUTED),
            )
        )

    def _step_line(self, number: int) -> Content:
        step, here = STEPS[number], number == self._step
        count = step.count(self.answers)
        style = "bold" if here else ""
        return Content.assemble(
            ("▸ " if here else "  ", "bold $text-accent"),
            (f"{number + 1} {fit(step.title, _STEP)}", style),
            (f"{count:>3}" if count else "", MUTED),
        )

    def say(self, sentence: str) -> None:
        """Say something above the foot until something else is said."""
        said = self.query_one("#said", Static)
        said.display = bool(sentence)
        said.update(Content(plain(sentence)))

    # -- the answers ---------------------------------------------------------------------------------

    @property
    def step(self) -> Step:
        return STEPS[self._step]

    @property
    def place(self) -> int:
        """Where the pointer stands."""
        return self._places[self._step]

    @property
    def row(self) -> AnswerRow | None:
        return self._rows[self.place] if self._rows else None

    def take(self, answers: Answers, key: Any = ()) -> None:
        """Keep the answers and show them, the pointer on the row of `key`; None: on the last one."""
        self.answers = answers
        self.say("")
        try:
            keep_answers(answers)
        except RoundsError as refused:
            self.say(f"The answers are not kept: {refused}")
        self.draw()
        found = [place for place, row in enumerate(self._rows) if row.key == key]
        if found or key is None:
            self._go(found[0] if found else len(self._rows) - 1)

    @property
    def _calendar(self) -> Calendar:
        return Calendar(ZoneInfo(self.answers.timezone), self.answers.day_begins)

    @property
    def _now(self) -> datetime:
        return Clock(self._calendar.zone, runs_on=True).now()

    @property
    def today(self) -> date:
        """The current round day of the room to be."""
        return self._calendar.round_day(self._now)

    @property
    def first_day(self) -> date:
        """The first round day where none is answered."""
        return usual_first_day(self.answers, self._calendar, self._now)

    def lacking(self) -> list[str]:
        """What keeps the answers from being a room; empty when nothing does."""
        found = [] if self.answers.name else ["The room has no name: step 1."]
        found += [] if self.answers.systems else ["There is no system: step 4."]
        if not found:
            try:
                self._room()
            except RoomFaults as faults:
                found = [str(fault) for fault in faults.faults]
        return found

    def first_week(self) -> list[FirstDay]:
        return first_week(self._room().room, self._now)

    def unsafe(self) -> list[tuple[str, str]]:
        return unsafe(self._room().room, self._now)

    def _room(self) -> NewRoom:
        asked = (self.answers, self.first_day)
        if self._made is None or self._made[0] != asked:
            self._made = (asked, new_room(*asked))
        return self._made[1]

    # -- moving --------------------------------------------------------------------------------------

    def _go(self, place: int) -> None:
        self._places[self._step] = max(0, min(place, len(self._rows) - 1))
        self.query_one(AnswerList).mark(self.place)
        self._draw_head()

    def action_next_row(self) -> None:
        self._go(self.place + 1)

    def action_row_before(self) -> None:
        self._go(self.place - 1)

    def action_page_down(self) -> None:
        self._go(self.place + self.query_one(AnswerList).page)

    def action_page_up(self) -> None:
        self._go(self.place - self.query_one(AnswerList).page)

    def action_next_heading(self) -> None:
        self._go(next((place for place in self._headings() if place > self.place), self.place))

    def action_heading_before(self) -> None:
        self._go(next((place for place in reversed(self._headings()) if place < self.place), 0))

    def _headings(self) -> list[int]:
        return [place for place, row in enumerate(self._rows) if row.heading]

    def action_next_step(self) -> None:
        self._show_step(self._step + 1)

    def action_step_before(self) -> None:
        self._show_step(self._step - 1)

    def _show_step(self, step: int) -> None:
        self._step = max(0, min(step, len(STEPS) - 1))
        self.say("")
        self.draw()

    def on_row_picked(self, event: RowPicked) -> None:
        self._go(event.place)

    # -- what can be done ----------------------------------------------------------------------------

    def action_change(self) -> None:
        """Ask for the row; where the step has none yet, for the first one."""
        if self.row is None:
            self.action_add()
        else:
            converse(self, partial(self.step.change, self, self.row.key), self.say)

    def action_add(self) -> None:
        converse(self, partial(self.step.add, self), self.say)

    def action_remove(self) -> None:
        self._turn(self.step.removed)

    def action_tick(self) -> None:
        self._turn(self.step.ticked)

    def _turn(self, turned: Callable[[Answers, Any], Answers]) -> None:
        if self.row is None:
            return
        try:
            self.take(turned(self.answers, self.row.key))
        except RoundsError as refused:
            self.say(str(refused))

    def action_write(self) -> None:
        """Write the room, once its preview has been seen."""
        seen = isinstance(self.step, PreviewStep)
        self._show_step(len(STEPS) - 1)
        if self.lacking():
            self.say("The room cannot be written yet: see above what is missing.")
            return
        if not seen:
            self.say("This is the room's first week; s again writes the room.")
            return
        folder = Path(self.answers.folder)
        try:
            write_room(folder, self._room().files)
        except RoundsError as refused:
            self.say(str(refused))
            return
        drop_answers()
        self._opened(folder)

    def action_help(self) -> None:
        from rounds.ui.screens.pages import help_page

        self.app.push_screen(help_page(self.ACTIONS))

    def action_leave(self) -> None:
        self.app.exit()
