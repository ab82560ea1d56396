"""No damaged byte of a backup goes unnoticed."""

from __future__ import annotations

import zipfile

import pytest

from rounds.storage.backup import MANIFEST, check_backup
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
