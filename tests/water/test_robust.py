"""Slopes and outliers against published numbers; see also the checks read from `tests/published`."""

from __future__ import annotations

import random

import pytest

from rounds.core.errors import Refused
from rounds.water.robust import OUTLIER, modified_z, running_medians, theil_sen


def test_sen_1968_example() -> None:
    """Sen (1968), section 6: slope 4 with the 93 per cent interval 3.71 to 4.38."""
    found = theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78], 0.93)
    assert (found.slope, found.intercept) == pytest.approx((4.0, 4.0), abs=1e-9)
    assert (found.low, found.high) == pytest.approx((3.7142857, 4.375), abs=1e-6)


def test_one_wrong_value_does_not_bend_the_slope() -> None:
    y = [2.0 * x for x in range(20)]
    y[7] = 900.0
    assert theil_sen(range(20), y).slope == pytest.approx(2.0)


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Over 400 noisy lines the 95 per cent interval holds the true slope in 93 to 98 per cent."""
    rng = random.Random(7)
    held = 0
    for _ in range(400):
        found = theil_sen(range(15), [0.3 * x + rng.gauss(0, 1) for x in range(15)])
        held += found.low <= 0.3 <= found.high
    assert 372 <= held <= 392


@pytest.mark.parametrize(("x", "y"), [([], []), ([1], [1]), ([2, 2, 2], [1, 2, 3]), ([1, 2], [1])])
def test_too_little_for_a_slope_is_refused(x: list[float], y: list[float]) -> None:
    with pytest.raises(Refused):
        theil_sen(x, y)


def test_modified_z_marks_the_odd_value_only() -> None:
    scores = modified_z([8.1, 8.2, 8.0, 8.1, 8.3, 8.2, 9.6])
    assert scores[-1] == pytest.approx(9.443, abs=1e-3)
    assert min(scores) == pytest.approx(-1.349, abs=1e-3)
    assert [abs(score) > OUTLIER for score in scores] == [False] * 6 + [True]


def test_modified_z_of_mostly_equal_values_does_not_divide_by_nothing() -> None:
    """Median absolute deviation 0: the mean absolute deviation stands in (Iglewicz and Hoaglin 1993)."""
    assert modified_z([8, 8, 8, 8, 9]) == pytest.approx([0, 0, 0, 0, 1 / (0.2 * 1.253314)])
    assert modified_z([5, 5]) == [0, 0]
    assert modified_z([]) == []


def test_running_medians_follow_a_bend_and_pass_over_one_wrong_value() -> None:
    """By hand; the ends by Tukey's rule: of 9, 5 and 3 × 5 − 2 × 4 = 7 the median is 7."""
    assert running_medians([1, 2, 4, 7, 11]) == [1, 2, 4, 7, 11]
    assert running_medians([1, 2, 30, 4, 5, 9]) == [1, 2, 4, 5, 5, 5]
    assert running_medians([2, 3, 4, 5, 9]) == [2, 3, 4, 5, 7]
    assert running_medians([1.0, 2.0]) == [1.0, 2.0]
