"""An open room: what other processes and hands change on disk, and what the cache may and may not do."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import timedelta

import pytest

from rounds.core.errors import CannotRead, Refused
from rounds.core.history import History
from rounds.storage import device
from rounds.storage.faults import RoomFaults
from rounds.storage.room import RoomFolder
from tests.storage.test_loader import REEF, ROOM
from tests.storage.test_sheets import SHEET, all_of, draft, record, written
from tests.support import instant

NOON = instant("2026-03-04 12:00")


def state(room, now=NOON, task="reef/cup"):
    return next(item.state for item in room.items(now) if item.task.id == task)


def rounds(folder, *arguments, **env):
    """The command line in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "rounds", "--room", str(folder), *arguments],
        env={**os.environ, "ROUNDS_BY": "TV", **env}, capture_output=True, text=True, check=False,
    )  # fmt: skip


# -- other processes -----------------------------------------------------------------------------------


def test_what_another_process_records_is_seen_at_the_next_look(folder, room):
    """Recorded through the command line while the room is open."""
    assert state(room) == "overdue"
    assert rounds(folder, "record", "reef/cup", "8.1").returncode == 0
    assert room.refresh_sheets() is True
    assert state(room) == "done"


def test_what_another_process_strikes_is_seen_at_the_next_look(folder, room):
    """The strike brings the item back."""
    made = record(room)
    assert rounds(folder, "strike", made.id, "--reason", "wrong tank", ROUNDS_DEVICE="phone").returncode == 0
    assert room.refresh_sheets() is True
    assert state(room) == "overdue"


def test_a_look_that_finds_nothing_changes_nothing(folder, room):
    """Our own record is not news."""
    record(room)
    room.refresh_sheets()
    assert room.refresh_sheets() is False


def test_a_sheet_that_was_taken_away_takes_its_records_with_it(folder, room):
    """What is on disk is what counts."""
    record(room)
    room.refresh_sheets()
    (folder / SHEET).unlink()
    assert room.refresh_sheets() is True
    assert state(room) == "overdue"


def test_a_sheet_edited_by_hand_is_read_anew(folder, room):
    """A record taken out of the file no longer counts."""
    record(room)
    record(room, at="2026-03-04 09:00")
    room.refresh_sheets()
    (folder / SHEET).write_text('{"records": {}}')
    assert room.refresh_sheets() is True
    assert all_of(room) == []


def test_of_one_id_with_two_contents_the_greater_stands(folder, room):
    """Whichever file is read first."""
    record(room)
    sheet = json.loads((folder / SHEET).read_text())
    for name, by in (("a", "AA"), ("z", "ZZ")):
        sheet["records"]["1"]["by"] = by
        (folder / "sheets" / f"{name}.json").write_text(json.dumps(sheet))
    assert [each.by for each in all_of(RoomFolder(folder))] == ["ZZ"]


def test_merging_two_copies_is_copying_files(folder, room, tmp_path, monkeypatch):
    """Two copies of a room, each recorded in, put together know everything."""
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    mine = record(room)
    monkeypatch.setenv("ROUNDS_DEVICE", "phone")
    theirs = record(RoomFolder(copy), at="2026-03-04 10:00")
    shutil.copytree(copy, folder, dirs_exist_ok=True)
    assert {each.id for each in all_of(RoomFolder(folder))} == {mine.id, theirs.id}


# -- room files changed by hand --------------------------------------------------------------------------


def change(path, text):
    path.write_text(text)
    status = path.stat()
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns + 1_000_000))


def test_a_room_file_broken_while_open_keeps_the_last_good_model(folder, room):
    """The faults are told and the round goes on."""
    change(folder / "systems" / "reef.toml", REEF.replace('title = "Rinse the cup"', "title ="))
    faults = room.refresh_files()
    assert isinstance(faults, RoomFaults)
    assert faults.faults[0].file == "systems/reef.toml"
    assert room.model.tasks["reef/cup"].title == "Rinse the cup"
    assert record(room).task == "reef/cup"


def test_a_repaired_room_file_is_taken_up(folder, room):
    """After the repair the new version is in use."""
    change(folder / "systems" / "reef.toml", "broken")
    room.refresh_files()
    change(folder / "systems" / "reef.toml", REEF.replace("Rinse the cup", "Wash the cup"))
    assert room.refresh_files() is True
    assert room.model.tasks["reef/cup"].title == "Wash the cup"


def test_an_unchanged_room_is_not_read_again(room):
    """Nothing new: False."""
    assert room.refresh_files() is False


def test_a_room_file_taken_away_while_open_is_told(folder, room):
    """Without room.toml the last good model stays."""
    (folder / "room.toml").unlink()
    assert isinstance(room.refresh_files(), RoomFaults)
    assert room.model.name == "Test room"


def test_a_new_system_is_taken_up(folder, room):
    """A file added while the room is open."""
    (folder / "systems" / "lab.toml").write_text('name = "Lab"\n')
    assert room.refresh_files() is True
    assert "lab" in room.model.system


# -- the cache -----------------------------------------------------------------------------------------


def many(folder, monkeypatch, days=30):
    """A record a day for so many days before 4 March, written on those days."""
    made = []
    for back in range(days, 0, -1):
        at = NOON - timedelta(days=back)
        monkeypatch.setenv("ROUNDS_NOW", at.isoformat())
        made.append(record(RoomFolder(folder), at=at.isoformat()))
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00")
    return made


def answers(folder, now=NOON):
    room = RoomFolder(folder)
    return [
        (i.task.id, i.state, i.due_at, i.closed_by, i.last_done and i.last_done.id, i.missed) for i in room.items(now)
    ]


@pytest.mark.parametrize(
    "now", [NOON, NOON - timedelta(days=3), NOON - timedelta(days=20), NOON + timedelta(days=2)], ids=str
)
def test_the_cache_never_changes_an_answer(folder, monkeypatch, now):
    """With the cache, without it and with a damaged one the round is the same, also of a past day."""
    many(folder, monkeypatch)
    kept = answers(folder, now)
    cache = device.cache_folder(folder)
    assert any(cache.glob("*.msgpack"))
    for path in cache.glob("*.msgpack"):
        path.write_bytes(path.read_bytes()[:-7] + b"\xff" * 7)
    assert answers(folder, now) == kept
    shutil.rmtree(cache)
    assert answers(folder, now) == kept


def test_the_cache_is_not_in_the_room(folder, monkeypatch):
    """The room's folder holds facts only."""
    many(folder, monkeypatch, 3)
    assert {path.suffix for path in folder.rglob("*") if path.is_file()} == {".toml", ".json"}


def test_a_cache_that_cannot_be_written_is_done_without(folder, monkeypatch):
    """Opening goes on."""
    monkeypatch.setattr("rounds.storage.cache.replace_file", lambda *_, **__: (_ for _ in ()).throw(PermissionError()))
    assert RoomFolder(folder).model.name == "Test room"


def test_old_records_are_found_behind_the_cache(folder, monkeypatch):
    """A record far back can be struck though the cache does not hold it."""
    made = many(folder, monkeypatch)
    RoomFolder(folder)
    room = RoomFolder(folder)
    assert room.strike(made[0].id, "wrong tank", "TV").ref == made[0].id
    assert len(all_of(room)) == 31


def test_a_late_sync_of_an_old_sheet_is_taken_in(folder, monkeypatch):
    """A sheet of last month that arrives today counts for last month."""
    many(folder, monkeypatch)
    RoomFolder(folder)
    raw = written(folder, "sheets/2026/2026-02-02.tablet.json")["1"]
    raw |= {"id": "late", "at": "2026-02-20T13:00:00Z", "by": "MK"}
    (folder / "sheets" / "2026" / "2026-02-20.phone.json").write_text(json.dumps({"records": {"1": raw}}))
    found = [i for i in RoomFolder(folder).items(instant("2026-02-20 14:00")) if i.task.id == "reef/cup"]
    assert found[0].closed_by == "MK"


def test_a_strike_arriving_late_counts(folder, monkeypatch):
    """Another device's strike of the last closing, synced later, is seen in spite of the cache."""
    made = many(folder, monkeypatch)
    before = {item.task.id: item.last_done for item in RoomFolder(folder).items(NOON)}["reef/cup"]
    raw = {
        "id": "s",
        "kind": "strike",
        "at": "2026-03-03T13:00:00Z",
        "recorded": "2026-03-03T13:00:00Z",
        "ref": made[-1].id,
        "by": "MK",
        "reason": "x",
    }
    (folder / "sheets" / "2026" / "2026-03-03.phone.json").write_text(json.dumps({"records": {"1": raw}}))
    after = {item.task.id: item.last_done for item in RoomFolder(folder).items(NOON)}["reef/cup"]
    assert (before.id, after.id) == (made[-1].id, made[-2].id)


# -- strikes, keepers, device --------------------------------------------------------------------------


def test_a_strike_of_nothing_is_refused(room):
    """With where to find the ids."""
    with pytest.raises(Refused, match="rounds history --json"):
        room.strike("nothing", "why", "TV")


def test_a_strike_needs_a_reason(room):
    """Blanks are none."""
    made = record(room)
    with pytest.raises(Refused, match="say why"):
        room.strike(made.id, "  ", "TV")


def test_a_strike_cannot_be_struck(room):
    """Record the work again instead."""
    struck = room.strike(record(room).id, "wrong tank", "TV")
    with pytest.raises(Refused, match="record the work again"):
        room.strike(struck.id, "sorry", "TV")


def test_a_record_is_struck_once(room):
    """The second strike is told who struck it and why."""
    made = record(room)
    room.strike(made.id, "wrong tank", "TV")
    with pytest.raises(Refused, match=r"struck already, by TV: wrong tank"):
        room.strike(made.id, "again", "TV")


def test_the_device_keeps_the_name_it_made(monkeypatch):
    """Host name and four hex digits, made once."""
    monkeypatch.setattr("socket.gethostname", lambda: "Føø's MacBook Pro of the Reef Lab")
    name = device.device_name()
    assert name == device.device_name()
    host, _, digits = name.rpartition("-")
    assert len(host) <= 20
    assert set(host) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    assert len(digits) == 4
    int(digits, 16)


@pytest.mark.parametrize("name", ["../up", "a/b", "a b", ".a", "é", "x" * 60])
def test_a_device_name_that_is_none_is_refused(monkeypatch, name):
    """It becomes part of a file's name."""
    monkeypatch.setenv("ROUNDS_DEVICE", name)
    with pytest.raises(CannotRead, match="ROUNDS_DEVICE"):
        device.device_name()


def test_damaged_settings_are_as_good_as_none(away_from_the_machine):
    """The device makes a new name."""
    path = away_from_the_machine / "config" / "coral-rounds" / "device.json"
    path.parent.mkdir(parents=True)
    path.write_text("{")
    assert device.device_name()


def test_the_room_is_the_same_history_in_any_order_of_sheets(folder, room):
    """Union of the sheets, whatever their order."""
    for hour in (5, 6, 7):
        record(room, at=f"2026-03-04 0{hour}:00")
    records = all_of(room)
    assert {r.id for r in History(reversed(records))} == {r.id for r in History(records)}


def test_the_room_remembers_its_keeper(room):
    """The next start on this device has the same keeper."""
    room.remember_keeper("TV")
    assert room.keeper(None) == "TV"


def test_a_remembered_keeper_who_left_is_not_used(folder, room):
    """Someone who is no keeper of this room any more is not taken."""
    room.remember_keeper("TV")
    change(folder / "room.toml", ROOM.replace('initials = "TV"', 'initials = "MK"') + '[[keepers]]\ninitials = "JB"\n')
    change(folder / "systems" / "reef.toml", REEF.replace('keeper = "TV"\n', ""))
    with pytest.raises(CannotRead, match="MK, JB"):
        RoomFolder(folder).keeper(None)


def test_a_draft_is_not_yet_recorded(folder, room):
    """Nothing is written before it is saved."""
    room.prepare(draft(room), "TV")
    assert not (folder / "sheets").exists()
