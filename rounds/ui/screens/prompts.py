"""Prompts: what stands together in the records; the light programmes and their steps; what happened, on one line."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from typing import ClassVar

import msgspec
from textual.binding import BindingType

from rounds.core.errors import RoundsError
from rounds.core.model import System
from rounds.core.moments import parse_until
from rounds.core.recording import Draft
from rounds.core.words import plain
from rounds.report.light import (
    LightState,
    draft_light_held,
    draft_light_step,
    draft_light_taken_back,
    light_lines,
    light_state,
    wanted_integral,
)
from rounds.report.past import past_of
from rounds.report.prompts import prompt_lines, system_prompts, timeline, timeline_lines
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import PROMPTS, bindings
from rounds.ui.screens.ask import Choice
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED

LOOK_BACK = timedelta(days=28)
"""What happened is told so far back."""

RECORDS_ONLY = "This records the step; set the lamps yourself."


class SystemPrompts(msgspec.Struct, frozen=True, kw_only=True):
    """What is said of one system."""

    system: System
    prompts: list[str]
    """What a prompt stands on is indented."""
    lights: list[LightState]
    happened: list[str]
    """The newest first."""


class Prompts(RoomPage):
    """All systems on one page, filled as they are worked out; one light programme at a time can be stepped."""

    ACTIONS = PROMPTS
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(PROMPTS)]

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._found: dict[str, SystemPrompts] = {}
        self._place = 0
        """Of the light programme among those of the room."""
        self._wrong = ""

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        self.work_out("prompts", partial(self._work_out, self.now), self._worked_out, self._not_worked_out)

    def _work_out(self, now: datetime, tell: Tell) -> None:
        """Runs in a thread of its own: the past of a large room takes its time."""
        model = self.room.model
        for system in model.systems:
            past = past_of(self.room, system)
            prompts = system_prompts(model, past, system, now)
            happened = timeline(model, past, system, now - LOOK_BACK, now)
            tell(
                SystemPrompts(
                    system=system,
                    prompts=prompt_lines(model, past.history, system, prompts),
                    lights=[light_state(model, past.history, each, now) for each in system.lights],
                    happened=timeline_lines(model, happened)[::-1],
                )
            )

    def _worked_out(self, found: SystemPrompts) -> None:
        self._wrong = ""
        self._found[found.system.id] = found
        self.draw()

    def _not_worked_out(self, why: str) -> None:
        self._wrong = f"The prompts cannot be worked out: {why}"
        self.draw()

    # -- what is shown -------------------------------------------------------------------------------

    def draw(self) -> None:
        super().draw()
        self.show_head([("Prompts", "bold"), ("  no diagnoses: below each stand the records it rests on", "")])
        self.show_lines(self._lines())

    def _lines(self) -> Iterator[tuple[str, str]]:
        found = [self._found[system.id] for system in self.room.model.systems if system.id in self._found]
        prompts = [line for each in found for line in each.prompts]
        for line in prompts:
            yield line, _style(line)
        if self._wrong:
            yield self._wrong, "$text-warning"
        elif len(found) < len(self.room.model.systems):
            yield "Reading what was recorded …", MUTED
        elif not prompts:
            yield "Nothing in the records asks for a look.", ""
        if states := self._states:
            yield "", ""
            yield "Light programmes", "bold $text-accent"
        for place, state in enumerate(states):
            first, *rest = light_lines(self.room.model, state)
            pointer = "▸ " if place == self._place else "  "
            yield f"{pointer}{self._system_of(state)}: {first}", "bold"
            yield from ((f"  {line}", MUTED) for line in rest)
        for each in found:
            if each.happened:
                yield "", ""
                yield f"The last {LOOK_BACK.days} days, {plain(each.system.name)}", "bold $text-accent"
                yield from ((line, "") for line in each.happened)

    def _system_of(self, state: LightState) -> str:
        return plain(self.room.model.system[state.lights.system].name)

    # -- light programmes ------------------------------------------------------------------------------

    @property
    def _states(self) -> list[LightState]:
        """The light programmes that are known, in the order of the room's systems."""
        systems = [self._found[system.id] for system in self.room.model.systems if system.id in self._found]
        return [state for each in systems for state in each.lights]

    @property
    def _state(self) -> LightState | None:
        """The one that the pointer is on."""
        states = self._states
        return states[min(self._place, len(states) - 1)] if states else None

    def action_next_lights(self) -> None:
        self._step(1)

    def action_lights_before(self) -> None:
        self._step(-1)

    def _step(self, direction: int) -> None:
        if states := self._states:
            self._place = (self._place + direction) % len(states)
            self.draw()

    def action_accept(self) -> None:
        """Ask for the light after the step, at most what it may be."""
        if (state := self._stepped()) is None:
            return
        if state.integral is None:
            self.say("How much light there is now is not known: read PAR at the racks first.")
            return
        highest = f"{state.highest:.2f}" if state.verdict.may_rise and state.highest is not None else None
        if highest is None:
            self.say(f"The light may not rise: {state.verdict.why}. It can be lowered.")

        def entered(text: str | None) -> None:
            if text is not None:
                self._try(lambda: self._stepped_to(state, wanted_integral(state, text)))

        title = f"{self._system_of(state)}: {state.integral:.2f} mol/m2 a day now; after the step?"
        choices = [(f"{highest}, the most it may be", highest)] if highest is not None else []
        self.app.push_screen(Choice(title, choices, free="mol/m2 a day"), entered)

    def _stepped_to(self, state: LightState, wanted: float) -> None:
        assert state.integral is not None
        draft = draft_light_step(state.lights, state.integral, wanted, self.room.now())
        lines = [draft.note, state.verdict.why, RECORDS_ONLY]
        self.confirm("A step of the light", lines, partial(self._record_step, (state, wanted), draft, "a"))

    def action_hold(self) -> None:
        """Ask until when and why, then record that the light stays as it is."""
        if (state := self._stepped()) is None:
            return
        if state.integral is None:
            self.say("How much light there is now is not known: read PAR at the racks first.")
            return
        integral = state.integral

        def until(text: str | None) -> None:
            if text is not None:
                now = self.room.now()
                self._try(lambda: why(parse_until(text, self.room.model.calendar, now, now)))

        def why(end: datetime) -> None:
            def given(text: str | None) -> None:
                if text is not None:
                    draft = draft_light_held(state.lights, integral, end, self.room.now(), text)
                    self._record_step((state, end, text), draft, "h")

            self._choose("Why is it held?", ("paling seen", "new animals", "animals are stressed"), "a reason", given)

        self._choose("Hold the light until when?", ("1 week", "2 weeks", "4 weeks"), "2026-12-09, 10 days", until)

    def action_take_back(self) -> None:
        """Ask, then record that the light is again as it was before its last step."""
        if (state := self._stepped()) is None:
            return
        if (step := state.staged) is None:
            self.say("No step of this light programme is recorded that could be taken back.")
            return

        def given(text: str | None) -> None:
            if text is not None:
                draft = draft_light_taken_back(state.lights, step, self.room.now(), text)
                record = partial(self._record_step, (state, text), draft, "b")
                self.confirm("Take the step back", [draft.note, RECORDS_ONLY], record)

        self._choose("Why is it taken back?", ("paling seen", "animals are stressed", "not meant"), "a reason", given)

    def _stepped(self) -> LightState | None:
        """The programme to record a step of; None: there is none, or nobody to record it for, which is said."""
        state = self._state
        if state is None:
            self.say("No light programme is known here: add [[lights]] to a system's file.")
            return None
        return state if self.has_keeper() else None

    def _choose(self, title: str, offered: tuple[str, ...], free: str, then: Callable[[str | None], None]) -> None:
        self.app.push_screen(Choice(title, [(each, each) for each in offered], free=free), then)

    def _try(self, act: Callable[[], object]) -> None:
        """What cannot be read or may not be is said."""
        try:
            act()
        except RoundsError as refused:
            self.say(str(refused))

    def _record_step(self, what: object, draft: Draft, key: str) -> None:
        if records := self.record(what, [draft], key):
            self.say(f"Recorded: {records[0].note}.")


def _style(line: str) -> str:
    """What a prompt rests on is indented, and less bright."""
    return MUTED if line.startswith(" ") else "bold"
