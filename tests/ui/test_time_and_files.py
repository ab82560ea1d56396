"""What changes while the app is open: the clock, other processes, the room's files, the disk, the keeper."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot

from rounds.core.items import DONE, DUE, LATER, OVERDUE
from rounds.core.record import Record
from rounds.core.recording import Draft
from rounds.core.walk import counts
from rounds.storage import atomic, device
from rounds.ui.app import RoundsApp
from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.broken import BrokenRoom
from rounds.ui.screens.concerns import Concerns
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.screens.walk import Walk
from tests.ui.app import (
    LATER as NEXT_START,
)
from tests.ui.app import (
    advance,
    choose,
    current,
    flat,
    line,
    look,
    record,
    records,
    row_text,
    set_clock,
    state,
    to,
    typed,
    until,
    walk,
    walking,
    write,
)

ROOT = Path(__file__).parents[2]

MISSED = "× missed yesterday 18:00: Feed the rotifer jars"


@pytest.fixture
def with_missed(kept: Path) -> Path:
    """Nobody fed the jars yesterday evening."""
    path = kept / "sheets/2026/2026-11-24.tablet.json"
    path.unlink()
    record(kept, "done", "live-food/feed-jars", "2026-11-24T08:05")
    record(kept, "done", "nursery/feed", "2026-11-24T09:10")
    return kept


# -- the clock ---------------------------------------------------------------------------------------


async def test_a_minute_later_due_becomes_overdue_and_later_becomes_due(kept: Path) -> None:
    """Nobody pressed a key; the pointer stays where it was."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        set_clock(pilot, "2026-11-25T13:00")
        await look(pilot)
        await pilot.pause()
        assert state(pilot, "nursery/look") == DUE
        assert state(pilot, "nursery/phosphate") == LATER
        advance(pilot, timedelta(minutes=1))
        await look(pilot)
        await until(pilot, lambda: "6 hours late" in row_text(pilot, "Look over the colonies"))
        assert state(pilot, "nursery/look") == OVERDUE
        assert current(pilot) == "nursery/look"
        set_clock(pilot, "2026-11-25T14:00")
        await look(pilot)
        assert state(pilot, "nursery/phosphate") == DUE
        await until(pilot, lambda: "late shift" in flat(pilot))
        assert "Wed 25 Nov 14:00" in flat(pilot)


async def test_a_new_round_day_begins_with_a_sentence(kept: Path) -> None:
    """At the hour at which the day begins: yesterday's round is gone, what is not made up is missed."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        set_clock(pilot, "2026-11-26T03:59")
        await look(pilot)
        assert counts(walk(pilot).position.items).done == 1
        set_clock(pilot, "2026-11-26T04:00")
        await look(pilot)
        await until(pilot, lambda: "A new round has begun: Thu 26 Nov." in flat(pilot))
        await until(pilot, lambda: "carried over or missed as its rule says." in flat(pilot))
        assert counts(walk(pilot).position.items).done == 0
        assert "0 done" in flat(pilot)
        assert "× missed yesterday 08:00: Feed the rotifer jars" in flat(pilot)


async def test_three_days_asleep_are_taken_in_at_one_look(kept: Path) -> None:
    """The clock is read and not counted: head, lateness and round are those of the day of waking."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        advance(pilot, timedelta(days=3))
        await look(pilot)
        await until(pilot, lambda: "A new round has begun: Sat 28 Nov." in flat(pilot))
        assert "Sat 28 Nov 09:30" in flat(pilot)
        assert "3 days late" in row_text(pilot, "Look over the colonies")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["at"].startswith("2026-11-28T09:30")
        assert (kept / "sheets/2026/2026-11-28.laptop.json").exists()


async def test_the_time_passes_by_itself(kept: Path) -> None:
    """The look comes without being called: within two seconds the head shows the new minute."""
    async with walking(kept) as pilot:
        set_clock(pilot, "2026-11-25T09:47")
        await until(pilot, lambda: "Wed 25 Nov 09:47" in flat(pilot), seconds=4)


async def test_an_open_line_survives_a_new_minute_and_a_new_day(kept: Path) -> None:
    """What is being typed stays, with the keys."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter", *"8.1 clou")
        set_clock(pilot, "2026-11-26T04:00")
        await look(pilot)
        await pilot.press(*"dy")
        assert typed(pilot) == "8.1 cloudy"
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["task"] == "nursery/alkalinity"


# -- other processes ---------------------------------------------------------------------------------


async def test_what_another_process_records_appears_without_a_key(kept: Path) -> None:
    """The command line on the same device writes; the row and the head follow by themselves."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        before = counts(walk(pilot).position.items)
        ran = subprocess.run(
            [sys.executable, "-m", "rounds", "--room", str(kept), "record", "nursery/look", "--by", "BC"],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert ran.returncode == 0, ran.stderr
        await until(pilot, lambda: "done 09:30 BC" in row_text(pilot, "Look over the colonies"), seconds=4)
        assert f"{before.done + 1} done {before.left - 1} left" in flat(pilot)
        assert current(pilot) == "nursery/look"
        await pilot.press("down", "down")
        assert current(pilot) == "nursery/alkalinity"
        await pilot.press("enter")
        await write(pilot, "8.1")
        await until(pilot, lambda: len(records(kept)) == 2)
    assert {entry["task"] for entry in records(kept)} == {"nursery/look", "nursery/alkalinity"}


async def test_what_a_clock_ahead_has_recorded_is_shown_when_its_time_comes(kept: Path) -> None:
    """A minute later and not before; the sheet has not changed since."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        record(kept, "done", "nursery/look", "2026-11-25T09:31")
        await look(pilot)
        assert state(pilot, "nursery/look") == DUE
        set_clock(pilot, "2026-11-25T09:30:59")
        await look(pilot)
        assert state(pilot, "nursery/look") == DUE
        set_clock(pilot, "2026-11-25T09:31")
        await look(pilot)
        await until(pilot, lambda: "done 09:31 BC" in row_text(pilot, "Look over the colonies"))


async def test_what_a_clock_ahead_has_recorded_is_shown_within_its_minute(kept: Path) -> None:
    """The minute had begun before."""
    async with walking(kept) as pilot:
        set_clock(pilot, "2026-11-25T09:31:05")
        record(kept, "done", "nursery/look", "2026-11-25T09:31:30")
        await look(pilot)
        assert state(pilot, "nursery/look") == DUE
        set_clock(pilot, "2026-11-25T09:31:30")
        await look(pilot)
        await until(pilot, lambda: state(pilot, "nursery/look") == DONE)


async def test_what_a_clock_ahead_has_recorded_is_shown_on_the_screen_that_is_open(kept: Path) -> None:
    """There and, on the way back, in the walk."""
    async with walking(kept) as pilot:
        await pilot.press("x")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns))
        record(kept, "concern", "nursery/look", "2026-11-25T09:31", note="drip under the pump")
        record(kept, "done", "nursery/look", "2026-11-25T09:31")
        await look_here(pilot)
        assert "drip under the pump" not in flat(pilot)
        set_clock(pilot, "2026-11-25T09:31")
        await look_here(pilot)
        await until(pilot, lambda: "drip under the pump" in flat(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await until(pilot, lambda: state(pilot, "nursery/look") == DONE)


async def look_here(pilot: Pilot[int]) -> None:
    """Have the screen in front look at clock and disk now, and wait until it has taken in what it found."""
    screen = pilot.app.screen
    assert isinstance(screen, RoomScreen)
    await pilot.app.workers.wait_for_complete()
    screen._look()
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


async def test_a_sheet_that_goes_away_takes_its_records_with_it(kept: Path) -> None:
    """What a sync tool removes is no longer shown as done."""
    record(kept, "done", "nursery/look", "2026-11-25T09:00")
    async with walking(kept) as pilot:
        assert state(pilot, "nursery/look") == DONE
        (kept / "sheets/2026/2026-11-25.tablet.json").unlink()
        await look(pilot)
        await until(pilot, lambda: state(pilot, "nursery/look") == DUE)


async def test_a_damaged_sheet_is_said_in_the_head_and_told_by_f2(kept: Path) -> None:
    """The rest is used, the file is left as it is, and this device writes beside it."""
    path = kept / "sheets/2026/2026-11-25.laptop.json"
    path.write_text('{"records": {"1": ')
    async with walking(kept) as pilot:
        assert "1 problem in sheets: F2" in flat(pilot)
        await pilot.press("f2")
        await until(pilot, lambda: "2026-11-25.laptop.json" in flat(pilot))
        assert "not JSON" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/look") == DONE)
    assert path.read_text() == '{"records": {"1": '
    assert (kept / "sheets/2026/2026-11-25.laptop.2.json").exists()


# -- the room's files ----------------------------------------------------------------------------------


async def test_a_room_file_broken_while_open_leaves_the_last_good_version_in_use(kept: Path) -> None:
    """The head says so, F2 tells file and line; repaired, the file is taken up."""
    path = kept / "systems/nursery.toml"
    good = path.read_text()
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        path.write_text(good.replace('again_after = "8 hours"', 'again_after = "8 moons"'))
        await look(pilot)
        await until(pilot, lambda: "1 fault in room files, last good version in use: F2" in flat(pilot))
        assert current(pilot) == "nursery/look"
        await pilot.press("f2")
        await until(pilot, lambda: "systems/nursery.toml, line" in flat(pilot))
        assert "8 moons" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        path.write_text(good.replace('title = "Feel the return pump"', 'title = "Listen to the return pump"'))
        await look(pilot)
        await until(pilot, lambda: "The room's files have changed and are taken up." in flat(pilot))
        assert "fault" not in flat(pilot)
        await to(pilot, "nursery/return")
        assert "Listen to the return pump" in flat(pilot)


async def test_the_room_file_gone_while_open_changes_nothing(kept: Path) -> None:
    """It is named in the head; put back, all is well."""
    path = kept / "room.toml"
    good = path.read_text()
    async with walking(kept) as pilot:
        path.unlink()
        await look(pilot)
        await until(pilot, lambda: "1 fault in room files" in flat(pilot))
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        path.write_text(good)
        await look(pilot)
        await until(pilot, lambda: "fault" not in flat(pilot))


async def test_a_system_taken_out_while_its_station_is_shown(kept: Path) -> None:
    """The walk goes on at a station that is still there."""
    async with walking(kept) as pilot:
        await to(pilot, "quarantine/dip")
        room = kept / "room.toml"
        room.write_text(room.read_text().replace(', "quarantine"]', "]"))
        (kept / "systems/quarantine.toml").unlink()
        await look(pilot)
        await until(pilot, lambda: "taken up" in flat(pilot))
        assert not any(stop.system.id == "quarantine" for stop in walk(pilot).position.stops)
        await pilot.press("space", "enter")
        await until(pilot, lambda: records(kept))


async def test_a_room_broken_at_the_start_shows_its_faults_and_opens_after_repair(kept: Path) -> None:
    """All faults of all files; nobody has to press a key once they are mended."""
    nursery, quarantine = kept / "systems/nursery.toml", kept / "systems/quarantine.toml"
    good = nursery.read_text(), quarantine.read_text()
    nursery.write_text(good[0].replace('quantity = "alkalinity"', 'quantity = "gladness"'))
    quarantine.write_text("[[tasks\n")
    app = RoundsApp(kept, "TV")
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, BrokenRoom))
        await until(pilot, lambda: "The room cannot be opened: 2 faults" in flat(pilot))
        assert "gladness" in flat(pilot)
        assert "systems/quarantine.toml, line 1" in flat(pilot)
        quarantine.write_text(good[1])
        await until(pilot, lambda: "The room cannot be opened: 1 fault" in flat(pilot))
        nursery.write_text(good[0])
        await until(pilot, lambda: isinstance(app.screen, Walk))
        await until(pilot, lambda: "0 done 16 left" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))


async def test_a_broken_room_can_be_left(kept: Path) -> None:
    """q leaves with the status of a room that cannot be opened."""
    (kept / "room.toml").write_text("name = \n")
    app = RoundsApp(kept, "TV")
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(app.screen, BrokenRoom))
        await pilot.press("q")
        await until(pilot, lambda: app.return_code is not None)
    assert app.return_code == 3


# -- the disk ------------------------------------------------------------------------------------------


def _full(path: Path, content: bytes) -> None:
    raise OSError(errno.ENOSPC, "No space left on device", str(path))


def remembered(pilot: Pilot[int], monkeypatch: pytest.MonkeyPatch) -> list[Record]:
    """Every record that the walk prepares from now on, whether it is saved or not."""
    prepared: list[Record] = []
    prepare = walk(pilot).room.prepare

    def remembering(draft: Draft, by: str) -> Record:
        prepared.append(prepare(draft, by))
        return prepared[-1]

    monkeypatch.setattr(walk(pilot).room, "prepare", remembering)
    return prepared


async def test_a_failed_write_keeps_what_was_typed_and_the_next_enter_writes_it_once(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence names the file and what the disk said; the record that is written at last has the first id."""
    async with walking(kept) as pilot:
        prepared = remembered(pilot, monkeypatch)
        await to(pilot, "nursery/cup")
        await pilot.press("enter")
        with monkeypatch.context() as broken:
            broken.setattr("rounds.storage.sheets.replace_file", _full)
            await write(pilot, "40 wet")
            await until(pilot, lambda: "No space left on device" in flat(pilot))
            assert flat(pilot).count("not recorded") == 1
            assert "2026-11-25.laptop.json" in flat(pilot)
            assert typed(pilot) == "40 wet"
            assert state(pilot, "nursery/cup") == DUE
            await pilot.press("enter")
            await pilot.pause()
            assert typed(pilot) == "40 wet"
            assert records(kept) == []
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert state(pilot, "nursery/cup") == DONE
    assert len(records(kept)) == 1
    assert records(kept)[0]["id"] == prepared[0].id
    assert records(kept)[0]["note"] == "wet"
    assert [path.name for path in (kept / "sheets").rglob("*") if path.name.startswith(".")] == []


async def test_a_second_try_of_a_value_outside_its_band_writes_the_same_record(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When it should be tested again has moved on with the clock; the record is the one of the first try."""
    async with walking(kept) as pilot:
        prepared = remembered(pilot, monkeypatch)
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter")
        with monkeypatch.context() as broken:
            broken.setattr("rounds.storage.sheets.replace_file", _full)
            await write(pilot, "7.3")
            await until(pilot, lambda: "No space left on device" in flat(pilot))
        later = walk(pilot).room.now() + timedelta(minutes=1)
        monkeypatch.setattr(walk(pilot).room, "now", lambda: later)
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
    assert records(kept)[0]["id"] == prepared[0].id


async def test_a_failed_write_of_a_task_without_values_is_said_and_the_task_stays_open(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter says that nothing was recorded; the next one records."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        with monkeypatch.context() as broken:
            broken.setattr("rounds.storage.sheets.replace_file", _full)
            await pilot.press("enter")
            await until(pilot, lambda: "not recorded" in flat(pilot))
            assert state(pilot, "nursery/look") == DUE
            assert current(pilot) == "nursery/look"
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/look") == DONE)
        assert len(records(kept)) == 1


async def test_a_reason_is_kept_too_when_the_disk_is_full(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also after Escape and coming back."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("c")
        with monkeypatch.context() as broken:
            broken.setattr("rounds.storage.sheets.replace_file", _full)
            await write(pilot, "lamp is out")
            await until(pilot, lambda: "not recorded" in flat(pilot))
            await pilot.press("escape")
        await pilot.press("c")
        assert typed(pilot) == "lamp is out"
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert len(records(kept)) == 1


async def test_a_config_folder_that_cannot_be_written_does_not_stop_the_round(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Missed work seen, another keeper, another theme: a sentence at most, and the work goes on."""
    monkeypatch.setattr(device, "replace_file", _full)
    async with walking(kept) as pilot:
        await pilot.press("m")
        await choose(pilot, "k", "bri")
        await pilot.press("enter")
        await until(pilot, lambda: "No space left" in flat(pilot))
        pilot.app.theme = "textual-light"
        await pilot.pause()
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["by"] == "BC"


# -- missed work ---------------------------------------------------------------------------------------


async def test_missed_work_stands_at_the_top_until_it_was_seen(
    with_missed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """m takes it away for this keeper, also at the next start; another keeper still sees it."""
    async with walking(with_missed) as pilot:
        assert MISSED in flat(pilot)
        await pilot.press("down", "right", "left")
        assert MISSED in flat(pilot)
        await pilot.press("m")
        await until(pilot, lambda: MISSED not in flat(pilot))
    monkeypatch.setenv("ROUNDS_NOW", NEXT_START)
    async with walking(with_missed) as pilot:
        assert MISSED not in flat(pilot)
        await choose(pilot, "k", "bri")
        await pilot.press("enter")
        await until(pilot, lambda: MISSED in flat(pilot))
    async with walking(with_missed, by="BC") as pilot:
        assert MISSED in flat(pilot)


async def test_missed_work_says_why_it_could_not_be_done(with_missed: Path) -> None:
    """The reason stands beside it."""
    record(with_missed, "could not", "live-food/feed-jars", "2026-11-24T18:20", reason="no algae left")
    async with walking(with_missed) as pilot:
        assert f"{MISSED} (Live food bench, Culture jars), could not: no algae left" in flat(pilot)


async def test_missed_work_of_a_system_as_a_whole_names_it_once(with_missed: Path) -> None:
    path = with_missed / "systems/live-food.toml"
    task = '[[tasks]]\nid = "glance"\ntitle = "Glance"\nrrule = "FREQ=DAILY"\nat = "05:00"\nmake_up = false\n'
    path.write_text(f"{path.read_text()}\n{task}")
    async with walking(with_missed) as pilot:
        assert "Glance (Live food bench)" in flat(pilot)


async def test_more_missed_work_than_there_is_room_for_is_counted(folder: Path) -> None:
    """At 80 × 24 one line and how many more; at 40 lines three."""
    async with walking(folder) as pilot:
        assert "× missed yesterday 08:00: Feed the rotifer jars" in flat(pilot)
        assert "and 2 more m seen" in flat(pilot)
    async with walking(folder, size=(120, 40)) as pilot:
        assert "× missed yesterday 09:00: Target-feed the colonies" in flat(pilot)
        assert "more m seen" not in flat(pilot)


# -- the keeper ----------------------------------------------------------------------------------------


async def test_several_keepers_and_none_remembered_are_asked_at_the_start(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The one chosen signs the records and is remembered at the next start."""
    async with walking(kept, by=None) as pilot:
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        assert "Who keeps the room now?" in flat(pilot)
        assert "BC Brid Casey" in flat(pilot)
        await pilot.press("down", "enter")
        await until(pilot, lambda: walk(pilot).keeper == "BC")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["by"] == "BC"
    monkeypatch.setenv("ROUNDS_NOW", NEXT_START)
    async with walking(kept, by=None) as pilot:
        assert pilot.app.screen is walk(pilot)
        assert walk(pilot).keeper == "BC"
        assert "early shift BC" in flat(pilot)


async def test_without_a_keeper_nothing_is_recorded(kept: Path) -> None:
    """Escape from the choice lets one look; the first thing to record asks again."""
    async with walking(kept, by=None) as pilot:
        for key in ("enter", "n", "o", "p", "t"):
            await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
            await pilot.press("escape")
            await until(pilot, lambda: pilot.app.screen is walk(pilot))
            assert "nobody" in flat(pilot)
            await pilot.press(key)
        assert records(kept) == []
        assert not walk(pilot).typing


async def test_the_only_keeper_is_not_asked_for(kept: Path) -> None:
    """A room with one keeper opens ready to record."""
    room = kept / "room.toml"
    room.write_text(room.read_text().replace('[[keepers]]\ninitials = "BC"\nname = "Brid Casey"\n', ""))
    async with walking(kept, by=None) as pilot:
        assert walk(pilot).keeper == "TV"


async def test_a_room_without_keepers_takes_any_initials(kept: Path) -> None:
    """They are typed, and refused when they are none."""
    room = kept / "room.toml"
    text = room.read_text()
    room.write_text(text[: text.index("[[keepers]]")] + text[text.index("[[shifts]]") :])
    async with walking(kept, by=None) as pilot:
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        await until(pilot, lambda: hasattr(pilot.app.focused, "value"))
        await pilot.press(*"a/b", "enter")
        await until(pilot, lambda: "are no initials" in flat(pilot))
        await choose(pilot, "k", "MO")
        await pilot.press("enter")
        await until(pilot, lambda: walk(pilot).keeper == "MO")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["by"] == "MO"


async def test_another_keeper_takes_the_laptop(kept: Path) -> None:
    """From there on the records are theirs; the earlier ones stay as they are."""
    async with walking(kept) as pilot:
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 1)
        await choose(pilot, "k", "bri")
        await pilot.press("enter")
        await until(pilot, lambda: "BC keeps the room from here." in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 2)
    assert [entry["by"] for entry in records(kept)] == ["TV", "BC"]


async def test_a_question_stays_open_while_time_passes(kept: Path) -> None:
    """A look at the clock behind a question neither answers nor loses it."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter")
        await write(pilot, "81")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        set_clock(pilot, "2026-11-25T09:50")
        await look(pilot)
        await pilot.pause()
        assert isinstance(pilot.app.screen, Question)
        await pilot.press("y")
        await until(pilot, lambda: records(kept))


async def test_a_clock_set_by_hand_is_said_in_the_head(kept: Path) -> None:
    """Nobody takes it for the real time."""
    async with walking(kept) as pilot:
        assert "clock set by hand" in flat(pilot)
        assert not line(pilot).display


def test_replacing_files_is_where_writes_fail() -> None:
    """The tests above break the one function through which sheets and settings are written."""
    from rounds.storage import sheets

    assert sheets.replace_file is device.replace_file is atomic.replace_file
