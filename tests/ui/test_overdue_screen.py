"""What is late across systems: filters, ticking, postponing with one cause, and going there in the walk."""

from __future__ import annotations

from pathlib import Path

from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens.ask import Choice
from rounds.ui.screens.overdue import OverduePage
from tests.ui.app import WIDE, current, flat, records, shown, until, walk, walking, when, write


async def open_page(pilot: Pilot[int]) -> OverduePage:
    await pilot.press("d")
    await until(pilot, lambda: isinstance(pilot.app.screen, OverduePage))
    page = pilot.app.screen
    assert isinstance(page, OverduePage)
    await until(pilot, lambda: "Load of the coming days" in shown(pilot))
    return page


async def answer(pilot: Pilot[int], title: str, text: str) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot))
    assert isinstance(pilot.app.screen, Choice)
    pilot.app.screen.query_one(Input).value = ""
    await write(pilot, text)


async def test_it_lists_what_is_late_and_goes_there(kept: Path) -> None:
    """Enter leads back to the walk, onto the row, whatever was filtered there."""
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("a")
        await open_page(pilot)
        assert "Feel the return pump" in shown(pilot)
        assert "1 life support" in shown(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert current(pilot) == "nursery/return"


async def test_the_filters_go_round(kept: Path) -> None:
    """One system after the other, then all again."""
    async with walking(kept, size=WIDE) as pilot:
        page = await open_page(pilot)
        systems = list(page.room.model.system)
        for system in systems:
            await pilot.press("s")
            await until(pilot, lambda system=system: f"only {system}" in shown(pilot))
            assert ("Feel the return pump" in shown(pilot)) == (system == "nursery")
        await pilot.press("s")
        await until(pilot, lambda: "only" not in shown(pilot).splitlines()[0])
        assert "Feel the return pump" in shown(pilot)


async def test_several_are_put_off_with_one_cause(kept: Path) -> None:
    """The cause stands in each record; an empty one is refused and what was typed stays."""
    async with walking(kept, size=WIDE) as pilot:
        page = await open_page(pilot)
        late = [item.task.id for item in page._items]
        for _ in late:
            await pilot.press("space")
        await until(pilot, lambda: f"{len(late)} ticked" in shown(pilot))
        await pilot.press("p")
        await answer(pilot, "Put off until when?", "14:00")
        await answer(pilot, "Why?", "power cut")
        await until(pilot, lambda: len(records(kept)) == len(late))
        found = records(kept)
        assert [entry["task"] for entry in found] == late
        assert {(entry["kind"], entry["reason"], when(entry, "until")) for entry in found} == {
            ("postponed", "power cut", "2026-11-25T14:00")
        }


async def test_nothing_late_is_said(kept: Path) -> None:
    """Of a keeper with nothing late the list says so, and Enter only leads back."""
    async with walking(kept, size=WIDE) as pilot:
        await open_page(pilot)
        for _ in range(4):
            await pilot.press("i")
            if "only upkeep" in shown(pilot):
                break
        await until(pilot, lambda: "only upkeep" in shown(pilot) and "nothing is late" in shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))


async def test_tab_shows_why_the_chosen_one_is_late(kept: Path) -> None:
    """Its rule and its last time instead of the load."""
    async with walking(kept, size=WIDE) as pilot:
        await open_page(pilot)
        await pilot.press("tab")
        await until(pilot, lambda: "8 hours after the last time" in flat(pilot))
        assert "Load of the coming days" not in shown(pilot)
