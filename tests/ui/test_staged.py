"""Staged changes in the app: a hold proposed, held, a step made and taken back."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from textual.pilot import Pilot
from uuid6 import uuid7

from rounds.core.recording import Draft, finish
from rounds.core.staged import Setting, draft_step
from rounds.report.light import draft_light_step
from rounds.storage.room_files import load_room
from rounds.storage.sheets import SheetWriter
from rounds.ui.screens.ask import Question
from rounds.ui.screens.doses import Doses
from rounds.ui.screens.staged import StagedChanges
from tests.ui.app import WIDE, at, flat, record, records, shown, until, walking
from tests.ui.conftest import NURSERY
from tests.ui.test_following import answer

LIT = """
[[readings]]
id = "par"
quantity = "light"
station = "racks"
called = true

[[reservoirs]]
id = "solution"
kind = "dosing"
doses = "alkalinity"
strength = "1.0 meq/mL"
capacity = "5 L"

[[lights]]
id = "lights"
name = "lamps [blue]"
station = "racks"
begins = "10:00"
ramp_up = "2 hours"
plateau = "6 hours"
ramp_down = "2 hours"
measured = "par"
channels = [{ name = "blue", peak = "60 %" }]
"""


def write(folder: Path, draft: Draft) -> None:
    room = load_room(folder)
    written = finish(draft, id=str(uuid7()), by="BC", device="tablet", recorded=draft.at, room=room)
    SheetWriter(folder, "tablet", folder.parent / "tablet.lock").append([written], draft.at.date())


def day(number: int) -> datetime:
    return at(f"2026-11-{number:02}T12:00")


@pytest.fixture
def lit(kept: Path) -> Path:
    """The small room with lights that rose a week ago, racks that paled since, and a dose that was raised."""
    looked = NURSERY.replace(
        'title = "Look over the colonies"', 'title = "Look over the colonies"\nanimals_seen = true'
    )
    (kept / "systems" / "nursery.toml").write_text(looked + LIT, encoding="utf-8")
    lights = load_room(kept).lights["nursery/lights"]
    write(kept, draft_light_step(lights, 5.0, 5.4, day(16)))
    record(kept, "reading", "nursery/par", "2026-11-17T12:00", values={"nursery/par": 188.0})
    was, will_be = Setting(0.07, "L/day", "70 mL/day"), Setting(0.077, "L/day", "77 mL/day")
    write(kept, draft_step(("nursery/solution", "nursery", ""), was, will_be, day(17), "70 to 77 mL/day"))
    write(kept, Draft(kind="note", at=day(20), system="nursery", station="racks", note="pale tips", words=("pale",)))
    return kept


async def opened(pilot: Pilot[int]) -> None:
    await pilot.press("S")
    await until(pilot, lambda: isinstance(pilot.app.screen, StagedChanges) and "lamps [blue]" in shown(pilot))
    await until(pilot, lambda: "being worked out" not in shown(pilot))


def steps(folder: Path) -> list[tuple[str, str]]:
    """What this device has recorded, as (task, note)."""
    return [(e["task"], e["note"]) for e in records(folder) if e["kind"] == "change step" and e["device"] == "laptop"]


async def test_a_hold_is_proposed_and_made_by_key(lit: Path) -> None:
    """What was seen stands as the first reason; nothing is recorded before."""
    async with walking(lit, size=WIDE) as pilot:
        await opened(pilot)
        assert "▲ 2 to hold?" in shown(pilot)
        assert steps(lit) == []
        await pilot.press("h")
        await answer(pilot, "Hold the light until when?", "2 weeks")
        await until(pilot, lambda: "Why is it held?" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: len(steps(lit)) == 1)
        await until(pilot, lambda: "= 1 held" in shown(pilot))
    (task, note), *_ = steps(lit)
    assert task == "nursery/lights"
    assert note.startswith("light held at 5.41 mol/m2 a day: Pale seen since the step of Mon 16 Nov")


async def test_a_dose_is_taken_back(lit: Path) -> None:
    async with walking(lit, size=WIDE) as pilot:
        await opened(pilot)
        await pilot.press("down", "b")
        await answer(pilot, "Why is it taken back?", "animals are stressed")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert "turn the pump, the valve or the timer yourself" in flat(pilot)
        await pilot.press("y")
        await until(pilot, lambda: len(steps(lit)) == 1)
        await until(pilot, lambda: "70 mL/day, " in shown(pilot))
    assert steps(lit) == [("nursery/solution", "step taken back, 77 mL/day to 70 mL/day: animals are stressed")]


async def test_the_light_may_not_rise_after_paling_but_can_be_lowered(lit: Path) -> None:
    """A rise is refused and stays typed; less is recorded."""
    async with walking(lit, size=WIDE) as pilot:
        await opened(pilot)
        await pilot.press("a")
        await answer(pilot, "after the step?", "5.8")
        await until(pilot, lambda: "the light may not rise" in flat(pilot))
        await answer(pilot, "after the step?", "5.0")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: steps(lit) == [("nursery/lights", "light down, 5.41 to 5.00 mol/m2 a day")])


async def test_the_next_dose_is_proposed_where_its_balance_is(lit: Path) -> None:
    async with walking(lit, size=WIDE) as pilot:
        await opened(pilot)
        await pilot.press("down", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Doses))


async def test_the_prompts_step_the_light_too(lit: Path) -> None:
    """The same questions on the screen of prompts."""
    async with walking(lit, size=WIDE) as pilot:
        await pilot.press("l")
        await pilot.pause()
        await pilot.press("p")
        await until(pilot, lambda: "lamps [blue]" in shown(pilot))
        await pilot.press("b")
        await answer(pilot, "Why is it taken back?", "paling seen")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: "light step taken back" in str(steps(lit)))


async def test_a_room_without_steps_says_so(kept: Path) -> None:
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("S")
        await until(pilot, lambda: "nothing is changed in steps here" in shown(pilot))
        await pilot.press("h")
        await until(pilot, lambda: "Nothing is changed in steps here." in shown(pilot))
