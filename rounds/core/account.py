"""Who did what, when, in words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import POSTPONED, STRIKE, Record
from rounds.core.recording import is_late_entry
from rounds.core.units import show
from rounds.core.words import clock, day_name, moment, plain


def records_about(
    records: Iterable[Record], *, task: str | None = None, station: tuple[str, str] | None = None
) -> list[Record]:
    """The records of a task (or reading) or of a station (or whole system: station ""), oldest first."""

    def concerns(record: Record) -> bool:
        if task is not None:
            return record.task == task or any(value.reading == task for value in record.values)
        if station is not None:
            return record.system == station[0] and station[1] in ("", record.station or "")
        return True

    return sorted((record for record in records if concerns(record)), key=lambda record: record.key)


def record_line(room: Room, history: History, record: Record) -> str:
    """``TV  done: Empty the skimmer cup, 40 mL; wet foam (late entry, written 14:10)``"""
    what = title_of(room, record)
    parts = [f"{plain(record.by)} {plain(record.kind)}: {what}" if what else f"{plain(record.by)} {plain(record.kind)}"]
    if values := values_text(room, record):
        parts.append(values)
    for text in (record.note, record.reason):
        if text:
            parts.append(plain(text))
    if record.kind == POSTPONED and record.until is not None:
        parts.append(f"to {moment(room.calendar, record.until, record.at)}")
    line = "; ".join(parts)
    if record.kind == STRIKE and record.ref is not None and (target := history.get(record.ref)) is not None:
        line += f" (struck what {plain(target.by)} wrote for {_moment(room, target.at)})"
    if is_late_entry(record):
        line += f" (late entry, written {_moment(room, record.recorded)})"
    if (strike := history.strike_of(record.id)) is not None:
        line = f"STRUCK by {plain(strike.by)} ({plain(strike.reason)}): {line}"
    return line


def title_of(room: Room, record: Record) -> str:
    """What a record is about, in the room's words."""
    task = room.tasks.get(record.task or "")
    if task is not None:
        return plain(task.title)
    if record.task is not None:
        reading, instrument = room.readings.get(record.task), room.instruments.get(record.task)
        if instrument is not None:
            return plain(instrument.name)
        return plain(f"Test {reading.name}" if reading is not None else record.task)
    if record.system is None:
        return ""
    system = room.system.get(record.system)
    station = room.stations.get((record.system, record.station or ""))
    names = [system.name if system else record.system, station.name if station else record.station or ""]
    return plain(", ".join(name for name in names if name))


def values_text(room: Room, record: Record) -> str:
    """The values of a record as their readings are shown."""
    shown = []
    for value in record.values:
        reading = room.readings.get(value.reading)
        if reading is None or value.value is None:
            shown.append(plain(value.entered))
            continue
        name = "" if value.reading == record.task else f"{plain(reading.name)} "
        doubt = f" ({plain(value.flag)})" if value.flag else ""
        shown.append(f"{name}{value.bound or ''}{show(reading, value.value)}{doubt}")
    return ", ".join(shown)


def _moment(room: Room, at: datetime) -> str:
    local = room.calendar.local(at)
    return f"{day_name(local.date())} {clock(room.calendar, at)}"
