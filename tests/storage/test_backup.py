"""A backup unpacks to the room it was taken of; damaged sheets are read as far as they go."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import zipfile

import pytest

from rounds.cli import main
from rounds.core.account import records_about
from rounds.core.errors import Refused
from rounds.storage.backup import MANIFEST, check_backup, write_backup
from rounds.storage.repair import repair_sheets
from rounds.storage.room import RoomFolder
from tests.storage.test_sheets import SHEET, fail, record


def tree(folder):
    """Every file under the folder with its content."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


@pytest.fixture
def used(folder, room):
    """A room with three records and a damaged sheet."""
    for hour in (5, 6, 7):
        record(room, at=f"2026-03-04 0{hour}:00", text="8.1 pale corner")
    (folder / "sheets" / "2026" / "2026-03-03.phone.json").write_bytes(b'{"records": {"1"')
    return folder


@pytest.fixture
def archive(used, tmp_path):
    """A backup of it."""
    write_backup(used, tmp_path / "room.zip")
    return tmp_path / "room.zip"


# -- backup ------------------------------------------------------------------------------------------------


def test_a_backup_unpacks_to_the_same_files(used, archive, tmp_path):
    """Byte for byte, damaged sheets too, and the list beside them."""
    zipfile.ZipFile(archive).extractall(tmp_path / "back")
    found = tree(tmp_path / "back")
    del found[MANIFEST]
    assert found == tree(used)


def test_a_backup_holds_the_care_catalogue_of_the_room(used, tmp_path):
    """Without it the room could not be opened, or would ask for other care."""
    (used / "care").mkdir()
    (used / "care" / "ours.toml").write_text('[[kinds]]\nname = "torch"\nof = "equipment"\n', encoding="utf-8")
    write_backup(used, tmp_path / "room.zip")
    zipfile.ZipFile(tmp_path / "room.zip").extractall(tmp_path / "back")
    found = tree(tmp_path / "back")
    del found[MANIFEST]
    assert found == tree(used)


def test_a_backup_says_how_many_files_it_holds(used, tmp_path):
    """The list is not counted."""
    assert write_backup(used, tmp_path / "room.zip") == len(tree(used)) == 4


def test_an_unpacked_backup_opens_with_the_same_history(used, archive, tmp_path):
    """Restoring is unpacking."""
    zipfile.ZipFile(archive).extractall(tmp_path / "back")
    back, was = RoomFolder(tmp_path / "back"), RoomFolder(used)
    assert len(was.ask(records_about)) == 3
    assert back.ask(records_about) == was.ask(records_about)
    assert back.items(back.now()) == was.items(was.now())


def test_the_list_is_what_sha256sum_checks(archive, tmp_path):
    """One line a file: the sum, two spaces, the name."""
    zipfile.ZipFile(archive).extractall(tmp_path / "back")
    lines = (tmp_path / "back" / MANIFEST).read_text(encoding="utf-8").splitlines()
    for line in lines:
        total, name = line.split("  ", 1)
        assert hashlib.sha256((tmp_path / "back" / name).read_bytes()).hexdigest() == total
    assert len(lines) == 4


def test_a_backup_as_it_was_has_no_fault(archive):
    """Nothing is said."""
    assert check_backup(archive) == []


def test_names_with_odd_letters_are_backed_up(used, tmp_path):
    """A conflict copy with spaces, brackets and letters of another script."""
    name = "sheets/2026/2026-03-04.tablet (Ægirs Konflikt [2]) 礁.json"
    (used / name).write_bytes((used / SHEET).read_bytes())
    write_backup(used, tmp_path / "room.zip")
    assert check_backup(tmp_path / "room.zip") == []
    assert name in zipfile.ZipFile(tmp_path / "room.zip").namelist()


def test_what_leads_out_of_the_room_is_not_backed_up(used, tmp_path):
    """A link among the sheets is passed over."""
    (tmp_path / "secret.json").write_text("{}")
    (used / "sheets" / "link.json").symlink_to(tmp_path / "secret.json")
    write_backup(used, tmp_path / "room.zip")
    assert "sheets/link.json" not in zipfile.ZipFile(tmp_path / "room.zip").namelist()


def test_a_backup_changes_nothing_in_the_room(used, tmp_path):
    """Neither content nor times."""
    before = {path: (path.stat().st_mtime_ns, path.stat().st_size) for path in used.rglob("*")}
    write_backup(used, tmp_path / "room.zip")
    assert {path: (path.stat().st_mtime_ns, path.stat().st_size) for path in used.rglob("*")} == before


def test_an_existing_file_is_refused(used, tmp_path):
    """It is left as it is."""
    target = tmp_path / "room.zip"
    target.write_bytes(b"my other backup")
    with pytest.raises(Refused, match=r"room\.zip exists; name a new file"):
        write_backup(used, target)
    assert target.read_bytes() == b"my other backup"


def test_a_backup_into_a_missing_folder_is_refused(used, tmp_path):
    """In one sentence, with what the system said."""
    with pytest.raises(Refused, match="No such file or directory; nothing was backed up"):
        write_backup(used, tmp_path / "nowhere" / "room.zip")
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("call", ["os.fsync", "pathlib.Path.replace"])
@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO], ids=errno.errorcode.get)
def test_a_backup_that_fails_leaves_nothing(used, tmp_path, monkeypatch, call, error):
    """No half backup, no temporary file."""
    before = sorted(path.name for path in tmp_path.iterdir())
    monkeypatch.setattr(call, fail(error))
    with pytest.raises(Refused, match=f"{os.strerror(error)}; nothing was backed up"):
        write_backup(used, tmp_path / "room.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == before


# -- tampering -----------------------------------------------------------------------------------------------


def rewritten(archive, change):
    """Write the backup anew after `change` has had its hands on names and contents."""
    with zipfile.ZipFile(archive) as old:
        contents = [(name, old.read(name)) for name in old.namelist()]
    with zipfile.ZipFile(archive, "w") as new:
        for name, content in change(contents):
            new.writestr(name, content)
    return check_backup(archive)


def test_a_changed_file_is_named(archive):
    """One byte is enough."""

    def change(contents):
        return [(name, content.replace(b"TV", b"MK") if name == SHEET else content) for name, content in contents]

    assert rewritten(archive, change) == [f"{SHEET}: its content is not what was backed up"]


@pytest.mark.parametrize("gone", [SHEET, "room.toml", "systems/reef.toml"])
def test_a_missing_file_is_named(archive, gone):
    """It is listed and not there."""
    found = rewritten(archive, lambda contents: [each for each in contents if each[0] != gone])
    assert found == [f"{gone}: is listed and missing"]


def test_an_added_file_is_named(archive):
    """It is there and not listed."""
    found = rewritten(archive, lambda contents: [*contents, ("sheets/2026/extra.json", b"{}")])
    assert found == [f"sheets/2026/extra.json: is not listed in {MANIFEST}"]


def test_a_renamed_file_is_named_twice(archive):
    """Its old name is missing, its new one is not listed."""
    found = rewritten(archive, lambda contents: [("x.toml" if n == "room.toml" else n, c) for n, c in contents])
    assert found == ["room.toml: is listed and missing", f"x.toml: is not listed in {MANIFEST}"]


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_a_file_that_stands_twice_is_named(archive):
    """Which of the two is unpacked is anybody's guess."""
    found = rewritten(archive, lambda contents: [*contents, contents[0]])
    assert found == ["room.toml: stands twice"]


def test_a_missing_list_is_said(archive):
    """Without it the file is no backup."""
    found = rewritten(archive, lambda contents: [each for each in contents if each[0] != MANIFEST])
    assert found == [f"{MANIFEST} is missing: this is no backup of a room"]


def test_a_changed_list_is_noticed(archive):
    """A sum that fits nothing is a fault of its file."""

    def change(contents):
        return [(name, other(content) if name == MANIFEST else content) for name, content in contents]

    def other(content):
        return (b"1" if content.startswith(b"0") else b"0") + content[1:]

    with zipfile.ZipFile(archive) as old:
        first = old.read(MANIFEST).decode().splitlines()[0]
    assert rewritten(archive, change) == [f"{first.split('  ')[1]}: its content is not what was backed up"]


@pytest.mark.parametrize("name", ["../escape.toml", "/etc/escape.toml", "sheets/../../escape.toml"])
def test_a_name_that_leads_out_of_the_room_is_named(archive, name):
    """Listed with its right sum, it is a fault all the same."""
    line = f"{hashlib.sha256(b'x').hexdigest()}  {name}\n".encode()

    def change(contents):
        return [*((n, c + line if n == MANIFEST else c) for n, c in contents), (name, b"x")]

    assert rewritten(archive, change) == [f"{name}: leads out of the room; do not unpack this file"]


@pytest.mark.parametrize("keep", [0, 10, 0.5, -1], ids=["empty", "ten bytes", "half", "all but one"])
def test_a_truncated_backup_is_no_zip_file(archive, keep):
    """In one sentence."""
    content = archive.read_bytes()
    archive.write_bytes(content[: int(len(content) * keep) if isinstance(keep, float) else keep])
    found = check_backup(archive)
    assert len(found) == 1
    assert "is no zip file that can be read" in found[0]


# -- the command line ----------------------------------------------------------------------------------------------


def test_the_command_backs_up_and_verifies(used, tmp_path, capsys):
    """`rounds backup`, then `rounds check` of what it wrote."""
    target = tmp_path / "room.zip"
    assert main(["--room", str(used), "backup", str(target)]) == 0
    assert capsys.readouterr().out == f"{target}: 4 files backed up\n"
    assert main(["check", str(target)]) == 0
    assert capsys.readouterr().out == f"{target}: no fault found\n"


def test_the_check_command_names_what_is_wrong(archive, capsys):
    """One line a fault, and exit status 1."""
    rewritten(archive, lambda contents: [each for each in contents if each[0] != SHEET])
    assert main(["check", str(archive)]) == 1
    assert capsys.readouterr().out == f"{SHEET}: is listed and missing\n{archive}: 1 fault found\n"


def test_the_command_refuses_an_existing_file(used, archive, capsys):
    """One sentence on the error stream, and a status that is not 0."""
    before = archive.read_bytes()
    assert main(["--room", str(used), "backup", str(archive)]) == Refused.exit_status != 0
    assert capsys.readouterr().err == f"{archive} exists; name a new file\n"
    assert archive.read_bytes() == before


def test_the_check_command_refuses_a_missing_backup(tmp_path, capsys):
    """It says which."""
    assert main(["check", str(tmp_path / "none.zip")]) == Refused.exit_status
    assert capsys.readouterr().err == f"{tmp_path / 'none.zip'} does not exist; name a backup\n"


# -- repair --------------------------------------------------------------------------------------------------------


def entries(path):
    return [each["id"] for each in json.loads(path.read_text())["records"].values()]


def shifted(content):
    """Cut off within the third record."""
    return content[: content.rindex(b'"kind"')]


DAMAGE = {
    "truncated": (shifted, 2),
    "with a binary tail": (lambda content: content + bytes(range(256)), 3),
    "with zeroes at its end": (lambda content: content[:-40] + b"\0" * 40, 2),
    "with a binary head": (lambda content: b"\0\xff\xfe\x80" + content, 3),
    "UTF-16": (lambda content: content.decode().encode("utf-16"), 3),
    "UTF-16, big end first": (lambda content: b"\xfe\xff" + content.decode().encode("utf-16-be"), 3),
    "doubled": (lambda content: content + content, 3),
    "half of it twice": (lambda content: shifted(content) + content, 3),
    "without its head": (lambda content: content[content.index(b'"1"') :], 3),
    "without its records table": (lambda content: content.replace(b'"records"', b'"_default"'), 3),
    "merged with conflict marks": (lambda content: b"<<<<<<< mine\n" + content + b"=======\n>>>>>>> theirs\n", 3),
}


@pytest.fixture
def three(folder, room):
    """Three records in the sheet of today: the sheet's path and the ids."""
    made = [record(room, at=f"2026-03-04 0{hour}:00", text="8.1 pale corner").id for hour in (5, 6, 7)]
    return folder / SHEET, made


@pytest.mark.parametrize(("damage", "readable"), DAMAGE.values(), ids=DAMAGE)
def test_readable_records_of_a_damaged_sheet_come_back(folder, three, damage, readable):
    """As they were, in a new sheet beside it; the original is not touched."""
    sheet, ids = three
    whole = RoomFolder(folder).ask(records_about)
    damaged = damage(sheet.read_bytes())
    sheet.write_bytes(damaged)
    (repaired,) = repair_sheets(folder)
    assert (repaired.sheet, repaired.records) == (sheet, readable)
    assert repaired.beside.parent == sheet.parent
    assert entries(repaired.beside) == ids[:readable]
    assert sheet.read_bytes() == damaged
    assert RoomFolder(folder).ask(records_about) == whole[:readable]


@pytest.mark.parametrize(("damage", "readable"), DAMAGE.values(), ids=DAMAGE)
def test_a_second_repair_writes_nothing_new(folder, three, damage, readable):
    """What could be read stands elsewhere already."""
    sheet, _ = three
    sheet.write_bytes(damage(sheet.read_bytes()))
    repair_sheets(folder)
    before = tree(folder)
    (again,) = repair_sheets(folder)
    assert (again.beside, again.records) == (None, readable)
    assert tree(folder) == before


@pytest.mark.parametrize("content", [b"", b"\n", b"\0" * 300, b"{", b"[]", b'{"records": []}', b"[" * 50_000])
def test_a_sheet_without_a_whole_record_is_left_alone(folder, three, content):
    """Nothing is written for it, and how much of it holds nothing is said."""
    sheet, _ = three
    sheet.write_bytes(content)
    (repaired,) = repair_sheets(folder)
    assert (repaired.beside, repaired.records) == (None, 0)
    assert repaired.lost == f"{len(content):,} of {len(content):,} bytes hold no whole record"
    assert {name for name in tree(folder) if name.startswith("sheets/")} == {SHEET}
    assert sheet.read_bytes() == content


def test_nothing_is_repaired_in_a_whole_room(folder, three):
    """No sheet is damaged, nothing is written."""
    before = tree(folder)
    assert repair_sheets(folder) == []
    assert tree(folder) == before


def test_two_damaged_sheets_of_one_content_come_back_once(folder, three):
    """A conflict copy that is damaged too adds no second record."""
    sheet, ids = three
    sheet.write_bytes(shifted(sheet.read_bytes()))
    sheet.with_name("conflict copy.json").write_bytes(sheet.read_bytes())
    repaired = repair_sheets(folder)
    assert [each.records for each in repaired] == [2, 2]
    assert [id for each in repaired if each.beside for id in entries(each.beside)] == ids[:2]


def test_a_repair_that_fails_leaves_no_half_sheet(folder, three, monkeypatch, capsys):
    """A full disk is told in one sentence, and the next repair brings the records back."""
    sheet, ids = three
    sheet.write_bytes(shifted(sheet.read_bytes()))
    before = tree(folder)
    with monkeypatch.context() as broken:
        broken.setattr(os, "fsync", fail(errno.ENOSPC))
        assert main(["--room", str(folder), "check", "--repair"]) == Refused.exit_status
    told = capsys.readouterr().err
    assert (len(told.splitlines()), os.strerror(errno.ENOSPC) in told) == (1, True)
    assert tree(folder) == before
    (repaired,) = repair_sheets(folder)
    assert entries(repaired.beside) == ids[:2]


def test_the_command_says_what_it_repaired(folder, three, capsys):
    """Which sheet, how many records, where to; the damaged sheet is still a fault."""
    sheet, _ = three
    sheet.write_bytes(shifted(sheet.read_bytes()))
    assert main(["--room", str(folder), "check", "--repair"]) == 1
    first = capsys.readouterr().out.splitlines()[0]
    beside = f"{SHEET.removesuffix('.json')}.repaired.json"
    assert first.startswith(f"{SHEET}: 2 records readable, written to {beside}; ")
    assert first.endswith("bytes hold no whole record")
    assert len(entries(folder / beside)) == 2


def test_a_check_without_repair_writes_nothing(folder, three):
    """It only looks."""
    sheet, _ = three
    sheet.write_bytes(shifted(sheet.read_bytes()))
    before = tree(folder)
    assert main(["--room", str(folder), "check"]) == 1
    assert tree(folder) == before


def test_recording_goes_on_beside_a_repaired_sheet(folder, three):
    """The next record neither touches the damaged nor the repaired sheet."""
    sheet, ids = three
    sheet.write_bytes(shifted(sheet.read_bytes()))
    (repaired,) = repair_sheets(folder)
    before = {path: path.read_bytes() for path in (sheet, repaired.beside)}
    made = record(RoomFolder(folder), at="2026-03-04 08:00")
    assert {path: path.read_bytes() for path in before} == before
    assert {each.id for each in RoomFolder(folder).ask(records_about)} == {*ids[:2], made.id}
