"""Robust slope and outliers through the command line.

Sen P.K. (1968), J. Am. Stat. Assoc. 63, 1379–1389, section 6; Iglewicz B. and Hoaglin D.C. (1993), How to Detect and
Handle Outliers.
"""

from __future__ import annotations

import pytest

from tests.published.calc import calc


def test_sen() -> None:
    """T11-1"""
    found = calc("slope x=1,2,3,4,10,12,18 y=9,15,19,20,45,55,78 confidence=0.93")
    expected = {"slope": 4.0, "low": 3.7142857, "high": 4.375, "intercept": 4.0}
    assert {field: found[field] for field in expected} == pytest.approx(expected, abs=1e-6)


def test_three_values() -> None:
    """T11-3"""
    found = calc("slope x=0,1,2 y=0,1,1 confidence=95%")
    assert (found["slope"], found["intercept"]) == pytest.approx((0.5, 0.5), abs=1e-9)


def test_the_odd_value() -> None:
    """T11-5; own data, the method partly from memory."""
    found = calc("outliers y=8.1,8.2,8.0,8.1,8.3,8.2,9.6")
    told = (found["median"], found["mad"], found["scores"][-1], min(found["scores"]))
    assert told == pytest.approx((8.2, 0.1, 9.443, -1.349), abs=0.001)
    assert (found["flagged"], found["places"]) == ([9.6], [7])


def test_mostly_equal_values() -> None:
    """T11-6"""
    found = calc("outliers y=8,8,8,8,9")
    assert found["mad"] == pytest.approx(0, abs=1e-12)
    assert found["scores"][-1] == pytest.approx(1 / (0.2 * 1.253314))
