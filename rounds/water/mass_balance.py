"""What is dissolved is kept: water changes, fresh water lost or added, salt for a batch, supply and demand.

Conservation of mass. Continuous exchange is the wash-out of a stirred vessel: Levenspiel O. (1999),
Chemical Reaction Engineering, 3rd ed., chapters 11–13. Volumes are taken as additive; by mass the same
1000 L at salinity 35 that loses 10 L stands at 35.344 instead of 35.354, within the accuracy of a probe.
"""

from __future__ import annotations

from math import exp, log, log1p

import msgspec

from rounds.core.constants import STANDARD_SALINITY
from rounds.core.errors import Refused
from rounds.water.practice import CHANGE_A_DAY, SALINITY_DOWN_A_DAY, SALINITY_UP_A_DAY
from rounds.water.seawater import density

DRAIN_FIRST, FILL_FIRST, CONTINUOUS = "drain-first", "fill-first", "continuous"
ORDERS = (DRAIN_FIRST, FILL_FIRST, CONTINUOUS)
"""Drain a share and refill; fill up by a share and drain the same; or exchange while it runs."""


_MOST_DAYS = 60
_TINY = 1e-9


class Holding(msgspec.Struct, frozen=True):
    """What a water uses and what would hold it, all in one unit a day."""

    consumption: float
    hold: float
    """The daily supply at which nothing changes; 0 when the water gains by itself."""
    days_to_target: float
    """At the largest step a day."""
    supply_until_target: float
    """The daily supply on the way: `hold` and the step of one day, never below 0."""


def share_left(fraction: float, times: float, order: str = DRAIN_FIRST) -> float:
    """Of what was in the water, after `times` changes of `fraction` of its volume."""
    if order == CONTINUOUS:
        return exp(-fraction * times)
    return float((1 + fraction) ** -times if order == FILL_FIRST else (1 - fraction) ** times)


def after_changes(start: float, new: float, fraction: float, times: float, order: str = DRAIN_FIRST) -> float:
    """The value after water changes, in the unit of `start` and of `new` (that of the water put in)."""
    return new + (start - new) * share_left(fraction, times, order)


def changes_needed(start: float, new: float, target: float, fraction: float, order: str = DRAIN_FIRST) -> float:
    """How many changes bring `start` to `target`, unrounded.

    Raises `Refused` where no number does: the target must lie between `start` and `new`, short of `new`.
    """
    left = (target - new) / (start - new) if start != new else 0.0
    if not 0 < left <= 1:
        raise Refused(
            f"{target:g} is never reached: changes move {start:g} towards {new:g}; choose a target on the way"
        )
    a_change = {CONTINUOUS: -fraction, FILL_FIRST: -log1p(fraction)}.get(order)
    if a_change is None:
        if fraction >= 1:
            return 0.0 if left == 1 else 1.0
        a_change = log1p(-fraction)
    return abs(log(left) / a_change)


def replacement(start: float, target: float, fraction: float) -> float:
    """What the new water of one change must have so that the whole stands at `target`; may come out below 0."""
    return (target - (1 - fraction) * start) / fraction


def steady_state(production: float, interval: float, fraction: float) -> tuple[float, float]:
    """Where changes hold a steady production: just before a change and just after it.

    `production` a day, `interval` days between changes. Before one: what comes in between two, divided by the fraction.
    """
    before = production * interval / fraction
    return before, before * (1 - fraction)


def salinity_after(amount: float, salinity: float, change: float, *, with_salinity: float = 0.0) -> float:
    """After `change` came in (above 0, of `with_salinity`) or evaporated (below 0).

    Amounts of water in litres, or all in kilograms. Raises `Refused` when nothing would be left.
    """
    if -change >= amount:
        raise Refused(f"{-change:g} cannot be lost from {amount:g}; look at both amounts of water")
    return (salinity * amount + with_salinity * change) / (amount + change)


def kilograms(litres: float, salinity: float, temperature: float) -> float:
    """Mass of so many litres of water of a practical salinity at `temperature` °C (TEOS-10)."""
    return litres * density(salinity, temperature) / 1000


class SalinityStep(msgspec.Struct, frozen=True):
    """One day of putting salinity right."""

    before: float
    after: float
    litres: float = 0.0
    """Drained from the system and replaced."""
    grams: float = 0.0
    """Of salt dissolved."""


def correct_by_exchange(volume: float, start: float, goal: float, with_water: float) -> tuple[SalinityStep, ...]:
    """Day by day from `start` to `goal`: what to drain and replace by water of salinity `with_water`.

    Within what a day allows, of the salinity and of the water. Raises `Refused` where this water cannot do it.
    """
    found: list[SalinityStep] = []
    salinity = start
    while abs(goal - salinity) > _TINY:
        reach, wanted = with_water - salinity, goal - salinity
        if reach * wanted <= 0 or abs(reach) < abs(wanted):
            raise Refused(
                f"water of {with_water:g} PSU does not bring {start:g} to {goal:g}; use water beyond {goal:g}"
            )
        share = min(CHANGE_A_DAY, _within_a_day(wanted) / reach)
        found.append(SalinityStep(salinity, salinity + share * reach, litres=share * volume))
        salinity = found[-1].after
        if len(found) > _MOST_DAYS:
            raise Refused(f"that takes more than {_MOST_DAYS} days; use water that differs more from {goal:g} PSU")
    return tuple(found)


def correct_with_salt(volume: float, start: float, goal: float, grams_per_litre: float) -> tuple[SalinityStep, ...]:
    """Day by day from `start` up to `goal`: the salt to dissolve, of which `grams_per_litre` make salinity 35."""
    found: list[SalinityStep] = []
    salinity = start
    while goal - salinity > _TINY:
        after = salinity + _within_a_day(goal - salinity)
        found.append(SalinityStep(salinity, after, grams=salt_for(volume, salinity, after, grams_per_litre)))
        salinity = after
        if len(found) > _MOST_DAYS:
            raise Refused(f"that takes more than {_MOST_DAYS} days; start from water nearer to {goal:g} PSU")
    return tuple(found)


def _within_a_day(wanted: float) -> float:
    return max(-SALINITY_DOWN_A_DAY, min(SALINITY_UP_A_DAY, wanted))


def salt_for(volume: float, from_: float, to: float, grams_per_litre: float, at: float = STANDARD_SALINITY) -> float:
    """Grams that bring `volume` litres from one salinity to another, with a salt of which `grams_per_litre` make `at`.

    In proportion; the water that salt crystals hold is part of `grams_per_litre`, as printed on the bag.
    """
    return volume * grams_per_litre * (to - from_) / at


def holding(supply: float, slope: float, target: float, now: float, max_step: float) -> Holding:
    """From the daily supply and the daily change while it was given; `max_step` a day.

    Raises `Refused` when the target is not met and no step is allowed.
    """
    away = target - now
    if away and not max_step:
        raise Refused(f"with steps of 0 a day {now:g} never comes to {target:g}; give a max_step above 0")
    consumption = supply - slope
    hold = max(0.0, consumption)
    step = daily_step(away, max_step)
    return Holding(consumption, hold, abs(away) / max_step if away else 0.0, max(0.0, consumption + step))


def daily_step(away: float, max_step: float) -> float:
    """Of the way to a target that is `away` (below 0: downwards) the part of one day, `max_step` at most."""
    return max(-max_step, min(max_step, away))
