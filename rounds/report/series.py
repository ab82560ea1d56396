"""Which reading stands for the water of a system, and when something was."""

from __future__ import annotations

from datetime import UTC, datetime

from rounds.core.model import Reading, Room, System
from rounds.core.record import Record
from rounds.core.words import day_name

_TANK_PH = 7.5


def when(record: Record) -> datetime:
    """When it happened, in UTC, so that differences are elapsed time."""
    return record.at.astimezone(UTC)


def day_of(room: Room, at: datetime, now: datetime | None = None) -> str:
    """The round day of an instant, ``Wed 25 Nov``; where it is in another year than `now`, with it."""
    return day_name(room.calendar.round_day(at), room.calendar.round_day(now) if now is not None else None)


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
