"""The levels: what runs out first, recording there, doses accepted, prompts. Rooms and numbers are invented."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Static

from rounds.core.errors import Refused
from rounds.core.log import Incomplete
from rounds.ui.screens import levels as screen
from rounds.ui.screens.ask import Question
from rounds.ui.screens.doses import Doses
from rounds.ui.screens.levels import Levels
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.level_list import LevelList
from tests.ui.app import (
    DISK_FULL,
    NARROW,
    WIDE,
    at_the_levels,
    fill_disk_once,
    flat,
    record,
    records,
    set_clock,
    shown,
    until,
    walk,
    walking,
    write,
)
from tests.ui.conftest import NURSERY

BARREL, CAN, MIX = "nursery/barrel", "nursery/can", "nursery/mix"
TANKS = (
    NURSERY
    + """
[[reservoirs]]
id = "can"
name = "small can"
kind = "top-off"
station = "barrel"
capacity = "20 L"
reserve = "5 L"
again_after = "1 day"

[[reservoirs]]
id = "mix"
name = "[red]mix[/red] [/sump]"
kind = "salt water"
station = "barrel"
capacity = "300 L"
reserve = "90 L"
level_unit = "cm"
litres_per_cm = 5
"""
)
READ = (
    (BARREL, ("2026-11-21T08:30", 60.0), ("2026-11-22T08:30", 55.0), ("2026-11-23T08:30", 50.0)),
    (CAN, ("2026-11-22T08:30", 12.0), ("2026-11-23T08:30", 10.0), ("2026-11-24T08:30", 8.0)),
)
"""5 L and 2 L a day: the can comes to its 5 L on Wednesday evening, the barrel to its 25 L on Saturday morning."""


@pytest.fixture
def tanks(make_room: Callable[..., Path]) -> Path:
    """Three reservoirs, one of them never read."""
    folder = make_room(nursery=TANKS)
    for tank, *levels in READ:
        for when, litres in levels:
            record(folder, "reading", f"{tank}-level", when, values={f"{tank}-level": litres})
    return folder


def levels(pilot: Pilot[Any]) -> Levels:
    return next(each for each in pilot.app.screen_stack if isinstance(each, Levels))


def order(pilot: Pilot[Any]) -> list[str]:
    """Full ids of the reservoirs from the head of the list on."""
    return [account.tank.id for account in levels(pilot)._accounts or ()]


def rows(pilot: Pilot[Any]) -> list[str]:
    """The lines of the list as they are painted."""
    listed = levels(pilot).query_one(LevelList)
    return shown(pilot).splitlines()[listed.region.y : listed.region.bottom]


def hint(pilot: Pilot[Any]) -> str:
    return str(levels(pilot).query_one(EntryLine).query_one("#entry-hint", Static).render())


async def choose(pilot: Pilot[Any], tank: str) -> None:
    """Move the pointer down to a reservoir."""
    for _ in range(order(pilot).index(tank)):
        await pilot.press("down")
    assert levels(pilot).account is not None
    assert levels(pilot).account.tank.id == tank


async def level_of(pilot: Pilot[Any], tank: str, litres: float) -> None:
    """Wait until the level last recorded is so many litres."""

    def known() -> bool:
        found = [each.level.level for each in levels(pilot)._accounts or () if each.tank.id == tank]
        return found == [pytest.approx(litres)]

    await until(pilot, known)


# -- what is shown ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_what_runs_out_first_stands_first_in_words_and_shape(tanks: Path, size: tuple[int, int]) -> None:
    """The can on Wednesday evening, the barrel on Saturday, what is not known last."""
    async with at_the_levels(tanks, size=size) as pilot:
        assert order(pilot) == [CAN, BARREL, MIX]
        first, *others = (row for row in rows(pilot) if row.strip()[:1] in ("▸", "▲", "○", "·", "?"))
        assert "○ refill before" in first.replace("▸ ", "")
        assert "small can" in first
        assert [row.strip()[:20] for row in others] == ["· refill by Fri 27 N", "? no level recorded "]
        assert "○ 1 today" in shown(pilot).splitlines()[0]
        assert max(map(len, shown(pilot).splitlines())) <= size[0]


async def test_the_chosen_one_is_accounted_for(tanks: Path) -> None:
    """Basis, arithmetic, course and levels of the reservoir that the pointer is on."""
    async with at_the_levels(tanks, size=WIDE) as pilot:
        await choose(pilot, BARREL)
        text = pilot.app.screen.query_one(Details)._content.plain
        assert "Use  It loses 5.0 L a day" in text
        assert "Full at once  All of a full container let in at once takes salinity to 32.3." in text
        assert "Levels of 5 days" in text
        assert "−5.0 L" in text


async def test_names_are_shown_as_they_are_written(tanks: Path) -> None:
    """Square brackets are no markup."""
    async with at_the_levels(tanks, size=WIDE) as pilot:
        await pilot.press("end")
        await until(pilot, lambda: flat(pilot).count("[red]mix[/red] [/sump]") == 1)


async def test_use_out_of_the_ordinary_has_a_line_with_its_cause(tanks: Path) -> None:
    """Four days of 5 L, then 30 L in one: said in the head, in the list and for the chosen one."""
    for when, litres in (("2026-11-20T08:30", 65.0), ("2026-11-24T08:30", 20.0)):
        record(tanks, "reading", f"{BARREL}-level", when, values={f"{BARREL}-level": litres})
    async with at_the_levels(tanks) as pilot:
        assert order(pilot)[0] == BARREL
        assert "▲ refill now" in rows(pilot)[0]
        assert rows(pilot)[1].strip().startswith("! High use")
        assert "! 1 out of the ordinary" in shown(pilot).splitlines()[0]
        assert "! Out of the ordinary High use" in flat(pilot)
        assert "Test the salinity now" in flat(pilot)


async def test_a_room_without_reservoirs_says_so(make_room: Callable[..., Path]) -> None:
    folder = make_room(nursery=NURSERY.partition("[[reservoirs]]")[0])
    async with at_the_levels(folder) as pilot:
        assert "none in this room yet" in flat(pilot)
        await pilot.press("enter", "r", "h", "down", "end")
        await pilot.pause()
        assert pilot.app.screen is levels(pilot)
        assert not levels(pilot).typing
        assert records(folder) == []


async def test_keys_are_taken_while_the_levels_are_worked_out(tanks: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The thread waits, the screen does not."""
    go_on = threading.Event()
    real = screen.level_accounts

    def slow(*arguments: Any) -> Any:
        assert go_on.wait(20)
        return real(*arguments)

    monkeypatch.setattr(screen, "level_accounts", slow)
    try:
        async with walking(tanks) as pilot:
            await pilot.press("l")
            await until(pilot, lambda: "being worked out" in flat(pilot))
            await pilot.press("question_mark")
            await until(pilot, lambda: "What is in it now" in flat(pilot))
            await pilot.press("escape")
            go_on.set()
            await until(pilot, lambda: "refill before" in flat(pilot))
    finally:
        go_on.set()


async def test_what_was_kept_too_short_is_taken_from_the_archive(tanks: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first history, of what is at hand, cannot answer; the second can."""
    asked = []
    real = screen.level_accounts

    def short(room: Any, history: Any, now: Any) -> Any:
        asked.append(history)
        if len(asked) == 1:
            raise Incomplete
        return real(room, history, now)

    monkeypatch.setattr(screen, "level_accounts", short)
    async with at_the_levels(tanks) as pilot:
        assert order(pilot) == [CAN, BARREL, MIX]


async def test_a_failure_of_the_thread_is_said(tanks: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: Any) -> Any:
        raise Refused("the archive is gone")

    monkeypatch.setattr(screen, "level_accounts", fails)
    async with walking(tanks) as pilot:
        await pilot.press("l")
        await until(pilot, lambda: "The levels cannot be worked out: the archive is gone" in flat(pilot))


async def test_a_late_answer_does_not_stand_over_a_newer_one(tanks: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first thread is still at it when a level is recorded and worked out; what it finds then is old."""
    go_on, first_done, asked = threading.Event(), threading.Event(), []
    real = screen.level_accounts

    def slow_at_first(*arguments: Any) -> Any:
        asked.append(arguments)
        if len(asked) > 1:
            return real(*arguments)
        found = real(*arguments)
        assert go_on.wait(20)
        first_done.set()
        return found

    monkeypatch.setattr(screen, "level_accounts", slow_at_first)
    try:
        async with walking(tanks) as pilot:
            await pilot.press("l")
            await until(pilot, lambda: isinstance(pilot.app.screen, Levels) and asked)
            record(tanks, "refill", f"{CAN}-refill", "2026-11-25T09:00", values={f"{CAN}-level": 20.0})
            levels(pilot)._look()
            await level_of(pilot, CAN, 20)
            go_on.set()
            await until(pilot, first_done.is_set)
            await pilot.app.workers.wait_for_complete()
            await pilot.pause()
            await level_of(pilot, CAN, 20)
    finally:
        go_on.set()


async def test_what_was_shown_stays_when_it_cannot_be_worked_out_again(
    tanks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with at_the_levels(tanks) as pilot:

        def fails(*_: Any) -> Any:
            raise OSError("the share is gone")

        monkeypatch.setattr(screen, "level_accounts", fails)
        set_clock(pilot, "2026-11-25T09:31")
        levels(pilot)._look()
        await until(pilot, lambda: "The levels cannot be worked out: the share is gone" in flat(pilot))
        assert order(pilot) == [CAN, BARREL, MIX]
        assert "small can" in flat(pilot)


async def test_a_reserve_that_is_past_is_said_to_be(tanks: Path) -> None:
    """No number of days stands for a time that has gone by."""
    async with at_the_levels(tanks) as pilot:
        assert "0.5 days" in rows(pilot)[0]
        set_clock(pilot, "2026-11-25T22:00")
        levels(pilot)._look()
        await until(pilot, lambda: "▲ refill now" in flat(pilot))
        assert rows(pilot)[0].rstrip().endswith("passed")
        assert "0.0 days" not in flat(pilot)


async def test_time_moves_on(tanks: Path) -> None:
    """The clock is read at every look: what was due today is late in the evening."""
    async with at_the_levels(tanks) as pilot:
        set_clock(pilot, "2026-11-25T22:00")
        levels(pilot)._look()
        await until(pilot, lambda: "▲ refill now" in flat(pilot))


# -- recording -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("typed", "litres"), [("44", 35.2), ("44 %", 35.2), ("40 L", 40.0)])
async def test_a_level_is_recorded_in_place(tanks: Path, typed: str, litres: float) -> None:
    """Without a unit it is per cent, as the room says of this barrel; the pointer stays on it."""
    async with at_the_levels(tanks) as pilot:
        await choose(pilot, BARREL)
        await pilot.press("enter")
        await write(pilot, f"{typed} still dripping")
        await level_of(pilot, BARREL, litres)
        (entry,) = records(tanks)
        assert (entry["kind"], entry["task"], entry["by"]) == ("reading", f"{BARREL}-level", "TV")
        assert (entry["values"][0]["value"], entry["note"]) == (pytest.approx(litres), "still dripping")
        assert levels(pilot).account.tank.id == BARREL
        assert pilot.app.focused is levels(pilot).query_one(LevelList)


async def test_a_level_in_centimetres(tanks: Path) -> None:
    """40 cm of 5 L each."""
    async with at_the_levels(tanks) as pilot:
        await pilot.press("end", "enter")
        await write(pilot, "40")
        await level_of(pilot, MIX, 200)


@pytest.mark.parametrize(("typed", "litres"), [("", 20.0), ("15 L", 15.0)])
async def test_a_refill_is_full_or_what_it_says(tanks: Path, typed: str, litres: float) -> None:
    """And what ran out first does so no longer; the pointer stays on the can."""
    async with at_the_levels(tanks) as pilot:
        await pilot.press("r")
        await until(pilot, lambda: "Enter alone for full, 20 L" in flat(pilot))
        await write(pilot, typed)
        await level_of(pilot, CAN, litres)
        (entry,) = records(tanks)
        assert (entry["kind"], entry["task"]) == ("refill", f"{CAN}-refill")
        assert order(pilot)[0] == BARREL
        assert levels(pilot).account.tank.id == CAN


async def test_a_second_level_in_one_window_asks_first(tanks: Path) -> None:
    """Only y says yes; after n the line stands with what was typed."""
    async with at_the_levels(tanks) as pilot:
        await choose(pilot, BARREL)
        for text, answer, count in (("44", "", 1), ("43", "n", 1), ("", "y", 2)):
            if text:
                await pilot.press("enter")
            await write(pilot, text)
            if answer:
                await until(pilot, lambda: isinstance(pilot.app.screen, Question))
                await pilot.press(answer)
                await until(pilot, lambda: pilot.app.screen is levels(pilot))
            await until(pilot, lambda count=count: len(records(tanks)) == count)
        await level_of(pilot, BARREL, 34.4)


async def test_what_cannot_be_is_refused_and_the_line_stays(tanks: Path) -> None:
    async with at_the_levels(tanks) as pilot:
        await pilot.press("enter")
        await write(pilot, "-3 L")
        await until(pilot, lambda: levels(pilot).typing and "-3" in hint(pilot))
        assert records(tanks) == []


async def test_what_was_typed_is_kept(tanks: Path) -> None:
    """Escape closes the line; it stands there again for the same reservoir, not for another."""
    async with at_the_levels(tanks) as pilot:
        line = levels(pilot).query_one(EntryLine)
        await pilot.press("enter")
        await write(pilot, "7 L", enter=False)
        await pilot.press("escape", "down", "enter")
        assert line.text == ""
        await pilot.press("escape", "up", "enter")
        assert line.text == "7 L"


async def test_what_the_disk_refuses_is_tried_again_as_the_same_record(
    tanks: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = fill_disk_once(monkeypatch)
    async with at_the_levels(tanks) as pilot:
        await pilot.press("enter")
        await write(pilot, "7 L")
        await until(pilot, lambda: DISK_FULL in hint(pilot))
        await pilot.press("enter")
        await level_of(pilot, CAN, 7)
        assert tried[0] == tried[1] == [records(tanks)[0]["id"]]


async def test_the_walk_knows_at_once(tanks: Path) -> None:
    """Back in the walk the level is done."""
    async with at_the_levels(tanks) as pilot:
        await choose(pilot, BARREL)
        await pilot.press("enter")
        await write(pilot, "44")
        await level_of(pilot, BARREL, 35.2)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        items = [
            item for stop in walk(pilot).position.stops for item in stop.items if item.task.id == f"{BARREL}-level"
        ]
        assert [item.state for item in items] == ["done"]


async def test_nobody_records_without_a_name(tanks: Path) -> None:
    async with walking(tanks, by=None) as pilot:
        await pilot.press("escape", "l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels) and "refill before" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: "Nobody keeps the room yet" in flat(pilot))
        assert not levels(pilot).typing


async def test_a_level_struck_in_its_history_no_longer_counts(tanks: Path) -> None:
    async with at_the_levels(tanks) as pilot:
        await pilot.press("h")
        await until(pilot, lambda: "History: small can, level" in flat(pilot) and "8" in flat(pilot))
        await pilot.press("x")
        await until(pilot, lambda: "Why?" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: "STRUCK" in flat(pilot))
        await pilot.press("escape")
        await level_of(pilot, CAN, 10)


async def test_a_click_goes_there_and_a_second_one_opens_the_line(tanks: Path) -> None:
    async with at_the_levels(tanks) as pilot:
        await pilot.click("#levels", offset=(10, 1))
        await pilot.pause()
        assert levels(pilot).account.tank.id == BARREL
        assert not levels(pilot).typing
        await pilot.click("#levels", offset=(10, 1))
        await until(pilot, lambda: levels(pilot).typing)


# -- doses -----------------------------------------------------------------------------------


@asynccontextmanager
async def at_the_doses(demo: Path, by: str | None = "TV") -> AsyncIterator[Pilot[int]]:
    """The balance of the nursery."""
    async with at_the_levels(demo, by) as pilot:
        await pilot.press("d")
        await until(pilot, lambda: "Nursery raceway, 960 L" in flat(pilot))
        yield pilot


async def test_a_proposal_stands_first_with_its_arithmetic_below(demo: Path) -> None:
    """70 mL a day is set, and the levels agree with it; the next system is a key away."""
    async with at_the_doses(demo) as pilot:
        lines = shown(pilot).splitlines()
        head = next(place for place, line in enumerate(lines) if line.startswith(" Doses"))
        assert lines[head + 1].strip().startswith("alkalinity solution: 70 to 7")
        assert "consumption = supply − change" in flat(pilot)
        for _ in range(3):
            await pilot.press("space")
        await until(pilot, lambda: "Caution:" in flat(pilot))
        await pilot.press("tab")
        await until(pilot, lambda: "Broodstock tanks, 1300 L" in flat(pilot))


async def test_a_late_balance_does_not_stand_over_a_newer_one(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Worked out before a step was accepted, told after it."""
    from rounds.ui.screens import doses

    go_on, late, asked = threading.Event(), [], []
    real = doses.dose_account

    def slow(room: Any, *arguments: Any, **others: Any) -> Any:
        found = real(room, *arguments, **others)
        if found.water.id == "broodstock" and not asked:
            asked.append(found)
            assert go_on.wait(20)
            late.append(found)
        return found

    monkeypatch.setattr(doses, "dose_account", slow)
    try:
        async with at_the_doses(demo) as pilot:
            await until(pilot, lambda: asked)
            screen = pilot.app.screen
            assert isinstance(screen, Doses)
            screen.changed()
            await until(pilot, lambda: "broodstock" in screen._accounts)
            newer = screen._accounts["broodstock"]
            go_on.set()
            await pilot.app.workers.wait_for_complete()
            await pilot.pause()
            assert late
            assert screen._accounts["broodstock"] is newer
    finally:
        go_on.set()


async def test_accepting_asks_and_records_both_steps_once(demo: Path) -> None:
    """n and Enter record nothing; y records solution and calcium, then there is nothing to accept."""
    async with at_the_doses(demo) as pilot:
        for answer in ("n", "enter"):
            await pilot.press("a")
            await until(pilot, lambda: "Test again first" in flat(pilot) and isinstance(pilot.app.screen, Question))
            assert "What was added by hand, once, is no part of the daily dose" in flat(pilot)
            await pilot.press(answer)
            await until(pilot, lambda: isinstance(pilot.app.screen, Doses))
        assert records(demo) == []
        await pilot.press("a")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: "Recorded: alkalinity solution from 70 to" in flat(pilot))
        found = records(demo)
        assert [(each["kind"], each["task"]) for each in found] == [
            ("change step", "nursery/alkalinity-solution"),
            ("change step", "nursery/calcium-solution"),
        ]
        assert found[0]["values"][0]["value"] == pytest.approx(0.07)
        await until(pilot, lambda: "wait for 3 tests" in flat(pilot))
        await pilot.press("a")
        await until(pilot, lambda: "Nothing to accept" in flat(pilot))
        assert len(records(demo)) == 2


async def test_steps_the_disk_refuses_are_not_said_to_be_recorded(demo: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And the second try writes the same two records."""
    tried = fill_disk_once(monkeypatch)
    async with at_the_doses(demo) as pilot:
        for said in (DISK_FULL, "Recorded:"):
            await pilot.press("a")
            await until(pilot, lambda: isinstance(pilot.app.screen, Question))
            await pilot.press("y")
            await until(pilot, lambda said=said: said in flat(pilot))
        assert tried[0] == tried[1] == [each["id"] for each in records(demo)]


async def test_a_room_without_doses_says_what_it_takes(tanks: Path) -> None:
    async with at_the_levels(tanks) as pilot:
        await pilot.press("d")
        await until(pilot, lambda: "No system has alkalinity tests" in flat(pilot))
        await pilot.press("a", "tab")
        await until(pilot, lambda: "Nothing is proposed here." in flat(pilot))
