"""The prompts: what they stand on, what happened, and steps of the light. Rooms and numbers are invented."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens import prompts as prompts_screen
from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.levels import Levels
from rounds.ui.screens.prompts import Prompts
from tests.ui.app import (
    DISK_FULL,
    advance,
    at_the_levels,
    fill_disk_once,
    flat,
    record,
    records,
    shown,
    until,
    walking,
    when,
    write,
)
from tests.ui.conftest import NURSERY


@asynccontextmanager
async def at_the_prompts(
    folder: Path, by: str | None = "TV", size: tuple[int, int] = (120, 90)
) -> AsyncIterator[Pilot[int]]:
    """The prompts of all systems."""
    async with at_the_levels(folder, by, size) as pilot:
        await pilot.press("p")
        await until(pilot, lambda: isinstance(pilot.app.screen, Prompts) and "Reading what was" not in flat(pilot))
        yield pilot


async def test_prompts_show_the_records_they_stand_on(demo: Path) -> None:
    """Alkalinity by demand, pale racks, then the light programmes of all systems."""
    async with at_the_prompts(demo) as pilot:
        text = flat(pilot)
        assert "Nursery raceway: Alkalinity" in text
        assert "demand has grown" in text
        assert "IK 2, 4 and 5 pale, no worse" in text
        assert "Light programmes ▸ Nursery raceway: light programme" in text
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))


async def test_what_happened_stands_on_one_line_of_time(demo: Path) -> None:
    """Feeds, water changes and what was seen, by system, the newest first."""
    async with at_the_prompts(demo, size=(120, 300)) as pilot:
        _, _, after = shown(pilot).partition("The last 28 days, Nursery raceway")
        told = after.strip().splitlines()
        assert any("water change: Change water, 96 L" in line for line in told)
        assert any(" feed: " in line for line in told)
        days = [line.split()[1] for line in told[:20]]
        assert days == sorted(days, key=int, reverse=True), "the newest first"


async def test_prompts_that_fail_say_so(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: Any) -> Any:
        raise OSError("the share is gone")

    async with at_the_levels(demo) as pilot:
        monkeypatch.setattr(prompts_screen, "system_prompts", fails)
        await pilot.press("p")
        await until(pilot, lambda: "The prompts cannot be worked out: the share is gone" in flat(pilot))


# -- steps of the light ----------------------------------------------------------------------------------

REEF_LIGHTS = (
    NURSERY
    + """
[[readings]]
id = "par"
quantity = "light"
station = "racks"
again_after = "14 days"

[[tasks]]
id = "animals"
station = "racks"
title = "Look over the animals"
again_after = "1 day"
animals_seen = true

[[lights]]
id = "lights"
name = "light bar"
station = "racks"
begins = "08:00"
ramp_up = "2 hours"
plateau = "6 hours"
ramp_down = "2 hours"
measured = "par"
channels = [{ name = "blue", peak = "60 %" }]
"""
)
LIGHTS = "nursery/lights"


@pytest.fixture
def lit(make_room: Callable[..., Path]) -> Path:
    """200 µmol/m²/s × 8 h = 5.76 mol/m² a day, read and looked over this morning: the light may rise to 6.34."""
    folder = make_room(nursery=REEF_LIGHTS)
    record(folder, "reading", "nursery/par", "2026-11-25T08:00", values={"nursery/par": 200.0})
    record(folder, "done", "nursery/animals", "2026-11-25T08:10")
    return folder


async def answer(pilot: Pilot[Any], text: str) -> None:
    """Type into the list that is open."""
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
    await write(pilot, text)


async def test_a_light_step_is_asked_for_and_recorded_with_its_two_values(lit: Path) -> None:
    """Enter alone takes the most it may be; only y records it, and then the light has to wait."""
    async with at_the_prompts(lit) as pilot:
        for reply, count in (("n", 0), ("y", 1)):
            await pilot.press("a")
            await until(pilot, lambda: "5.76 mol/m2 a day now; after the step?" in flat(pilot))
            await pilot.press("enter")
            await until(pilot, lambda: "light up, 5.76 to 6.34 mol/m2 a day" in flat(pilot))
            assert "set the lamps yourself" in flat(pilot)
            await pilot.press(reply)
            await until(pilot, lambda: isinstance(pilot.app.screen, Prompts))
            await until(pilot, lambda count=count: len(records(lit)) == count)
        (entry,) = records(lit)
        assert (entry["kind"], entry["task"], entry["by"]) == ("change step", LIGHTS, "TV")
        assert [value["value"] for value in entry["values"]] == [pytest.approx(5.76), pytest.approx(6.34)]
        await until(pilot, lambda: "wait until Wed 2 Dec: light up 10 %" in flat(pilot))
        assert "light up, 5.76 to 6.34 mol/m2 a day" in flat(pilot)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("6.4", "write at most 6.34"),
        ("much", "'much' is no amount of light"),
        ("-1", "'-1' is no amount of light"),
        ("nan", "'nan' is no amount of light"),
    ],
)
async def test_a_step_beyond_the_bound_is_refused_and_stays_typed(lit: Path, typed: str, said: str) -> None:
    async with at_the_prompts(lit) as pilot:
        await pilot.press("a")
        await answer(pilot, typed)
        await until(pilot, lambda: said in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == typed
        assert records(lit) == []


async def test_a_hold_keeps_the_light_from_rising_until_its_time(lit: Path) -> None:
    """It can be lowered all the same, and that ends the hold."""
    async with at_the_prompts(lit) as pilot:
        await pilot.press("h")
        await answer(pilot, "10 days")
        await answer(pilot, "tips pale")
        await until(pilot, lambda: "held until Sat 5 Dec by TV: light held at 5.76" in flat(pilot))
        (entry,) = records(lit)
        assert (entry["kind"], entry["task"], when(entry, "until")) == ("change step", LIGHTS, "2026-12-05T09:30")
        assert [value["value"] for value in entry["values"]] == [pytest.approx(5.76), pytest.approx(5.76)]
        await pilot.press("a")
        await answer(pilot, "6")
        await until(pilot, lambda: "the light may not rise: held until" in flat(pilot))
        advance(pilot, timedelta(minutes=1))
        await answer(pilot, "5")
        await until(pilot, lambda: "light down, 5.76 to 5.00" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: len(records(lit)) == 2 and "held until" not in flat(pilot))


async def test_a_step_is_taken_back_once(lit: Path) -> None:
    """The record names the step; after that there is none left."""
    async with at_the_prompts(lit) as pilot:
        await pilot.press("b")
        await until(pilot, lambda: "No step of this light programme is recorded" in flat(pilot))
        await pilot.press("a")
        await answer(pilot, "6")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: len(records(lit)) == 1 and "wait until" in flat(pilot))
        advance(pilot, timedelta(minutes=1))
        await pilot.press("b")
        await answer(pilot, "tips pale")
        await until(pilot, lambda: "light step taken back, 6.00 to 5.76" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: len(records(lit)) == 2 and isinstance(pilot.app.screen, Prompts))
        made, back = records(lit)
        assert (back["ref"], back["note"]) == (
            made["id"], "light step taken back, 6.00 to 5.76 mol/m2 a day: tips pale"
        )  # fmt: skip
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        await pilot.press("b")
        await until(pilot, lambda: "No step of this light programme is recorded" in flat(pilot))


async def test_a_light_step_the_disk_refuses_is_tried_again_as_the_same_record(
    lit: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = fill_disk_once(monkeypatch)
    async with at_the_prompts(lit) as pilot:
        await pilot.press("a")
        await answer(pilot, "6")
        for said in ("A step of the light", DISK_FULL):
            await until(pilot, lambda said=said: isinstance(pilot.app.screen, Question) and said in flat(pilot))
            await pilot.press("y")
        await until(pilot, lambda: len(records(lit)) == 1 and isinstance(pilot.app.screen, Prompts))
        assert tried[0] == tried[1] == [each["id"] for each in records(lit)]


async def test_without_lights_nothing_is_stepped(kept: Path) -> None:
    async with at_the_prompts(kept) as pilot:
        for key in "ahb":
            await pilot.press(key)
            await until(pilot, lambda: "No light programme is known here" in flat(pilot))
        assert records(kept) == []


async def test_nobody_steps_the_light_without_a_name(lit: Path) -> None:
    async with walking(lit, by=None, size=(120, 90)) as pilot:
        await pilot.press("escape", "l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))
        await pilot.press("p")
        await until(pilot, lambda: "▸ Nursery raceway: light bar" in flat(pilot))
        await pilot.press("a")
        await until(pilot, lambda: "Nobody keeps the room yet" in flat(pilot))
        assert isinstance(pilot.app.screen, Prompts)
