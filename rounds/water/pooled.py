"""One slope through several stretches of a series, such as the levels of a container between its refills.

Sen P.K. (1968), Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63,
1379–1389; pooled over strata as Hirsch R.M., Slack J.R. and Smith R.A. (1982), Techniques of trend
analysis for monthly water quality data, Water Resour. Res. 18, 107–121 (from memory): pairs only within
a stretch, and the variances of Kendall's S added up. Where the use itself varies from day to day the
values of a stretch are not independent of one another; the variance is then raised by the factor by which
that widens the slope's own, in the manner of Hamed K.H. and Rao A.R. (1998), A modified Mann–Kendall trend
test for autocorrelated data, J. Hydrol. 204, 182–196 (from memory). Where that uses the ranks up, the
interval is that of a straight line with the same errors.

Plain Python: it runs at every look at the room, over a few dozen values.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, pairwise
from math import inf, sqrt

import msgspec

from rounds.water.robust import MEDIAN_DEVIATION, OUTLIER, kendall_variance

Stretch = Sequence[tuple[float, float]]
"""Values (x, y) in the order of x, which is in days."""

_NORMAL = 1.959964
_STUDENT = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228)
"""97.5 % points of Student's t for 1 to 10 degrees of freedom, as in any table of it."""

_OUTLYING = (OUTLIER / MEDIAN_DEVIATION) ** 2
"""Squared differences beyond so many times their median are cut down to that: a flood is no noise."""

_NEIGHBOURS = 8
"""Differences to so many following values tell noise from drift; those further away say little."""

_DRIFT_DOUBT = 3.0
"""A few weeks tell the drift only roughly, and damp or dry weather lasts for days: without this, simulated
containers with a varying use have the truth within their interval less often than it says."""

_WANDERS, _BELIEVED_STEPS = 0.15, 6
"""That a use wanders by about a seventh from day to day (common practice, no source) is believed as if six steps
had shown it, so that a few levels which happen to agree are not taken for certainty."""


class PooledSlope(msgspec.Struct, frozen=True):
    """A slope in the units of y per unit of x, with its 95 % confidence interval."""

    slope: float
    low: float
    high: float


def median_slope(stretches: Sequence[Stretch]) -> float | None:
    """Median of the slopes of all pairs within a stretch; None without a pair."""
    slopes = [rise / run for run, rise in _pairs(stretches)]
    return _median(sorted(slopes)) if slopes else None


def pooled_slope(stretches: Sequence[Stretch]) -> PooledSlope | None:
    """The median slope with its interval; None when the stretches have fewer than two steps to compare.

    Time and memory grow with the square of the values of a stretch.
    """
    stretches = [stretch for stretch in stretches if len(stretch) > 1]
    freedom = sum(len(stretch) - 1 for stretch in stretches) - 1
    pairs = _pairs(stretches)
    if freedom < 1 or not pairs:
        return None
    slopes = sorted(rise / run for run, rise in pairs)
    slope = _median(slopes)
    independent, reach = _reach(stretches, slope, freedom)
    kendall = sum(kendall_variance([x for x, _ in stretch]) for stretch in stretches)
    margin = reach * sqrt(kendall / independent) if independent > 0 else inf
    if margin < len(slopes) - 1:
        rank = round((len(slopes) - margin) / 2)
        low, high = slopes[rank - 1], slopes[len(slopes) - rank]
        if high - low < 2 * reach:
            return PooledSlope(slope, low, high)
    return PooledSlope(slope, slope - reach, slope + reach)


def _pairs(stretches: Sequence[Stretch]) -> list[tuple[float, float]]:
    """How far apart in x and y, for every two values of a stretch that differ in x."""
    return [(x1 - x0, y1 - y0) for stretch in stretches for (x0, y0), (x1, y1) in combinations(stretch, 2) if x1 > x0]


def _median(ordered: Sequence[float]) -> float:
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def _reach(stretches: Sequence[Stretch], slope: float, freedom: int) -> tuple[float, float]:
    """The variance of a common slope, were the values independent; and how far its interval reaches as they are."""
    across = scatter = wandering = 0.0
    for stretch in stretches:
        middle = sum(x for x, _ in stretch) / len(stretch)
        off = [y - slope * x for x, y in stretch]
        level = sum(off) / len(off)
        scatter += sum((each - level) ** 2 for each in off)
        across += sum((x - middle) ** 2 for x, _ in stretch)
        lever = 0.0
        for (x0, _), (x1, _) in pairwise(stretch):
            lever += x0 - middle
            wandering += (x1 - x0) * lever * lever
    wandering /= across**2
    noise, drift = _noise_and_drift(stretches, slope)
    small_sample = (freedom + 1) / freedom
    believed = _BELIEVED_STEPS / (_BELIEVED_STEPS + freedom)
    independent = scatter / freedom / across
    seen = small_sample * (noise / across + _DRIFT_DOUBT * (1 - believed) * drift * wandering)
    expected = believed * (_WANDERS * slope) ** 2 * wandering
    return independent, sqrt(_student(freedom) ** 2 * max(independent, seen) + _NORMAL**2 * expected)


def _noise_and_drift(stretches: Sequence[Stretch], slope: float) -> tuple[float, float]:
    """Variance of one reading, and by how much the variance between two readings grows with each unit of x.

    From the squared differences off the line of neighbouring values: 2 × noise + drift × distance, fitted by
    least squares with weights that fall with the square of the distance.
    """
    steps = sorted(x1 - x0 for stretch in stretches for (x0, _), (x1, _) in pairwise(stretch) if x1 > x0)
    nearest = _median(steps) / 2
    squares = [
        (x1 - x0, (y1 - y0 - slope * (x1 - x0)) ** 2)
        for stretch in stretches
        for place, (x0, y0) in enumerate(stretch)
        for x1, y1 in stretch[place + 1 : place + 1 + _NEIGHBOURS]
    ]
    most = _OUTLYING * _median(sorted(square for _, square in squares))
    weight = runs = run_squares = total = products = 0.0
    for run, square in squares:
        each = 1 / max(run, nearest) ** 2
        square = min(square, most)
        weight += each
        runs += each * run
        run_squares += each * run * run
        total += each * square
        products += each * run * square
    spread = weight * run_squares - runs * runs
    drift = max(0.0, (weight * products - runs * total) / spread) if spread > 1e-12 * weight * run_squares else 0.0
    noise = (total - drift * runs) / weight / 2
    return (noise, drift) if noise >= 0 else (0.0, total / runs)


def _student(freedom: int) -> float:
    """97.5 % point of Student's t; beyond the table by the expansion of Cornish and Fisher."""
    if freedom <= len(_STUDENT):
        return _STUDENT[freedom - 1]
    z = _NORMAL
    return z + (z**3 + z) / (4 * freedom) + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * freedom**2)
