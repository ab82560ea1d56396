"""No damaged byte of a backup goes unnoticed."""

from __future__ import annotations

import zipfile

import pytest

from rounds.storage.backup import _UNREADABLE, MANIFEST, check_backup, write_backup
from tests.storage.test_backup import archive, used
from tests.storage.test_sheets import SHEET

__all__ = ["archive", "used"]


@pytest.mark.parametrize("name", [SHEET, MANIFEST])
def test_any_changed_byte_in_a_backup_is_told_and_raises_nothing(archive, name):
    """Flipped where the compressed content stands, a byte at a time; what reads the same is no fault."""
    with zipfile.ZipFile(archive) as whole:
        info = whole.getinfo(name)
        original = whole.read(name)
    content = archive.read_bytes()
    begin = info.header_offset + 30 + len(name)
    for place in range(begin, begin + info.compress_size, 3):
        archive.write_bytes(content[:place] + bytes([content[place] ^ 0x55]) + content[place + 1 :])
        faults = check_backup(archive)
        if not faults:  # bits that fill the last byte up mean nothing: then the content must be the same
            with zipfile.ZipFile(archive) as damaged:
                assert damaged.read(name) == original, place


def test_what_counts_as_damage_is_what_damage_raises(tmp_path):
    """Every byte of a backup with a name beyond ASCII set to others: nothing else is raised, and each of it is."""
    room = tmp_path / "room"
    (room / "sheets" / "2026").mkdir(parents=True)
    (room / "room.toml").write_text('name = "Reef"\n' * 30, encoding="utf-8")
    (room / "sheets" / "2026" / "später.json").write_text('{"records": {}}' * 20, encoding="utf-8")
    write_backup(room, tmp_path / "whole.zip")
    content = (tmp_path / "whole.zip").read_bytes()
    damaged = tmp_path / "damaged.zip"
    raised = set()
    for place, byte in enumerate(content):
        for other in (0, 1, 255, byte ^ 0x55):
            damaged.write_bytes(content[:place] + bytes([other]) + content[place + 1 :])
            try:
                with zipfile.ZipFile(damaged) as archive:
                    for name in archive.namelist():
                        archive.read(name)
            except Exception as error:  # whatever it is: that is what is asked here
                raised.add(type(error))
    assert {error for error in raised if not issubclass(error, _UNREADABLE)} == set()
    assert raised == set(_UNREADABLE)
