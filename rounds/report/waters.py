"""The waters of the systems whose tanks can be valved off: as lines to read and as plain values."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.history import History
from rounds.core.model import Room, System
from rounds.core.staged import setting_at
from rounds.core.waters import Turn, Water, part_of, valves, water_at
from rounds.core.words import moment, plain
from rounds.water.levels import amount


def parted_systems(room: Room) -> list[System]:
    """The systems that have tanks which can be valved off, in walking order."""
    return [system for system in room.systems if system.tanks]


def waters_text(room: Room, history: History, now: datetime) -> str:
    """Every system with such tanks, its waters and what its doses come to in them."""
    lines = [line for system in parted_systems(room) for line in water_lines(room, history, system, now)]
    return "\n".join(lines or ["No tank of this room can be valved off; add [[tanks]] to a system's file."]) + "\n"


def water_lines(room: Room, history: History, system: System, now: datetime) -> list[str]:
    """``Tank A, 560 L: apart since Wed 10:00 (new fish)``, a line for each water, and below it its doses."""
    known = valves(history, system, now)
    lines = []
    for water in known.waters(now):
        held = f", {amount(room, water.volume)}" if water.volume is not None else ""
        lines.append(f"{plain(water.name)}{held}: {_since(room, known.turns, water, now)}")
        lines += [f"  {line}" for line in _dose_lines(room, history, system, water, now)]
    return lines


def apart_since(room: Room, history: History, system: System, station: str, now: datetime) -> str:
    """``apart since Wed 10:00, 560 L``; empty where the station shares the water of its system."""
    water = water_at(history, system, station, now)
    if water.tank is None or water.since is None or water.volume is None:
        return ""
    return f"apart since {moment(room.calendar, water.since, now)}, {amount(room, water.volume)}"


def _since(room: Room, turns: list[Turn], water: Water, now: datetime) -> str:
    """How it came to be what it is."""
    if water.since is None:
        return "all its tanks joined"
    turn = next(turn for turn in reversed(turns) if turn.at == water.since)
    at = moment(room.calendar, water.since, now)
    why = plain(turn.record.reason)
    if water.tank is not None:
        return f"apart since {at} ({why})"
    return f"{plain(turn.tank.name)} {'apart' if turn.apart else 'joined'} since {at} ({why})"


def _dose_lines(room: Room, history: History, system: System, water: Water, now: datetime) -> Iterator[str]:
    """What the standing doses of alkalinity, calcium and magnesium come to in this water."""
    for tank in part_of(system, water).reservoirs:
        litres = setting_at(history, tank.id, now, now)
        litres = tank.use if litres is None else litres
        if tank.doses is None or tank.strength is None or not litres or not water.volume:
            continue
        rise = litres * tank.strength / water.volume
        said = f"{rise * DKH_PER_MEQ:.3f} dKH" if tank.doses == "alkalinity" else f"{rise:.2f} mg/L"
        yield (
            f"{plain(tank.name)}: {amount(room, litres)} a day are {said} of {tank.doses} a day "
            f"in {amount(room, water.volume)}"
        )


def waters_json(room: Room, history: History, now: datetime) -> list[dict[str, Any]]:
    """One object for each water; litres, times are RFC 3339 with the room's offset."""
    return [
        {
            "system": system.id,
            "tank": water.tank,
            "name": water.name,
            "volume_l": water.volume,
            "stations": [station for station in water.stations if station],
            "since": room.calendar.stamp(water.since),
        }
        for system in parted_systems(room)
        for water in valves(history, system, now).waters(now)
    ]
