"""What is dissolved is kept, whatever the numbers."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rounds.core.errors import Refused
from rounds.water.mass_balance import (
    CONTINUOUS,
    DRAIN_FIRST,
    FILL_FIRST,
    ORDERS,
    after_changes,
    changes_needed,
    correct_by_exchange,
    correct_with_salt,
    holding,
    kilograms,
    replacement,
    salinity_after,
    salt_for,
    share_left,
    steady_state,
)

fractions = st.floats(0.001, 0.9)
values = st.floats(0, 1000)
orders = st.sampled_from(ORDERS)


@given(values, values, fractions, st.integers(0, 40), orders)
def test_changes_move_from_the_old_value_towards_the_new_and_never_past_it(start, new, fraction, times, order):
    once, again = (after_changes(start, new, fraction, n, order) for n in (times, times + 1))
    assert abs(again - new) <= abs(once - new) + 1e-9
    assert min(start, new) - 1e-9 <= again <= max(start, new) + 1e-9


@given(fractions, st.integers(1, 20))
def test_draining_first_removes_most_and_filling_first_least(fraction, times):
    """(1 − f) < e^−f < 1 ÷ (1 + f)."""
    assert share_left(fraction, times, DRAIN_FIRST) < share_left(fraction, times, CONTINUOUS)
    assert share_left(fraction, times, CONTINUOUS) < share_left(fraction, times, FILL_FIRST)


@given(st.floats(100, 1000), st.floats(0, 90), st.floats(0.05, 0.9), st.integers(1, 15), orders)
def test_the_changes_needed_are_those_that_were_made(start, new, fraction, times, order):
    target = after_changes(start, new, fraction, times, order)
    if target - new > 1e-6 * start:
        assert changes_needed(start, new, target, fraction, order) == pytest.approx(times, rel=1e-5)


@pytest.mark.parametrize(("start", "new", "target"), [(40, 2, 2), (40, 2, 1), (40, 2, 41), (5, 5, 4), (2, 40, 50)])
def test_a_target_that_no_change_reaches_is_refused(start, new, target):
    with pytest.raises(Refused, match="never reached"):
        changes_needed(start, new, target, 0.1)


def test_a_whole_change_is_one():
    """And none when nothing has to move."""
    assert changes_needed(40, 2, 10, 1) == 1
    assert changes_needed(40, 2, 40, 1) == 0


@given(values, values, fractions)
def test_the_replacement_brings_the_target(start, target, fraction):
    new = replacement(start, target, fraction)
    assert after_changes(start, new, fraction, 1) == pytest.approx(target, abs=1e-6)


@given(st.floats(0.01, 10), st.floats(0.5, 30), fractions)
def test_the_steady_state_repeats_itself(production, interval, fraction):
    before, after = steady_state(production, interval, fraction)
    assert after + production * interval == pytest.approx(before)
    assert after_changes(before, 0, fraction, 1) == pytest.approx(after)


@given(st.floats(10, 5000), st.floats(1, 45), st.floats(0, 0.5))
def test_fresh_water_lost_and_put_back_changes_nothing(volume, salinity, share):
    litres = share * volume
    salty = salinity_after(volume, salinity, -litres)
    assert salty >= salinity * (1 - 1e-12)
    assert salinity_after(volume - litres, salty, litres) == pytest.approx(salinity)


@given(st.floats(1, 45), st.floats(-0.05, 0.09))
def test_by_mass_a_change_is_smaller_by_a_few_per_cent_of_itself(salinity, share):
    """As fresh water is lighter than salt water: at salinity 45 by 3.4 per cent."""
    by_volume = salinity_after(1000, salinity, share * 1000)
    by_mass = salinity_after(kilograms(1000, salinity, 25), salinity, kilograms(share * 1000, 0, 25))
    assert 0.96 * abs(by_volume - salinity) - 1e-9 <= abs(by_mass - salinity) <= abs(by_volume - salinity) + 1e-9


def test_ten_litres_lost_of_a_thousand():
    """35.354 by volume, by mass 35.344 (with 1.02334 and 0.99705 kg/L, by hand)."""
    assert salinity_after(1000, 35, -10) == pytest.approx(35.3535, abs=5e-5)
    assert salinity_after(kilograms(1000, 35, 25), 35, -kilograms(10, 0, 25)) == pytest.approx(35.3444, abs=5e-5)


def test_water_of_the_same_salinity_changes_nothing():
    assert salinity_after(960, 35, 20, with_salinity=35) == pytest.approx(35)


def test_a_full_barrel_let_in_at_once():
    """72 usable litres into 960 L at 35: about 32.5 (invented room)."""
    assert salinity_after(960, 35, 72) == pytest.approx(32.56, abs=0.01)


def test_more_than_there_is_cannot_evaporate():
    with pytest.raises(Refused, match="cannot be lost"):
        salinity_after(10, 35, -10)


@given(st.floats(1, 1000), st.floats(0, 35), st.floats(20, 50))
def test_salt_in_two_steps_is_salt_in_one(volume, middle, grams):
    """And none is needed for nothing."""
    steps = salt_for(volume, 0, middle, grams) + salt_for(volume, middle, 35, grams)
    assert steps == pytest.approx(volume * grams)


@given(st.floats(0, 5), st.floats(-2, 2), st.floats(5, 12), st.floats(5, 12), st.floats(0.05, 1))
def test_what_holds_leaves_no_slope(supply, slope, target, now, max_step):
    """With the same consumption a supply of `hold` neither rises nor falls, and the way there keeps the step."""
    found = holding(supply, slope, target, now, max_step)
    if found.consumption >= 0:
        assert holding(found.hold, found.hold - found.consumption, now, now, max_step).consumption == pytest.approx(
            found.hold
        )
        assert found.supply_until_target - found.hold <= max_step + 1e-9
    assert found.days_to_target * max_step == pytest.approx(abs(target - now))
    assert min(found.hold, found.supply_until_target) >= 0


# -- salinity put right --------------------------------------------------------------------------------


def test_salinity_put_right_with_litres() -> None:
    """960 L at 33.2 with water of 46: 960 × 0.5 ÷ (46 − 33.2) = 37.5 L on the first day (by hand), four days."""
    plan = correct_by_exchange(960, 33.2, 35.0, 46.0)
    assert len(plan) == 4
    assert plan[0].litres == pytest.approx(37.5)
    assert plan[-1].after == pytest.approx(35.0)


def test_high_salinity_with_pure_water() -> None:
    """1000 L from 36.5 to 35: one unit the first day is 27.4 L out and in, half a unit the second."""
    plan = correct_by_exchange(1000, 36.5, 35.0, 0.0)
    assert [step.litres for step in plan] == pytest.approx([1000 / 36.5, 1000 * 0.5 / 35.5])


@given(st.floats(20, 45), st.floats(20, 45), st.floats(0, 60))
@example(start=20.000000000000004, goal=20.0, with_water=21.0)
def test_salinity_moves_no_faster_than_a_day_allows(start: float, goal: float, with_water: float) -> None:
    """Whatever is asked: +0.5 or −1.0 a day, a fifth of the water, and the litres do what they say."""
    on_the_way = min(start, with_water) <= goal <= max(start, with_water)
    try:
        plan = correct_by_exchange(500, start, goal, with_water)
    except Refused:
        assert not on_the_way or abs(with_water - goal) < 0.001  # which would take too many days
        return
    assert on_the_way or not plan, "nothing is to be done where it is there already"
    before = start
    for step in plan:
        assert step.before == before
        assert -1.0 - 1e-9 <= step.after - before <= 0.5 + 1e-9
        assert 0 <= step.litres <= 100 + 1e-9
        assert step.after == pytest.approx(before + step.litres / 500 * (with_water - before))
        before = step.after
    assert before == pytest.approx(goal, abs=1e-6)


@pytest.mark.parametrize(("start", "goal", "with_water"), [(33, 35, 34), (33, 35, 0), (36, 35, 37), (33, 35, 33)])
def test_water_that_cannot_do_it_is_refused(start: float, goal: float, with_water: float) -> None:
    with pytest.raises(Refused, match="PSU does not bring"):
        correct_by_exchange(960, start, goal, with_water)


def test_salt_raises_salinity_by_half_a_unit_a_day():
    """960 L from 34 to 35 with 38.5 g/L: 960 × 38.5 × 0.5 ÷ 35 = 528 g on each of two days (by hand)."""
    plan = correct_with_salt(960, 34, 35, 38.5)
    assert [step.grams for step in plan] == pytest.approx([528, 528])
    assert [step.after for step in plan] == pytest.approx([34.5, 35])


@given(st.floats(10, 5000), st.floats(20, 40), st.floats(0, 5), st.floats(20, 50))
def test_salt_day_by_day_is_salt_in_one(volume, start, rise, grams):
    plan = correct_with_salt(volume, start, start + rise, grams)
    assert sum(step.grams for step in plan) == pytest.approx(salt_for(volume, start, start + rise, grams), abs=1e-6)
    assert all(step.after - step.before <= 0.5 + 1e-9 for step in plan)


def test_what_takes_months_is_refused():
    """Both ways."""
    with pytest.raises(Refused, match="more than 60 days"):
        correct_with_salt(960, 0, 35, 38.5)
    with pytest.raises(Refused, match="more than 60 days"):
        correct_by_exchange(960, 120, 35, 0)
