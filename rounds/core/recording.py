"""From what a keeper says to the record that is kept, with what has to be asked first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

import msgspec

from rounds.core.bands import Standing, moved, standing, with_retest
from rounds.core.due import interval_of
from rounds.core.entry import Entry, read_entry
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.items import DueItem
from rounds.core.model import Instrument, Reading, Room, Task
from rounds.core.plan import closed_before
from rounds.core.quantities import QUANTITIES
from rounds.core.record import (
    CHANGE_STEP,
    COULD_NOT,
    DONE,
    NOT_NEEDED,
    POSTPONED,
    READING,
    REFILL,
    Point,
    Record,
    Value,
)
from rounds.core.units import Seawater, show
from rounds.core.words import condition_words, day_name, length, moment, plain, quoted

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
    keepers: tuple[str, ...] = ()
    points: tuple[Point, ...] = ()
    questions: tuple[str, ...] = ()
    """To be answered before it is recorded."""
    standings: tuple[Standing, ...] = ()
    """Values that lie outside their band or moved too fast."""
    remarks: tuple[str, ...] = ()
    """What is worth knowing about how it was measured, or how it stands all the same."""


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
    """The task closed without being done; raises `Refused` for what ends in another way."""
    if task.source == "look":
        raise Refused("a look is asked for until the concern is closed; close the concern, with the reason")
    _not_to_put_back(task)
    if task.source == "stock":
        raise Refused("what is asked for about stock ends with a delivery or a count; record one, or postpone it")
    say_why(reason, "it is not needed")
    return msgspec.structs.replace(_closing(room, history, task, NOT_NEEDED, at, Entry()), reason=clean(reason))


def draft_could_not(task: Task, reason: str, at: datetime) -> Draft:
    """The task tried in vain: it stays open and shows the reason."""
    say_why(reason, "it could not be done")
    return _about(task, COULD_NOT, at, reason=clean(reason))


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
    say_what(text)
    return Draft(
        kind=kind, at=at, system=task.system, station=task.station or None, note=clean(text),
        words=condition_words(text),
    )  # fmt: skip


def draft_postponed(room: Room, task: Task, until: datetime, at: datetime, reason: str = "") -> Draft:
    """The task put off until a time after `at`; it stays as late as it is. Raises `Refused` for what is off normal."""
    _not_to_put_back(task)
    if until <= at:
        shown = moment(room.calendar, until, at)
        raise Refused(f"{shown} is not later than {moment(room.calendar, at, at)}; postpone to a later time")
    return _about(task, POSTPONED, at, until=until, reason=clean(reason))


def draft_postponed_all(room: Room, items: Sequence[DueItem], until: datetime, at: datetime, cause: str) -> list[Draft]:
    """Several items put off for one cause, which each record names as its reason.

    One that is past its grace stays overdue all the same; its draft says so among the remarks. Raises `Refused`
    without a cause, without items, and for what is off normal, which is extended instead.
    """
    say_why(cause, "they are postponed")
    if not items:
        raise Refused("nothing that could be postponed is due; name tasks, or look at rounds sheet")
    return [_postponed_together(room, item, until, at, cause) for item in items]


def _postponed_together(room: Room, item: DueItem, until: datetime, at: datetime, cause: str) -> Draft:
    if item.task.source == "put back":
        raise Refused(f"{item.task.id}: what is off normal is put back, or extended with a reason")
    draft = draft_postponed(room, item.task, until, at, cause)
    if item.fine_until is None or at <= item.fine_until:
        return draft
    fine = moment(room.calendar, item.fine_until, at)
    remark = f"it was fine until {fine} and stays overdue: postponing does not make it less late"
    return msgspec.structs.replace(draft, remarks=(remark,))


def draft_instrument_step(
    room: Room,
    reading: Reading,
    at: datetime,
    *,
    batch: str = "",
    old: str = "",
    new: str = "",
    note: str = "",
    seawater: Seawater | None = None,
) -> Draft:
    """A step of the instrument of `reading`, not of its water: a new kit batch, or without one a calibration.

    `old` and `new` are the same water or the same standard as it was read before and after the step; their
    difference is taken out of trends, and they do not count as a test of the reading. Raises `Refused` when
    one of them is missing, beyond the kit's limit, or the reading names no instrument to keep them under.
    """
    instrument = room.instruments.get(reading.instrument or "")
    what = f"new batch {clean(batch)}" if batch.strip() else "calibrated"
    draft = Draft(
        kind=CHANGE_STEP, at=at, system=reading.system, station=reading.station or None, task=reading.id,
        reason=what, note=clean(note), words=condition_words(note),
    )  # fmt: skip
    if instrument is not None:
        draft = msgspec.structs.replace(draft, system=instrument.system, station=None, task=instrument.id)
    if not old and not new:
        return draft
    if not (old and new):
        raise Refused("old and new stand side by side; give both --old and --new, or neither")
    if instrument is None:
        raise Refused(
            f"{reading.id} names no instrument to keep the difference under; "
            f'add a table under [[instruments]] and instrument = "…" to the reading'
        )
    read = [_side(room, reading, instrument, text, seawater) for text in (old, new)]
    questions = tuple(question for _, asked in read for question in asked)
    return msgspec.structs.replace(draft, values=tuple(value for value, _ in read), questions=questions)


def _side(
    room: Room, reading: Reading, instrument: Instrument, text: str, seawater: Seawater | None
) -> tuple[Value, tuple[str, ...]]:
    """One of the two values side by side, kept under the instrument."""
    entry = read_entry(text, [reading], salinity_unit=_salinity_unit(room, [reading]), seawater=seawater)
    if len(entry.values) != 1 or entry.note or entry.values[0].bound:
        raise Refused(f"{quoted(text)} is no value of {reading.name}; write a number, such as {_example(reading)}")
    return msgspec.structs.replace(entry.values[0], reading=instrument.id), entry.questions


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
        note=clean(draft.note),
        words=draft.words,
        reason=draft.reason,
        until=local(draft.until) if draft.until is not None else None,
        ref=draft.ref,
        keepers=draft.keepers,
        points=draft.points,
    )


def is_late_entry(record: Record) -> bool:
    """Whether it was written down well after it happened."""
    return record.recorded - record.at > LATE_ENTRY


def _read(room: Room, history: History, task: Task, text: str, at: datetime, seawater: Seawater | None) -> Entry:
    """The entry line of a task."""
    takes = [room.readings[id] for id in task.takes]
    return read_entry(
        text,
        takes,
        salinity_unit=_salinity_unit(room, takes),
        temperature=_temperature(room, history, task.system, at),
        seawater=seawater,
    )


def _closing(room: Room, history: History, task: Task, kind: str, at: datetime, entry: Entry) -> Draft:
    questions = list(entry.questions)
    if task.source != "refill" and (near := closed_before(room, history, task, at)) is not None:
        said = "done" if near.kind != NOT_NEEDED else "said not to be needed"
        when = f"{length(at - near.at)} ago" if near.at <= at else f"{length(near.at - at)} later"
        questions.append(f"{task.title} was {said} {when} by {plain(near.by)}; again?")
    return msgspec.structs.replace(
        _about(task, kind, at),
        values=entry.values,
        note=entry.note,
        words=entry.words,
        questions=tuple(questions),
        standings=tuple(_standings(room, history, task, entry, at)),
        remarks=tuple(_remarks(room, entry, at)),
    )


def _standings(room: Room, history: History, task: Task, entry: Entry, at: datetime) -> Iterator[Standing]:
    """Each value beside its limits and beside the values before it."""
    for value in entry.values:
        reading = room.readings[value.reading]
        interval = interval_of(room, room.tasks.get(reading.id, task), at)
        for found in (
            standing(reading, value, (last for _, last in _before(history, reading, at, last_of_each=True))),
            moved(reading, value, at, _before(history, reading, at)),
        ):
            if found is not None:
                yield with_retest(found, reading, at, interval)


def _before(
    history: History, reading: Reading, at: datetime, *, last_of_each: bool = False
) -> Iterator[tuple[datetime, Value]]:
    """The values of a reading up to `at`, the latest first; of a repeated test only the last where it is asked."""
    for record in history.valued(reading.id).latest(at):
        values = [value for value in record.values if value.reading == reading.id and value.value is not None]
        for value in reversed(values[-1:] if last_of_each else values):
            yield record.at, value


def _remarks(room: Room, entry: Entry, at: datetime) -> Iterator[str]:
    """What is past its day of what the values were taken with."""
    day = room.calendar.local(at).date()
    for id in dict.fromkeys(room.readings[value.reading].instrument for value in entry.values):
        instrument = room.instruments.get(id or "")
        if instrument is not None and instrument.expires is not None and instrument.expires < day:
            batch = f" (batch {plain(instrument.batch)})" if instrument.batch else ""
            yield (
                f"the {plain(instrument.name)}{batch} was good until {day_name(instrument.expires)} "
                f"{instrument.expires.year}; open a new one, or correct expires in its table"
            )


def _about(task: Task, kind: str, at: datetime, *, reason: str = "", until: datetime | None = None) -> Draft:
    return Draft(
        kind=kind, at=at, system=task.system, station=task.station or None, task=task.id, reason=reason, until=until,
        ref=task.ref,
    )  # fmt: skip


def _not_to_put_back(task: Task) -> None:
    if task.source == "put back":
        raise Refused("what is off normal is put back, or extended with a reason")


def say_why(reason: str, what: str = "") -> None:
    """Raise `Refused` without a reason; `what` needs it, as "it is not needed"."""
    if not reason.strip():
        raise Refused(f"say why{f' {what}' if what else ''}: a few words are enough")


def say_what(text: str) -> None:
    """Raise `Refused` without a word of what was seen."""
    if not text.strip():
        raise Refused("write what was seen: a few words are enough")


def clean(text: str) -> str:
    """Text that JSON can hold, otherwise as it was typed."""
    return text.encode("utf-8", "replace").decode("utf-8").strip()


def _salinity_unit(room: Room, takes: list[Reading]) -> str:
    """Which specific gravity ``SG`` alone means: that of the refractometer, else the room's."""
    for reading in takes:
        instrument = room.instruments.get(reading.instrument or "")
        if instrument is not None and instrument.reference is not None:
            return instrument.reference
    return room.units.get("salinity", "PSU")


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
