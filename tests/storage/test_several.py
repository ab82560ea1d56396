"""Several processes on one device, and several devices with one room."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.account import records_about
from rounds.core.items import OPEN_STATES
from rounds.core.record import CONCERN
from rounds.core.recording import draft_closing, draft_could_not, draft_note, draft_postponed
from rounds.storage.room import RoomFolder
from rounds.storage.sheets import inspect_sheets, sheet_files
from tests.storage.test_loader import REEF, ROOM
from tests.storage.test_room_folder import rounds
from tests.support import instant, write_room

WRITER = """
import sys
from pathlib import Path
from rounds.storage.room import RoomFolder
from rounds.core.recording import draft_closing

room = RoomFolder(Path(sys.argv[1]))
task = room.model.tasks["reef/cup"]
print("ready", flush=True)
sys.stdin.readline()
for _ in range(int(sys.argv[2])):
    print(room.record(draft_closing(room.model, room.history, task, "8.1", room.now()), "TV").id)
"""

NOON = instant("2026-03-04 12:00")

DEVICES = ("tablet", "phone")


def stored(folder):
    """The id of every record in every sheet."""
    return [each["id"] for path, _ in sheet_files(folder) for each in json.loads(path.read_text())["records"].values()]


# -- one device -------------------------------------------------------------------------------------------


@pytest.fixture
def crowd(folder):
    """Four processes with 249 records each beside a stream of commands: the folder and what they said."""
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), "249"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=dict(os.environ),
        )
        for _ in range(4)
    ]  # fmt: skip
    said = []
    try:
        for writer in writers:
            assert writer.stdout.readline() == "ready\n"
        for writer in writers:
            writer.stdin.write("\n")
            writer.stdin.flush()
        for _ in range(4):
            made = rounds(folder, "record", "reef/cup", "8.1", "--sure", "--json")
            assert made.returncode == 0, made.stderr
            said.append(json.loads(made.stdout)["id"])
    finally:
        for writer in writers:
            said += writer.communicate()[0].split()
    assert [writer.returncode for writer in writers] == [0] * 4
    return folder, said


def test_four_processes_of_one_device_lose_and_double_nothing(crowd):
    """Every id that was said stands exactly once, and nothing else does."""
    folder, said = crowd
    assert len(said) == 1000
    assert sorted(stored(folder)) == sorted(said)
    assert [path.name for path, read in inspect_sheets(folder) if read.problems] == []
    assert len(sheet_files(folder)) == 1
    assert sorted(RoomFolder(folder).ask(lambda history: [record.id for record in history])) == sorted(said)


# -- several devices ---------------------------------------------------------------------------------------


def draft_of(room, kind, day, nth):
    """One piece of work on a day of March; what it closes or strikes is found in the history that is known."""
    at = instant(f"2026-03-{day:02} {8 + nth % 4:02}:15")
    task = room.model.tasks[("reef/cup", "reef/alkalinity")[nth % 2]]
    if kind == "could not":
        return draft_could_not(task, "pump is out", at)
    if kind == "postponed":
        return draft_postponed(room.model, task, instant(f"2026-03-{day + 2:02} 09:00"), at)
    if kind == "concern":
        return draft_note(CONCERN, task, "pale corner", at)
    return draft_closing(room.model, room.history, task, "8.1", at)


def work(folder, device, deeds):
    """What one keeper does on one device, day after day."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ROUNDS_DEVICE", device)
        for nth, (kind, day) in enumerate(deeds):
            patch.setenv("ROUNDS_NOW", f"2026-03-{day:02}T12:{nth:02}:00")
            room = RoomFolder(folder)
            if kind == "strike":
                standing = room.ask(
                    lambda history: [
                        record for record in history if record.kind != "strike" and history.strike_of(record.id) is None
                    ]
                )
                if standing:
                    target = min(standing, key=lambda record: record.key)
                    room.strike(target.id, f"wrong, says {device}", "TV")
                continue
            room.record(draft_of(room, kind, day, nth), "TV")


def known(folder):
    """The history and the round as a keeper sees them, from every sheet."""
    with pytest.MonkeyPatch.context() as patch, TemporaryDirectory() as cache:
        patch.setenv("XDG_CACHE_HOME", cache)
        room = RoomFolder(folder)
        assert room.problems == []
        records = room.ask(records_about)
        struck = {record.id: room.history.strike_of(record.id) for record in records}
        concerns = room.ask(lambda history: history.concerns(NOON))
        return records, struck, concerns, room.items(NOON)


def merge(sheets, source):
    """Copy the sheets of `source` into a room as a sync tool does: those that differ beside the others."""
    for path, _ in sheet_files(source):
        target = sheets / path.relative_to(source)
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists() and target.read_bytes() != path.read_bytes():
            target = target.with_name(f"{target.stem} (conflict {source.name}).json")
        shutil.copy2(path, target)


deeds = st.lists(
    st.tuples(st.sampled_from(("done", "done", "could not", "postponed", "concern", "strike")), st.integers(1, 4)),
    max_size=5,
).map(lambda found: sorted(found, key=lambda deed: deed[1]))


@settings(max_examples=15)
@given(common=deeds, mine=deeds, theirs=deeds, order=st.lists(st.sampled_from((0, 1)), min_size=0, max_size=4))
def test_rooms_edited_apart_agree_once_merged(common, mine, theirs, order):
    """Two copies of a room, worked in apart, copied together in any order and any of them twice."""
    with TemporaryDirectory() as made, pytest.MonkeyPatch.context() as patch:
        patch.setenv("ROUNDS_NOW", "2026-03-04T12:30:00")
        top = Path(made)
        first = write_room(top / "first", ROOM, reef=REEF)
        work(first, "tablet", common)
        shutil.copytree(first, top / "second")
        apart = (first, top / "second")
        for folder, device, done in zip(apart, DEVICES, (mine, theirs), strict=True):
            work(folder, device, done)
        answers = []
        for number, sources in enumerate(((0, 1), (1, 0), (*order, 0, 1), (1, *order, 0))):
            folder = write_room(top / f"merged {number}", ROOM, reef=REEF)
            for source in sources:
                merge(folder, apart[source])
            answers.append(known(folder))
        assert all(answer == answers[0] for answer in answers[1:])
        assert {record.id for record in answers[0][0]} == {*stored(apart[0]), *stored(apart[1])}


def test_an_open_room_takes_in_the_other_device_as_a_fresh_one_does(folder, monkeypatch, tmp_path):
    """What a sync tool brings while the app is open counts as if it had been there from the beginning."""
    shutil.copytree(folder, tmp_path / "other")
    work(tmp_path / "other", "phone", [("done", 1), ("concern", 2), ("strike", 3), ("done", 4)])
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:30:00")
    room = RoomFolder(folder)
    room.items(NOON)
    merge(folder, tmp_path / "other")
    assert room.refresh_sheets() is True
    records, _, concerns, items = known(folder)
    assert room.ask(records_about) == records
    assert room.ask(lambda history: history.concerns(NOON)) == concerns
    assert room.items(NOON) == items


def test_a_task_done_apart_by_two_keepers_is_done_once(folder, monkeypatch, tmp_path):
    """Both records stand, and nothing of it is open any more today."""
    shutil.copytree(folder, tmp_path / "other")
    work(folder, "tablet", [("done", 4)])
    work(tmp_path / "other", "phone", [("done", 4)])
    merge(folder, tmp_path / "other")
    records, _, _, items = known(folder)
    assert {record.device for record in records if record.task == "reef/cup"} == set(DEVICES)
    cup = [item for item in items if item.task.id == "reef/cup" and item.in_round]
    assert [item.state for item in cup if item.state in OPEN_STATES] == []
    assert len(cup) == 1


def test_the_same_record_struck_on_two_devices_is_struck_by_the_earlier(folder, tmp_path):
    """Which strike counts does not depend on which sheet is read first."""
    work(folder, "tablet", [("done", 1)])
    shutil.copytree(folder, tmp_path / "other")
    work(folder, "zebra", [("strike", 3)])
    work(tmp_path / "other", "phone", [("done", 2), ("strike", 4)])
    merge(folder, tmp_path / "other")
    records, struck, _, _ = known(folder)
    target = min(records, key=lambda record: record.key)
    assert struck[target.id].device == "zebra"
    assert sum(record.kind == "strike" for record in records) == 2
