"""The fresh water that goes into a system, and what too much or too little of it does to the salinity.

What evaporates is what was let in again: top-off and limewater, each litre counted once. Salinity on the basis of
volume, S × V / (V + added): mass would give 0.01 less for a loss of a hundredth, which no probe shows.
"""

from __future__ import annotations

from datetime import datetime
from itertools import islice
from math import hypot
from statistics import median

import msgspec

from rounds.core.constants import STANDARD_SALINITY
from rounds.core.history import History
from rounds.core.model import Reservoir, Room, System
from rounds.core.series import in_water, numbers_of
from rounds.core.waters import Water, part_of, valves, water_at, waters
from rounds.water.levels import Levels
from rounds.water.mass_balance import salinity_after
from rounds.water.practice import BARREL_SHARE, EVAPORATION, EVAPORATION_DOUBTED

FRESH = ("top-off", "limewater")

STEADY_SALINITY = 0.3
"""A smaller change tells nothing apart from the probe (common practice, no source)."""
SALINITIES = 6
"""So many of the newest readings are looked at."""


class FreshWater(msgspec.Struct, frozen=True, kw_only=True):
    """What goes into one water in a day."""

    system: str
    litres_per_day: float
    interval: tuple[float, float] | None
    """95 %; None where the use of a source does not come from levels."""
    mm_per_day: float | None
    """Of its surface; None where that is not known."""
    sources: tuple[str, ...]
    """Full ids of the reservoirs it comes from."""
    unknown: tuple[str, ...]
    """Those whose use is not known: there is at least so much more."""
    salinity: float
    """The newest of the water, else 35."""
    after_a_day_without: float | None
    """Salinity after a day without it; None where the volume is not known."""
    doubt: str
    """Why the litres are doubted; empty: nothing odd."""


def fresh_water(
    levels: Levels, room: Room, history: History, system: System, now: datetime, water: Water | None = None
) -> FreshWater | None:
    """The fresh water of one water of a system; None where nothing is known of any.

    `water` is one of its waters at `now`; None: what is left of it without its tanks that are apart.
    A reservoir filled from another of the same water is no second source: its water is counted there.
    """
    water = water or waters(history, system, now)[0]
    system = part_of(system, water)
    counted = {tank.id for tank in system.reservoirs if tank.kind in FRESH}
    sources = [tank for tank in system.reservoirs if tank.id in counted and tank.fed_by not in counted]
    uses = {tank.id: levels.measured(room, history, tank, now).use for tank in sources}
    known = {id: use for id, use in uses.items() if use.per_day is not None}
    if not known:
        return None
    litres = sum(use.per_day or 0.0 for use in known.values()) - sum(
        levels.measured(room, history, each, now).use.per_day or 0.0
        for tank in sources
        for each in levels.fed(tank)
        if each.id not in counted
    )
    intervals = [use.interval for use in known.values()]
    reach = hypot(*((each[1] - each[0]) / 2 for each in intervals if each is not None))
    mm = litres / system.surface if system.surface else None
    found = salinities(room, history, water, now)
    salinity = found[0][1] if found else STANDARD_SALINITY
    volume = system.volume
    return FreshWater(
        system=system.id,
        litres_per_day=litres,
        interval=(litres - reach, litres + reach) if None not in intervals else None,
        mm_per_day=mm,
        sources=tuple(known),
        unknown=tuple(id for id in uses if id not in known),
        salinity=salinity,
        after_a_day_without=salinity_after(volume, salinity, -litres) if volume and 0 < litres < volume else None,
        doubt=_doubt(mm) if len(known) == len(uses) else "",
    )


def _doubt(mm: float | None) -> str:
    if mm is None or EVAPORATION_DOUBTED[0] <= mm <= EVAPORATION_DOUBTED[1]:
        return ""
    if mm < EVAPORATION_DOUBTED[0]:
        return (
            f"{mm:.1f} mm a day is less than still water in a humid room loses "
            f"({EVAPORATION[0]:g} to {EVAPORATION[1]:g}): "
            f"other fresh water gets in, or the levels or the surface are wrong"
        )
    return (
        f"{mm:.1f} mm a day is more than evaporates even in dry moving air ({EVAPORATION[0]:g} to {EVAPORATION[1]:g}): "
        f"a leak, wet skimming, or the levels or the surface are wrong"
    )


def salinities(room: Room, history: History, water: Water, now: datetime) -> list[tuple[datetime, float]]:
    """The newest salinities of a water that can be calculated with, the newest first.

    None of those from before another water came into it.
    """
    whole = room.system[water.system]
    known = valves(history, whole, now)
    found: list[tuple[datetime, float]] = []
    for reading in part_of(whole, water).readings:
        if reading.quantity != "salinity":
            continue
        records = in_water(reading, islice(history.valued(reading.id).latest(now), SALINITIES), known, reading.station)
        found += [(point.at, point.value) for point in numbers_of(reading, records, now)]
    return sorted((each for each in found if water.mixed is None or each[0] >= water.mixed), reverse=True)


def salinity_change(room: Room, history: History, tank: Reservoir, since: datetime, now: datetime) -> float | None:
    """The newest salinity of a container's water less what it was until `since`; None where either is wanting.

    What it was is the median of up to five readings, without any the target or the middle of the band.
    """
    found = salinities(room, history, _water_of(room, history, tank, now), now)
    before = [value for at, value in found if at <= since][:5] or _wanted(room, tank.system)
    return found[0][1] - median(before) if before and found and found[0][0] > since else None


def _wanted(room: Room, system: str) -> list[float]:
    """The salinity that the room's file wants in the system, if it says one."""
    found = []
    for reading in room.system[system].readings:
        if reading.quantity == "salinity" and reading.target is not None:
            found.append(reading.target.canonical)
        elif reading.quantity == "salinity" and reading.low is not None and reading.high is not None:
            found.append((reading.low.canonical + reading.high.canonical) / 2)
    return found


def full_at_once(room: Room, history: History, tank: Reservoir, now: datetime) -> float | None:
    """Salinity of its water when all that a full container can give is let in at once; None without its volume."""
    water = _water_of(room, history, tank, now)
    if tank.kind not in FRESH or not water.volume:
        return None
    found = salinities(room, history, water, now)
    return salinity_after(water.volume, found[0][1] if found else STANDARD_SALINITY, tank.capacity - tank.dead)


def _water_of(room: Room, history: History, tank: Reservoir, now: datetime) -> Water:
    return water_at(history, room.system[tank.system], tank.station, now)


def warnings(room: Room, history: History, tank: Reservoir, now: datetime) -> list[str]:
    """What is unsafe about how a container of fresh water is set up, for the water it stands in."""
    found = []
    volume = _water_of(room, history, tank, now).volume
    usable = tank.capacity - tank.dead
    held_back = tank.delivery in ("metered pump", "by hand")
    if tank.kind == "top-off" and volume and not held_back and usable > BARREL_SHARE * volume:
        found.append(
            f"its {usable:g} L usable are {usable / volume:.0%} of the system, more than the {BARREL_SHARE:.0%} that "
            f"a valve stuck open may let in; use a smaller container or fill it less"
        )
    if tank.kind == "limewater" and tank.delivery == "float valve":
        found.append(
            "limewater on a float valve is not metered: evaporation or a stuck valve sets the dose and the pH; "
            "feed it with a metered pump"
        )
    return found
