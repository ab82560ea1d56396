"""Prompts: what stands together in the records; the light programmes and their steps; what happened, on one line."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from typing import ClassVar

import msgspec
from textual.binding import BindingType

from rounds.core.model import System
from rounds.core.words import plain
from rounds.report.light import LightState, light_lines, light_state
from rounds.report.past import past_of
from rounds.report.prompts import prompt_lines, system_prompts, timeline, timeline_lines
from rounds.storage.room import RoomFolder
from rounds.ui import staging
from rounds.ui.asking import in_turn
from rounds.ui.keymap import PROMPTS, bindings
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import RoomScreen, Tell
from rounds.ui.text import MUTED

LOOK_BACK = timedelta(days=28)
"""What happened is told so far back."""


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
        self._ask(staging.light_step)

    def action_hold(self) -> None:
        self._ask(staging.hold_light)

    def action_take_back(self) -> None:
        self._ask(staging.take_light_back)

    def _ask(self, asking: Callable[[RoomScreen, LightState], Awaitable[None]]) -> None:
        """Ask about the programme that the pointer is on."""
        if (state := self._state) is None:
            self.say("No light programme is known here: add one in set-up.")
        else:
            in_turn(self, partial(asking, self, state))


def _style(line: str) -> str:
    """What a prompt rests on is indented, and less bright."""
    return MUTED if line.startswith(" ") else "bold"
