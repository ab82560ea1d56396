"""Reservoirs for the tests of levels: a room that holds them, and the records of their levels and refills.

Rooms, containers and numbers are invented.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from rounds.core.history import History
from rounds.core.items import DueItem, Forecast
from rounds.core.model import Room
from rounds.core.plan import due_items
from rounds.core.record import READING, REFILL, Record, Value
from rounds.water.levels import Levels
from rounds.water.refills import Refills
from rounds.water.reserves import ReservoirLevel, reservoir_level
from tests.support import DUBLIN, head, instant, record, room_from

TWO_SHIFTS = """
[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"

[[shifts]]
name = "late"
begins = "12:30"
ends = "19:00"
"""

BARREL = """
[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"
dead = "8 L"
reserve = "25 L"
"""

SALINITY = """
[[readings]]
id = "salinity"
quantity = "salinity"
"""


def reef(tables: str, *, top: str = 'volume = "960 L"\nsurface = "3.9 m2"') -> str:
    return f'name = "Reef"\n{top}\n{tables}'


def room_of(
    tables: str = BARREL, *, shifts: str = TWO_SHIFTS, room: str = "", top: str | None = None, **of: str
) -> Room:
    """A room with the system ``reef`` that holds the tables; `room` are tables of the room itself."""
    text = reef(tables) if top is None else reef(tables, top=top)
    return room_from(head(shifts + room, **of), reef=text)


def level(tank: str, at: str | datetime, litres: float, *, bound: str | None = None, **fields: object) -> Record:
    """A level that was read."""
    reading = f"{tank}-level"
    value = Value(reading=reading, entered=f"{litres:g} L", value=litres, unit="L", bound=bound)
    return record(READING, reading, at, values=(value,), **fields)


def refill(tank: str, at: str | datetime, litres: float, **fields: object) -> Record:
    """A refill, with the level after it."""
    value = Value(reading=f"{tank}-level", entered=f"{litres:g} L", value=litres, unit="L")
    return record(REFILL, f"{tank}-refill", at, values=(value,), **fields)


def salinity(at: str | datetime, psu: float) -> Record:
    value = Value(reading="reef/salinity", entered=f"{psu:g}", value=psu, unit="PSU")
    return record(READING, "reef/salinity", at, values=(value,))


def daily(tank: str, first: str, litres: Iterable[float], zone: str = DUBLIN) -> list[Record]:
    """Levels a day apart, by elapsed time."""
    begin = instant(first, zone)
    return [level(tank, begin + timedelta(days=n), each) for n, each in enumerate(litres)]


def standing(
    room: Room, records: Iterable[Record], now: str, tank: str = "reef/barrel", zone: str = DUBLIN
) -> ReservoirLevel:
    """The reservoir at `now`."""
    return reservoir_level(Levels(), room, History(records), room.reservoirs[tank], instant(now, zone))


def forecasts(room: Room, records: Iterable[Record], now: str, zone: str = DUBLIN) -> dict[str, Forecast]:
    """What calls refills at `now`, by task; not those that were closed in the round day."""
    found = Refills().forecasts(room, History(records), instant(now, zone))
    return {each.task: each for each in found if not each.closed}


def items(room: Room, records: Iterable[Record], now: str) -> dict[str, DueItem]:
    """The items of the round at `now` by task, the last where there are two."""
    history = History(records)
    at = instant(now)
    found = due_items(room, history, at, Refills().forecasts(room, history, at))
    return {item.task.id: item for item in found if item.in_round}
