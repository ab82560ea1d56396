"""A disk that fails, or a process that stops, at each system call of a write in turn."""

from __future__ import annotations

import errno
import functools
import json
import os
from contextlib import suppress
from itertools import count

import pytest

from rounds.core.errors import Refused
from rounds.storage.room import RoomFolder
from tests.storage.test_loader import REEF, ROOM
from tests.storage.test_sheets import SHEET, draft, files, record, written
from tests.support import write_room

CALLS = ("mkdir", "open", "write", "fchmod", "fsync", "close", "replace", "unlink")

ERRORS = [errno.ENOSPC, errno.EIO, errno.EROFS, errno.EACCES]

PIECE = 150
"""Bytes that the disk takes at a time: every write is a short one."""

STEPS = {
    "open", "write", "fchmod", "fsync", "close", "replace", "open folder", "fsync folder", "close folder",
}  # fmt: skip
"""What every write goes through."""


class Stopped(BaseException):
    """The process ends here."""


class Disk:
    """Between the program and the system: the calls that concern one room, one of which fails or stops."""

    def __init__(self, patch, folder, at=None, failure=None):
        self.trace: list[str] = []
        self.descriptors: dict[int, str] = {}
        self.synced: list[str] = []
        self.dead = False
        self._folder = os.fspath(folder)
        self._at = at
        self._failure = failure
        for name in CALLS:
            patch.setattr(os, name, functools.partial(self._call, name, getattr(os, name)))

    def _call(self, name, real, first, *rest, **named):
        if isinstance(first, int):
            if first not in self.descriptors:
                return real(first, *rest, **named)
            path = self.descriptors[first]
        else:
            path = os.fspath(first)
            there = name == "mkdir" and os.path.isdir(path)  # noqa: PTH112
            if there or not str(path).startswith(self._folder):
                return real(first, *rest, **named)
        if self.dead:
            raise Stopped
        number = len(self.trace)
        is_folder = name in ("open", "fsync", "close") and os.path.isdir(path)  # noqa: PTH112
        self.trace.append(f"{name} folder" if is_folder else name)
        if name == "write":
            rest = (rest[0][:PIECE],)
        if name == "close":
            del self.descriptors[first]
        if number == self._at:
            if name == "close":
                real(first)  # it is closed even when it says that it failed
            if self._failure is None:
                self.dead = True
                raise Stopped
            raise OSError(self._failure, os.strerror(self._failure))
        result = real(first, *rest, **named)
        if name == "open":
            self.descriptors[result] = path
        if name == "fsync":
            self.synced.append(path)
        return result


@pytest.fixture
def rooms(tmp_path, monkeypatch):
    """Makes a fresh room with so many records, and a record that is ready to be saved."""
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00")
    numbers = count()

    def make(before):
        room = RoomFolder(write_room(tmp_path / f"room {next(numbers)}", ROOM, reef=REEF))
        earlier = [record(room, at=f"2026-03-04 0{5 + hour}:00").id for hour in range(before)]
        return room, earlier, room.prepare(draft(room), "TV")

    return make


def broken_saves(rooms, before, failure):
    """Saves with every call of it failing in turn: room, earlier ids, the record, what was raised, the disk."""
    for at in count():
        room, earlier, made = rooms(before)
        raised = None
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, room.folder, at, failure)
            try:
                room.save(made)
            except (Refused, Stopped) as error:
                raised = error
        if at >= len(disk.trace):
            assert raised is None
            assert at > len(STEPS)
            return
        yield room, earlier, made, raised, disk


def ids(folder):
    """The ids in the sheet, in order; it must be whole."""
    return [each["id"] for each in written(folder).values()] if (folder / SHEET).exists() else []


def test_the_disk_sees_every_step_of_a_write(rooms):
    """Without a fault: what is opened, written in pieces, synced, closed and renamed, in this order."""
    room, _, made = rooms(1)
    with pytest.MonkeyPatch.context() as patch:
        disk = Disk(patch, room.folder)
        room.save(made)
    steps = [step for place, step in enumerate(disk.trace) if place == 0 or disk.trace[place - 1] != step]
    assert steps == [
        "open", "write", "fchmod", "fsync", "close", "replace", "open folder", "fsync folder", "close folder",
    ]  # fmt: skip
    assert disk.trace.count("write") > 1
    assert ids(room.folder)[1:] == [made.id]


@pytest.mark.parametrize("error", ERRORS, ids=errno.errorcode.get)
@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_after_any_failing_call_the_sheet_is_the_old_or_the_new_one(rooms, before, error):
    """It parses, and every earlier record stands in it."""
    seen = set()
    for room, earlier, made, _, disk in broken_saves(rooms, before, error):
        assert ids(room.folder) in (earlier, [*earlier, made.id]), disk.trace
        seen.add(disk.trace[disk._at])
    assert seen >= STEPS


@pytest.mark.parametrize("error", ERRORS, ids=errno.errorcode.get)
@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_any_failing_call_is_told_in_one_sentence(rooms, before, error):
    """What the disk said, and what to do; the record is not shown as recorded."""
    for room, _, made, raised, disk in broken_saves(rooms, before, error):
        assert isinstance(raised, Refused), disk.trace
        told = str(raised)
        assert told.startswith("not recorded: ")
        assert told.count(os.strerror(error)) == 1
        assert len(told.splitlines()) == 1
        assert ".tmp" not in told
        assert ". " not in told.replace(str(room.folder), "")
        assert made.id not in room.history


@pytest.mark.parametrize("error", ERRORS, ids=errno.errorcode.get)
@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_after_any_failing_call_the_next_try_records_it_once(rooms, before, error):
    """The same record with the same id, exactly once, on disk and in the history."""
    for room, earlier, made, _, disk in broken_saves(rooms, before, error):
        room.save(made)
        assert ids(room.folder) == [*earlier, made.id], disk.trace
        assert made.id in room.history
        again = RoomFolder(room.folder)
        assert sorted(again.ask(lambda history: [each.id for each in history])) == sorted([*earlier, made.id])
        assert again.problems == []


@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_the_next_try_counts_even_when_a_look_found_the_record_meanwhile(rooms, before):
    """A write that failed after the rename is seen by the next look; saving it again does not double it."""
    for room, earlier, made, _, disk in broken_saves(rooms, before, errno.EIO):
        room.refresh_sheets()
        room.save(made)
        assert ids(room.folder) == [*earlier, made.id], disk.trace
        assert len(list(room.history.known())) == before + 1


@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_a_failing_call_leaves_no_temporary_file(rooms, before):
    """Only sheets stand in the folder."""
    for room, _, _, _, disk in broken_saves(rooms, before, errno.ENOSPC):
        found = files(room.folder) if (room.folder / "sheets").exists() else []
        assert found in ([], [SHEET]), disk.trace


@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_a_failing_call_leaves_no_file_open(rooms, before):
    """What was opened is closed, whichever call failed."""
    for _, _, _, _, disk in broken_saves(rooms, before, errno.EIO):
        assert disk.descriptors == {}, disk.trace


@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_a_stop_at_any_call_leaves_the_old_or_the_new_sheet(rooms, before):
    """From that call on nothing reaches the disk, not even the cleaning up."""
    seen = set()
    for room, earlier, made, raised, disk in broken_saves(rooms, before, None):
        assert isinstance(raised, Stopped)
        assert ids(room.folder) in (earlier, [*earlier, made.id]), disk.trace
        again = RoomFolder(room.folder)
        assert again.problems == []
        assert set(earlier) <= {each.id for each in again.ask(list)}
        seen.add(disk.trace[disk._at])
    assert seen >= STEPS


@pytest.mark.parametrize("before", [0, 2], ids=["first record", "third record"])
def test_after_a_stop_at_any_call_recording_goes_on(rooms, before):
    """What the stop has left lying about does not stand in the way of the same record, nor of another one."""
    for room, earlier, made, _, disk in broken_saves(rooms, before, None):
        again = RoomFolder(room.folder)
        again.save(made)
        other = record(again, at="2026-03-04 04:30")
        assert ids(room.folder) == [*earlier, made.id, other.id], disk.trace


def test_two_faults_in_a_row_lose_nothing(rooms):
    """A retry that fails at another call leaves the old or the new sheet too."""
    for room, earlier, made, _, disk in broken_saves(rooms, 1, errno.EIO):
        with pytest.MonkeyPatch.context() as patch, suppress(Refused):
            Disk(patch, room.folder, 3, errno.ENOSPC)
            room.save(made)
        assert ids(room.folder) in (earlier, [*earlier, made.id]), disk.trace
        room.save(made)
        assert ids(room.folder) == [*earlier, made.id]


def test_a_strike_and_its_new_record_are_written_both_or_neither(rooms):
    """An amendment is one step, whichever call fails."""
    for at in count():
        room, earlier, _ = rooms(1)
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, room.folder, at, errno.ENOSPC)
            with suppress(Refused):
                room.amend(earlier[0], "wrong time", draft(room), "TV")
        kinds = [each["kind"] for each in json.loads((room.folder / SHEET).read_text())["records"].values()]
        assert kinds in (["done"], ["done", "strike", "done"]), disk.trace
        if at >= len(disk.trace):
            break
    assert kinds == ["done", "strike", "done"]


def test_a_record_is_acknowledged_only_after_sheet_and_folder_are_synced(rooms):
    """The last sync is that of the folder, after the rename."""
    room, _, made = rooms(1)
    with pytest.MonkeyPatch.context() as patch:
        disk = Disk(patch, room.folder)
        room.save(made)
    last = [step for step in disk.trace if step in ("fsync", "replace", "fsync folder")]
    assert last == ["fsync", "replace", "fsync folder"]
    assert disk.synced[-1] == os.fspath((room.folder / SHEET).parent)
