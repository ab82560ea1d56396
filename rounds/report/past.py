"""What stands in the records of one system: found by what it is about, as a history, as trends, as levels.

One gathering for readings over time, balance and prompts, so that they answer alike.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import msgspec

from rounds.core.history import History
from rounds.core.model import Reading, Room, System
from rounds.core.record import Record
from rounds.core.series import Point, bearing_on, in_water, numbers_of, standing_records, valves_on
from rounds.water.levels import Levels
from rounds.water.trend import Trend, TrendValue, trend_of, values_since

if TYPE_CHECKING:
    from rounds.storage.room import RoomFolder


class Past:
    """The records that stand of one system and of what it is measured with and filled from."""

    def __init__(self, records: Iterable[Record]) -> None:
        self.records = sorted({record.id: record for record in records}.values(), key=lambda record: record.key)
        self.levels = Levels()
        self._about: dict[str, list[Record]] = {}
        for record in self.records:
            for id in {record.task, *(value.reading for value in record.values)}:
                if id is not None:
                    self._about.setdefault(id, []).append(record)

    @cached_property
    def history(self) -> History:
        return History(self.records)

    def about(self, ids: Collection[str]) -> list[Record]:
        """Those with a value of one of the ids or about it, in history order."""
        found = {record.id: record for id in ids for record in self._about.get(id, ())}
        return sorted(found.values(), key=lambda record: record.key)

    def of_water(self, room: Room, reading: Reading, now: datetime) -> list[Record]:
        """Those about the reading that tell of the water its station then belonged to, in history order."""
        tanks = [tank.id for tank in room.system[reading.system].tanks]
        valves = valves_on(room, reading, self.about(tanks), now)
        return in_water(reading, self.about((reading.id,)), valves, reading.station)

    def numbers(self, room: Room, reading: Reading, begin: datetime, now: datetime) -> list[Point]:
        """The values of the reading from `begin` to `now` that can be calculated with, canonical, as measured."""
        records = self.of_water(room, reading, now)
        return [in_utc(point) for point in numbers_of(reading, records, now) if point.at >= begin]

    def corrected(self, room: Room, reading: Reading, begin: datetime, now: datetime) -> list[TrendValue]:
        """The values from `begin` to `now` as a trend calculates with them: instrument and salinity taken out."""
        values = values_since(room, reading, self.about(bearing_on(room, reading)), now, begin, at_35=True)
        return [value for value in values if value.used]

    def trend(self, room: Room, reading: Reading, now: datetime, window: timedelta | None = None) -> Trend:
        return trend_of(room, reading, self.about(bearing_on(room, reading)), now, window)


def in_utc(point: Point) -> Point:
    """With its time in UTC, so that differences are elapsed time."""
    return msgspec.structs.replace(point, at=point.at.astimezone(UTC))


def elsewhere(room: Room, system: System) -> set[str]:
    """Ids of the instruments and containers of other systems that bear on the system."""
    ids = {id for reading in system.readings for id in bearing_on(room, reading)}
    ids |= {id for tank in system.reservoirs for id in Levels().watched(room, tank)}
    return {id for id in ids if id.partition("/")[0] != system.id}


def past_of(folder: RoomFolder, system: System) -> Past:
    """What stands of a system, and of the instruments and containers elsewhere that bear on it.

    From the archive of the systems they belong to; may be asked in another thread.
    """
    others = elsewhere(folder.model, system)
    return Past([*folder.standing_of(system.id), *(folder.standing_records(others) if others else ())])


def pasts_of(folder: RoomFolder) -> dict[str, Past]:
    """The same of every system, by its id; the archive is read once for all."""
    room = folder.model
    return pasts_in(room, folder.standing_of_each(tuple(system.id for system in room.systems)))


def pasts_in(room: Room, standing: Mapping[str, Sequence[Record]]) -> dict[str, Past]:
    """The same out of the records that stand of each system."""
    found = {}
    for system in room.systems:
        others = elsewhere(room, system)
        beside = (record for id in {id.partition("/")[0] for id in others} for record in standing.get(id, ()))
        found[system.id] = Past([*standing.get(system.id, ()), *standing_records(beside, others, ())])
    return found
