"""A room on disk that can be opened again and again."""

from __future__ import annotations

import pytest

from rounds.storage.room import RoomFolder
from tests.storage.test_loader import REEF, ROOM
from tests.support import write_room


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The room's folder; the device is ``tablet`` and it is noon on 4 March 2026."""
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00")
    return write_room(tmp_path / "my room", ROOM, reef=REEF)


@pytest.fixture
def room(folder):
    return RoomFolder(folder)
