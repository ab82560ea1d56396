"""What once went wrong in the walk, and must not again."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest

from rounds.core.walk import to_do
from rounds.storage import atomic
from rounds.ui.keymap import WALK
from tests.ui.app import (
    WIDE,
    choose,
    current,
    flat,
    line,
    look,
    record,
    records,
    set_clock,
    shown,
    state,
    to,
    typed,
    until,
    walk,
    walking,
    write,
)


async def test_a_room_without_a_station_opens(folder: Path) -> None:
    """No system, no station, no task: the walk stands empty and every key can be pressed."""
    for path in (folder / "systems").iterdir():
        path.unlink()
    room = folder / "room.toml"
    room.write_text(room.read_text().replace('route = ["live-food", "nursery", "quarantine"]', "route = []"))
    async with walking(folder) as pilot:
        assert "0 done 0 left 0 late" in flat(pilot)
        for action in WALK:
            if action.name != "leave":
                await pilot.press(action.keys[0], "escape")
        assert records(folder) == []


async def test_a_filter_keeps_the_pointer_on_its_item(kept: Path) -> None:
    """Hiding a closed row above must not slide the pointer to another task: the next Enter would record that one."""
    record(kept, "done", "nursery/feed", "2026-11-25T09:05")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("a")
        assert current(pilot) == "nursery/look"
        await pilot.press("a")
        assert current(pilot) == "nursery/look"


async def test_with_only_what_is_left_shown_no_row_is_skipped_after_a_record(kept: Path) -> None:
    """The row that moves up into the place of the recorded one is the next to do."""
    async with walking(kept) as pilot:
        await pilot.press("a")
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert current(pilot) == "nursery/probe"


async def test_escape_from_find_keeps_the_filter(kept: Path) -> None:
    """Nothing was chosen: rows and head stay as they were, and agree with each other."""
    record(kept, "done", "nursery/feed", "2026-11-25T09:05")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("a")
        await choose(pilot, "f", "flo")
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert "only what is left" in flat(pilot)
        await pilot.press("right", "left")
        assert "only what is left" in flat(pilot)
        assert "Target-feed" not in flat(pilot)


async def test_what_could_not_be_done_does_not_hold_the_pointer_at_its_station(kept: Path) -> None:
    """With two such tasks at a station, recording and Space still lead on to the next station."""
    async with walking(kept) as pilot:
        for task in ("cup", "return"):
            await to(pilot, f"nursery/{task}")
            await pilot.press("c")
            await write(pilot, "pump is out")
            await until(pilot, lambda task=task: any(entry["task"] == f"nursery/{task}" for entry in records(kept)))
        assert current(pilot) == "nursery/barrel-level"


async def test_undo_takes_back_what_was_written_last_also_a_late_entry_of_yesterday(kept: Path) -> None:
    """Undo after "yesterday 18:00" must not strike another record."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 1)
        await to(pilot, "nursery/return")
        await pilot.press("t")
        await write(pilot, "yesterday 23:00")
        await pilot.press("enter", "enter")
        await until(pilot, lambda: len(records(kept)) == 2)
        await pilot.press("u")
        await until(pilot, lambda: len(records(kept)) == 3)
        assert records(kept)[2]["ref"] == records(kept)[1]["id"]


async def test_a_click_beside_the_line_does_not_take_the_keys_away(kept: Path) -> None:
    """While the line is open a click on a row leaves the keys with the line, or closes it; keys never go dead."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("o", *"slime")
        await pilot.click("#rows", offset=(20, 0))
        await pilot.pause()
        await pilot.press("x")
        assert typed(pilot) == "slimex" or not walk(pilot).typing


async def test_a_click_in_the_route_does_not_leave_the_line_under_another_row(kept: Path) -> None:
    """While something is typed the station stays, or the line is closed and its text kept."""
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("o", *"slime")
        route = walk(pilot).query_one("#route")
        row = next(number for number, text in enumerate(shown(pilot).splitlines()) if "Arrivals tank" in text)
        await pilot.click(route, offset=(8, row - route.region.y))
        await pilot.pause()
        assert not line(pilot).display or walk(pilot).position.stops[walk(pilot).position.stop].key == (
            "nursery",
            "racks",
        )


async def test_the_line_moves_with_its_row_when_another_device_closes_one_above(kept: Path) -> None:
    """With only what is left shown, the row moves up while its line is open; the line stays right below it."""
    from rounds.ui.widgets.rows import ItemRow

    async with walking(kept) as pilot:
        await pilot.press("a")
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter", *"8.1")
        record(kept, "done", "nursery/feed", "2026-11-25T09:29")
        await look(pilot)
        await pilot.pause()
        assert current(pilot) == "nursery/alkalinity"
        row = next(row for row in walk(pilot).query(ItemRow) if row.has_class("-current"))
        children = list(row.parent.children)
        assert children[children.index(row) + 1] is line(pilot)
        assert typed(pilot) == "8.1"


async def test_a_reading_taken_out_of_the_room_while_its_line_is_open(kept: Path) -> None:
    """Enter says that the task is gone, or records nothing; the app goes on."""
    path = kept / "systems/nursery.toml"
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter")
        text = path.read_text()
        begin, end = text.index('[[readings]]\nid = "alkalinity"'), text.index('[[readings]]\nid = "phosphate"')
        path.write_text(text[:begin] + text[end:])
        await look(pilot)
        await pilot.pause()
        if walk(pilot).typing:
            await write(pilot, "8.1")
        await pilot.pause()
        assert "Nursery raceway" in flat(pilot)


async def test_a_write_that_fails_after_the_file_was_replaced_is_not_written_twice(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder could not be synced: what the disk holds is shown, and trying again adds no second record."""

    def full(folder: Path) -> None:
        raise OSError(errno.EIO, "Input/output error", str(folder))

    async with walking(kept) as pilot:
        await to(pilot, "nursery/cup")
        await pilot.press("enter")
        with monkeypatch.context() as broken:
            broken.setattr(atomic, "sync_folder", full)
            await write(pilot, "40 wet")
            await until(pilot, lambda: "not recorded" in flat(pilot))
        await look(pilot)
        await pilot.press("enter")
        await pilot.pause()
        if pilot.app.screen is not walk(pilot):
            await pilot.press("y")
        await until(pilot, lambda: not walk(pilot).typing)
        assert len(records(kept)) == 1


async def test_a_clock_set_back_does_not_hide_what_was_just_recorded(kept: Path) -> None:
    """What was shown as recorded stays shown when the device's clock jumps back two minutes."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        set_clock(pilot, "2026-11-25T09:40")
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/look") == "done")
        set_clock(pilot, "2026-11-25T09:38")
        await look(pilot)
        await pilot.pause()
        assert state(pilot, "nursery/look") == "done" or "clock" in flat(pilot).replace("clock set by hand", "")


async def test_a_shift_with_control_characters_in_its_name_is_shown_as_text(tmp_path: Path) -> None:
    """Beside the rows at 120 columns the shift's name is shown raw, so an escape in it reaches the terminal."""
    from tests.ui.test_hostile_texts import hostile_room

    folder = hostile_room(tmp_path / "room", "plain", shift="early \x1b[31m")
    async with walking(folder, size=WIDE) as pilot:
        await to(pilot, "one/cup")
        assert "\x1b" not in shown(pilot)


def test_a_clock_that_cannot_be_read_ends_with_a_sentence(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """ROUNDS_NOW that is no time: one sentence and an exit status, never a traceback of the app."""
    import os
    import sys

    from tests.bench.terminal import Terminal

    monkeypatch.setenv("ROUNDS_NOW", "tea time")
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "TERM": "xterm-256color"}
    with Terminal([sys.executable, "-m", "rounds", "--room", str(folder), "--by", "TV"], environment) as terminal:
        terminal.wait_for(b"is no time", timeout=20)
        terminal.drain(1)
        assert b"Traceback" not in terminal.output


async def test_space_on_the_last_thing_to_do_does_not_say_that_nothing_is_left(kept: Path) -> None:
    """The pointer stands on it: it is the last, and it is still to be done."""
    async with walking(kept) as pilot:
        due = [item.task.id for stop in walk(pilot).position.stops for item in stop.items if to_do(item)]
        for task in due[1:]:
            record(kept, "not needed", task, "2026-11-25T09:29", reason="tried")
        await look(pilot)
        await to(pilot, due[0])
        await pilot.press("space")
        await pilot.pause()
        assert "Nothing is left" not in flat(pilot)
        assert "This is the last thing to do now" in flat(pilot)
        assert current(pilot) == due[0]


async def test_the_side_panel_takes_the_colours_of_another_theme(kept: Path) -> None:
    """Text that was wrapped before the change is drawn in the new colours."""
    from rounds.ui.widgets.details import Details

    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        panel = walk(pilot).query_one("#details", Details)

        def colours() -> set[object]:
            return {seg.style.bgcolor for seg in panel.render_line(0) if seg.style and seg.text.strip()}

        before = colours()
        pilot.app.theme = "day watch"
        await until(pilot, lambda: colours() != before)
        assert colours() == {panel.rich_style.bgcolor}
