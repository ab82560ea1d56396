"""What the readings ask of the room in threads: the past of a system, read once and never in the way of the keys."""

from __future__ import annotations

import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from rounds.storage.room import RoomFolder
from rounds.ui.trends import Trends
from tests.ui.app import at, record


@pytest.fixture
def room(kept: Path) -> RoomFolder:
    record(kept, "reading", "nursery/alkalinity", "2026-11-20T08:40", values={"nursery/alkalinity": 2.85})
    return RoomFolder(kept)


def in_thread(act: Callable[[], object]) -> threading.Thread:
    thread = threading.Thread(target=act, daemon=True)
    thread.start()
    return thread


def test_what_changed_is_told_while_the_past_is_read(room: RoomFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """The keys' thread asks what changed and another reads: neither waits for the other."""
    reading, go_on = threading.Event(), threading.Event()
    real = room.standing_of

    def slow(system: str) -> object:
        reading.set()
        assert go_on.wait(20)
        return real(system)

    monkeypatch.setattr(room, "standing_of", slow)
    trends = Trends(room)
    trends.changed()
    worker = in_thread(lambda: trends.rows("nursery", at("2026-11-25T09:30")))
    try:
        assert reading.wait(10)
        record(room.folder, "reading", "nursery/alkalinity", "2026-11-25T08:40", values={"nursery/alkalinity": 2.7})
        room.refresh_sheets()
        keys = in_thread(trends.changed)
        keys.join(5)
        assert not keys.is_alive()
    finally:
        go_on.set()
        worker.join(20)


def test_what_was_read_before_a_record_is_not_kept(room: RoomFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """A record comes in between reading and handing over: the next question reads again."""
    now, alkalinity = at("2026-11-25T09:30"), "nursery/alkalinity"
    trends = Trends(room)
    trends.changed()
    real = room.standing_of

    def overtaken(system: str) -> object:
        found = real(system)
        monkeypatch.setattr(room, "standing_of", real)
        record(room.folder, "reading", alkalinity, "2026-11-25T08:40", values={alkalinity: 2.7})
        room.refresh_sheets()
        trends.changed()
        return found

    monkeypatch.setattr(room, "standing_of", overtaken)
    trends.drawing(room.model.readings[alkalinity], None, "30", now)
    drawn = trends.drawing(room.model.readings[alkalinity], None, "30", now)
    assert drawn.plot.marks[-1].at == at("2026-11-25T08:40")


def test_a_value_of_a_clock_ahead_is_new_when_its_time_comes(room: RoomFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing was recorded meanwhile."""
    trends = Trends(room)
    record(room.folder, "reading", "nursery/alkalinity", "2026-11-25T09:31", values={"nursery/alkalinity": 2.7})
    room.refresh_sheets()
    trends.changed()
    assert trends.changed() == []
    monkeypatch.setattr(room.clock, "now", lambda: at("2026-11-25T09:31"))
    assert "nursery" in trends.changed()
    assert trends.changed() == []


def test_only_systems_of_which_something_is_new_have_changed(room: RoomFolder) -> None:
    trends = Trends(room)
    assert set(trends.changed()) == {system.id for system in room.model.systems if system.readings}
    assert trends.changed() == []
    record(room.folder, "done", "nursery/feed", "2026-11-25T08:00")
    room.refresh_sheets()
    assert trends.changed() == ["nursery"]
