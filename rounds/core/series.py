"""The values of one reading over time and the steps between them, out of the records that bear on it."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import datetime

import msgspec

from rounds.core.entry import IMPLAUSIBLE
from rounds.core.model import Reading, Room
from rounds.core.named import find_named
from rounds.core.record import CHANGE_STEP, REFILL, STRIKE, Record
from rounds.core.waters import Valves

DILUTED = frozenset(("alkalinity", "calcium", "magnesium", "potassium"))
"""What fresh water thins out and evaporation thickens, so that it is judged at one salinity."""

DOSED = DILUTED | {"pH", "nitrate", "phosphate"}
"""What a change of dosing or limewater can move."""

OF_WATER = DOSED | {
    "temperature", "salinity", "pH total", "nitrite", "ammonia", "redox", "oxygen", "oxygen saturation",
    "conductivity", "density",
}  # fmt: skip
"""What belongs to one water, and is another in a tank that is valved off."""

_DOSING = ("dosing", "limewater")


class Point(msgspec.Struct, frozen=True, kw_only=True):
    """One value of a series."""

    id: str
    """Of its record."""
    at: datetime
    value: float
    """In the canonical unit, as measured; for a bound, the kit's limit."""
    bound: str | None
    """``<`` or ``>``: not a number."""
    doubt: str | None
    """Why it was doubted when it was written down."""

    @property
    def usable(self) -> bool:
        """Whether it can be calculated with: no bound, and not said to be wrong; an unusual value was confirmed."""
        return self.bound is None and self.doubt in (None, IMPLAUSIBLE)


class Step(msgspec.Struct, frozen=True):
    """Something that parts the values before it from those after it."""

    at: datetime
    offset: float | None
    """Canonical: how much more the instrument shows since then, so that older values are shifted by it.
    None: not known, or a step of the water itself; trends begin anew."""
    what: str
    """In words, as recorded."""
    instrument: bool = False
    """Whether it is another batch or a calibration of the instrument, and not of the water."""


def find_reading(room: Room, name: str) -> Reading:
    """The reading of a full id, or of an id that only one system has; raise `Refused` with a hint."""
    return find_named(room.readings, name, "reading", f"there are: {', '.join(room.readings) or 'none yet'}")


def bearing_on(room: Room, reading: Reading) -> frozenset[str]:
    """Ids of everything whose records bear on the trend of a reading.

    Itself and its instrument; the salinity of its system and that one's instruments, where it is diluted;
    the dosing and the limewater of its system, where it is dosed; the tanks of its system.
    """
    found = {reading.id, reading.instrument, *(tank.id for tank in room.system[reading.system].tanks)}
    found.update(each for salinity in salinities(room, reading) for each in (salinity.id, salinity.instrument))
    found.update(_dosing(room, reading))
    return frozenset(id for id in found if id is not None)


def salinities(room: Room, reading: Reading) -> tuple[Reading, ...]:
    """The salinity readings of the water that a diluted reading is taken in; none for others."""
    if reading.quantity not in DILUTED:
        return ()
    return tuple(each for each in room.system[reading.system].readings if each.quantity == "salinity")


def standing_records(records: Iterable[Record], ids: Collection[str], struck: Collection[str]) -> list[Record]:
    """Those of the records that have a value of one of the ids or are about it and are not struck, in history order."""
    found = (
        record
        for record in records
        if record.kind != STRIKE
        and (record.task in ids or any(value.reading in ids for value in record.values))
        and record.id not in struck
    )
    return sorted(found, key=lambda record: record.key)


def taken_at(reading: Reading, record: Record) -> str:
    """The station at which a value of the reading was taken."""
    return record.station if record.station is not None and record.system == reading.system else reading.station


def in_water(reading: Reading, records: Iterable[Record], valves: Valves, station: str) -> list[Record]:
    """Those of the records whose value of the reading was taken in the water that `station` then belonged to."""
    return [record for record in records if valves.together(taken_at(reading, record), station, record.at)]


def points_of(reading: Reading, records: Iterable[Record], now: datetime) -> list[Point]:
    """The values of the reading up to `now`, in history order whatever the order of the records."""
    return [
        Point(id=record.id, at=record.at, value=value.value, bound=value.bound, doubt=value.flag)
        for record in sorted(records, key=lambda record: record.key)
        if record.at <= now
        for value in record.values
        if value.reading == reading.id and value.value is not None
    ]


def numbers_of(reading: Reading, records: Iterable[Record], now: datetime) -> list[Point]:
    """The values of the reading up to `now` that can be calculated with, in history order."""
    return [point for point in points_of(reading, records, now) if point.usable]


def valves_on(room: Room, reading: Reading, records: Iterable[Record], now: datetime) -> Valves:
    """Which tanks of its system were apart and when, as far as that bears on the reading."""
    return Valves(room.system[reading.system], records if reading.quantity in OF_WATER else (), now)


def steps_of(room: Room, reading: Reading, records: Iterable[Record], now: datetime) -> list[Step]:
    """What parts the values of the reading up to `now`, in history order.

    Steps of its instrument, with their offset where old and new stood side by side; changes of the reading
    itself, and of the dosing and limewater of its system; for a level, its refills; for what is in the water,
    the tanks that were parted from it or joined to it.
    """
    records = list(records)
    changed = {reading.id, *_dosing(room, reading)}
    found = []
    for record in sorted(records, key=lambda record: record.key):
        if record.at > now:
            continue
        named = {record.task, *(value.reading for value in record.values)}
        if record.kind == CHANGE_STEP and record.task is not None and record.task == reading.instrument:
            found.append(Step(record.at, _offset(record), record.reason or record.note, instrument=True))
        elif (record.kind == CHANGE_STEP and named & changed and not _held(record)) or (
            record.kind == REFILL and reading.id in named
        ):
            found.append(Step(record.at, None, record.reason or record.note or record.kind))
    turns = valves_on(room, reading, records, now).turns_at(reading.station)
    return sorted([*found, *(Step(turn.at, None, turn.said) for turn in turns)], key=lambda step: step.at)


def _dosing(room: Room, reading: Reading) -> set[str]:
    """Full ids of what is dosed into the water of the reading, where that can move it."""
    if reading.quantity not in DOSED:
        return set()
    return {tank.id for tank in room.system[reading.system].reservoirs if tank.kind in _DOSING}


def _held(record: Record) -> bool:
    """Whether a planned step was put off: before and after are alike."""
    sides = [value.value for value in record.values]
    return len(sides) == 2 and sides[0] == sides[1]


def _offset(record: Record) -> float | None:
    """New less old, where both stand side by side."""
    sides = [value.value for value in record.values if value.reading == record.task and value.value is not None]
    return sides[1] - sides[0] if len(sides) == 2 else None
