"""From what a keeper says to the record that is kept, with what has to be asked first."""

from __future__ import annotations

from datetime import datetime, timedelta

import msgspec

from rounds.core.entry import Entry, Standing, read_entry, standing
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Reading, Room, Task
from rounds.core.plan import closed_before
from rounds.core.record import COULD_NOT, DONE, NOT_NEEDED, POSTPONED, READING, REFILL, Record, Value
from rounds.core.units import QUANTITIES, Seawater, show
from rounds.core.words import condition_words, length, moment, plain

LATE_ENTRY = timedelta(minutes=15)
"""Written down so long after it happened, an entry shows as late (DOE-STD-1035-93, late entries)."""


class Draft(msgspec.Struct, frozen=True, kw_only=True):
    """A record before it has an id, a device and a time of writing."""

    kind: str
    at: datetime
    system: str | None = None
    station: str | None = None
    task: str | None = None
    values: tuple[Value, ...] = ()
    note: str = ""
    words: tuple[str, ...] = ()
    reason: str = ""
    until: datetime | None = None
    ref: str | None = None
    questions: tuple[str, ...] = ()
    """To be answered before it is recorded."""
    standings: tuple[Standing, ...] = ()
    """Values that lie outside their band."""


def draft_closing(
    room: Room, history: History, task: Task, text: str, at: datetime, *, seawater: Seawater | None = None
) -> Draft:
    """The task done at `at`, with the entry line `text`: a done, a reading or a refill.

    Raises `Refused` for a value that cannot be, and for a reading without its value.
    """
    takes = [room.readings[id] for id in task.takes]
    entry = _read(room, history, task, text, at, seawater)
    if task.by_value and not entry.values:
        wanted = takes[0]
        raise Refused(f"{task.title} needs a value, such as {_example(wanted)}; type it, or say why it is not needed")
    values = entry.values
    if task.source == "refill" and not values:
        values = (_full(room, takes[0], task),)
    kind = READING if task.by_value else REFILL if task.source == "refill" else DONE
    return _closing(room, history, task, kind, at, msgspec.structs.replace(entry, values=values))


def draft_not_needed(room: Room, history: History, task: Task, reason: str, at: datetime) -> Draft:
    """The task closed without being done."""
    _say_why(reason, "it is not needed")
    return msgspec.structs.replace(_closing(room, history, task, NOT_NEEDED, at, Entry()), reason=_clean(reason))


def draft_could_not(task: Task, reason: str, at: datetime) -> Draft:
    """The task tried in vain: it stays open and shows the reason."""
    _say_why(reason, "it could not be done")
    return _about(task, COULD_NOT, at, reason=_clean(reason))


def draft_amended(
    room: Room, history: History, task: Task, record: Record, text: str, *, seawater: Seawater | None = None
) -> Draft:
    """What a record should have said: the same kind, time and task with another entry line."""
    entry = _read(room, history, task, text, record.at, seawater)
    if task.by_value and not entry.values:
        raise Refused(f"{task.title} needs a value, such as {_example(room.readings[task.takes[0]])}; type it")
    return msgspec.structs.replace(
        _about(task, record.kind, record.at, reason=record.reason, until=record.until),
        values=entry.values,
        note=entry.note,
        words=entry.words,
        questions=entry.questions,
    )


def draft_note(kind: str, task: Task, text: str, at: datetime) -> Draft:
    """An observation or a concern at the station of the task."""
    if not text.strip():
        raise Refused("write what was seen: a few words are enough")
    return Draft(
        kind=kind, at=at, system=task.system, station=task.station or None, note=_clean(text),
        words=condition_words(text),
    )  # fmt: skip


def draft_postponed(room: Room, task: Task, until: datetime, at: datetime, reason: str = "") -> Draft:
    """The task put off until a time after `at`; it stays as late as it is."""
    if until <= at:
        shown = moment(room.calendar, until, at)
        raise Refused(f"{shown} is not later than {moment(room.calendar, at, at)}; postpone to a later time")
    return _about(task, POSTPONED, at, until=until, reason=_clean(reason))


def finish(draft: Draft, *, id: str, by: str, device: str, recorded: datetime, room: Room) -> Record:
    """The record, its times with the room's offset."""
    local = room.calendar.local
    return Record(
        id=id,
        kind=draft.kind,
        at=local(draft.at),
        recorded=local(recorded),
        by=by,
        device=device,
        system=draft.system,
        station=draft.station,
        task=draft.task,
        values=draft.values,
        note=_clean(draft.note),
        words=draft.words,
        reason=draft.reason,
        until=local(draft.until) if draft.until is not None else None,
        ref=draft.ref,
    )


def is_late_entry(record: Record) -> bool:
    """Whether it was written down well after it happened."""
    return record.recorded - record.at > LATE_ENTRY


def _read(room: Room, history: History, task: Task, text: str, at: datetime, seawater: Seawater | None) -> Entry:
    """The entry line of a task."""
    return read_entry(
        text,
        [room.readings[id] for id in task.takes],
        salinity_unit=room.units.get("salinity", "PSU"),
        temperature=_temperature(room, history, task.system, at),
        seawater=seawater,
    )


def _closing(room: Room, history: History, task: Task, kind: str, at: datetime, entry: Entry) -> Draft:
    questions = list(entry.questions)
    if task.source != "refill" and (near := closed_before(room, history, task, at)) is not None:
        said = "done" if near.kind != NOT_NEEDED else "said not to be needed"
        when = f"{length(at - near.at)} ago" if near.at <= at else f"{length(near.at - at)} later"
        questions.append(f"{task.title} was {said} {when} by {plain(near.by)}; again?")
    found = [standing(room.readings[value.reading], value) for value in entry.values]
    return msgspec.structs.replace(
        _about(task, kind, at),
        values=entry.values,
        note=entry.note,
        words=entry.words,
        questions=tuple(questions),
        standings=tuple(each for each in found if each is not None),
    )


def _about(task: Task, kind: str, at: datetime, *, reason: str = "", until: datetime | None = None) -> Draft:
    return Draft(
        kind=kind, at=at, system=task.system, station=task.station or None, task=task.id, reason=reason, until=until
    )


def _say_why(reason: str, what: str) -> None:
    if not reason.strip():
        raise Refused(f"say why {what}: a few words are enough")


def _clean(text: str) -> str:
    """Text that JSON can hold, otherwise as it was typed."""
    return text.encode("utf-8", "replace").decode("utf-8").strip()


def _example(reading: Reading) -> str:
    if reading.target is not None:
        return show(reading, reading.target.canonical)
    given = [limit.canonical for limit in (reading.low, reading.high) if limit is not None]
    return show(reading, sum(given) / len(given)) if given else f"12 {reading.unit}".strip()


def _full(room: Room, level: Reading, task: Task) -> Value:
    """The level after a refill that said none: full, and for waste empty."""
    tank = room.reservoirs[task.id.removesuffix("-refill")]
    litres = 0.0 if tank.kind == "waste" else tank.capacity
    return Value(reading=level.id, entered=f"{litres:g} L", value=litres, unit=QUANTITIES["level"].canonical)


def _temperature(room: Room, history: History, system: str, at: datetime) -> float | None:
    """The last temperature of the system in °C that was known at `at`."""
    found = [
        record
        for reading in room.system[system].readings
        if reading.quantity == "temperature" and (record := history.valued(reading.id).last(at)) is not None
    ]
    values = [
        value.value
        for record in sorted(found, key=lambda record: record.key)
        for value in record.values
        if value.unit == "°C" and value.bound is None
    ]
    return values[-1] if values else None
