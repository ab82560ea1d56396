"""An absence in the app: asked for, shown, its sitter's sheet, and saved as a page to print."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens.ask import Choice
from rounds.ui.screens.away import AwayPage
from tests.ui.app import WIDE, flat, shown, until, walk, walking, write


async def answer(pilot: Pilot[int], title: str, text: str) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot))
    assert isinstance(pilot.app.screen, Choice)
    pilot.app.screen.query_one(Input).value = ""
    await write(pilot, text)


async def ask(pilot: Pilot[int], begin: str = "tomorrow", end: str = "3 days", sitter: str = "BC") -> None:
    await pilot.press("y")
    await answer(pilot, "Away from when?", begin)
    await answer(pilot, "Back when?", end)
    await answer(pilot, "Who looks after the room meanwhile?", sitter)
    await until(pilot, lambda: "Before leaving" in shown(pilot))


async def test_an_absence_and_its_sheet(kept: Path) -> None:
    """The span at the head, then the sheet by Tab, and back."""
    async with walking(kept, size=WIDE) as pilot:
        await ask(pilot)
        assert "Thu 26 Nov to Sun 29 Nov" in shown(pilot)
        await pilot.press("tab")
        await until(pilot, lambda: "Before leaving" not in shown(pilot))
        assert "sheet for the sitter" in flat(pilot)
        await pilot.press("tab")
        await until(pilot, lambda: "Before leaving" in shown(pilot))


async def test_back_before_it_begins_is_refused_in_place(kept: Path) -> None:
    """The line stays with what was typed."""
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("y")
        await answer(pilot, "Away from when?", "2026-12-03")
        await answer(pilot, "Back when?", "2026-12-01")
        await until(pilot, lambda: isinstance(pilot.app.focused, Input) and pilot.app.focused.value == "2026-12-01")
        assert "Back when?" in shown(pilot)


async def test_escape_leads_back_to_the_walk(kept: Path) -> None:
    """Without days there is nothing to show."""
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("y")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))


async def test_it_is_saved_as_a_page(kept: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the keeper says; what is there already is overwritten only on a yes."""
    monkeypatch.chdir(tmp_path)
    async with walking(kept, size=WIDE) as pilot:
        await ask(pilot)
        await pilot.press("s")
        await answer(pilot, "Write it to which file?", "leave.html")
        await until(pilot, lambda: (tmp_path / "leave.html").exists())
        assert isinstance(pilot.app.screen, AwayPage)
    assert (tmp_path / "leave.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
