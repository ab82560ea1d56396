"""Water changes, salt and salinity within what a day may bring."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.errors import Refused
from rounds.water.changes import (
    DAILY,
    after_changes,
    correct_salinity,
    daily_values,
    plan_changes,
    salt_for,
)


@pytest.mark.parametrize(
    ("start", "new", "share", "times", "result"),
    [(1, 0, 0.1, 5, 0.59049), (1, 0, 0.05, 10, 0.5987369392), (1, 0, 0.5, 1, 0.5), (40, 2, 0.1, 5, 24.43862)],
)
def test_repeated_changes(start: float, new: float, share: float, times: int, result: float) -> None:
    """C = Cn + (C0 − Cn)(1 − f)^n: conservation of mass (Levenspiel 1999, Chemical Reaction Engineering, ch. 11–13)."""
    assert after_changes(start, new, share, times) == pytest.approx(result, abs=1e-5)


def test_a_plan_ends_at_the_goal_or_past_it() -> None:
    """From 40 to 20 mg/L with tenths of water at 2: ln(18/38) ÷ ln 0.9 = 7.09, so 8 changes of 96 L (by hand)."""
    plan = plan_changes(40, 2, 20, 0.1, 960)
    assert len(plan) == 8
    assert plan[-1].result <= 20 < plan[-2].result
    assert {change.litres for change in plan} == {96.0}


@given(st.floats(0, 100), st.floats(0, 100), st.floats(0.05, 0.95), st.floats(0.02, 0.95))
def test_a_plan_does_what_it_says(start: float, new: float, way: float, share: float) -> None:
    """Change by change on a mass balance it reaches its goal with the last one and not before."""
    if abs(start - new) < 1e-3:
        return
    goal = start + way * (new - start)
    try:
        plan = plan_changes(start, new, goal, share, 100)
    except Refused:
        assert (1 - share) ** 60 > abs((goal - new) / (start - new)) - 1e-9
        return
    value = start
    for change in plan:
        assert abs(value - new) > abs(goal - new) - 1e-6
        value = value * (1 - share) + new * share
        assert change.result == pytest.approx(value, abs=1e-6)
    assert abs(value - new) <= abs(goal - new) + 1e-6


@pytest.mark.parametrize(
    ("start", "new", "goal", "share"),
    [(40, 2, 50, 0.1), (40, 2, 1, 0.1), (40, 2, 2, 0.1), (40, 2, 20, 0), (40, 2, 20, 1.2)],
)
def test_what_changes_cannot_reach_is_refused(start: float, new: float, goal: float, share: float) -> None:
    with pytest.raises(Refused):
        plan_changes(start, new, goal, share, 960)


def test_one_whole_change_reaches_the_new_water() -> None:
    assert [change.result for change in plan_changes(40, 2, 2, 1, 960)] == [2]


def test_salt_for_a_batch() -> None:
    """300 L from pure water to 35 with 38.2 g/L of this lot: 11.46 kg; from 33 to 35 two thirty-fifths of it."""
    assert salt_for(300, 0, 35, 38.2) == pytest.approx(11_460)
    assert salt_for(300, 33, 35, 38.2) == pytest.approx(11_460 * 2 / 35)
    with pytest.raises(Refused, match="purified water"):
        salt_for(300, 36, 35, 38.2)


def test_a_day_brings_so_much() -> None:
    """33.2 to 35.0 at 0.5 a day takes four days, down again at 1.0 two; common practice, no source."""
    assert daily_values("salinity", 33.2, 35.0) == pytest.approx((33.65, 34.1, 34.55, 35.0))
    assert daily_values("salinity", 35.0, 33.2) == pytest.approx((34.1, 33.2))
    assert daily_values("calcium", 400, 420) == (420,)
    assert daily_values("salinity", 35.0, 35.0) == ()


@given(st.sampled_from(sorted(DAILY)), st.floats(0, 50), st.floats(0, 50))
def test_no_day_brings_more(quantity: str, start: float, goal: float) -> None:
    up, down = DAILY[quantity]
    values = (start, *daily_values(quantity, start, goal))
    for before, after in pairwise(values):
        assert -down - 1e-6 <= after - before <= up + 1e-6
    assert values[-1] == pytest.approx(goal, abs=1e-6)


def test_salinity_put_right_with_litres() -> None:
    """960 L at 33.2 with water of 46: 960 × 0.5 ÷ (46 − 33.2) = 37.5 L on the first day (by hand), four days."""
    plan = correct_salinity(960, 33.2, 35.0, 46.0)
    assert [step.day for step in plan] == [1, 2, 3, 4]
    assert plan[0].litres == pytest.approx(37.5)
    assert plan[-1].salinity == pytest.approx(35.0)


def test_high_salinity_with_pure_water() -> None:
    """1000 L from 36.5 to 35: one unit the first day is 27.4 L out and in, half a unit the second."""
    plan = correct_salinity(1000, 36.5, 35.0, 0.0)
    assert [step.litres for step in plan] == pytest.approx([1000 / 36.5, 1000 * 0.5 / 35.5])


@given(st.floats(20, 45), st.floats(20, 45), st.floats(0, 60))
def test_salinity_moves_no_faster_than_a_day_allows(start: float, goal: float, with_water: float) -> None:
    """Whatever is asked: +0.5 or −1.0 a day, a fifth of the water, and the litres do what they say."""
    try:
        plan = correct_salinity(500, start, goal, with_water)
    except Refused:
        return
    before = start
    for step in plan:
        assert -1.0 - 1e-9 <= step.salinity - before <= 0.5 + 1e-9
        assert 0 <= step.litres <= 100 + 1e-9
        assert step.salinity == pytest.approx(before + step.litres / 500 * (with_water - before))
        before = step.salinity
    assert before == pytest.approx(goal, abs=1e-6)


@pytest.mark.parametrize(("start", "goal", "with_water"), [(33, 35, 34), (33, 35, 0), (36, 35, 37), (33, 35, 33)])
def test_water_that_cannot_do_it_is_refused(start: float, goal: float, with_water: float) -> None:
    with pytest.raises(Refused, match="PSU does not bring"):
        correct_salinity(960, start, goal, with_water)
