"""The folders that a first sheet brings with it are made to last as well."""

from __future__ import annotations

import errno
import os

import pytest

from tests.storage.test_failing_disk import Disk, broken_saves, rooms
from tests.storage.test_sheets import SHEET

__all__ = ["rooms"]


def test_a_new_sheets_folder_is_made_to_last_too(rooms):
    """Of the first record ever, also the folder in which ``sheets`` is made has to be synced."""
    room, _, made = rooms(0)
    with pytest.MonkeyPatch.context() as patch:
        disk = Disk(patch, room.folder)
        room.save(made)
    year = (room.folder / SHEET).parent
    assert {os.fspath(folder) for folder in (year, year.parent, year.parent.parent)} <= set(disk.synced)


def test_a_retry_syncs_the_folder_whose_sync_has_failed(rooms):
    """When the first try fails at syncing ``sheets`` after making the year, the second one syncs it."""
    for room, _, made, _, broken in broken_saves(rooms, 0, errno.EIO):
        sheets = os.fspath(room.folder / "sheets")
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, room.folder)
            room.save(made)
        assert sheets in broken.synced + disk.synced, broken.trace
