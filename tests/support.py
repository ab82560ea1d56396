"""Rooms and records for the tests: a room is written as its keepers would, then read by the program."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from datetime import UTC, datetime, time
from pathlib import Path
from tempfile import TemporaryDirectory
from zoneinfo import ZoneInfo

from rounds.core.history import History
from rounds.core.items import OPEN_STATES, DueItem
from rounds.core.model import Room, Task
from rounds.core.plan import due_items
from rounds.core.record import COULD_NOT, DONE, NOT_NEEDED, POSTPONED, READING, STRIKE, Record, Value
from rounds.storage.room_files import load_room

DUBLIN = "Europe/Dublin"

TASK = "reef/cup"
"""The one task of `Bench`."""

SHIFTS = """
[[shifts]]
name = "morning"
begins = "07:00"
ends = "13:00"

[[shifts]]
name = "night"
begins = "22:00"
ends = "04:00"
"""

_numbers = itertools.count(1)


def head(
    extra: str = "", *, zone: str = DUBLIN, day_begins: str = "04:00", began: str = "2026-01-05", top: str = ""
) -> str:
    """The text of a room.toml; `top` are keys of the room itself, `extra` tables after them."""
    return f"""name = "Test room"
timezone = "{zone}"
day_begins = "{day_begins}"
began = {began}
{top}
{extra}
"""


def write_room(folder: Path, toml_room: str, **systems: str) -> Path:
    """The room's files in `folder`; the name of each system is its id (``_`` for a hyphen)."""
    (folder / "systems").mkdir(parents=True, exist_ok=True)
    (folder / "room.toml").write_text(toml_room, encoding="utf-8")
    for id, text in systems.items():
        (folder / "systems" / f"{id.replace('_', '-')}.toml").write_text(text, encoding="utf-8")
    return folder


def room_from(toml_room: str, **systems: str) -> Room:
    """The room of these texts, read by the program."""
    with TemporaryDirectory() as folder:
        return load_room(write_room(Path(folder), toml_room, **systems))


def instant(text: str, zone: str = DUBLIN) -> datetime:
    """ISO 8601 text, local to the zone unless it has an offset, with its offset."""
    at = datetime.fromisoformat(text)
    return at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))


def clock(text: str) -> time:
    return time.fromisoformat(text)


def record(
    kind: str, task: str | None, at: str | datetime, by: str = "TV", *, zone: str = DUBLIN, **fields: object
) -> Record:
    """A record, written down when it happened unless `recorded` says otherwise."""
    happened = instant(at, zone) if isinstance(at, str) else at
    written = fields.pop("recorded", happened)
    written = instant(written, zone) if isinstance(written, str) else written
    until = fields.pop("until", None)
    until = instant(until, zone) if isinstance(until, str) else until
    id = fields.pop("id", None) or f"{next(_numbers):012}"
    system = fields.pop("system", task.partition("/")[0] if task else None)
    return Record(
        id=id,
        kind=kind,
        at=happened,
        recorded=written,
        by=by,
        device="test",
        system=system,
        task=task,
        until=until,
        **fields,
    )


def done(task: str, at: str | datetime, by: str = "TV", **fields: object) -> Record:
    return record(DONE, task, at, by, **fields)


def not_needed(task: str, at: str | datetime, by: str = "TV", **fields: object) -> Record:
    return record(NOT_NEEDED, task, at, by, **fields)


def could_not(task: str, at: str | datetime, reason: str = "pump is out", by: str = "TV", **fields: object) -> Record:
    return record(COULD_NOT, task, at, by, reason=reason, **fields)


def postponed(task: str, at: str | datetime, until: str | datetime, by: str = "TV", **fields: object) -> Record:
    return record(POSTPONED, task, at, by, until=until, **fields)


def strike(target: Record, at: str | datetime, by: str = "TV", **fields: object) -> Record:
    return record(STRIKE, target.task, at, by, ref=target.id, reason="wrong tank", **fields)


def measured(
    reading: str, at: str | datetime, value: float = 8.1, by: str = "TV", *, kind: str = READING, **fields: object
) -> Record:
    values = (Value(reading=reading, entered=f"{value:g}", value=value, unit="meq/L"),)
    return record(kind, fields.pop("task", reading), at, by, values=values, **fields)


class Bench:
    """A room with the one task ``reef/cup`` at the station ``sump``, in Europe/Dublin unless said otherwise."""

    def __init__(
        self, keys: str, *, room: str = SHIFTS, zone: str = DUBLIN, day_begins: str = "04:00", began: str = "2026-01-05"
    ):
        self.zone = zone
        self.room: Room = room_from(
            head(room, zone=zone, day_begins=day_begins, began=began),
            reef=f"""name = "Reef"
[[stations]]
id = "sump"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
{keys}
""",
        )
        self.task: Task = self.room.tasks[TASK]

    def at(self, text: str) -> datetime:
        return instant(text, self.zone)

    def items(self, now: str, records: Iterable[Record] = ()) -> list[DueItem]:
        """All items at `now`, those after the round too."""
        return due_items(self.room, History(records), self.at(now))

    def round(self, now: str, records: Iterable[Record] = ()) -> list[DueItem]:
        return [item for item in self.items(now, records) if item.in_round]

    def open(self, now: str, records: Iterable[Record] = ()) -> DueItem:
        """The one open item of the task."""
        found = [item for item in self.items(now, records) if item.state in OPEN_STATES]
        assert len(found) == 1, [self.shown(item) for item in found]
        return found[0]

    def none_open(self, now: str, records: Iterable[Record] = ()) -> bool:
        return not any(item.state in OPEN_STATES for item in self.items(now, records))

    def shown(self, item: DueItem) -> tuple[str, str | None]:
        """State and due time on the wall."""
        return item.state, self.wall(item.due_at)

    def wall(self, at: datetime | None) -> str | None:
        """Local time to the minute; None stays None."""
        return at.astimezone(ZoneInfo(self.zone)).strftime("%Y-%m-%d %H:%M") if at is not None else None


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)
