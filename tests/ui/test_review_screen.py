"""The review in the app: a day or a month, what was late and why, signed with a note."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens.ask import Choice
from rounds.ui.screens.review import ReviewPage
from tests.ui.app import NARROW, WIDE, flat, record, records, shown, until, walking, write


@pytest.fixture
def late(kept: Path) -> Path:
    """Yesterday the floor could not be siphoned."""
    record(kept, "could not", "quarantine/siphon", "2026-11-24T10:00", reason="no [bold]siphon[/sump]")
    return kept


async def open_page(pilot: Pilot[Any]) -> ReviewPage:
    await pilot.press("R")
    await until(pilot, lambda: isinstance(pilot.app.screen, ReviewPage))
    page = pilot.app.screen
    assert isinstance(page, ReviewPage)
    await worked_out(pilot, page)
    return page


async def worked_out(pilot: Pilot[Any], page: ReviewPage) -> None:
    await until(pilot, lambda: page._found is not None and "being worked out" not in shown(pilot))


async def note(pilot: Pilot[Any], text: str) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and "A note?" in flat(pilot))
    assert isinstance(pilot.app.screen, Choice)
    pilot.app.screen.query_one(Input).value = ""
    await write(pilot, text)


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_yesterday_first(late: Path, size: tuple[int, int]) -> None:
    """The counts, what was late or missed before what went well, empty sections in one line."""
    async with walking(late, size=size) as pilot:
        await open_page(pilot)
        text = shown(pilot)
        assert "Review  Tue 24 Nov 2026" in text
        assert "Not reviewed yet." in text
        assert text.index("in time") < text.index("Late, not done or missed")
        assert "Late, struck and flagged entries: nothing" in text


async def test_another_day_and_the_month(late: Path) -> None:
    """← and → go from day to day, m to the month of the day and back."""
    async with walking(late, size=WIDE) as pilot:
        page = await open_page(pilot)
        for key, name in (
            ("left", "Mon 23 Nov 2026"), ("m", "Nov 2026"), ("m", "Mon 23 Nov 2026"), ("right", "Tue 24 Nov 2026"),
            ("right", "Wed 25 Nov 2026"),
        ):  # fmt: skip
            await pilot.press(key)
            await until(pilot, lambda name=name: f"Review  {name}  " in shown(pilot))
            await worked_out(pilot, page)
        await pilot.press("right")
        await until(pilot, lambda: "The next one has not begun." in flat(pilot))
        assert "Review  Wed 25 Nov 2026" in shown(pilot)


async def test_nothing_before_the_room_began(late: Path) -> None:
    """Neither a day nor a month."""
    async with walking(late, size=WIDE) as pilot:
        page = await open_page(pilot)
        await pilot.press("m")
        await worked_out(pilot, page)
        await pilot.press("left")
        await until(pilot, lambda: "The room began on Mon 2 Nov 2026." in flat(pilot))
        assert page._day == date(2026, 11, 24)


async def test_it_is_signed_with_a_note(late: Path) -> None:
    """A point for each day; afterwards the page says who has reviewed it."""
    async with walking(late, size=WIDE) as pilot:
        page = await open_page(pilot)
        await pilot.press("s")
        await note(pilot, "order [/a] siphon")
        await until(pilot, lambda: len(records(late)) == 1)
        await worked_out(pilot, page)
        await until(pilot, lambda: 'Reviewed 09:30 by TV, 1 day: "order [/a] siphon".' in flat(pilot))
    (entry,) = records(late)
    assert (entry["kind"], entry["reason"], entry["note"]) == ("accepted", "review", "order [/a] siphon")
    assert [point["about"] for point in entry["points"]] == ["day:2026-11-24"]


async def test_going_back_signs_nothing(late: Path) -> None:
    """Escape at the note leaves the day as it was."""
    async with walking(late, size=WIDE) as pilot:
        page = await open_page(pilot)
        await pilot.press("s")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is page)
        assert "Not reviewed yet." in shown(pilot)
    assert records(late) == []


async def test_what_another_device_writes_late_is_taken_in(late: Path) -> None:
    """The reason stands under its task as it was written."""
    async with walking(late, size=WIDE) as pilot:
        page = await open_page(pilot)
        await pilot.press("right")
        await until(pilot, lambda: "Wed 25 Nov 2026" in shown(pilot).splitlines()[0])
        await worked_out(pilot, page)
        record(late, "could not", "nursery/return", "2026-11-25T09:15", reason="no [bold]hands[/sump]")
        page._look()
        await until(pilot, lambda: "no [bold]hands[/sump]" in flat(pilot))
