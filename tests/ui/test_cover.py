"""Covering for a keeper who is away, in the app: asked for in one go, and named wherever the work is."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.overdue import OverduePage
from tests.ui.app import NOW, WIDE, flat, records, set_clock, shown, to, until, walk, walking, when, write
from tests.ui.conftest import NURSERY


@pytest.fixture
def assigned(kept: Path) -> Path:
    """The return pump, which is late, is BC's."""
    pump = 'title = "Feel the return pump"'
    (kept / "systems" / "nursery.toml").write_text(NURSERY.replace(pump, f'{pump}\nkeeper = "BC"'), encoding="utf-8")
    return kept


async def answer(pilot: Pilot[int], title: str, text: str) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot))
    assert isinstance(pilot.app.screen, Choice)
    pilot.app.screen.query_one(Input).value = ""
    await write(pilot, text)


async def cover(pilot: Pilot[int], end: str = "2 days") -> None:
    await pilot.press("V")
    await answer(pilot, "Who is away?", "BC")
    await answer(pilot, "Who does the work of BC?", "TV")
    await answer(pilot, "TV for BC, until when?", end)
    await answer(pilot, "Why?", "at the dentist")


async def test_a_cover_is_recorded(assigned: Path) -> None:
    """Who for whom, until when and why."""
    async with walking(assigned, size=WIDE) as pilot:
        set_clock(pilot, NOW)
        await cover(pilot)
        await until(pilot, lambda: len(records(assigned)) == 1)
        assert "TV for BC" in flat(pilot)
    entry = records(assigned)[0]
    assert (entry["kind"], entry["keepers"], entry["reason"]) == ("cover", ["BC", "TV"], "at the dentist")
    assert when(entry, "until") == "2026-11-27T09:30"


async def test_who_covers_is_named_where_the_work_is(assigned: Path) -> None:
    """In the walk's details and in the overdue list, which takes it as theirs."""
    async with walking(assigned, size=WIDE) as pilot:
        set_clock(pilot, NOW)
        await to(pilot, "nursery/return")
        assert "TV for BC" not in flat(pilot)
        await cover(pilot)
        await until(pilot, lambda: len(records(assigned)) == 1 and pilot.app.screen is walk(pilot))
        await until(pilot, lambda: "life support BC" not in flat(pilot) and flat(pilot).count("TV for BC") == 2)
        await pilot.press("d")
        await until(pilot, lambda: isinstance(pilot.app.screen, OverduePage) and "TV for BC" in flat(pilot))
        await pilot.press("k")
        await until(pilot, lambda: "only TV" in shown(pilot))
        assert "Feel the return pump" in shown(pilot)
        await pilot.press("k")
        await until(pilot, lambda: "only BC" in shown(pilot))
        assert "Feel the return pump" not in shown(pilot)


async def test_a_second_cover_asks_first(assigned: Path) -> None:
    """A keeper who is covered already; no leaves things as they are."""
    async with walking(assigned, size=WIDE) as pilot:
        set_clock(pilot, NOW)
        await cover(pilot)
        await until(pilot, lambda: len(records(assigned)) == 1 and pilot.app.screen is walk(pilot))
        await pilot.press("V")
        await until(pilot, lambda: "BC Brid Casey (covered by TV)" in flat(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await cover(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert "TV covers BC until Fri 09:30; instead?" in flat(pilot)
        await pilot.press("n")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
    assert len(records(assigned)) == 1


async def test_nobody_covers_their_own_absence(assigned: Path) -> None:
    """By way of the other: refused in words."""
    async with walking(assigned, size=WIDE) as pilot:
        set_clock(pilot, NOW)
        await cover(pilot)
        await until(pilot, lambda: len(records(assigned)) == 1 and pilot.app.screen is walk(pilot))
        await pilot.press("V")
        await answer(pilot, "Who is away?", "TV")
        await answer(pilot, "Who does the work of TV?", "BC")
        await answer(pilot, "BC for TV, until when?", "tomorrow")
        await answer(pilot, "Why?", "leave")
        await until(pilot, lambda: "TV would cover TV's own absence" in flat(pilot))
    assert len(records(assigned)) == 1
