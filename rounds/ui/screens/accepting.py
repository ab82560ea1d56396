"""Accepting a handover: every open line confirmed or questioned, one after the other, then signed."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import ClassVar

import msgspec
from textual.binding import BindingType
from textual.widget import Widget
from textual.widgets import Input, Static

from rounds.core.handovers import Handover, draft_accepted
from rounds.core.record import Point
from rounds.core.words import plain, plural
from rounds.report.handover import TITLES, signatures, signed_report, title
from rounds.storage.room import RoomFolder
from rounds.ui.answering import Answering
from rounds.ui.asking import in_turn, record
from rounds.ui.keymap import ACCEPTING, bindings
from rounds.ui.messages import BackAsked
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED
from rounds.ui.widgets.answer_line import AnswerLine

_HINT = "Enter confirms this line and goes on. A question typed here is asked instead."
_HINT_LAST = "Enter accepts the handover. Words of your own may stand here."


class Accepting(RoomPage):
    """One line at a time; at the end what was confirmed and questioned, and Enter accepts."""

    ACTIONS = ACCEPTING
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(ACCEPTING)]
    AUTO_FOCUS = "#answer"

    def __init__(self, room: RoomFolder, keeper: str | None, handover: Handover, answering: Answering) -> None:
        """`answering`: the answers so far, which outlive the screen."""
        super().__init__(room, keeper)
        self._handover = handover
        self._answering = answering

    # -- what is shown -------------------------------------------------------------------------------

    def body(self) -> Iterable[Widget]:
        yield from super().body()
        yield Static(id="answer-hint")
        yield AnswerLine(id="answer")

    def begin(self) -> None:
        super().begin()
        self._show_text()

    def plan(self) -> None:
        """Whether somebody else has accepted it meanwhile."""
        super().plan()
        self.work_out("handover", self._look_again, self._looked_again, "The handover cannot be read again")

    def _look_again(self, tell: Tell) -> None:
        tell(next((each for each in self.room.handovers(self.now) if each.id == self._handover.id), None))

    def _looked_again(self, found: Handover | None) -> None:
        if found is None:
            self.say("This handover was struck meanwhile; there is nothing to accept.")
        else:
            self._handover = found
            self.draw()

    def draw(self) -> None:
        super().draw()
        answering, line = self._answering, self._answering.line
        count = len(answering.lines)
        self.show_head(
            [
                ("Accept  ", "bold"),
                (f"{answering.place + 1} of {count}  " if line is not None else f"all {count} answered  ", "bold"),
                (f"{title(signed_report(self._handover))}  ", MUTED),
            ]
        )
        self.show_lines(self._line_asked(line) if line is not None else self._summary(), of=answering.place)
        self.query_one("#answer-hint", Static).update(_HINT if line is not None else _HINT_LAST)

    def _line_asked(self, line: Point) -> Iterator[tuple[str, str]]:
        answering = self._answering
        if answering.place == 0:
            yield from self._signatures()
            yield "", ""
        yield TITLES.get(line.about.partition(":")[0], ""), "bold $text-accent"
        yield f"{'▲ ' if line.strong else ''}{plain(line.text)}", "bold $text-warning" if line.strong else "bold"
        if (given := answering.answer_to(answering.place)) is not None:
            yield "", ""
            yield _answered(given)
        if answering.place > 0:
            before = answering.place - 1
            yield "", ""
            yield f"Before it: {plain(answering.lines[before].text)}", MUTED
            yield _answered(answering.answer_to(before) or "")

    def _summary(self) -> Iterator[tuple[str, str]]:
        yield from self._signatures()
        yield "", ""
        yield self._counts, "bold $text-accent"
        for line, question in self._answering.asked:
            yield plain(line.text), ""
            yield _answered(question)

    @property
    def _counts(self) -> str:
        asked, count = len(self._answering.asked), len(self._answering.lines)
        return f"{count - asked} confirmed, {plural(asked, 'question')}" if count else "No line had to be answered"

    def _signatures(self) -> Iterator[tuple[str, str]]:
        """Who signed it with which words, and who has accepted it before."""
        said = signatures(self.room.model, signed_report(self._handover), self.now)
        return ((sentence, "") for sentence in (said if self._handover.accepted is not None else said[:1]))

    def _show_text(self) -> None:
        """What was typed at this place stands in the line again."""
        line = self.query_one(AnswerLine)
        line.value = self._answering.text
        line.cursor_position = len(line.value)

    # -- answering -----------------------------------------------------------------------------------

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self._answering.keep(self.query_one(AnswerLine).value)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """What stands in the line now counts: the line before may have been answered while Enter was on its way."""
        event.stop()
        text = self.query_one(AnswerLine).value
        if self._answering.line is None:
            in_turn(self, partial(self._accept, text.strip()))
        else:
            self._answering.answer(text)
            self._moved()

    def on_back_asked(self, event: BackAsked) -> None:
        event.stop()
        self.action_line_before()

    def action_line_before(self) -> None:
        self._answering.back()
        self._moved()

    def action_next_line(self) -> None:
        self._answering.forward()
        self._moved()

    def _moved(self) -> None:
        self.say("")
        self._show_text()
        self.draw()

    async def _accept(self, words: str) -> None:
        room, answering = self.room, self._answering
        asked = {line.about: question for line, question in answering.asked}
        draft = draft_accepted(room.model, self._handover, asked, self.keeper or "", room.now(), words)
        counted = msgspec.structs.replace(draft, questions=(f"{self._counts}.", *draft.questions))
        await record(self, "Accept the handover?", [counted])  # a second Enter by mistake accepts nothing
        answering.restart()
        self.dismiss()


def _answered(question: str) -> tuple[str, str]:
    """An answer as a line with its style."""
    return (f"? {plain(question)}", "$text-accent") if question else ("✓ confirmed", "$text-success")
