"""What supplies alkalinity to a water: how much of it, how strong, and when it became another."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from statistics import median

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.model import Equipment, Reservoir, Room, System
from rounds.core.record import REFILL
from rounds.core.staged import HELD, setting_at, steps
from rounds.core.words import plain
from rounds.report.past import Past
from rounds.report.series import when
from rounds.water.balance import WINDOW, Break, Point, Supply, dosing, limewater, reactor
from rounds.water.departures import DOSE_MATTERS
from rounds.water.levels import Measured, Use, amount
from rounds.water.limewater import SATURATED_CONDUCTIVITY, SATURATED_MEQ, strength_from_conductivity
from rounds.water.reserves import out_of_step

LOOK_BACK = WINDOW + timedelta(days=30)
"""Records so old still say how strong a source was when the window began."""
STRENGTH_STEP = 0.15
"""A measured strength that moves by so much from one test to the next has changed; common practice, no source."""
_NEW_SOLUTION = re.compile(r"\b(new|batch|lot)\b", re.IGNORECASE)
"""What the note of a refill says when another solution went in."""

Source = Reservoir | Equipment


class Failing(msgspec.Struct, frozen=True, kw_only=True):
    """A container that gives another dose than is set."""

    since: datetime
    litres: float
    """A day, by its levels since then."""
    said: str
    """What is to be looked at, in a sentence."""
    what: str
    """``solution gives 0 mL a day instead of 70 mL``"""


def sources_of(system: System) -> list[Source]:
    """What supplies alkalinity: solutions first, then limewater, then reactors."""
    solutions = [tank for tank in system.reservoirs if tank.doses == "alkalinity"]
    lime = [tank for tank in system.reservoirs if tank.kind == "limewater"]
    reactors = [each for each in system.equipment if each.outlet is not None]
    return [*solutions, *lime, *reactors]


def daily_dose(tank: Reservoir, use: Use) -> float | None:
    """Litres a day of a reservoir by its levels; where these agree with the use that is set, that is left to stand.

    A pump is turned from what it is set to, and levels tell that no better than their interval. None: not known.
    """
    if use.per_day is None:
        return tank.use
    low, high = use.interval or (use.per_day, use.per_day)
    return tank.use if tank.use is not None and low <= tank.use <= high else _rounded(use.per_day)


def _rounded(litres: float) -> float:
    """To three figures: more are not known, and nothing is set more finely."""
    return float(f"{litres:.3g}")


class Sources:
    """The sources of one system as its records up to an instant have them."""

    def __init__(self, room: Room, past: Past, system: System, now: datetime) -> None:
        self._room, self._past, self._now = room, past, now
        self._begin = now - LOOK_BACK
        self.all = sources_of(system)
        self.assumed: list[str] = []
        """What had to be taken for granted, in sentences."""

    # -- how much ------------------------------------------------------------------------------------

    def supply(self, source: Source, begin: datetime, end: datetime, tests: Sequence[Point]) -> Supply:
        """What the source has given from `begin` to `end`; `tests` are those of the tank."""
        failing = self.failing(source)
        given = failing.litres if failing is not None and begin >= failing.since else None
        return self._supply(source, given, begin, end, tests)

    def supply_as_set(self, source: Source, begin: datetime, end: datetime, tests: Sequence[Point]) -> Supply:
        """What the source gives at `end` as long as it gives what is set; its strength is that since `begin`."""
        return self._supply(source, None, begin, end, tests)

    def _supply(
        self, source: Source, given: float | None, begin: datetime, end: datetime, tests: Sequence[Point]
    ) -> Supply:
        name = plain(source.name)
        flow = given if given is not None else self.set_to(source, end)
        if isinstance(source, Equipment):
            outlet = self._measured(source, begin, end)
            if outlet is None:
                raise Refused(f"what comes out of the {name} was not tested in {LOOK_BACK.days} days; test its outlet")
            tank = median(test.value for test in tests if begin <= test.at <= end)
            return reactor(source.id, name, flow, outlet * DKH_PER_MEQ, tank)
        if source.kind == "dosing":
            if source.strength is None:
                raise Refused(f'the strength of the {name} is not known; add strength = "1.0 meq/mL" to its table')
            return dosing(source.id, name, flow, source.strength)
        strength, said = self.lime_strength(source, begin, end)
        return limewater(source.id, name, flow, strength, said)

    def set_to(self, source: Source, at: datetime) -> float:
        """Litres a day of a reservoir, litres an hour through a reactor: by steps, by the levels, by the room.

        Raises `Refused` with what is missing.
        """
        known = setting_at(self._past.history, source.id, at, self._now)
        if known is None:
            known = daily_dose(source, self._levels(source).use) if isinstance(source, Reservoir) else source.flow
        if known is None:
            key = 'use = "70 mL/day"' if isinstance(source, Reservoir) else 'flow = "45 mL/min"'
            raise Refused(f"how much the {plain(source.name)} gives is not known; add {key} to its table")
        return known

    def _levels(self, tank: Reservoir) -> Measured:
        return self._past.levels.measured(self._room, self._past.history, tank, self._now)

    # -- how strong ----------------------------------------------------------------------------------

    def lime_strength(self, tank: Reservoir, begin: datetime, end: datetime) -> tuple[float, str]:
        """Share of saturation, and where that is known from."""
        saturated = tank.saturated or SATURATED_CONDUCTIVITY
        conductivity = self._measured(tank, begin, end)
        if conductivity is not None:
            said = f"{conductivity / 1000:.2f} of {saturated / 1000:.2f} mS/cm"
            return strength_from_conductivity(conductivity, saturated), said
        if tank.strength is not None:
            return tank.strength / SATURATED_MEQ, "as written"
        self.assumed.append(
            f"The strength of the {plain(tank.name)} was not measured: taken as saturated, the most it is"
        )
        return 1.0, "not measured"

    def _measured(self, source: Source, begin: datetime, end: datetime) -> float | None:
        """The middle of the strength tests of the stretch, else the last before it."""
        values = self._strengths(source)
        inside = [each.value for each in values if begin <= each.at <= end]
        before = [each.value for each in values if each.at < begin]
        return median(inside) if inside else before[-1] if before else None

    def _strengths(self, source: Source) -> list[Point]:
        id = source.strength_reading if isinstance(source, Reservoir) else source.outlet
        if id is None:
            return []
        found = self._past.numbers(self._room, self._room.readings[id], self._begin, self._now)
        return [Point(each.at, each.value, each.id) for each in found]

    # -- when it became another ------------------------------------------------------------------------

    def breaks(self) -> list[Break]:
        found = []
        for source in self.all:
            name, failing, strengths = plain(source.name), self.failing(source), self._strengths(source)
            found += [Break(at, f"another dose of {name}") for at in self.steps(source)]
            if isinstance(source, Reservoir) and source.kind == "dosing":
                found += [Break(at, f"new {name}") for at in self._new_solutions(source)]
            if failing is not None:
                found.append(Break(failing.since, failing.what))
            found += [
                Break(after.at, f"strength of {name} {(after.value / before.value - 1) * 100:+.0f} %")
                for before, after in pairwise(strengths)
                if before.value and abs(after.value / before.value - 1) > STRENGTH_STEP
            ]
        return found

    def steps(self, source: Source) -> list[datetime]:
        """When its dose was changed."""
        made = steps(self._past.history, source.id, self._now)
        return [when(step.record) for step in made if step.outcome != HELD]

    def _new_solutions(self, tank: Reservoir) -> list[datetime]:
        refills = self._past.history.closings(f"{tank.id}-refill").through(self._begin, self._now)
        return [when(each) for each in refills if each.kind == REFILL and _NEW_SOLUTION.search(each.note)]

    def failing(self, source: Source) -> Failing | None:
        """That a dosing container has begun to fall otherwise than its pump is set; None: it has not."""
        if not isinstance(source, Reservoir) or source.kind != "dosing":
            return None
        measured = self._levels(source)
        found = measured.departure
        if found is None:
            return None
        wanted = self.set_to(source, self._now)
        if abs(found.recent - wanted) <= DOSE_MATTERS * wanted:
            return None
        name, litres = plain(source.name), max(0.0, found.recent)
        what = f"{name} gives {amount(self._room, litres)} a day instead of {amount(self._room, wanted)}"
        pair = out_of_step(self._past.levels, self._room, self._past.history, measured, self._now)
        return Failing(
            since=_begin_of(measured),
            litres=litres,
            said=f"{what}. {pair or 'Look at its head, its line and its setting.'}",
            what=what,
        )


def _begin_of(measured: Measured) -> datetime:
    """The level from which on the container has fallen as it does now and not as it used to, across its refills."""
    found = measured.departure
    assert found is not None
    begin = found.before
    for stretch in reversed(measured.stretches):
        for earlier, later in reversed(list(pairwise(point for point in stretch if point.at <= found.before.at))):
            days = (later.at - earlier.at) / ONE_DAY
            fall = earlier.litres - later.litres
            if abs(fall - found.recent * days) >= abs(fall - found.usual * days):
                return begin.at
            begin = earlier
    return begin.at
