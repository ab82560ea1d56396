"""The waters of a system: what is left of it, and each of its tanks that is valved off.

A tank is another water from the instant at which it was recorded as apart until it is recorded as joined.
A value counts for the water that its place belonged to when it was read.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

import msgspec

from rounds.core.history import History
from rounds.core.model import System, Tank
from rounds.core.record import APART, JOINED, VALVED, Record


class Water(msgspec.Struct, frozen=True, kw_only=True):
    """One body of water, as it stands at one instant."""

    system: str
    tank: str | None = None
    """Full id of the tank that is apart; None: what is left of the system."""
    name: str
    volume: float | None
    """Litres."""
    stations: tuple[str, ...]
    """Ids; the work of the system as a whole (``""``) belongs to what is left of it, and comes first there."""
    elsewhere: frozenset[str] = frozenset()
    """Of what is left of the system, the stations of its tanks that are apart; all others belong to it."""
    since: datetime | None = None
    """When it was parted or joined last; None: never."""
    mixed: datetime | None = None
    """When another water last came into it; None: never."""

    @property
    def id(self) -> str:
        """Of the tank that is apart, else of the system."""
        return self.tank or self.system

    def from_its_time(self, begin: datetime) -> datetime:
        """`begin`, or when it became what it is where that was later."""
        return begin if self.since is None else max(begin, self.since)

    def holds(self, station: str | None) -> bool:
        """Whether what stands at the station belongs to this water now."""
        station = station or ""
        return station in self.stations if self.tank is not None else station not in self.elsewhere


class Turn(msgspec.Struct, frozen=True):
    """A tank valved off from its system or opened to it."""

    at: datetime
    tank: Tank
    apart: bool
    record: Record

    @property
    def said(self) -> str:
        """``Tank A apart: new fish``"""
        return f"{self.tank.name} {APART if self.apart else JOINED}: {self.record.reason}"


class Valves:
    """Which tanks of one system were apart, and when."""

    def __init__(self, system: System, records: Iterable[Record], now: datetime) -> None:
        """`records` up to `now`, in any order; of two that say the same in a row the first counts."""
        self._system = system
        tanks = {tank.id: tank for tank in system.tanks}
        self._tanks = {station: tank for tank in system.tanks for station in tank.stations}
        apart: set[str] = set()
        turns = []
        turned = (each for each in records if each.kind == VALVED and each.task in tanks and each.at <= now)
        for record in sorted(turned, key=lambda record: record.key):
            tank = tanks[record.task or ""]
            parts = APART in record.words
            if parts != (tank.id in apart):
                apart ^= {tank.id}
                turns.append(Turn(record.at, tank, parts, record))
        self.turns = turns
        """Every change, the oldest first."""

    def is_apart(self, tank: Tank, at: datetime) -> bool:
        """Whether the tank was another water at `at`."""
        return next((turn.apart for turn in reversed(self.turns) if turn.tank.id == tank.id and turn.at <= at), False)

    def together(self, station: str | None, other: str | None, at: datetime) -> bool:
        """Whether two stations shared one water at `at`."""
        return not self.turns or self._apart_at(station, at) == self._apart_at(other, at)

    def turns_at(self, station: str | None) -> list[Turn]:
        """The changes of the water at a station, the oldest first."""
        own = self._tanks.get(station or "")
        return [turn for turn in self.turns if own == turn.tank or own is None or not self.is_apart(own, turn.at)]

    def waters(self, now: datetime) -> list[Water]:
        """What is left of the system, then each tank that is apart at `now` in the order of the file."""
        system = self._system
        apart = [tank for tank in system.tanks if self.is_apart(tank, now)]
        elsewhere = frozenset(station for tank in apart for station in tank.stations)
        stations = dict.fromkeys(("", *(station.id for station in system.stations)))
        left = Water(
            system=system.id,
            name=system.name if not apart else f"{system.name} without {' and '.join(tank.name for tank in apart)}",
            volume=system.volume - sum(tank.volume for tank in apart) if system.volume is not None else None,
            stations=tuple(station for station in stations if station not in elsewhere),
            elsewhere=elsewhere,
            since=_last(self.turns_at("")),
            mixed=_last(turn for turn in self.turns_at("") if not turn.apart),
        )
        return [left, *(self._water_of(tank) for tank in apart)]

    def reached(self, station: str | None, at: datetime) -> frozenset[str]:
        """The stations that the water at `station` has come to since `at`, all through the system's waters.

        An arrival or a find counts for the water of every one of them, also after that was parted again.
        """
        spread = {self._apart_at(station, at)}
        for turn in self.turns:
            if turn.at <= at:
                continue
            if turn.apart and None in spread:
                spread.add(turn.tank.id)
            elif not turn.apart and spread & {None, turn.tank.id}:
                spread |= {None, turn.tank.id}
        found = dict.fromkeys(("", *(each.id for each in self._system.stations)))
        last = max((turn.at for turn in self.turns), default=at)
        return frozenset(each for each in found if self._apart_at(each, max(at, last)) in spread)

    def _water_of(self, tank: Tank) -> Water:
        since = _last(turn for turn in self.turns if turn.tank == tank)
        before = self.turns_at(tank.stations[0])
        return Water(
            system=self._system.id, tank=tank.id, name=tank.name, volume=tank.volume, stations=tank.stations,
            since=since, mixed=_last(turn for turn in before if not turn.apart),
        )  # fmt: skip

    def _apart_at(self, station: str | None, at: datetime) -> str | None:
        """The tank by which the station was apart; None: it shared the water of the system."""
        tank = self._tanks.get(station or "")
        return tank.id if tank is not None and self.is_apart(tank, at) else None


def _last(turns: Iterable[Turn]) -> datetime | None:
    return max((turn.at for turn in turns), default=None)


def valves(history: History, system: System, now: datetime) -> Valves:
    """Which tanks of the system were apart, by what was recorded up to `now`."""
    return Valves(system, (record for tank in system.tanks for record in history.valved(tank.id)), now)


def waters(history: History, system: System, now: datetime) -> list[Water]:
    """The waters of a system at `now`: what is left of it first, then the tanks that are apart."""
    return valves(history, system, now).waters(now)


def part_of(system: System, water: Water) -> System:
    """What stands in one of the waters of a system, as a system of its own with its name and volume.

    Its surface is not known where a tank is apart.
    """
    if not system.tanks:
        return system
    return msgspec.structs.replace(
        system,
        name=water.name,
        volume=water.volume,
        surface=system.surface if water.volume == system.volume else None,
        stations=tuple(each for each in system.stations if water.holds(each.id)),
        tasks=tuple(each for each in system.tasks if water.holds(each.station)),
        readings=tuple(each for each in system.readings if water.holds(each.station)),
        reservoirs=tuple(each for each in system.reservoirs if water.holds(each.station)),
        equipment=tuple(each for each in system.equipment if water.holds(each.station)),
        lights=tuple(each for each in system.lights if water.holds(each.station)),
    )


def water_at(history: History, system: System, station: str | None, now: datetime) -> Water:
    """The water that a station belongs to at `now`."""
    left, *apart = waters(history, system, now)
    return next((water for water in apart if water.holds(station)), left)
