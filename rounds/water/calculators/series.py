"""Calculators of a series of readings: slope and outliers."""

from __future__ import annotations

from collections import Counter
from math import comb
from statistics import fmean, median

from rounds.core.numbers import figures as n
from rounds.water import measures
from rounds.water.calculators.model import Calculator, Input, Output, Worked
from rounds.water.robust import MEAN_TO_SIGMA, MEDIAN_DEVIATION, OUTLIER, deviation, modified_z, theil_sen


def _slope(x: list[float], y: list[float], confidence: float) -> Worked:
    found = theil_sen(x, y, confidence)
    pairs = comb(len(x), 2) - sum(comb(count, 2) for count in Counter(x).values())
    arithmetic = [
        f"{len(x)} values make {pairs} pairs with different x; the middle of their slopes = {n(found.slope)}",
        f"{n(confidence * 100)} % interval from the variance of Kendall's tau: {n(found.low)} to {n(found.high)}",
        f"intercept = median of y − slope × median of x = {n(median(y))} − {n(found.slope)} × {n(median(x))} = "
        f"{n(found.intercept)}",
    ]
    remarks = ["With fewer than five values the interval says little."] if len(x) < 5 else []
    values = {"slope": found.slope, "low": found.low, "high": found.high, "intercept": found.intercept}
    return Worked(values, arithmetic, remarks)


SLOPE = Calculator(
    name="slope",
    title="robust slope of a series (Theil–Sen) with its interval",
    inputs=(
        Input("x", measures.several(measures.number()), "for example days"),
        Input("y", measures.several(measures.number()), "readings, as many as x"),
        Input("confidence", measures.share(), "of the interval", "0.95"),
    ),
    outputs=(
        Output("slope", "", "units of y per unit of x", 4),
        Output("low", "", "lower end of the interval", 4),
        Output("high", "", "upper end", 4),
        Output("intercept", "", "y where x is 0", 4),
    ),
    source="Sen 1968; ties by Kendall's variance",
    example=("x=1,2,3,4,10,12,18", "y=9,15,19,20,45,55,78", "confidence=0.93"),
    work=_slope,
)


def _outliers(y: list[float]) -> Worked:
    scores = modified_z(y)
    middle = median(y)
    spread = median(abs(each - middle) for each in y)
    places = [place for place, score in enumerate(scores, 1) if abs(score) > OUTLIER]
    flagged = [y[place - 1] for place in places]
    arithmetic = [
        f"median {n(middle)}, median distance from it {n(spread)}",
        _scale(y, middle, spread),
        "score = (value − median) ÷ deviation",
        *(
            f"the one of {n(value)}: ({n(value)} − {n(middle)}) ÷ {n(deviation(y))} = {n(found)}"
            for value, found in zip(y, scores, strict=True)
            if abs(found) > OUTLIER
        ),
        f"beyond ±{OUTLIER:g}: {', '.join(map(n, flagged)) or 'none'}",
    ]
    remarks = ["A flagged value is a reason to test again, not to strike it."] if flagged else []
    if len(y) < 5:
        remarks.append("With fewer than five values no score says much.")
    values = {"scores": scores, "flagged": flagged, "places": places, "median": middle, "mad": spread}
    return Worked(values, arithmetic, remarks)


def _scale(y: list[float], middle: float, spread: float) -> str:
    if spread:
        return f"robust deviation = {n(spread)} ÷ {MEDIAN_DEVIATION} = {n(deviation(y))}"
    mean = fmean(abs(each - middle) for each in y)
    if not mean:
        return "no value differs: no score"
    return f"most values are equal, so by their mean distance: {n(mean)} × {MEAN_TO_SIGMA} = {n(deviation(y))}"


OUTLIERS = Calculator(
    name="outliers",
    title="readings that stand apart from the rest (modified z-score)",
    inputs=(Input("y", measures.several(measures.number()), "readings"),),
    outputs=(
        Output("scores", "", "modified z-score of each", 3),
        Output("flagged", "", f"values beyond ±{OUTLIER:g}", None),
        Output("places", "", "where they stand, counted from 1", 0),
        Output("median", "", "of the values", None),
        Output("mad", "", "median absolute deviation", None),
    ),
    source="Iglewicz and Hoaglin 1993",
    example=("y=8.1,8.2,8.0,8.1,8.3,8.2,9.6",),
    work=_outliers,
)
