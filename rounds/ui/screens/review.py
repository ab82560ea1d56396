"""The review of a day or a month: what was late, not done and why, which entries to look at; signed with a note."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import partial
from typing import ClassVar

from textual.binding import BindingType

from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.words import day_name
from rounds.report.review import (
    Period,
    Review,
    day_period,
    draft_signed,
    month_period,
    review,
    review_head,
    review_sections,
)
from rounds.storage.room import RoomFolder
from rounds.ui.asking import in_turn, record, write_in
from rounds.ui.keymap import REVIEW, bindings
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED

_NO_NOTE = "nothing to add"


class ReviewPage(RoomPage):
    """One day or month at a time, yesterday first."""

    ACTIONS = REVIEW
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(REVIEW)]

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._today = room.model.calendar.round_day(self.now)
        self._day = max(self._today - ONE_DAY, min(room.model.began, self._today))
        """The day that is looked at, or of which the month is."""
        self._month = False
        self._found: Review | None = None
        """Of the period that is looked at; None: being worked out."""
        self._note = ""
        """What was to be signed and is not yet."""

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        self._today = self.room.model.calendar.round_day(self.now)
        self.work_out("review", partial(self._work_out, self._period), self._worked_out, "It cannot be worked out")

    def _work_out(self, period: Period, tell: Tell) -> None:
        """Runs in a thread of its own: a month of a large room takes its time."""
        room, model, now = self.room, self.room.model, self.now
        signed = room.reviews(now)

        def answer(history: History) -> Review:
            return review(model, history, period, now, signed)

        tell(room.ask(answer, model.calendar.start(period.first - ONE_DAY), now))

    def _worked_out(self, found: Review) -> None:
        self._found = found
        self.draw()

    # -- what is shown -------------------------------------------------------------------------------

    def draw(self) -> None:
        super().draw()
        state = "" if self._found is not None else "being worked out …  "
        self.show_head([("Review  ", "bold"), (f"{self._period.name}  ", "bold"), (state, "")])
        self.show_lines(self._lines(self._found) if self._found is not None else (), of=self._period)

    def _lines(self, found: Review) -> Iterator[tuple[str, str]]:
        for sentence in review_head(self.room.model, found, self.now):
            yield sentence, "bold"
        for title, said in review_sections(self.room.model, found):
            yield "", ""
            yield (title, "bold $text-accent") if said else (f"{title}: nothing", MUTED)
            for each in said:
                yield f"  {each.text}", ""
                if each.why:
                    yield f"      {each.why}", MUTED

    # -- another day or month --------------------------------------------------------------------------

    @property
    def _period(self) -> Period:
        return month_period(self._day, self._today) if self._month else day_period(self._day)

    def action_earlier(self) -> None:
        self._look_at(self._period.first - ONE_DAY)

    def action_later(self) -> None:
        self._look_at(self._period.last + ONE_DAY)

    def action_month(self) -> None:
        self._month = not self._month
        self._look_at(self._day)

    def _look_at(self, day: date) -> None:
        if day > self._today:
            self.say("The next one has not begun.")
        elif day < self.room.model.began:
            self.say(f"The room began on {day_name(self.room.model.began)} {self.room.model.began.year}.")
        else:
            self.say("")
            self._day, self._found = day, None
            self.plan()
            self.draw()

    # -- signing -------------------------------------------------------------------------------------

    def action_sign(self) -> None:
        if self._found is None:
            self.say("The review is still being worked out.")
        else:
            in_turn(self, partial(self._sign, self._found))

    async def _sign(self, found: Review) -> None:
        self._note = await write_in(
            self, f"Sign the review of {found.period.name}. A note?", (_NO_NOTE,), "a few words", str, self._note
        )
        note = "" if self._note == _NO_NOTE else self._note
        draft = draft_signed(self.room.model, found, self.keeper or "", self.room.now(), note)
        await record(self, "Sign the review?", [draft])
        self._note = ""
