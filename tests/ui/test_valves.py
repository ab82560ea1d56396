"""Tanks valved off and opened in the app: from the levels and the doses, seen in the walk. Rooms are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from rounds.core.record import APART, VALVED, Record
from rounds.storage.sheets import SheetWriter
from rounds.ui.screens.levels import Levels
from tests.ui.app import NARROW, WIDE, at, flat, records, until, walking
from tests.ui.conftest import NURSERY

TANK = """
[[stations]]
id = "hospital"
name = "[b]Hospital[/b] tank"

[[tanks]]
id = "hospital"
name = "[b]Hospital[/b]"
volume = "60 L"
stations = ["hospital"]

[[tasks]]
id = "feed-hospital"
station = "hospital"
title = "Feed the hospital tank"
again_after = "1 day"
"""


HOSPITAL, TEN = "nursery/hospital", "2026-11-24T10:00"


@pytest.fixture
def linked(make_room: Callable[..., Path]) -> Path:
    """960 L, of which 60 L can be valved off."""
    return make_room(nursery=NURSERY + TANK)


async def test_a_tank_is_valved_off_from_the_levels(linked: Path) -> None:
    """The tank, why; an empty reason records nothing and can be mended."""
    async with walking(linked, by="TV") as pilot:
        await pilot.press("l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))
        await pilot.press("v")
        await until(pilot, lambda: "[b]Hospital[/b], Nursery raceway: joined" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: "is valved off: why?" in flat(pilot))
        await pilot.press("enter")
        assert records(linked) == []
        await pilot.press(*"new fish", "enter")
        await until(pilot, lambda: len(records(linked)) == 1)
        await until(pilot, lambda: "TV valved: [b]Hospital[/b] apart; new fish" in flat(pilot))
        await pilot.press("v")
        await until(pilot, lambda: "[b]Hospital[/b], Nursery raceway: apart since" in flat(pilot))
    (found,) = records(linked)
    assert (found["kind"], found["task"], found["words"]) == ("valved", "nursery/hospital", ["apart"])


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_walk_says_so_at_its_stations(linked: Path, size: tuple[int, int]) -> None:
    apart = Record(id="1", kind=VALVED, at=at(TEN), recorded=at(TEN), task=HOSPITAL, words=(APART,), reason="new fish")
    SheetWriter(linked, "tablet", linked.parent / "tablet.lock").append([apart], at(TEN).date())
    async with walking(linked, by="TV", size=size) as pilot:
        assert "apart since" not in flat(pilot)
        await pilot.press("g", *"hospital", "enter")
        await until(pilot, lambda: "apart since yesterday 10:00, 60.0 L" in flat(pilot))
        assert "Feed the hospital tank" in flat(pilot)


async def test_a_room_without_such_tanks_says_so(make_room: Callable[..., Path]) -> None:
    async with walking(make_room(), by="TV") as pilot:
        await pilot.press("l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))
        await pilot.press("v")
        await until(pilot, lambda: "no tank of this room can be valved off" in flat(pilot))
