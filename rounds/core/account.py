"""Who did what, when, in words."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from rounds.core.batches import COMBINED, WAYS
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.protocols import step_id
from rounds.core.record import (
    BACK_TO_NORMAL,
    BATCH,
    BATCH_CLOSED,
    BATCH_KINDS,
    CONCERN,
    CONCERN_UPDATE,
    COVER,
    NOTE,
    OFF_NORMAL,
    POSTPONED,
    STOCK,
    STRIKE,
    Record,
)
from rounds.core.recording import is_late_entry
from rounds.core.stock import ORDERED
from rounds.core.units import show
from rounds.core.walk import place_name
from rounds.core.words import day_name, full_moment, moment, plain, plural


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


_UNTIL = {POSTPONED: "to", OFF_NORMAL: "put back by", CONCERN: "look again", CONCERN_UPDATE: "look again"}


def record_line(room: Room, history: History, record: Record) -> str:
    """``TV  done: Empty the skimmer cup, 40 mL; wet foam (late entry, written 14:10)``"""
    what = title_of(room, record, history)
    parts = [f"{plain(record.by)} {plain(record.kind)}: {what}" if what else f"{plain(record.by)} {plain(record.kind)}"]
    if values := values_text(room, record):
        parts.append(values)
    for text in (record.note, record.reason):
        if text:
            parts.append(plain(text))
    if asked := sum(1 for point in record.points if point.answer):
        parts.append(plural(asked, "question"))
    if record.until is not None:
        parts.append(_until_text(room, record, record.until))
    line = "; ".join(parts)
    if record.kind == STRIKE and record.ref is not None and (target := history.get(record.ref)) is not None:
        line += f" (struck what {plain(target.by)} wrote for {full_moment(room.calendar, target.at, record.at)})"
    if is_late_entry(record):
        line += f" (late entry, written {full_moment(room.calendar, record.recorded, record.at)})"
    if (strike := history.strike_of(record.id)) is not None:
        line = f"STRUCK by {plain(strike.by)} ({plain(strike.reason)}): {line}"
    return line


def _until_text(room: Room, record: Record, until: datetime) -> str:
    if record.kind == STOCK:
        what = "expected" if ORDERED in record.words else "good until"
        return f"{what} {day_name(room.calendar.round_day(until), room.calendar.round_day(record.at))}"
    return f"{_UNTIL.get(record.kind, 'until')} {moment(room.calendar, until, record.at)}"


def title_of(room: Room, record: Record, history: History | None = None) -> str:
    """What a record is about, in the room's words; of a batch or a protocol's step only with the `history` of it."""
    if record.kind in BATCH_KINDS or (record.kind == NOTE and record.ref is not None):
        return _of_batch(room, record, history)
    task = room.tasks.get(record.task or "")
    if task is not None:
        return plain(task.title)
    if record.task is not None and (named := _named(room, record, history)):
        return plain(named)
    if record.task is not None:
        reading, instrument = room.readings.get(record.task), room.instruments.get(record.task)
        if instrument is not None:
            return plain(instrument.name)
        return plain(f"Test {reading.name}" if reading is not None else record.task)
    left = history.get(record.ref or "") if record.kind == BACK_TO_NORMAL and history is not None else None
    if left is not None and left.note:
        return f"{plain(left.note)}, {place_name(room, record.system, record.station)}"
    if record.kind == COVER and len(record.keepers) == 2:
        return plain(f"{record.keepers[1]} for {record.keepers[0]}")
    return place_name(room, record.system, record.station)


def _of_batch(room: Room, record: Record, history: History | None) -> str:
    """``Acropora frags died, Quarantine, Tank Q-A``; only the place where nothing is known of the batch."""
    place = place_name(room, record.system, record.station)
    batch = history.get(record.ref or "") if history is not None else None
    if batch is None or batch.kind != BATCH:
        return place
    if record.kind == BATCH:
        return f"split from {plain(batch.note)}, {place}"
    how = next((word for word in record.words if word in (*WAYS, COMBINED)), "") if record.kind == BATCH_CLOSED else ""
    into = history.get(record.task or "") if history is not None else None
    other = f" with {plain(into.note)}" if into is not None else ""
    return f"{plain(batch.note)}{f' {how}' if how else ''}{other}, {place}"


def _named(room: Room, record: Record, history: History | None) -> str:
    """What a record is about that is no task: equipment, a tank, a protocol or one of its steps."""
    id = record.task or ""
    protocol = room.protocol.get(id)
    if protocol is not None:
        return f"{protocol.name}, {place_name(room, record.system, record.station)}"
    if (stock := room.stock.get(id)) is not None:
        return f"{stock.name} {' '.join(record.words)}"
    thing = room.equipment.get(id) or room.reservoirs.get(id)
    if thing is not None:
        return f"{thing.name} {' '.join(record.words)}".strip() if record.kind == OFF_NORMAL else thing.name
    tank = room.tanks.get(id)
    if tank is not None:
        return f"{tank.name} {' '.join(record.words)}".strip()
    call = history.get(record.ref or "") if history is not None else None
    if call is not None and call.kind == BATCH:
        return f"{call.note} after their isolation, {place_name(room, record.system, record.station)}"
    called = room.protocol.get(call.task or "") if call is not None else None
    if call is None or called is None:
        return ""
    return next((step.title for number, step in enumerate(called.steps, 1) if step_id(call, number) == id), "")


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
