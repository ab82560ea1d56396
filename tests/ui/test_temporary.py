"""Adding a task from the walk: once, for some days, or until a concern is closed."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.core.errors import Refused
from rounds.storage.room import RoomFolder
from rounds.ui.screens.ask import Question
from rounds.ui.screens.walk import Walk
from tests.ui.app import WIDE, flat, records, shown, state, to, until, walking, when
from tests.ui.test_following import answer, kinds

FILE = "systems/nursery.toml"


def added(folder: Path) -> dict[str, object]:
    """The last task of the nursery's file."""
    found: dict[str, object] = tomllib.loads((folder / FILE).read_text(encoding="utf-8"))["tasks"][-1]
    return found


async def every_two_hours(pilot: Pilot[int]) -> None:
    await to(pilot, "nursery/cup")
    await pilot.press("i")
    await answer(pilot, "Add at Nursery raceway, Sump", "every")
    await answer(pilot, "What is to be done?", "Check the new [bold]reactor[/x]")
    await answer(pilot, "Every how long?", "2 hours")
    await answer(pilot, "Until when?", "tomorrow 20:00")
    await answer(pilot, "How important is it?", "life")
    await until(pilot, lambda: isinstance(pilot.app.screen, Question))


async def test_every_two_hours_until_tomorrow_evening(kept: Path) -> None:
    """Read back, written with what stood there as it was, and in the round at once."""
    before = (kept / FILE).read_text(encoding="utf-8")
    async with walking(kept, size=WIDE) as pilot:
        await every_two_hours(pilot)
        assert "Again 2 hours after the last time, until Thu 26 Nov 20:00." in flat(pilot)
        await pilot.press("y")
        await until(pilot, lambda: "Check the new [bold]reactor[/x]" in shown(pilot))
        id = "nursery/check-the-new-bold-reactor-x-2026-11-25"
        assert state(pilot, id) == "due"
    table = added(kept)
    assert {key: str(table[key]) for key in ("station", "again_after", "from", "until", "importance")} == {
        "station": "sump", "again_after": "2 hours", "from": "2026-11-25 09:30:00", "until": "2026-11-26 20:00:00",
        "importance": "life support",
    }  # fmt: skip
    after = (kept / FILE).read_text(encoding="utf-8")
    assert [line for line in before.splitlines() if line not in after.splitlines()] == []


async def test_no_goes_back_to_what_was_typed(kept: Path) -> None:
    """And leaves the file alone; Escape leaves all of it."""
    before = (kept / FILE).read_bytes()
    async with walking(kept, size=WIDE) as pilot:
        await every_two_hours(pilot)
        await pilot.press("enter")  # which says no
        await until(pilot, lambda: isinstance(pilot.app.focused, Input) and "What is to be done?" in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == "Check the new [bold]reactor[/x]"
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Walk))
    assert (kept / FILE).read_bytes() == before


async def test_once_on_a_day(kept: Path) -> None:
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("i")
        await answer(pilot, "Add at", "once")
        await answer(pilot, "What is to be done?", "Give the lamp back")
        await answer(pilot, "When?", "today")
        await answer(pilot, "How important is it?", "upkeep")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: "Give the lamp back" in shown(pilot))
    assert (str(added(kept)["once"]), added(kept)["station"]) == ("2026-11-25", "racks")


async def test_until_a_concern_is_closed_it_is_looked_at_again_and_again(kept: Path) -> None:
    """The concern asks for a look after the span, and after each look again."""
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/cup")
        await pilot.press("C")
        await answer(pilot, "what is seen?", "drip under the pump")
        await answer(pilot, "What to look for?", "wet floor")
        await answer(pilot, "Look again when?", "no time")
        await until(pilot, lambda: kinds(kept) == ["concern"])
        await pilot.press("i")
        await answer(pilot, "Add at", "until a concern")
        await answer(pilot, "Until which concern is closed?", "drip")
        await answer(pilot, "Look again every how long?", "2 hours")
        await until(pilot, lambda: kinds(kept) == ["concern", "concern update"])
        await until(pilot, lambda: "Look again: drip under the pump" in shown(pilot))
    assert when(records(kept)[-1], "until") == "2026-11-25T11:30"


async def test_every_day_is_said_without_a_number(kept: Path) -> None:
    """In what is recorded of the concern."""
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/cup")
        await pilot.press("i")
        await answer(pilot, "Add at", "until a concern")
        await answer(pilot, "Until which concern is closed?", "a new concern")
        await answer(pilot, "what is seen?", "drip under the pump")
        await answer(pilot, "What to look for?", "wet floor")
        await answer(pilot, "Look again when?", "1 day")
        await until(pilot, lambda: kinds(kept) == ["concern"])
        await pilot.press("i")
        await answer(pilot, "Add at", "until a concern")
        await answer(pilot, "Until which concern is closed?", "drip")
        await answer(pilot, "Look again every how long?", "1 day")
        await until(pilot, lambda: kinds(kept) == ["concern", "concern update"])
    assert records(kept)[-1]["note"] == "looked at every day from now on"


async def test_a_file_changed_meanwhile_is_not_overwritten(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is said, and on yes the change is made to the file as it is then."""
    refused: list[str] = []
    change = RoomFolder.change_files

    def changed_once(self: RoomFolder, changes: object) -> None:
        if not refused:
            refused.append("once")
            raise Refused("systems/nursery.toml was changed meanwhile")
        change(self, changes)  # type: ignore[arg-type]

    monkeypatch.setattr(RoomFolder, "change_files", changed_once)
    async with walking(kept, size=WIDE) as pilot:
        await every_two_hours(pilot)
        await pilot.press("y")
        await until(pilot, lambda: "was changed meanwhile" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: "Check the new [bold]reactor[/x]" in shown(pilot))
    assert refused == ["once"]
