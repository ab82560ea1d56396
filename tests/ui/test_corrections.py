"""Records are struck and amended from the history, and the round follows at once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from textual.pilot import Pilot

from tests.ui.app import current, flat, records, state, to, until, walk, walking, write


async def back_to(pilot: Pilot[Any], task: str) -> None:
    """Put the pointer on a task that is done."""
    for index, stop in enumerate(walk(pilot).position.stops):
        for item in stop.items:
            if item.task.id == task:
                walk(pilot).go(index, stop.items.index(item))
    await pilot.pause()
    assert current(pilot) == task


async def test_a_record_is_struck_with_a_reason_and_its_task_is_due_again(kept: Path) -> None:
    """x asks why, the record stays visible as struck, the round follows."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/look") == "done")
        await back_to(pilot, "nursery/look")
        await pilot.press("h")
        await until(pilot, lambda: "strike" in flat(pilot))
        await pilot.press("x")
        await until(pilot, lambda: "Why?" in flat(pilot))
        await pilot.press(*"wrong tank", "enter")
        await until(pilot, lambda: len(records(kept)) == 2)
        await until(pilot, lambda: "STRUCK by TV (wrong tank)" in flat(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert state(pilot, "nursery/look") == "due"
        assert current(pilot) == "nursery/look"


async def test_a_value_is_amended_in_one_step(kept: Path) -> None:
    """a asks for the entry as it should read and why; a strike and a new record of the same time are written."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter")
        await write(pilot, "8.1 cloudy")
        await until(pilot, lambda: len(records(kept)) == 1)
        await back_to(pilot, "nursery/alkalinity")
        await pilot.press("h")
        await until(pilot, lambda: "amend" in flat(pilot))
        await pilot.press("a")
        await until(pilot, lambda: "as it should read" in flat(pilot))
        await pilot.press(*"8", "enter")
        await until(pilot, lambda: "Why?" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 3)
        first, strike, amended = records(kept)
        assert (strike["kind"], strike["ref"], strike["reason"]) == ("strike", first["id"], "typing slip")
        assert (amended["at"], amended["values"][0]["entered"]) == (first["at"], "8")
        assert "note" not in amended


async def test_what_is_struck_is_not_struck_again(kept: Path) -> None:
    """The history says so, and writes nothing."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/look") == "done")
        await pilot.press("u")
        await until(pilot, lambda: len(records(kept)) == 2)
        await pilot.press("h")
        await until(pilot, lambda: "strike" in flat(pilot))
        await pilot.press("x")
        await until(pilot, lambda: "stays struck" in flat(pilot))
        assert len(records(kept)) == 2
