"""Conversations about what is changed in steps: the next step of the light, a hold, a step taken back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from rounds.core.moments import parse_until
from rounds.core.recording import Draft
from rounds.core.staged import Step, draft_hold, draft_taken_back
from rounds.core.words import plain
from rounds.report.light import (
    LightState,
    draft_light_held,
    draft_light_step,
    draft_light_taken_back,
    wanted_integral,
)
from rounds.ui.asking import record, sure, write_in
from rounds.ui.screens.room_screen import RoomScreen

_LAMPS = "This records the step; set the lamps yourself."
_DOSING = "This records the step; turn the pump, the valve or the timer yourself."

_NO_LIGHT = "How much light there is now is not known: read PAR at the racks first."
_WHY_HELD = ("paling seen", "new animals", "animals are stressed")
_WHY_BACK = ("paling seen", "animals are stressed", "not meant")


async def light_step(screen: RoomScreen, state: LightState) -> None:
    """The light after its next step, at most what it may be."""
    if state.integral is None:
        screen.say(_NO_LIGHT)
        return
    may_rise = state.verdict.may_rise and state.highest is not None
    highest = (f"{state.highest:.2f}",) if may_rise else ()
    if not may_rise:
        screen.say(f"The light may not rise: {state.verdict.why}. It can be lowered.")
    title = f"{_system(screen, state)}: {state.integral:.2f} mol/m2 a day now; after the step?"
    at_most = f", at most {highest[0]}" if highest else ""
    wanted = await write_in(screen, title, highest, f"mol/m2 a day{at_most}", lambda text: wanted_integral(state, text))
    draft = draft_light_step(state.lights, state.integral, wanted, screen.room.now())
    await _record(screen, "A step of the light", draft, state.verdict.why, _LAMPS)


async def hold_light(screen: RoomScreen, state: LightState, reasons: Sequence[str] = ()) -> None:
    """The light stays as it is until a time; `reasons` stand before the usual ones."""
    if state.integral is None:
        screen.say(_NO_LIGHT)
        return
    until = await _until(screen, "Hold the light until when?")
    why = await _why(screen, "Why is it held?", (*reasons, *_WHY_HELD))
    await record(screen, "Held", [draft_light_held(state.lights, state.integral, until, screen.room.now(), why)])


async def take_light_back(screen: RoomScreen, state: LightState) -> None:
    """The light is again as it was before its last step."""
    if (step := state.staged) is None:
        screen.say("No step of this light programme is recorded that could be taken back.")
        return
    why = await _why(screen, "Why is it taken back?", _WHY_BACK)
    draft = draft_light_taken_back(state.lights, step, screen.room.now(), why)
    await _record(screen, "Take the step back", draft, _LAMPS)


async def hold_dose(screen: RoomScreen, last: Step, reasons: Sequence[str] = ()) -> None:
    """The dose stays as its last step left it until a time."""
    until = await _until(screen, "Hold the dose until when?")
    why = await _why(screen, "Why is it held?", (*reasons, "animals are stressed", "waiting for a test"))
    await record(screen, "Held", [draft_hold(last, until, screen.room.now(), why)])


async def take_dose_back(screen: RoomScreen, step: Step) -> None:
    """The dose is again as it was before its last step."""
    why = await _why(screen, "Why is it taken back?", ("a reading left its band", "animals are stressed", "not meant"))
    await _record(screen, "Take the step back", draft_taken_back(step, screen.room.now(), why), _DOSING)


async def _record(screen: RoomScreen, title: str, draft: Draft, *more: str) -> None:
    """Ask before a step is recorded; nothing is turned by it."""
    if await sure(screen, title, [plain(draft.note), *more], "yes, record the step"):
        await record(screen, title, [draft])


async def _until(screen: RoomScreen, title: str) -> datetime:
    room = screen.room

    def read(text: str) -> datetime:
        return parse_until(text, room.model.calendar, room.now(), room.now())

    return await write_in(screen, title, ("1 week", "2 weeks", "4 weeks"), "2026-12-09, 10 days", read)


async def _why(screen: RoomScreen, title: str, offered: Sequence[str]) -> str:
    return await write_in(screen, title, offered, "a reason", str.strip)


def _system(screen: RoomScreen, state: LightState) -> str:
    return plain(screen.room.model.system[state.lights.system].name)
