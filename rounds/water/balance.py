"""What the animals take from the water: consumption = supply − change.

Alkalinity in dKH at salinity 35, its amounts in meq; 2.8039 dKH per meq/L. The change is the robust slope
of the tests with the water changes taken out, so that supply and consumption are what is left.
Calcification takes two equivalents of alkalinity with each calcium (Smith S.V. and Key G.S. 1975,
Limnol. Oceanogr. 20, 493–495).
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.water.limewater import SATURATED_MEQ
from rounds.water.practice import ENOUGH_DAYS, ENOUGH_TESTS
from rounds.water.robust import Slope, theil_sen

WINDOW = timedelta(days=30)
_PASSES = 16
"""The line needs what the water changes added and that needs the line: so often the two are worked out in turn."""


class Point(msgspec.Struct, frozen=True):
    """One measured value."""

    at: datetime
    value: float
    record: str = ""
    """Id of the record it stands in."""


class Supply(msgspec.Struct, frozen=True, kw_only=True):
    """What one source gives to the water in a day."""

    source: str
    """Full id of the reservoir or the equipment."""
    name: str
    kind: str
    """``dosing``, ``limewater`` or ``CO2 reactor``."""
    meq_per_day: float
    how: str
    """Its arithmetic in one line."""

    def dkh(self, volume: float) -> float:
        """The rise of `volume` litres, dKH a day."""
        return self.meq_per_day / volume * DKH_PER_MEQ


class WaterChange(msgspec.Struct, frozen=True):
    """A share of the water replaced."""

    at: datetime
    share: float
    """0 to 1."""
    new: float
    """Alkalinity of the new water at salinity 35, dKH."""


class Break(msgspec.Struct, frozen=True):
    """From here on something of the supply or the test is another: a dose, a solution, a kit, a strength."""

    at: datetime
    what: str
    """``new alkalinity solution``"""


class Stretch(msgspec.Struct, frozen=True):
    """Tests between two breaks."""

    tests: tuple[Point, ...]
    since: Break | None
    """What it begins with; None: the window."""
    waiting: Break | None = None
    """A later break since which there are too few tests."""

    @property
    def begin(self) -> datetime:
        return self.tests[0].at

    @property
    def end(self) -> datetime:
        return self.tests[-1].at


class Balance(msgspec.Struct, frozen=True, kw_only=True):
    """Supply, change and consumption of one system over a stretch of tests; dKH a day unless said otherwise."""

    volume: float
    """Litres."""
    supplies: tuple[Supply, ...]
    stretch: Stretch
    changes: tuple[WaterChange, ...]
    """Those that lie in the stretch."""
    changed: float
    """What the water changes have added over the stretch, dKH."""
    supply: float
    slope: float
    slope_low: float
    """Lower end of the 95 per cent interval."""
    slope_high: float
    level: float
    """Where the line through the tests stands at the last of them, dKH at salinity 35."""

    @property
    def consumption(self) -> float:
        return self.supply - self.slope

    @property
    def low(self) -> float:
        """Lower end of the interval of the consumption, from that of the slope alone."""
        return self.supply - self.slope_high

    @property
    def high(self) -> float:
        return self.supply - self.slope_low

    def meq(self, dkh: float) -> float:
        """So much dKH of this water in meq."""
        return dkh / DKH_PER_MEQ * self.volume

    @property
    def changes_per_day(self) -> float:
        """What the water changes bring on average, dKH a day."""
        days = (self.stretch.end - self.stretch.begin) / ONE_DAY
        return self.changed / days if days else 0.0


# -- sources ---------------------------------------------------------------------------------------


def limewater(source: str, name: str, litres: float, strength: float, said: str = "") -> Supply:
    """`litres` a day of limewater of a share of saturation; `said` where the strength comes from."""
    meq = litres * SATURATED_MEQ * strength
    how = f"{litres:.2f} L a day × {SATURATED_MEQ:g} meq/L × strength {strength:.2f} = {meq:.0f} meq a day"
    return Supply(
        source=source, name=name, kind="limewater", meq_per_day=meq, how=f"{how} ({said})" if said else how
    )  # fmt: skip


def dosing(source: str, name: str, litres: float, strength: float) -> Supply:
    """`litres` a day of a solution of `strength` meq a litre."""
    meq = litres * strength
    how = f"{litres * 1000:.0f} mL a day × {strength / 1000:g} meq/mL = {meq:.1f} meq a day"
    return Supply(source=source, name=name, kind="dosing", meq_per_day=meq, how=how)


def reactor(source: str, name: str, flow: float, outlet: float, tank: float) -> Supply:
    """`flow` litres an hour through a CO2 reactor from `tank` to `outlet` dKH."""
    meq = max(0.0, flow * 24 * (outlet - tank) / DKH_PER_MEQ)
    how = f"{flow * 24:.1f} L a day × (outlet {outlet:.1f} − tank {tank:.1f} dKH) ÷ {DKH_PER_MEQ} = {meq:.0f} meq a day"
    return Supply(source=source, name=name, kind="CO2 reactor", meq_per_day=meq, how=how)


# -- tests -----------------------------------------------------------------------------------------


def latest_stretch(tests: Sequence[Point], breaks: Sequence[Break], now: datetime) -> Stretch:
    """The latest tests between two breaks that are enough to judge by, within the 30 days before `now`.

    Where the last break is too fresh, those before it. Raises `Refused` when nothing is enough.
    """
    begin = now - WINDOW
    known = sorted((each for each in breaks if begin < each.at <= now), key=lambda each: each.at)
    edges = [None, *known]
    for place in range(len(edges) - 1, -1, -1):
        since = edges[place]
        until = known[place].at if place < len(known) else now + timedelta.resolution
        first = since.at if since is not None else begin
        held = tuple(test for test in tests if first <= test.at < until)
        if len(held) >= ENOUGH_TESTS and held[-1].at - held[0].at >= ENOUGH_DAYS:
            return Stretch(held, since, known[-1] if place < len(known) else None)
    usable = sum(1 for test in tests if test.at > begin)
    raise Refused(
        f"{usable} usable {'test' if usable == 1 else 'tests'} in the last {WINDOW.days} days; a balance needs "
        f"{ENOUGH_TESTS} over at least {ENOUGH_DAYS.days} days with the same dose, solution, kit and strength: "
        "test again"
    )


def balance(
    volume: float, supplies: Sequence[Supply], stretch: Stretch, changes: Sequence[WaterChange] = ()
) -> Balance:
    """Consumption of `volume` litres from what was supplied and how the tests of the stretch moved."""
    inside = tuple(each for each in sorted(changes, key=lambda c: c.at) if stretch.begin < each.at <= stretch.end)
    added: list[float] = []
    line = _line(stretch, (), ())
    for _ in range(_PASSES if inside else 0):
        added = _added(line, stretch.end, inside)
        line = _line(stretch, inside, added)
    return Balance(
        volume=volume,
        supplies=tuple(supplies),
        stretch=stretch,
        changes=inside,
        changed=sum(added),
        supply=sum(each.dkh(volume) for each in supplies),
        slope=line.slope,
        slope_low=line.low,
        slope_high=line.high,
        level=line.intercept + sum(added),
    )


def _line(stretch: Stretch, changes: Sequence[WaterChange], added: Sequence[float]) -> Slope:
    """The line through the tests with what the water changes added taken out; days from the last test."""
    rises = list(zip(changes, added, strict=True))
    x = [(test.at - stretch.end) / ONE_DAY for test in stretch.tests]
    return theil_sen(
        x, [test.value - sum(rise for change, rise in rises if change.at <= test.at) for test in stretch.tests]
    )


def _added(line: Slope, end: datetime, changes: Sequence[WaterChange]) -> list[float]:
    """What each water change added to the level that the line, and the changes before it, gave it."""
    added: list[float] = []
    for change in changes:
        level = line.intercept + line.slope * ((change.at - end) / ONE_DAY) + sum(added)
        added.append(change.share * (change.new - level))
    return added
