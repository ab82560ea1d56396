"""Where a reading is heading: robust slope, when it leaves its band, when to test again.

Theil–Sen slope with the interval of Sen (1968), outliers by the modified z-score of Iglewicz and Hoaglin
(1993); see `rounds.water.robust`. What dilution moves is judged at salinity 35, value × 35 / salinity,
because salts keep their proportions when fresh water comes or goes (mass balance). How far the window
reaches and how soon to test again are common practice, without a source.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from itertools import groupby
from math import factorial
from statistics import median

import msgspec

from rounds.core.bands import retest, surely_beyond
from rounds.core.calendar import ONE_DAY
from rounds.core.constants import STANDARD_SALINITY
from rounds.core.model import Quantity, Reading, Room
from rounds.core.record import Record
from rounds.core.series import Point, Step, in_water, numbers_of, points_of, salinities, steps_of, valves_on
from rounds.core.units import from_canonical, shown_unit
from rounds.core.waters import Valves
from rounds.water.robust import OUTLIER, modified_z, running_medians, theil_sen

WINDOW = timedelta(days=30)
"""The window reaches back so far, unless there are too few values in it."""
ENOUGH, ENOUGH_WITHIN = 8, timedelta(days=180)
"""It reaches further back to so many usable values, but not beyond this span."""
FEWEST = 3
"""Usable values that a slope needs; the window reaches back to them however far."""
JUDGED_FROM = 5
"""Usable values from which on one of them can be called an outlier."""
MOST_PAIRED = 2000
"""More points than this are joined into medians of days, then of weeks: pairs grow with the square."""

OCEAN = (25.0, 42.0)
"""Salinities at which it makes sense to judge at 35."""
BETWEEN_SALINITIES = timedelta(days=14)
"""Salinity is interpolated between readings no further apart."""
BESIDE_SALINITY = timedelta(days=7)
"""Otherwise the nearest reading counts, if it is no further away."""

HORIZON = timedelta(days=3650)
"""Nothing is forecast beyond it."""

_NOTICEABLE = 1.5
"""An outlier is off by more than so many of the last digit shown: a kit cannot read finer."""


class TrendValue(msgspec.Struct, frozen=True, kw_only=True):
    """One value in the window of a trend, in the unit shown."""

    id: str
    """Of its record."""
    at: datetime
    value: float
    """As measured; for a bound, the kit's limit."""
    corrected: float | None
    """What is calculated with: steps of the instrument taken out, at salinity 35 where that counts; None: not used."""
    bound: str | None
    doubt: str | None
    """Why it was doubted when it was written down."""
    salinity: float | None = None
    """At that time, by the readings around it; None: not needed or not known."""
    score: float | None = None
    """Modified z-score of its distance from the line; None with too few values."""
    flagged: bool = False
    """Off the line as an outlier, or doubted when it was written down."""

    @property
    def used(self) -> bool:
        return self.corrected is not None


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """A robust line through the values, in the unit shown per day."""

    slope: float
    low: float
    high: float
    confidence: float
    """Of the interval from low to high; below 0.95 where too few values allow no more."""
    middle_at: datetime
    middle: float
    """Median time and median value: every slope of the interval turns about this point."""
    pairs: int
    """Slopes between two values, of which the line has the median."""

    def at(self, when: datetime) -> float:
        """The value on the line."""
        return self.middle + self.slope * ((when - self.middle_at) / ONE_DAY)

    @property
    def direction(self) -> int:
        """1 rising, -1 falling, 0 when the interval holds both; at its flat end it may touch zero."""
        if self.slope == 0:
            return 0
        return 1 if self.low >= 0 else -1 if self.high <= 0 else 0


class Leaving(msgspec.Struct, frozen=True, kw_only=True):
    """When the line leaves the usual band."""

    limit: float
    """The end of the band, in the unit shown."""
    below: bool
    at: datetime
    earliest: datetime
    """By the steeper end of the slope's interval; never before the latest value."""
    latest: datetime | None
    """By its flatter end; None: not within the horizon."""
    outside: bool = False
    """It has left already: the latest value lies outside, or the line does there; that is the time of all three."""


class Trend(msgspec.Struct, frozen=True, kw_only=True):
    """What the values of one reading come to."""

    reading: str
    unit: str
    """The unit of every number here."""
    values: tuple[TrendValue, ...]
    """All in the window, in history order."""
    begins_with: Step | None = None
    """The step after which the window begins; None: no step within reach."""
    taken_out: tuple[Step, ...] = ()
    """Steps of the instrument by which older values were shifted."""
    at_35: bool = False
    """Whether values were corrected to salinity 35."""
    assumed_salinity: float | None = None
    """Taken for values without a salinity near them; None: every one has its own."""
    line: Line | None = None
    """None: fewer than three usable values, or all of one instant."""
    joined: timedelta | None = None
    """Span whose medians were paired instead of single values; None: the values themselves."""
    leaves: Leaving | None = None

    @property
    def used(self) -> list[TrendValue]:
        return [value for value in self.values if value.used]

    @property
    def latest(self) -> TrendValue | None:
        """The latest usable value."""
        return next((value for value in reversed(self.values) if value.used), None)

    @property
    def flagged(self) -> tuple[str, ...]:
        """Ids of records with a value that is off, in history order."""
        return tuple(dict.fromkeys(value.id for value in self.values if value.flagged))


def trend_of(
    room: Room, reading: Reading, records: Iterable[Record], now: datetime, window: timedelta | None = None
) -> Trend:
    """The trend of a reading as it stands at `now`.

    `records` are those of `rounds.core.series.standing_records` for `bearing_on(room, reading)`, in any order.
    The window begins after the last step that cannot be taken out. It reaches `window` back from the latest
    value; without one 30 days, and further back to 8 usable values within 180 days or to 3 at any distance.
    """
    records = list(records)
    valves = valves_on(room, reading, records, now)
    points = points_of(reading, in_water(reading, records, valves, reading.station), now)
    steps = steps_of(room, reading, records, now)
    broken = next((step for step in reversed(steps) if step.offset is None), None)
    shifts = tuple(step for step in steps if step.offset is not None and (broken is None or step.at > broken.at))
    reach = [point for point in points if broken is None or point.at >= broken.at]
    chosen = _window(reach, window)
    salinity = _salinities(room, reading, records, now, chosen, valves)
    values = tuple(_value(reading, point, shifts, salinity) for point in chosen)
    shown = shown_unit(reading).name
    line, joined = _line(values)
    if line is not None:
        values = _judged(reading, values, line)
    begins = chosen[0].at if chosen else now
    return Trend(
        reading=reading.id,
        unit=shown,
        values=values,
        begins_with=broken if len(chosen) == len(reach) else None,
        taken_out=tuple(step for step in shifts if step.at > begins),
        at_35=salinity is not None,
        assumed_salinity=salinity.usual if salinity is not None and salinity.assumed else None,
        line=line,
        joined=joined,
        leaves=_leaves(reading, line, values, reading.low, reading.high),
    )


def values_since(
    room: Room, reading: Reading, records: Iterable[Record], now: datetime, begin: datetime, *, at_35: bool
) -> tuple[TrendValue, ...]:
    """Every value from `begin` up to `now`, also from before a step, in history order.

    Each as a trend would calculate with it: with what is known of the instrument, and where `at_35` says so at
    salinity 35. No value is judged here. `records` as for `trend_of`.
    """
    records = list(records)
    valves = valves_on(room, reading, records, now)
    own = in_water(reading, records, valves, reading.station)
    chosen = [point for point in points_of(reading, own, now) if point.at >= begin]
    shifts = [step for step in steps_of(room, reading, records, now) if step.offset is not None]
    salinity = _salinities(room, reading, records, now, chosen, valves) if at_35 else None
    return tuple(_value(reading, point, shifts, salinity) for point in chosen)


def leaving(reading: Reading, trend: Trend, low: Quantity | None, high: Quantity | None) -> Leaving | None:
    """When the line of a reading's trend leaves the range between two limits, such as the act-now limits."""
    return _leaves(reading, trend.line, trend.values, low, high)


def next_test(trend: Trend, now: datetime, due: datetime | None, interval: timedelta) -> datetime | None:
    """When to test next: when it is due by its rule, or sooner when it may leave its band before that.

    Then halfway from `now` to the earliest time at which it may, though not within a quarter of `interval`
    after the latest value. Outside its band: see `rounds.core.bands.retest`. None: no rule and no forecast.
    """
    leaves, latest = trend.leaves, trend.latest
    if leaves is None or latest is None:
        return due
    if leaves.outside:
        sooner = retest(latest.at, interval)
    elif due is not None and due <= leaves.earliest:
        return due
    else:
        sooner = max(now + (leaves.earliest - now) / 2, latest.at + interval / 4)
    sooner = max(sooner, now)
    return sooner if due is None else min(due, sooner)


# -- which values --------------------------------------------------------------------------------------


def _window(points: Sequence[Point], window: timedelta | None) -> list[Point]:
    """The end of the series that is looked at."""
    if not points:
        return []
    end = points[-1].at
    usable = 0
    for place in range(len(points) - 1, -1, -1):
        age = end - points[place].at
        if window is None:
            reached = age <= WINDOW or (usable < ENOUGH and age <= ENOUGH_WITHIN) or usable < FEWEST
        else:
            reached = age <= window
        if not reached:
            return list(points[place + 1 :])
        usable += points[place].usable
    return list(points)


class _Salinity(msgspec.Struct):
    """The salinity at each value of a window."""

    known: dict[datetime, float]
    """By the time of the value, where there is a reading near it."""
    usual: float
    """Median of the known ones."""
    assumed: bool
    """Whether there are values for which it has to stand in."""


def _salinities(
    room: Room,
    reading: Reading,
    records: Sequence[Record],
    now: datetime,
    points: Sequence[Point],
    valves: Valves,
) -> _Salinity | None:
    """Of the water of the reading; None where it does not count, or is known of fewer than half the usable values.

    What was read before its instrument became another in an unknown way is no salinity of today's instrument.
    """
    times = [point.at for point in points if point.usable]
    series: list[tuple[datetime, float]] = []
    for each in salinities(room, reading):
        steps = [step for step in steps_of(room, each, records, now) if step.instrument]
        since = max((step.at for step in steps if step.offset is None), default=None)
        series += [
            (point.at, point.value + _shift(point.at, steps))
            for point in numbers_of(each, in_water(each, records, valves, reading.station), now)
            if OCEAN[0] <= point.value <= OCEAN[1] and (since is None or point.at >= since)
        ]
    at = _interpolated(sorted(series), [turn.at for turn in valves.turns_at(reading.station) if not turn.apart])
    known = {when: found for when in times if (found := at(when)) is not None}
    lacking = sum(when not in known for when in times)
    if not known or lacking * 2 > len(times):
        return None
    return _Salinity(known, median(known.values()), lacking > 0)


def _interpolated(
    series: Sequence[tuple[datetime, float]], mixed: Sequence[datetime]
) -> Callable[[datetime], float | None]:
    """The value of a series between its points; see `BETWEEN_SALINITIES` and `BESIDE_SALINITY`.

    `mixed` are the times at which another water came in: from one side of them nothing is known of the other.
    """
    times = [at for at, _ in series]

    def at(when: datetime) -> float | None:
        place = bisect_left(times, when)
        side = bisect_right(mixed, when)
        around = [each for each in series[max(place - 1, 0) : place + 1] if bisect_right(mixed, each[0]) == side]
        if len(around) == 2:
            (before, low), (after, high) = around
            if after - before <= BETWEEN_SALINITIES:
                return low + (high - low) * ((when - before) / (after - before)) if after > before else high
        near = min(around, key=lambda each: abs(each[0] - when), default=None)
        return near[1] if near is not None and abs(near[0] - when) <= BESIDE_SALINITY else None

    return at


def _shift(at: datetime, steps: Iterable[Step]) -> float:
    """By how much a value measured at `at` would show more today, with the instrument as it is now."""
    return sum(step.offset or 0.0 for step in steps if at < step.at)


def _value(reading: Reading, point: Point, steps: Sequence[Step], salinity: _Salinity | None) -> TrendValue:
    unit = shown_unit(reading).name
    corrected, at = None, None
    if point.usable:
        number = point.value + _shift(point.at, steps)
        if salinity is not None:
            at = salinity.known.get(point.at)
            number *= STANDARD_SALINITY / (at if at is not None else salinity.usual)
        corrected = from_canonical(reading.quantity, number, unit, reading=reading)
    return TrendValue(
        id=point.id,
        at=point.at,
        value=from_canonical(reading.quantity, point.value, unit, reading=reading),
        corrected=corrected,
        bound=point.bound,
        doubt=point.doubt,
        salinity=at,
        flagged=point.doubt is not None,
    )


# -- the line ------------------------------------------------------------------------------------------


def _line(values: Sequence[TrendValue]) -> tuple[Line | None, timedelta | None]:
    """The robust line, and the span that was joined into medians when there were too many values."""
    used = [(value.at, value.corrected) for value in values if value.corrected is not None]
    if len(used) < FEWEST or used[0][0] == used[-1][0]:
        return None, None
    begin = used[0][0]
    points = [((at - begin) / ONE_DAY, number) for at, number in used]
    joined = None
    for days in (1, 7):
        if len(points) > MOST_PAIRED:
            points, joined = _medians(points, days), timedelta(days=days)
    x, y = [each[0] for each in points], [each[1] for each in points]
    if len(points) < 2:
        return None, None
    found = theil_sen(x, y)
    line = Line(
        slope=found.slope,
        low=found.low,
        high=found.high,
        confidence=_confidence(len(points)),
        middle_at=begin + median(x) * ONE_DAY,
        middle=median(y),
        pairs=len(x) * (len(x) - 1) // 2,
    )
    return line, joined


def _medians(points: Sequence[tuple[float, float]], days: int) -> list[tuple[float, float]]:
    """One point for each span of days: median time, median value."""
    groups = groupby(points, key=lambda point: int(point[0] // days))
    joined = [list(group) for _, group in groups]
    return [(median(x for x, _ in group), median(y for _, y in group)) for group in joined]


def _confidence(count: int) -> float:
    """What the widest interval of Kendall's tau can hold: of `count` values two orders in count! lie beyond it."""
    return min(0.95, 1 - 2 / factorial(min(count, 10)))


def _judged(reading: Reading, values: Sequence[TrendValue], line: Line) -> tuple[TrendValue, ...]:
    """The values with their scores; an outlier is flagged and stays in: the median of slopes tolerates it.

    Off the line alone is where a series bends; an outlier is off its neighbours too.
    """
    used = [(value.at, value.corrected) for value in values if value.corrected is not None]
    if len(used) < JUDGED_FROM:
        return tuple(values)
    noticeable = _NOTICEABLE * 10.0 ** -shown_unit(reading).decimals
    off_line = [number - line.at(at) for at, number in used]
    local = running_medians([number for _, number in used])
    off_local = [number - middle for (_, number), middle in zip(used, local, strict=True)]
    scores = iter(modified_z(off_line))
    outliers = map(all, zip(_outliers(off_line, noticeable), _outliers(off_local, noticeable), strict=True))
    return tuple(
        msgspec.structs.replace(value, score=next(scores), flagged=next(outliers) or value.flagged)
        if value.used
        else value
        for value in values
    )


def _outliers(away: Sequence[float], noticeable: float) -> list[bool]:
    """Which deviations are outliers, and more than the kit can be wrong by in its last digit."""
    return [abs(score) > OUTLIER and abs(off) > noticeable for off, score in zip(away, modified_z(away), strict=True)]


# -- the band ------------------------------------------------------------------------------------------


def _leaves(
    reading: Reading,
    line: Line | None,
    values: Sequence[TrendValue],
    lowest: Quantity | None,
    highest: Quantity | None,
) -> Leaving | None:
    """None with the latest value inside and no line, no limit on its way, or no direction the interval is sure of."""
    unit = shown_unit(reading).name
    low, high = (
        from_canonical(reading.quantity, limit.canonical, unit, reading=reading) if limit is not None else None
        for limit in (lowest, highest)
    )
    newest = next((value for value in reversed(values) if value.used or value.bound is not None), None)
    latest = next((value for value in reversed(values) if value.used), None)
    for limit, below in ((low, True), (high, False)):
        if limit is None:
            continue
        if newest is not None and surely_beyond(newest.value, newest.bound, limit, low=below):
            return _left(limit, newest.at, below=below)
        if line is not None and latest is not None and surely_beyond(line.at(latest.at), None, limit, low=below):
            return _left(limit, latest.at, below=below)
    if line is None or latest is None:
        return None
    below = line.direction < 0
    limit = low if below else high
    if limit is None or not line.direction:
        return None
    at = _crosses(line, line.slope, limit)
    steep, flat = (line.low, line.high) if below else (line.high, line.low)
    earliest = _crosses(line, steep, limit)
    if at is None or earliest is None:
        return None
    return Leaving(
        limit=limit, below=below, at=at, earliest=max(earliest, latest.at), latest=_crosses(line, flat, limit)
    )


def _left(limit: float, at: datetime, *, below: bool) -> Leaving:
    return Leaving(limit=limit, below=below, at=at, earliest=at, latest=at, outside=True)


def _crosses(line: Line, slope: float, limit: float) -> datetime | None:
    """When a line of this slope through the middle meets the limit; None beyond the horizon."""
    if slope == 0:
        return None
    days = (limit - line.middle) / slope
    return line.middle_at + days * ONE_DAY if days < HORIZON / ONE_DAY else None
