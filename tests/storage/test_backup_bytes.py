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
    """Flipped where the compressed content stands, a byte at a time."""
    with zipfile.ZipFile(archive) as whole:
        info = whole.getinfo(name)
    content = archive.read_bytes()
    begin = info.header_offset + 30 + len(name)
    for place in range(begin, begin + info.compress_size, 3):
        archive.write_bytes(content[:place] + bytes([content[place] ^ 0x55]) + content[place + 1 :])
        assert check_backup(archive) != [], place
