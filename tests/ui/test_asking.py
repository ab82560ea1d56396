"""Questions and notices that say more than the screen holds: their keys are seen, and what is said can be paged."""

from __future__ import annotations

from pathlib import Path

import pytest

from rounds.ui.screens.ask import Notice, Question
from tests.ui.app import NARROW, shown, until, walking

LINES = [f"Caution {number}: spread additions over the day and into strong flow" for number in range(1, 16)]


def asked(kind: str) -> Question | Notice:
    if kind == "question":
        return Question("Accept the proposal", LINES, "yes, record it", "no")
    return Notice("Act now", LINES, "open a concern")


@pytest.mark.parametrize(("kind", "keys"), [("question", "y yes, record it    n no"), ("notice", "Enter go on")])
async def test_what_can_be_answered_is_seen_below_a_long_text(folder: Path, kind: str, keys: str) -> None:
    async with walking(folder, size=NARROW) as pilot:
        pilot.app.push_screen(asked(kind))
        await until(pilot, lambda: "Caution 1:" in shown(pilot))
        assert keys in shown(pilot)
        assert "Caution 15:" not in shown(pilot)
        for _ in range(3):
            await pilot.press("pagedown")
        await until(pilot, lambda: "Caution 15:" in shown(pilot))
        assert keys in shown(pilot)
        await pilot.press("pageup", "pageup", "pageup")
        await until(pilot, lambda: "Caution 1:" in shown(pilot))


async def test_a_short_question_takes_no_more_room_than_it_needs(folder: Path) -> None:
    async with walking(folder, size=NARROW) as pilot:
        pilot.app.push_screen(Question("Put back?", ["Is it running again?"], "yes", "not yet"))
        await until(pilot, lambda: "y yes    n not yet" in shown(pilot))
        assert pilot.app.screen.query_one(".dialog").size.height < 8
