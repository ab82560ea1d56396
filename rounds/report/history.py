"""Records as plain values and as lines to print."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import msgspec

from rounds.core.account import record_line
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import Record
from rounds.core.recording import is_late_entry
from rounds.core.words import clock, day_name


def record_json(history: History, record: Record) -> dict[str, Any]:
    """A record as it stands in its sheet, with whether it is struck and whether it came late."""
    found: dict[str, Any] = msgspec.to_builtins(record)
    strike = history.strike_of(record.id)
    found["struck"] = {"by": strike.by, "reason": strike.reason, "id": strike.id} if strike else None
    found["late_entry"] = is_late_entry(record)
    return found


def history_text(room: Room, history: History, records: Iterable[Record]) -> str:
    """One record a line, by day; struck ones say so."""
    lines: list[str] = []
    day = None
    for record in records:
        local = room.calendar.local(record.at)
        if local.date() != day:
            day = local.date()
            lines += ["", f"{day_name(day)} {day.year}"] if lines else [f"{day_name(day)} {day.year}"]
        lines.append(f"  {clock(room.calendar, record.at)} {record_line(room, history, record)}")
        lines.append(f"        id {record.id}")
    return "\n".join(lines) + "\n" if lines else "Nothing is recorded there.\n"
