"""A whole round walked by keys, from the first station to the last."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.pilot import Pilot

from rounds.core.walk import Counts, counts, to_do
from rounds.storage.room import RoomFolder
from rounds.ui.screens.ask import Notice
from tests.ui.app import LATER, NARROW, WIDE, current, flat, line, records, shown, until, walk, walking, write

ENTRIES = {
    "nursery/probe": "25.4 35.1",
    "nursery/cup": "40 wet",
    "nursery/alkalinity": "8,1",
    "nursery/barrel-level": "70",
}
"""What is typed where values are taken."""

REASONS = {"quarantine/siphon": ("n", "floor is clean"), "nursery/look": ("c", "lamp is out")}
"""Closed or left with a reason at the first try."""

POSTPONED = {"quarantine/dip": "2 hours"}


async def record_current(pilot: Pilot[int], folder: Path, tried: set[str]) -> str:
    """Record what the pointer is on as a keeper would, and answer what is said."""
    task = current(pilot)
    before = len(records(folder))
    if task in REASONS and task not in tried:
        key, text = REASONS[task]
        await pilot.press(key)
        await write(pilot, text)
    elif task in POSTPONED:
        await pilot.press("p")
        await write(pilot, POSTPONED[task])
    elif task in ENTRIES:
        await pilot.press("enter")
        await write(pilot, ENTRIES[task])
    else:
        await pilot.press("enter")
    await until(pilot, lambda: len(records(folder)) == before + 1)
    await pilot.pause()
    return task


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_a_round_is_walked_from_the_first_station_to_the_last_until_nothing_is_left(
    kept: Path, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every due item is reached in route order by recording alone, and everyone sees the same counts afterwards."""
    visited: list[str] = []
    stops: list[tuple[str, str]] = []
    notices = 0
    async with walking(kept, size=size) as pilot:
        due = [item.task.id for stop in walk(pilot).position.stops for item in stop.items if to_do(item)]
        await pilot.press("right")  # the jars are left for later
        while (item := walk(pilot).current) is not None and to_do(item):
            assert len(visited) < 40, f"the round does not end: {visited}"
            stops.append(walk(pilot).position.stops[walk(pilot).position.stop].key)
            assert item.task.title in flat(pilot), shown(pilot)
            visited.append(await record_current(pilot, kept, set(visited)))
            if isinstance(pilot.app.screen, Notice):
                notices += 1
                await pilot.press("enter")
        assert list(dict.fromkeys(visited)) == [*due[2:], *due[:2]]
        assert list(dict.fromkeys(stops)) == [
            ("live-food", "hatchery"), ("nursery", "racks"), ("nursery", "sump"), ("nursery", "barrel"),
            ("quarantine", "tank"), ("quarantine", "bench"), ("live-food", "jars"),
        ]  # fmt: skip
        assert notices == 1, "the way back from quarantine is said once"
        assert walk(pilot).position.next_to_do() is None
        assert "Nothing is left to do now" in flat(pilot)
        assert not line(pilot).display
        at_end = counts(walk(pilot).position.items)
        assert f"{at_end.done} done {at_end.left} left" in flat(pilot)
    kinds = {entry["task"]: entry["kind"] for entry in records(kept)}
    assert len(records(kept)) == len(visited)
    assert kinds == {
        "live-food/feed-jars": "done", "live-food/sieves": "done", "live-food/counter": "done", "nursery/feed": "done",
        "nursery/look": "could not", "nursery/probe": "done", "nursery/alkalinity": "reading", "nursery/cup": "done",
        "nursery/return": "done", "nursery/barrel-level": "reading", "quarantine/inspect": "done",
        "quarantine/siphon": "not needed", "quarantine/dip": "postponed",
    }  # fmt: skip
    monkeypatch.setenv("ROUNDS_NOW", LATER)
    again = RoomFolder(kept)
    assert counts(again.items(again.now())) == at_end
    async with walking(kept, size=size) as pilot:
        assert counts(walk(pilot).position.items) == at_end
        assert f"{at_end.done} done {at_end.left} left 0 late" in flat(pilot)


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_the_head_counts_what_is_done_left_and_late(folder: Path, size: tuple[int, int]) -> None:
    """The head says the same numbers as the plan, before and after a record."""
    async with walking(folder, size=size) as pilot:
        before = counts(walk(pilot).position.items)
        assert before.late > 3
        assert f"{before.done} done {before.left} left ▲ {before.late} late" in flat(pilot)
        await pilot.press("enter")
        after = counts(walk(pilot).room.items(walk(pilot).room.now()))
        assert after == Counts(before.done + 1, before.left - 1, after.late)
        assert f"{after.done} done {after.left} left ▲ {after.late} late" in flat(pilot)
