"""What dose would hold the target, and what would bring the water there: a proposal, never applied by itself.

The limits of a step are common practice, without a source, except where said otherwise.
"""

from __future__ import annotations

from datetime import timedelta
from math import ceil, floor, inf

import msgspec

from rounds.core.constants import CALCIUM_PER_DKH, DKH_PER_MEQ
from rounds.core.words import plural
from rounds.water.practice import (
    ENOUGH_DAYS,
    ENOUGH_TESTS,
    LIMEWATER_A_DAY,
    LIMEWATER_AN_HOUR,
    RISE_A_DAY,
    RISE_AT_ONCE,
    STOP_PH,
    SUPPLY_STEP,
)

PULL = timedelta(days=14)
"""Over so long the standing dose brings back what single additions cannot."""
ADDITION_DAYS = 7
"""So far ahead additions are listed; by then there are new tests."""
CLOSE = 0.1
"""dKH: nearer to the target than a kit can tell."""
_TINY = 1e-9
"""Of what is lost in the last digits of a division."""


class Dial(msgspec.Struct, frozen=True, kw_only=True):
    """What a keeper can turn to supply more or less."""

    source: str
    """Full id."""
    name: str
    kind: str
    """``dosing``, ``limewater`` or ``CO2 reactor``."""
    present: float
    """In `unit`."""
    unit: str
    """``mL/day``, ``L/day`` or ``mL/min``."""
    meq: float
    """A day, for each `unit`."""
    step: float
    """To which it can be set."""


class Water(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of the water when a dose is judged; dKH at salinity 35."""

    volume: float
    """Litres."""
    supply: float
    """dKH a day, all sources together as they are now."""
    consumption: float
    """dKH a day."""
    consumption_low: float | None = None
    """Lower end of its interval; None: not known."""
    consumption_high: float | None = None
    """Upper end."""
    level: float
    """dKH."""
    target: float
    changes: float = 0.0
    """dKH a day that water changes bring on average."""
    ph: float | None = None
    """The last one, NBS scale."""
    salinity: float | None = None
    evaporation: float | None = None
    """Litres a day."""
    limewater: float = 0.0
    """Litres a day, as it is now."""
    tests_since_step: int | None = None
    """Since the last step of a dose; None: no step known."""
    days_since_step: float | None = None
    failing: str = ""
    """What gives another dose than is set, in sentences; empty: nothing."""


class Addition(msgspec.Struct, frozen=True, kw_only=True):
    """Solution given once, beside the standing dose."""

    day: int
    """1 is the day on which it begins."""
    amount: float
    """mL."""
    rise: float
    """dKH."""
    calcium: float | None
    """mL of the calcium solution with it; None: there is none."""


class Proposal(msgspec.Struct, frozen=True, kw_only=True):
    """One step, with the arithmetic it stands on."""

    dial: Dial
    volume: float
    """Litres it holds for."""
    wanted: float
    """What would hold the target, unbounded and unrounded, in the dial's unit."""
    new: float
    """What is proposed: within the limits of one step, rounded towards what it is now."""
    supply_after: float
    """dKH a day."""
    additions: tuple[Addition, ...]
    calcium: tuple[Dial, float] | None
    """The calcium solution and its new dose."""
    days_to_target: float | None
    """None: this step alone does not bring it there."""
    waits: str
    """Why nothing may be changed yet; empty: it may."""
    lines: tuple[str, ...]
    """The arithmetic, a line each."""
    cautions: tuple[str, ...]
    first: str
    """What to test before anything is changed."""

    @property
    def changes(self) -> bool:
        return self.new != self.dial.present

    @property
    def steps(self) -> list[tuple[Dial, float]]:
        """What is turned, and to what."""
        both = [(self.dial, self.new), *([self.calcium] if self.calcium is not None else [])]
        return [(dial, new) for dial, new in both if new != dial.present]


def propose(water: Water, dial: Dial, calcium: Dial | None = None) -> Proposal:
    """The next step of `dial`, and additions where it is a solution and the water is below its target.

    `calcium` is the solution that is given in step with it.
    """
    per_unit = dial.meq / water.volume * DKH_PER_MEQ
    gap = water.target - water.level
    waits = _waits(water)
    by_additions = dial.kind == "dosing" and gap > 0
    others = water.supply - dial.present * per_unit + water.changes
    wanted = max(0.0, (water.consumption - others) / per_unit)
    pull = 0.0 if by_additions or abs(gap) <= CLOSE else gap / (PULL / timedelta(days=1))
    holds = not pull and _holds(water)
    aim = max(0.0, (water.consumption + max(-RISE_A_DAY, min(RISE_A_DAY, pull)) - others) / per_unit)
    low, high, bounds = _bounds(water, dial, per_unit)
    new = _setting(dial.present if waits or holds else aim, low, high, dial)
    supply_after = water.supply + (new - dial.present) * per_unit
    drift = supply_after + water.changes - water.consumption
    additions = () if waits or not by_additions else _additions(water, dial, calcium, drift)
    lines = [
        f"without {dial.name}: {others:.3f} dKH a day from the other sources and water changes",
        f"to hold: ({water.consumption:.3f} − {others:.3f}) dKH a day × {water.volume:g} L ÷ {DKH_PER_MEQ} "
        f"÷ {dial.meq:g} meq a day for each {dial.unit} = {wanted:.2f} {dial.unit}",
    ]
    if pull:
        lines.append(
            f"to bring {water.level:.2f} to {water.target:.2f} dKH in {PULL.days} days: {pull:+.3f} dKH a day, "
            f"so {aim:.2f} {dial.unit}"
        )
    if holds:
        lines.append(
            f"supply and water changes give {water.supply + water.changes:.3f} dKH a day, within the "
            f"{water.consumption_low:.3f} to {water.consumption_high:.3f} that the tests can tell: the dose stays"
        )
    lines += bounds
    moved = f"{_amount(dial.present, dial)} to" if new != dial.present else "stays at"
    lines.append(
        f"{dial.name}: {moved} {_amount(new, dial)} {dial.unit}, set to {dial.step:g} {dial.unit}; "
        f"supply {water.supply:.3f} to {supply_after:.3f} dKH a day"
    )
    lines += _addition_lines(additions, water, dial, calcium)
    step = _calcium_step(calcium, dial, new)
    if calcium is not None and step is not None:
        rise = (new - dial.present) * per_unit
        lines.append(
            f"calcium in step: {rise:+.3f} dKH a day × {CALCIUM_PER_DKH:.3f} mg/L for each dKH = "
            f"{rise * CALCIUM_PER_DKH:+.2f} mg/L a day; {calcium.name} {_amount(calcium.present, calcium)} to "
            f"{_amount(step, calcium)} {calcium.unit}"
        )
    return Proposal(
        dial=dial,
        volume=water.volume,
        wanted=wanted,
        new=new,
        supply_after=supply_after,
        additions=additions,
        calcium=(calcium, step) if calcium is not None and step is not None else None,
        days_to_target=_days(gap, drift, additions, water),
        waits=waits,
        lines=tuple(lines),
        cautions=_cautions(water, dial, new, wanted),
        first=f"Test again first, with a second kit if you can; then {ENOUGH_TESTS} tests over at least "
        f"{ENOUGH_DAYS.days} days before the next step",
    )


def _waits(water: Water) -> str:
    if water.failing:
        return f"{water.failing} Put that right before any dose is changed"
    tests, days = water.tests_since_step, water.days_since_step
    if tests is None or days is None or (tests >= ENOUGH_TESTS and days >= ENOUGH_DAYS / timedelta(days=1)):
        return ""
    return (
        f"The last step is {plural(int(days), 'day')} and {plural(tests, 'test')} old; "
        f"wait for {ENOUGH_TESTS} tests over at least {ENOUGH_DAYS.days} days"
    )


def _holds(water: Water) -> bool:
    """Whether the supply lies where the tests cannot tell it from the consumption."""
    low, high = water.consumption_low, water.consumption_high
    return low is not None and high is not None and low <= water.supply + water.changes <= high


def _bounds(water: Water, dial: Dial, per_unit: float) -> tuple[float, float, list[str]]:
    """The least and the most the dial may be set to, with the reasons."""
    base = water.supply if water.supply > 0 else max(0.0, water.consumption)
    room = SUPPLY_STEP * base / per_unit
    low, high = max(0.0, dial.present - room), dial.present + room
    lines = [
        f"one step: at most {SUPPLY_STEP * 100:.0f} % of {base:.3f} dKH a day = {SUPPLY_STEP * base:.3f} dKH a day = "
        f"{room:.2f} {dial.unit}"
    ]
    if dial.kind == "limewater":
        most = LIMEWATER_A_DAY * water.volume
        evaporation = dial.present if water.evaporation is None else max(0.0, water.evaporation)
        said = f"1 % of {water.volume:g} L = {most:.2f} L, evaporation "
        said += "not known, so no more than now" if water.evaporation is None else f"{evaporation:.2f} L"
        high = min(high, most, evaporation)
        low = min(low, high)
        lines.append(
            f"limewater a day: at most {said}; no faster than {LIMEWATER_AN_HOUR * water.volume:.2f} L an hour "
            f"({LIMEWATER_AN_HOUR:.1%})"
        )
    if water.ph is not None and water.ph > STOP_PH:
        high = min(high, dial.present)
        low = min(low, high)
        lines.append(f"pH {water.ph:.2f} is above {STOP_PH} (NBS): nothing is raised")
    return low, high, lines


def _setting(aim: float, low: float, high: float, dial: Dial) -> float:
    """What the dial can be set to nearest to `aim` within the limits: rounded towards what it is now.

    What is above its limit already is rounded down below it.
    """
    away = (max(low, min(high, aim)) - dial.present) / dial.step
    if dial.present > high:
        return max(0.0, dial.present - ceil(-away - _TINY) * dial.step)
    whole = floor(abs(away) + _TINY)
    return max(0.0, dial.present + (whole if away > 0 else -whole) * dial.step)


def _additions(water: Water, dial: Dial, calcium: Dial | None, drift: float) -> tuple[Addition, ...]:
    """Day by day until the target, each within the limits, amounts rounded down."""
    if water.ph is not None and water.ph > STOP_PH:
        return ()
    per_millilitre = dial.meq / water.volume * DKH_PER_MEQ
    found: list[Addition] = []
    level = water.level
    for day in range(1, ADDITION_DAYS + 1):
        level += drift
        room = min(water.target - level, RISE_A_DAY - max(0.0, drift))
        while room > CLOSE and (amount := floor(min(room, RISE_AT_ONCE) / per_millilitre + _TINY)) > 0:
            rise = amount * per_millilitre
            with_it = amount * dial.meq / calcium.meq if calcium is not None else None
            found.append(Addition(day=day, amount=amount, rise=rise, calcium=with_it))
            room -= rise
            level += rise
        if water.target - level <= CLOSE:
            break
    return tuple(found)


def _addition_lines(additions: tuple[Addition, ...], water: Water, dial: Dial, calcium: Dial | None) -> list[str]:
    if not additions:
        return []
    total = sum(each.rise for each in additions)
    lines = [
        f"from {water.level:.2f} towards {water.target:.2f} dKH: {total:.2f} dKH in {len(additions)} additions of at "
        f"most {RISE_AT_ONCE} dKH, at most {RISE_A_DAY} dKH a day above consumption; mL rounded down"
    ]
    for day in dict.fromkeys(each.day for each in additions):
        of_day = [each for each in additions if each.day == day]
        given = " and ".join(f"{each.amount:.0f} mL" for each in of_day)
        line = f"day {day}: {given} of {dial.name} (+{sum(each.rise for each in of_day):.2f} dKH)"
        if calcium is not None:
            line += f", {' and '.join(f'{each.calcium:.0f} mL' for each in of_day)} of {calcium.name}, apart"
        lines.append(line)
    return lines


def _calcium_step(calcium: Dial | None, dial: Dial, new: float) -> float | None:
    if calcium is None or new == dial.present:
        return None
    return _setting(calcium.present + (new - dial.present) * dial.meq / calcium.meq, 0.0, inf, calcium)


def _days(gap: float, drift: float, additions: tuple[Addition, ...], water: Water) -> float | None:
    """Until the water stands at its target."""
    if abs(gap) <= CLOSE:
        return 0.0
    if additions:
        last = additions[-1].day
        reached = water.level + drift * last + sum(each.rise for each in additions)
        return float(last) if water.target - reached <= 2 * CLOSE else None
    return gap / drift if gap * drift > 0 else None


def _cautions(water: Water, dial: Dial, new: float, wanted: float) -> tuple[str, ...]:
    found = []
    if water.ph is not None and water.ph > STOP_PH:
        found.append(f"pH {water.ph:.2f} is above {STOP_PH}: stop limewater and look again in an hour")
    if water.ph is None and new > dial.present:
        found.append("pH was not read in the last days: read it before anything is raised")
    if water.salinity is not None and abs(water.salinity - 35) > 0.5:
        found.append(f"Salinity is {water.salinity:.1f}: put that right first")
    if water.evaporation is not None and water.limewater > water.evaporation:
        found.append(
            f"Limewater ({water.limewater:.1f} L a day) is more than what evaporates ({water.evaporation:.1f} L): "
            "lower it"
        )
    if water.limewater > LIMEWATER_A_DAY * water.volume:
        found.append(
            f"Limewater is more than {LIMEWATER_A_DAY:.0%} of the system a day ({LIMEWATER_A_DAY * water.volume:.1f} L)"
        )
    if abs(wanted - new) > dial.step and new != dial.present:
        found.append("This step alone does not reach the dose that holds; test, then step again")
    if dial.kind == "dosing":
        found.append(
            "Spread additions over the day and into strong flow, alkalinity and calcium apart; "
            f"test before each and stop when pH is above {STOP_PH}"
        )
    if dial.kind == "CO2 reactor" and new != dial.present:
        found.append("Another flow changes what comes out: test the outlet and its pH again after a day")
    if dial.kind == "limewater":
        found.append("Limewater is caustic: goggles, gloves; never stir and feed at once")
    return tuple(found)


def _amount(value: float, dial: Dial) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".") if dial.step < 1 else f"{value:.0f}"
