"""The isolation clock: it belongs to the water, and runs for all in it from the last arrival or find.

It parts and joins with the water. Where a tank is valved off, what had come into the system until then counts for
both; what comes into one of them afterwards counts for the other when they are joined.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta

import msgspec

from rounds.core.batches import Batch, Entry, Place, batches
from rounds.core.history import History
from rounds.core.model import Room, System
from rounds.core.record import Record
from rounds.core.waters import Valves, Water, valves


class Isolation(msgspec.Struct, frozen=True, kw_only=True):
    """How long all that stands in one water has to stay apart."""

    water: Water
    since: Record
    """The last arrival or find, from which the days count."""
    find: bool
    """Whether that was pests that were found."""
    days: int
    fish: bool
    """Whether fish are or were in it, so that it takes longer."""
    free_on: date
    """The round day from which animals may leave."""

    def left(self, today: date) -> int:
        """Days that are left on a round day; 0: it is over."""
        return max(0, (self.free_on - today).days)


def isolation(room: Room, history: History, place: Place, now: datetime) -> Isolation | None:
    """Of the water at a place; None where it is no quarantine or nothing stands in it.

    Raises `Incomplete` where not enough of the history was kept.
    """
    system = room.system.get(place[0])
    clocks = isolations(room, history, system, now) if system is not None else ()
    return next((clock for clock in clocks if clock.water.holds(place[1])), None)


def isolations(room: Room, history: History, system: System, now: datetime) -> Iterator[Isolation]:
    """Of each water of a system in which something stands; of none where the system is no quarantine."""
    if system.isolation is None:
        return
    known = batches(history, now).values()
    if not known:
        return
    turned = valves(history, system, now)
    for water in turned.waters(now):
        found = _of_water(room, history, system, _Reach(turned, water), known, now)
        if found is not None:
            yield found


class _Reach:
    """What has come to one water of a system, by the valves that were turned since."""

    def __init__(self, turned: Valves, water: Water) -> None:
        self._turned = turned
        self.water = water

    def comes_from(self, station: str | None, at: datetime) -> bool:
        """Whether the water that was at a station has come to this one since."""
        return self.water.stations[0] in self._turned.reached(station, at)

    def entered(self, entry: Entry) -> bool:
        """Whether it brought animals from other water into one that has come to this one."""
        record, (system, station) = entry.record, entry.place
        if system != self.water.system:
            return False
        source = entry.source
        inside = source is not None and source[0] == system and self._turned.together(source[1], station, record.at)
        return not inside and self.comes_from(station, record.at)


def _of_water(
    room: Room, history: History, system: System, reach: _Reach, known: Iterable[Batch], now: datetime
) -> Isolation | None:
    water = reach.water
    here = [
        each.record
        for each in known
        if each.ended is None and each.place[0] == system.id and water.holds(each.place[1])
    ]
    if system.isolation is None or not here:
        return None
    arrivals = [entry.record for each in known for entry in each.entries if reach.entered(entry)]
    arrival = max(arrivals or here, key=lambda record: record.key)
    find = _find_since(history, reach, arrival, now)
    since = find or arrival
    fish = _fish(system, reach, known, since.at)
    days = system.isolation_fish if fish else system.isolation
    return Isolation(
        water=water, since=since, find=find is not None, days=days, fish=fish,
        free_on=room.calendar.round_day(since.at) + timedelta(days=days),
    )  # fmt: skip


def _find_since(history: History, reach: _Reach, arrival: Record, now: datetime) -> Record | None:
    """The last find in what has come to the water, where it is later than the last arrival."""
    for record in history.found(reach.water.system).latest(now):
        if record.key <= arrival.key:
            return None
        if reach.comes_from(record.station, record.at):
            return record
    return None


def _fish(system: System, reach: _Reach, known: Iterable[Batch], since: datetime) -> bool:
    """Whether fish stand in it, or left it no longer before `since` than what they may have left behind lasts."""
    begin = since - timedelta(days=system.isolation_fish)
    return any(
        each.fish
        and stay.place[0] == system.id
        and (stay.until is None or stay.until >= begin)
        and reach.comes_from(stay.place[1], max(stay.since, begin))
        for each in known
        for stay in each.stays
    )
