"""Water changes, batches of salt water and salinity put right: each within what a day may bring.

Conservation of mass on a volume basis. The limits of a day are common practice, without a source.
"""

from __future__ import annotations

from math import ceil, log

import msgspec

from rounds.core.errors import Refused

CHANGE_A_DAY = 0.20
"""Share of the water, unless it is an emergency."""
CHANGE_CAUTION = "New water within 0.5 °C, 0.5 PSU and 1 dKH of the tank; top-off and heater off first, on again after"

DAILY = {
    "alkalinity": (0.5, 0.5),
    "calcium": (20.0, 20.0),
    "magnesium": (50.0, 50.0),
    "nitrate": (1.0, 1.0),
    "phosphate": (0.01, 0.02),
    "salinity": (0.5, 1.0),
    "temperature": (1.0, 1.0),
}
"""What a day may bring, up and down, in dKH, mg/L, PSU, °C; where no limit downwards is known, that upwards."""

MOST_CHANGES = 60
_TINY = 1e-9


class Change(msgspec.Struct, frozen=True):
    """One water change of a plan."""

    number: int
    litres: float
    result: float
    """The value after it."""


class SalinityStep(msgspec.Struct, frozen=True):
    """One day of putting salinity right."""

    day: int
    """From 1."""
    litres: float
    """Drained from the system and replaced."""
    salinity: float
    """After it."""


def after_changes(start: float, new: float, share: float, times: int) -> float:
    """The value after `times` changes of `share` of the water, drained and then refilled with water of value `new`."""
    return new + (start - new) * (1 - share) ** times


def plan_changes(start: float, new: float, goal: float, share: float, volume: float) -> tuple[Change, ...]:
    """The changes of `share` of `volume` litres that bring a value from `start` to `goal` or past it.

    Raises `Refused` where the new water cannot bring it there.
    """
    if not 0 < share <= 1:
        raise Refused(f"{share:g} is no share of the water; write one above 0 and at most 1, such as 0.1")
    if start == goal:
        return ()
    if not min(start, new) <= goal <= max(start, new):
        raise Refused(f"water of {new:g} cannot bring {start:g} to {goal:g}; use other water or another goal")
    if goal == new and share < 1:
        raise Refused(f"changes come ever nearer to {new:g} and never reach it; choose a goal on this side of it")
    left = (goal - new) / (start - new)
    times = 1 if share == 1 else ceil(log(left) / log(1 - share) - _TINY)
    if times > MOST_CHANGES:
        raise Refused(f"that takes {times} changes; change more at a time, or use water that differs more")
    return tuple(
        Change(number, share * volume, after_changes(start, new, share, number)) for number in range(1, times + 1)
    )


def salt_for(volume: float, start: float, goal: float, grams_per_litre: float) -> float:
    """Grams of salt that bring `volume` litres of water from salinity `start` to `goal`.

    `grams_per_litre`: what this lot needs to make salinity 35 of a litre of pure water.
    """
    if goal < start:
        raise Refused(f"salt does not bring {start:g} down to {goal:g}; add purified water")
    return volume * (goal - start) / 35 * grams_per_litre


def daily_values(quantity: str, start: float, goal: float) -> tuple[float, ...]:
    """The value at the end of each day on the way from `start` to `goal`, within what a day may bring."""
    up, down = DAILY[quantity]
    days = ceil(abs(goal - start) / (up if goal > start else down) - _TINY)
    return tuple(start + (goal - start) * day / days for day in range(1, days + 1))


def correct_salinity(volume: float, start: float, goal: float, with_water: float) -> tuple[SalinityStep, ...]:
    """Day by day from `start` to `goal`: what to drain and replace by water of salinity `with_water`.

    At most +0.5 or −1.0 a day and a fifth of the water. Raises `Refused` where this water cannot do it.
    """
    found: list[SalinityStep] = []
    salinity = start
    while abs(goal - salinity) > _TINY:
        reach = with_water - salinity
        wanted = goal - salinity
        up, down = DAILY["salinity"]
        step = max(-down, min(up, wanted))
        if reach * wanted <= 0 or abs(reach) < abs(wanted):
            raise Refused(
                f"water of {with_water:g} PSU does not bring {start:g} to {goal:g}; use water beyond {goal:g}"
            )
        share = min(CHANGE_A_DAY, step / reach)
        salinity += share * reach
        found.append(SalinityStep(len(found) + 1, share * volume, salinity))
        if len(found) > MOST_CHANGES:
            raise Refused(f"that takes more than {MOST_CHANGES} days; use water that differs more from {goal:g} PSU")
    return tuple(found)
