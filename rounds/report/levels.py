"""The reservoirs as JSON and as plain lines, what runs out first at the head."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from rounds.core.model import Room
from rounds.core.words import clock, day_name, length, moment, plain
from rounds.water.levels import amount, level_amount
from rounds.water.practice import EVAPORATION
from rounds.water.reserves import ReservoirLevel
from rounds.water.stretches import fills
from rounds.water.top_off import FreshWater

METHOD = """Use is the median of the slopes between all levels of a stretch between two refills, over
the last five weeks (Theil–Sen), with its 95 % interval; the reserve is reckoned from now."""


NOW, TODAY, LATER, NEVER, UNKNOWN = "now", "today", "later", "never", "unknown"
"""How soon a reservoir has to be refilled or emptied."""


def levels_json(room: Room, levels: Iterable[ReservoirLevel], fresh: Iterable[FreshWater]) -> list[dict[str, Any]]:
    """One object for each reservoir; litres, days, unrounded; times are RFC 3339 with the room's offset."""
    by_system = {each.system: each for each in fresh}
    return [_reservoir_json(room, each, by_system.get(each.tank.system)) for each in levels]


def _reservoir_json(room: Room, each: ReservoirLevel, fresh: FreshWater | None) -> dict[str, Any]:
    tank = each.tank
    if fresh is not None and tank.id not in fresh.sources:
        fresh = None
    stamp = room.calendar.stamp
    low, high = each.use_interval or (None, None)
    return {
        "id": tank.id,
        "kind": tank.kind,
        "level_l": each.level,
        "as_of": stamp(each.as_of),
        "use_l_per_day": each.use_per_day,
        "use_low": low,
        "use_high": high,
        "days_to_reserve": each.days_to_reserve,
        "refill_by": each.refill_by.isoformat() if each.refill_by is not None else None,
        "abnormal": each.abnormal,
        "basis": each.basis,
        "level_now_l": each.level_now,
        "capacity_l": tank.capacity,
        "reserve_l": each.reserve,
        "reserve_at": stamp(each.reserve_at),
        "days_low": each.days_low,
        "days_high": each.days_high,
        "days_to_end": each.days_to_end,
        "full_at_once_psu": each.full_at_once,
        "evaporation_l_per_day": fresh.litres_per_day if fresh is not None else None,
        "evaporation_mm_per_day": fresh.mm_per_day if fresh is not None else None,
        "remarks": [*each.remarks, *([fresh.doubt] if fresh is not None and fresh.doubt else [])],
    }


def levels_text(room: Room, levels: Iterable[ReservoirLevel], fresh: Iterable[FreshWater], now: datetime) -> str:
    """Two lines for each reservoir, and a third where something is wrong with it; then the fresh water by system."""
    day = day_name(room.calendar.round_day(now))
    lines = [plain(room.name), f"Levels of {day}, as they stand at {clock(room.calendar, now)}", ""]
    found = list(levels)
    for each in found:
        tank = each.tank
        lines.append(f"{system_name(room, tank.system)}, {plain(tank.name)}: {when_text(room, each, now)}")
        lines.append(f"    {level_text(room, each, now)}")
        if each.abnormal:
            lines.append(f"    ! {plain(each.abnormal)}")
        lines += [f"    ! {plain(remark)}" for remark in each.remarks]
    if len(lines) == 3:
        lines.append("This room has no reservoirs.")
    elif any(each.use_interval is not None for each in found):
        lines += ["", METHOD]
    waters = [line for water in fresh for line in _fresh_lines(room, water)]
    return "\n".join([*lines, *(["", "Fresh water that went in:"] if waters else []), *waters]) + "\n"


def urgency(room: Room, each: ReservoirLevel, now: datetime) -> str:
    """How soon something has to be done: `NOW`, `TODAY`, `LATER`, `NEVER` or `UNKNOWN`."""
    if each.level is None or each.refill_before is None or each.refill_by is None:
        return NEVER if each.level is not None and each.use_per_day is not None else UNKNOWN
    if each.refill_before <= now:
        return NOW
    return TODAY if each.refill_by <= room.calendar.round_day(now) else LATER


def to_do_text(room: Room, each: ReservoirLevel, now: datetime) -> str:
    """``refill by Fri 27 Nov``, ``refill today``, ``empty now``, ``stays above reserve``"""
    do = "empty" if fills(each.tank) else "refill"
    how_soon = urgency(room, each, now)
    if how_soon == UNKNOWN:
        return "no level recorded yet" if each.level is None else "use not known"
    if how_soon == NEVER:
        return "stays below its mark" if fills(each.tank) else "stays above reserve"
    if how_soon == NOW:
        return f"{do} now"
    assert each.refill_before is not None
    assert each.refill_by is not None
    if how_soon == LATER:
        return f"{do} by {day_name(each.refill_by, room.calendar.round_day(now))}"
    if each.refill_by < room.calendar.round_day(now):
        return f"{do} before {clock(room.calendar, each.refill_before)}"
    return f"{do} today"


def when_text(room: Room, each: ReservoirLevel, now: datetime) -> str:
    """``refill by Fri 27 Nov, 3.4 days to its reserve (3.2 to 3.6)``"""
    said, mark = to_do_text(room, each, now), "mark" if fills(each.tank) else "reserve"
    at, days = each.reserve_at, each.days_to_reserve
    if at is None or days is None:
        return said
    if at <= now:
        beyond = "above" if fills(each.tank) else "below"
        return f"{said}, {beyond} its {mark} since about {moment(room.calendar, at, now)}"
    span = f" ({each.days_low:.1f} to {each.days_high:.1f})" if each.days_low is not None and each.days_high else ""
    return f"{said}, {days:.1f} days to its {mark}{span}"


def level_text(room: Room, each: ReservoirLevel, now: datetime) -> str:
    """``0.5 of 3.0 L, read 5 hours ago; loses 70 mL a day (69 to 71 mL)``"""
    capacity = amount(room, each.tank.capacity)
    if each.level is None or each.as_of is None:
        return f"holds {capacity}"
    read = f"{level_amount(room, each.tank, each.level)} of {capacity}, read {length(now - each.as_of)} ago"
    if each.use_per_day is None or each.use_interval is None:
        return f"{read}. {plain(each.basis)}"
    return f"{read}; {use_text(room, each)}"


def use_text(room: Room, each: ReservoirLevel) -> str:
    """``loses 2.6 L a day (2.5 to 2.7 L)``; empty where it is not known."""
    if each.use_per_day is None:
        return ""
    said = f"{'fills' if fills(each.tank) else 'loses'} {amount(room, each.use_per_day)} a day"
    if each.use_interval is not None:
        (low, unit), (high, its) = (amount(room, end).split(" ", 1) for end in each.use_interval)
        said += f" ({low} to {high} {its})" if unit == its else f" ({low} {unit} to {high} {its})"
    return said


def evaporation_text(room: Room, fresh: FreshWater) -> str:
    """``11.4 L a day, 2.9 mm of its surface (usual 1.4 to 7.5); a day without it takes …``"""
    said = f"{amount(room, fresh.litres_per_day)} a day"
    if fresh.mm_per_day is not None:
        said += f", {fresh.mm_per_day:.1f} mm of its surface (usual {EVAPORATION[0]:g} to {EVAPORATION[1]:g})"
    if fresh.after_a_day_without is not None:
        said += f"; a day without it takes salinity from {fresh.salinity:.1f} to {fresh.after_a_day_without:.1f}"
    if fresh.unknown:
        said += f"; not counting {', '.join(fresh.unknown)}, whose use is not known"
    return said


def _fresh_lines(room: Room, water: FreshWater) -> list[str]:
    said = f"    {system_name(room, water.system)}: {evaporation_text(room, water)}"
    return [said, *([f"    ! {water.doubt}"] if water.doubt else [])]


def system_name(room: Room, system: str) -> str:
    return plain(room.system[system].name)
