"""Day sheets on a real disk: nothing that was shown as recorded is lost, nothing that is not ours is touched."""

from __future__ import annotations

import errno
import json
import os

import pytest

from rounds.core.errors import Refused
from rounds.core.recording import draft_closing, draft_not_needed
from rounds.storage import atomic, sheets
from rounds.storage.room import RoomFolder
from rounds.storage.sheets import inspect_sheets, parse_sheet, read_sheet, sheet_files
from tests.support import instant

SHEET = "sheets/2026/2026-03-04.tablet.json"


def draft(room, at="2026-03-04 11:00", task="reef/cup", text=""):
    return draft_closing(room.model, room.history, room.model.tasks[task], text, instant(at))


def record(room, **how):
    return room.record(draft(room, **how), "TV")


def all_of(room):
    """Every record, also those behind the cache."""
    return room.ask(lambda history: list(history))


def written(folder, name=SHEET):
    return json.loads((folder / name).read_text())["records"]


def files(folder):
    return sorted(p.relative_to(folder).as_posix() for p in (folder / "sheets").rglob("*") if p.is_file())


# -- writing -----------------------------------------------------------------------------------------


def test_a_record_lands_in_the_sheet_of_device_and_round_day(folder, room):
    """One file a device and a round day of writing, one numbered document a record."""
    made = record(room)
    assert files(folder) == [SHEET]
    assert [each["id"] for each in written(folder).values()] == [made.id]
    assert list(written(folder)) == ["1"]


def test_the_sheet_is_read_once_for_a_record(folder, room, monkeypatch):
    """However long it is by the end of the day; the next record reads it again, as another process may have written."""
    record(room)
    read = []
    monkeypatch.setattr(sheets, "parse_sheet", lambda content: read.append(content) or parse_sheet(content))
    for text in ("second", "third"):
        record(room, text=text)
    assert [len(json.loads(content)["records"]) for content in read] == [1, 2]
    assert len(written(folder)) == 3


def test_times_are_written_with_the_offset_of_the_room(folder, room):
    """RFC 3339 with offset, whole seconds."""
    record(room, at="2026-03-04 11:00")
    only = written(folder)["1"]
    assert (only["at"], only["recorded"]) == ("2026-03-04T11:00:00Z", "2026-03-04T12:00:00Z")


def test_a_record_after_midnight_lands_in_the_sheet_of_the_evening(folder, monkeypatch):
    """01:00 belongs to the round day before."""
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-05T01:00:00")
    record(RoomFolder(folder))
    assert files(folder) == [SHEET]


def test_the_sheet_is_of_the_day_of_writing_not_of_the_work(folder, room):
    """A late entry for last week stands in today's sheet: past files never change."""
    record(room, at="2026-02-25 11:00")
    assert files(folder) == [SHEET]


def test_several_records_append(folder, room):
    """Each keeps what stands there."""
    made = [record(room, at=f"2026-03-04 0{hour}:00").id for hour in (5, 6, 7)]
    assert [each["id"] for each in written(folder).values()] == made


def test_a_record_is_read_back_as_it_was(folder, room):
    """Values, note, words and who did it survive the disk."""
    made = record(room, text="8,1 pale corner [bold]", task="reef/alkalinity")
    again = RoomFolder(folder).ask(lambda history: history.find(made.id))
    assert again == made
    assert (again.values[0].entered, again.note, again.words) == ("8,1", "pale corner [bold]", ("pale",))


def test_a_second_device_writes_its_own_file(folder, room, monkeypatch):
    """Two devices never write one file, and each sees the other's records."""
    mine = record(room)
    monkeypatch.setenv("ROUNDS_DEVICE", "phone")
    other = RoomFolder(folder)
    theirs = record(other, at="2026-03-04 10:00")
    assert files(folder) == ["sheets/2026/2026-03-04.phone.json", SHEET]
    room.refresh_sheets()
    assert {each.id for each in all_of(room)} == {each.id for each in all_of(other)} == {mine.id, theirs.id}


def test_a_retry_with_the_same_id_is_not_doubled(folder, room):
    """Saving a record a second time changes nothing on disk."""
    made = room.prepare(draft(room), "TV")
    room.save(made)
    before = (folder / SHEET).read_bytes()
    room.save(made)
    assert (folder / SHEET).read_bytes() == before
    assert len(all_of(room)) == 1


def test_two_open_rooms_of_one_device_lose_nothing(folder, room):
    """Each append reads what the other process has written meanwhile."""
    other = RoomFolder(folder)
    made = [record(room), record(other, at="2026-03-04 09:00"), record(room, at="2026-03-04 08:00")]
    assert [each["id"] for each in written(folder).values()] == [each.id for each in made]


def test_what_another_version_wrote_survives_an_append(folder, room):
    """Unknown kinds and unknown fields of a record stand unchanged beside the new one."""
    record(room)
    sheet = json.loads((folder / SHEET).read_text())
    foreign = {
        "id": "x1",
        "kind": "moon phase",
        "at": "2026-03-04T11:00:00Z",
        "recorded": "2026-03-04T11:00:00Z",
        "tide": [1, {"a": None}],
    }
    sheet["records"]["7"] = foreign
    sheet["records"]["1"]["mood"] = "fine"
    (folder / SHEET).write_text(json.dumps(sheet))
    record(room, at="2026-03-04 09:00")
    assert written(folder)["7"] == foreign
    assert written(folder)["1"]["mood"] == "fine"
    assert len(written(folder)) == 3


# -- what is no sheet ----------------------------------------------------------------------------------

DAMAGED = {
    "empty": b"",
    "cut off": b'{"records": {"1": {"id": "a", "kind": "done"',
    "zeroes": b"\0" * 64,
    "not UTF-8": b'{"records": {"1": {"id": "\xff"}}}',
    "a list": b"[]",
    "another table": b'{"_default": {}}',
    "records as a list": b'{"records": []}',
    "nested without end": b'{"records": ' + b"[" * 100_000,
}


@pytest.mark.parametrize("content", DAMAGED.values(), ids=DAMAGED)
def test_a_damaged_sheet_is_left_alone(folder, content):
    """Records go to a second file; the damaged one is not touched, and there is a warning that names it."""
    (folder / "sheets" / "2026").mkdir(parents=True)
    (folder / SHEET).write_bytes(content)
    room = RoomFolder(folder)
    made = record(room)
    assert (folder / SHEET).read_bytes() == content
    assert [each["id"] for each in written(folder, "sheets/2026/2026-03-04.tablet.2.json").values()] == [made.id]
    assert [problem.file for problem in room.problems] == [SHEET]
    again = RoomFolder(folder)
    assert made.id in again.history


def test_a_second_damaged_sheet_leads_to_a_third(folder):
    """And so on."""
    (folder / "sheets" / "2026").mkdir(parents=True)
    (folder / SHEET).write_bytes(b"")
    (folder / SHEET.replace(".json", ".2.json")).write_bytes(b"{")
    record(RoomFolder(folder))
    assert files(folder)[1] == "sheets/2026/2026-03-04.tablet.3.json"


def test_a_folder_in_place_of_the_sheet_does_no_harm(folder):
    """Recording goes on beside it."""
    (folder / SHEET).mkdir(parents=True)
    record(RoomFolder(folder))
    assert files(folder) == ["sheets/2026/2026-03-04.tablet.2.json"]


def test_a_sheet_damaged_while_the_room_is_open_is_left_alone(folder, room):
    """The next record goes to a second file."""
    record(room)
    (folder / SHEET).write_bytes(b"oh no")
    made = record(room, at="2026-03-04 09:00")
    assert (folder / SHEET).read_bytes() == b"oh no"
    assert made.id in RoomFolder(folder).history


BAD_RECORDS = {
    "no id": {"kind": "done", "at": "2026-03-04T11:00:00Z", "recorded": "2026-03-04T11:00:00Z"},
    "a time without an offset": {
        "id": "a",
        "kind": "done",
        "at": "2026-03-04T11:00:00",
        "recorded": "2026-03-04T11:00:00Z",
    },
    "a time that is none": {"id": "a", "kind": "done", "at": "noon", "recorded": "2026-03-04T11:00:00Z"},
    "values as a text": {
        "id": "a",
        "kind": "done",
        "at": "2026-03-04T11:00:00Z",
        "recorded": "2026-03-04T11:00:00Z",
        "values": "8.1",
    },
    "null": None,
    "a number": 5,
}


@pytest.mark.parametrize("bad", BAD_RECORDS.values(), ids=BAD_RECORDS)
def test_a_record_that_cannot_be_used_is_named_and_the_rest_is_used(folder, bad):
    """One bad record spoils neither its sheet nor the others."""
    good = {
        "id": "good",
        "kind": "done",
        "task": "reef/cup",
        "at": "2026-03-04T11:00:00Z",
        "recorded": "2026-03-04T11:00:00Z",
    }
    (folder / "sheets" / "2026").mkdir(parents=True)
    (folder / "sheets" / "2026" / "2026-03-04.phone.json").write_text(json.dumps({"records": {"1": bad, "2": good}}))
    room = RoomFolder(folder)
    assert [each.id for each in all_of(room)] == ["good"]
    assert ["record 1 cannot be used" in str(problem) for problem in room.problems] == [True]


@pytest.mark.parametrize("name", ["2026/copy of monday.json", "2026/2026-03-04.tablet (conflict 2).json", "loose.json"])
def test_every_json_file_is_read_whatever_its_name(folder, room, name):
    """A sync tool's conflict copies do no harm and lose nothing."""
    record(room)
    (folder / SHEET).rename(folder / "sheets" / name)
    assert len(all_of(RoomFolder(folder))) == 1


@pytest.mark.parametrize(
    "name", [".2026-03-04.tablet.json.123.tmp", ".hidden.json", "notes.txt", "2026-03-04.tablet.json~"]
)
def test_foreign_files_are_not_read(folder, room, name):
    """Temporary and other files are passed over."""
    record(room)
    (folder / SHEET).rename(folder / "sheets" / "2026" / name)
    assert all_of(RoomFolder(folder)) == []


def test_a_link_is_no_sheet(folder, room, tmp_path):
    """A link out of the room is not followed, and the check says so."""
    record(room)
    (folder / SHEET).rename(tmp_path / "outside.json")
    (folder / SHEET).symlink_to(tmp_path / "outside.json")
    assert sheet_files(folder) == []
    assert [path.name for path, read in inspect_sheets(folder) if read.problems] == ["2026-03-04.tablet.json"]


def test_a_sheet_is_too_large(monkeypatch):
    """What is larger than any sheet of ours is not parsed."""
    monkeypatch.setattr("rounds.storage.sheets.LARGEST", 10)
    with pytest.raises(Exception, match="too many for a sheet"):
        parse_sheet(b'{"records": {}}')


def test_a_sheet_that_cannot_be_read_says_so(folder, room, monkeypatch):
    """The system's own words, not an exception's."""
    record(room)
    monkeypatch.setattr(
        "pathlib.Path.read_bytes",
        lambda self: (_ for _ in ()).throw(PermissionError(errno.EACCES, "Permission denied")),
    )
    assert read_sheet(folder / SHEET).problems == ("it cannot be read (Permission denied)",)


# -- disks that fail ------------------------------------------------------------------------------------


def fail(error):
    def raising(*_, **__):
        raise OSError(error, os.strerror(error))

    return raising


FAILING = {
    "read-only": ("open", errno.EROFS),
    "no rights": ("open", errno.EACCES),
    "disk full": ("write", errno.ENOSPC),
    "fails to sync": ("fsync", errno.EIO),
}


@pytest.mark.parametrize(("call", "error"), FAILING.values(), ids=FAILING)
@pytest.mark.parametrize("before", [0, 1], ids=["first record", "second record"])
def test_a_disk_that_fails_is_told_in_one_sentence(folder, room, monkeypatch, call, error, before):
    """Nothing was written, nothing is shown as recorded, no temporary file is left; a retry records it once."""
    for _ in range(before):
        record(room, at="2026-03-04 06:00")
    old = {path: (folder / path).read_bytes() for path in files(folder)} if before else {}
    made = room.prepare(draft(room), "TV")
    with monkeypatch.context() as broken:
        real_open = os.open
        if call == "open":  # the lock file lies in the cache folder and is not affected
            broken.setattr(
                atomic.os,
                "open",
                lambda path, *rest: fail(error)() if "sheets" in str(path) else real_open(path, *rest),
            )
        else:
            broken.setattr(atomic.os, call, fail(error))
        with pytest.raises(Refused, match=f"not recorded: .*{os.strerror(error)}; make room or rights"):
            room.save(made)
    now = {path: (folder / path).read_bytes() for path in files(folder)} if (folder / "sheets").exists() else {}
    assert now == old
    assert made.id not in room.history
    room.save(made)
    assert [each["id"] for each in written(folder).values()][before:] == [made.id]


def test_a_sheet_that_cannot_be_put_in_place_leaves_the_old_one(folder, room, monkeypatch):
    """When the rename fails the old file stands and no temporary file is left."""
    record(room)
    before = (folder / SHEET).read_bytes()
    with monkeypatch.context() as broken:
        broken.setattr("pathlib.Path.replace", fail(errno.EACCES))
        with pytest.raises(Refused):
            record(room, at="2026-03-04 09:00")
    assert ((folder / SHEET).read_bytes(), files(folder)) == (before, [SHEET])


def test_a_killed_write_leaves_the_old_sheet(folder, room, monkeypatch):
    """Stopped before the rename, whatever stopped it: the sheet is the old one."""
    record(room)
    before = (folder / SHEET).read_bytes()

    def killed(*_):
        raise KeyboardInterrupt

    with monkeypatch.context() as broken:
        broken.setattr("pathlib.Path.replace", killed)
        with pytest.raises(KeyboardInterrupt):
            record(room, at="2026-03-04 09:00")
    assert (folder / SHEET).read_bytes() == before


def test_not_needed_keeps_its_reason(folder, room):
    """The reason stands in the sheet."""
    room.record(
        draft_not_needed(
            room.model, room.history, room.model.tasks["reef/cup"], "drained", instant("2026-03-04 11:00")
        ),
        "TV",
    )
    assert written(folder)["1"]["reason"] == "drained"
