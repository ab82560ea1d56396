"""Slope and outliers of a series that a few wrong values must not bend.

Sen P.K. (1968), Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc.
63, 1379–1389. Iglewicz B. and Hoaglin D.C. (1993), How to Detect and Handle Outliers, ASQC vol. 16.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import inf, sqrt
from statistics import NormalDist, fmean, median

import msgspec

from rounds.core.errors import Refused

OUTLIER = 3.5
"""A modified z-score beyond this, either way, marks a value (Iglewicz and Hoaglin 1993)."""

MEDIAN_DEVIATION = 0.6745
"""Median absolute deviation of a normal sample, in standard deviations."""
MEAN_TO_SIGMA = 1.253314
"""Mean absolute deviation of a normal sample times this is its standard deviation."""


class Slope(msgspec.Struct, frozen=True):
    """A robust line through a series, in the units of y per unit of x."""

    slope: float
    low: float
    """Lower end of the confidence interval."""
    high: float
    intercept: float
    """Median of y less slope times median of x."""


def theil_sen(x: Sequence[float], y: Sequence[float], confidence: float = 0.95) -> Slope:
    """Median of the slopes of all pairs, with Sen's interval from the variance of Kendall's tau.

    Ties in x and y reduce the variance. Time and memory grow with the square of the number of values.
    Raises `Refused` with fewer than two different x, or a confidence outside 0 to 1.
    """
    import numpy as np

    if len(x) != len(y):
        raise Refused(f"there are {len(x)} values of x and {len(y)} of y; give as many of each")
    if not 0 < confidence < 1:
        raise Refused(f"{confidence:g} is no confidence; write a share between 0 and 1, such as 0.95")
    xs, ys = np.asarray(x, float), np.asarray(y, float)
    first, second = np.triu_indices(len(xs), 1)
    run = xs[second] - xs[first]
    apart = run != 0
    if not apart.any():
        raise Refused("a slope needs values at two different x; give more values")
    slopes = np.sort((ys[second] - ys[first])[apart] / run[apart])
    middle = float(np.median(slopes))
    margin = NormalDist().inv_cdf(0.5 + confidence / 2) * sqrt(max(0.0, kendall_variance(x, y)))
    low = max(round((len(slopes) - margin) / 2) - 1, 0)
    high = min(round((len(slopes) + margin) / 2), len(slopes) - 1)
    intercept = float(np.median(ys)) - middle * float(np.median(xs))
    return Slope(middle, float(slopes[low]), float(slopes[high]), intercept)


def kendall_variance(*series: Sequence[float]) -> float:
    """Of Kendall's S of values in pairs, corrected for ties in the series given (Sen 1968, equation 2.6)."""

    def spread(count: int) -> int:
        return count * (count - 1) * (2 * count + 5)

    ties = sum(spread(count) for values in series for count in Counter(values).values())
    return (spread(len(series[0])) - ties) / 18


def modified_z(y: Sequence[float]) -> list[float]:
    """How far each value lies from the median, in robust standard deviations; all zero when no value differs."""
    if not y:
        return []
    middle = median(y)
    scale = deviation(y)
    return [(value - middle) / scale if scale else 0.0 for value in y]


def running_medians(y: Sequence[float]) -> list[float]:
    """The local trend of a series: what each value would be by its neighbours, however the series bends.

    Medians of three; at an end the median of its value, of the median beside it and of the line through the two
    medians beside it carried on (Tukey J.W. 1977, Exploratory Data Analysis, chapter 7).
    """
    if len(y) < 4:
        return list(y)
    inner = [median(three) for three in zip(y, y[1:], y[2:], strict=False)]
    first = median((y[0], inner[0], 3 * inner[0] - 2 * inner[1]))
    last = median((y[-1], inner[-1], 3 * inner[-1] - 2 * inner[-2]))
    return [first, *inner, last]


def score(value: float, others: Sequence[float], least: float = 0.0) -> float:
    """The modified z-score of a value among others that it is not one of.

    `least` is the smallest standard deviation that is believed, so that readings which happen to agree do not make
    everything else an outlier. Without any deviation at all: 0 for the same value, infinite for another.
    """
    middle = median(others)
    scale = max(deviation(others), least)
    if scale == 0:
        return 0.0 if value == middle else inf * (value - middle)
    return (value - middle) / scale


def deviation(values: Sequence[float]) -> float:
    """The robust standard deviation: by the median absolute deviation, by the mean one where most values are equal."""
    middle = median(values)
    away = [abs(value - middle) for value in values]
    return median(away) / MEDIAN_DEVIATION or fmean(away) * MEAN_TO_SIGMA
