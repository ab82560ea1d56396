"""What the records hold of one reading or reservoir, as plain points in time."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from itertools import pairwise
from statistics import median

import msgspec

from rounds.core.history import History
from rounds.core.model import Reading, Reservoir, Room, System
from rounds.core.record import REFILL, Record
from rounds.core.units import DKH_PER_MEQ
from rounds.water.balance import Point

_INSTANT = timedelta(microseconds=1)
_DAY = timedelta(days=1)
_TANK_PH = 7.5
_SHORTEST = timedelta(hours=6)
"""Two levels nearer to each other say more of the eye than of the use."""


def when(record: Record) -> datetime:
    """When it happened, in UTC, so that differences are elapsed time."""
    return record.at.astimezone(UTC)


def points(history: History, reading: str, begin: datetime, now: datetime, factor: float = 1.0) -> tuple[Point, ...]:
    """Values of the reading from `begin` to `now` that can be calculated with, `factor` times the canonical value.

    Values beyond a kit's limit and doubtful ones are left out.
    """
    return tuple(
        Point(when(record), value.value * factor, record.id)
        for record in history.valued(reading).between(begin, now + _INSTANT)
        for value in record.values
        if value.reading == reading and value.value is not None and value.bound is None and value.flag is None
    )


def alkalinity(history: History, reading: str, begin: datetime, now: datetime) -> tuple[Point, ...]:
    """In dKH."""
    return points(history, reading, begin, now, DKH_PER_MEQ)


def tank_reading(system: System, quantity: str) -> Reading | None:
    """The reading of that quantity in the water itself: not what comes out of a reactor.

    One with a target before one with a band, and that before one with neither.
    """
    found = [each for each in system.readings if each.quantity == quantity and not _of_reactor(system, each)]
    found.sort(key=lambda each: (each.target is None, each.low is None and each.high is None))
    return found[0] if found else None


def _of_reactor(system: System, reading: Reading) -> bool:
    """Whether it is read at the outlet of a CO2 reactor; its pH is lower than that of any tank."""
    if any(each.outlet == reading.id for each in system.equipment):
        return True
    beside = any(each.kind == "CO2 reactor" and each.station == reading.station for each in system.equipment)
    return reading.quantity == "pH" and beside and (reading.high is None or reading.high.canonical < _TANK_PH)


class Fall(msgspec.Struct, frozen=True):
    """How much a reservoir gave between two of its levels."""

    begin: datetime
    end: datetime
    litres: float
    records: tuple[str, str]

    @property
    def per_day(self) -> float:
        return self.litres / ((self.end - self.begin) / _DAY)


def falls(history: History, tank: Reservoir, begin: datetime, now: datetime) -> list[Fall]:
    """The use between neighbouring levels, refills left out."""
    level = f"{tank.id}-level"
    seen = [
        (when(record), record, value.value)
        for record in history.valued(level).between(begin, now + _INSTANT)
        for value in record.values
        if value.reading == level and value.value is not None and value.bound is None and value.flag is None
    ]
    found: list[Fall] = []
    for (begin, first, held), (end, record, litres) in pairwise(seen):
        if record.kind != REFILL and end - begin >= _SHORTEST and litres <= held:
            found.append(Fall(begin, end, held - litres, (first.id, record.id)))
    return found


def usual_use(history: History, tank: Reservoir, begin: datetime, now: datetime) -> float | None:
    """Litres a day, the middle of the falls; None with fewer than three."""
    found = [fall.per_day for fall in falls(history, tank, begin, now)]
    return median(found) if len(found) >= 3 else None


def fresh_water(room: Room, system: System) -> tuple[Reservoir, ...]:
    """The reservoirs whose fresh water replaces what evaporates, each counted once.

    A limewater reactor that is fed from the system's own top-off is no second source.
    """
    own = {tank.id for tank in system.reservoirs if tank.kind == "top-off"}
    return tuple(
        tank
        for tank in system.reservoirs
        if tank.kind == "top-off" or (tank.kind == "limewater" and tank.fed_by not in own)
    )
