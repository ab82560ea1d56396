"""The demo room written for a moment, and read back as the program reads it."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import Record
from rounds.demo import DEMO_ZONE, write_demo
from rounds.storage.room_files import load_room
from rounds.storage.sheets import read_sheet, sheet_files

ZONE = ZoneInfo(DEMO_ZONE)
DAY = timedelta(days=1)


class DemoRoom:
    """Its files, sheets and history at the moment when it is opened."""

    def __init__(self, now: datetime) -> None:
        with TemporaryDirectory() as folder:
            into = Path(folder) / "room"
            write_demo(into, now)
            self.head = (into / "room.toml").read_text(encoding="utf-8")
            self.room: Room = load_room(into)
            self.sheets = {path.relative_to(into): read_sheet(path) for path, _ in sheet_files(into)}
        self.now = now
        self.today = self.room.calendar.round_day(now)
        self.records = sorted((r for sheet in self.sheets.values() for r in sheet.records), key=lambda r: r.key)
        self.history = History(self.records)
        self._days = {r.id: (self.room.calendar.round_day(r.at) - self.today).days for r in self.records}

    def at(self, number: int, clock: str) -> datetime:
        """A wall time on a day counted from the opening day."""
        return self.room.calendar.wall(self.today + number * DAY, time.fromisoformat(clock))

    def day(self, record: Record) -> int:
        """Days from the opening day."""
        return self._days[record.id]


def moment(text: str) -> datetime:
    """A wall time of the room's zone."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)
