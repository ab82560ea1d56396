"""Putting the demo room's records on disk as day sheets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from pathlib import Path

import msgspec

from rounds.core.model import Room
from rounds.core.record import Record
from rounds.storage.atomic import replace_file
from rounds.storage.sheets import TABLE, sheet_path


def write_sheets(into: Path, room: Room, records: Iterable[Record]) -> None:
    """One file for each device and round day of ``recorded``, in the order in which they were written down."""
    sheets: dict[tuple[date, str], list[Record]] = defaultdict(list)
    for record in records:
        sheets[room.calendar.round_day(record.recorded), record.device].append(record)
    for (day, device), found in sheets.items():
        path = sheet_path(into, day, device)
        found.sort(key=lambda record: (record.recorded, record.id))
        content = msgspec.json.encode({TABLE: {str(number): record for number, record in enumerate(found, 1)}})
        replace_file(path, msgspec.json.format(content, indent=1) + b"\n", durable=False)
