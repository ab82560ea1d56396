"""The slope pooled over stretches, and how often its interval holds the truth."""

from __future__ import annotations

import random
from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.water.pooled import median_slope, pooled_slope
from rounds.water.robust import theil_sen


def test_one_stretch_has_the_slope_of_theil_and_sen():
    """Sen 1968, J. Am. Stat. Assoc. 63, 1379–1389, the example of section 2: seven values, slope 4."""
    x = [1.0, 2.0, 3.0, 4.0, 10.0, 12.0, 18.0]
    y = [9.0, 15.0, 19.0, 20.0, 45.0, 55.0, 78.0]
    found = pooled_slope([list(zip(x, y, strict=True))])
    assert found.slope == theil_sen(x, y).slope == 4.0


def test_pairs_are_taken_within_a_stretch_only():
    """By hand: two stretches that fall by 5 a day, with a refill of 30 between; across it the slope would rise."""
    stretches = [[(0, 50.0), (1, 45.0), (2, 40.0)], [(2, 70.0), (3, 65.0)]]
    assert median_slope(stretches) == -5.0
    found = pooled_slope(stretches)
    assert found.low < found.slope == -5.0 < found.high < 0


@pytest.mark.parametrize("stretches", [[], [[(0, 1.0)]], [[(0, 1.0), (1, 2.0)]], [[(0, 1.0), (1, 2.0)], [(3, 4.0)]]])
def test_fewer_than_two_steps_give_no_interval(stretches):
    """One step says nothing of its own error."""
    assert pooled_slope(stretches) is None


def test_values_at_the_same_instant_make_no_pair():
    """A level read twice at once has no slope."""
    assert pooled_slope([[(0, 1.0), (0, 2.0), (0, 3.0)]]) is None


VALUES = st.lists(
    st.lists(st.tuples(st.integers(0, 40), st.floats(0, 100)), min_size=1, max_size=8).map(sorted),
    min_size=1,
    max_size=4,
)


@given(VALUES, st.floats(-50, 50), st.floats(-5, 5))
def test_what_is_added_to_a_stretch_does_not_matter_and_a_slope_adds_up(stretches, more, steeper):
    """However full a container is after a refill, and whatever is known to be drawn from it steadily."""
    found = pooled_slope(stretches)
    changed = [[(x, y + more * n + steeper * x) for x, y in stretch] for n, stretch in enumerate(stretches)]
    again = pooled_slope(changed)
    assert (again is None) is (found is None)
    if found is None:
        return
    assert again.slope == pytest.approx(found.slope + steeper, abs=1e-6)
    assert again.low <= again.slope <= again.high


@given(VALUES)
def test_the_slope_lies_within_its_interval(stretches):
    """And the interval is that of the mirrored series turned over."""
    found = pooled_slope(stretches)
    mirrored = pooled_slope([[(x, -y) for x, y in stretch] for stretch in stretches])
    assert (mirrored is None) is (found is None)
    if found is not None:
        assert found.low <= found.slope <= found.high
        assert (mirrored.low, mirrored.high) == (pytest.approx(-found.high), pytest.approx(-found.low))


def container(rng, *, days=35, use=5.3, noise=0.3, wanders=0.0, weather=0.0, to=72.0, at=34.0, every=1.0):
    """Levels of a container that is refilled to `to` litres when it was read below `at`.

    `wanders`: standard deviation of the use from day to day as a share of it; `weather`: how much of a day's
    deviation stays for the next.
    """
    litres, off, day = rng.uniform(at, to), 0.0, 0.0
    stretches = [[]]
    while day <= days:
        stretches[-1].append((day, litres + rng.gauss(0, noise)))
        if litres < at:
            litres = to
            stretches.append([(day, litres + rng.gauss(0, noise))])
        off = weather * off + sqrt(1 - weather**2) * rng.gauss(0, 1)
        litres -= use * every * (1 + wanders * off / sqrt(every))
        day += every
    return stretches


CASES = {
    "an ordinary barrel": {},
    "levels read to two litres": {"noise": 2.0},
    "use that wanders by a tenth": {"wanders": 0.1},
    "use that wanders by a fifth": {"wanders": 0.2},
    "hardly any error of reading, use wanders by three tenths": {"wanders": 0.3, "noise": 0.02},
    "damp and dry weeks": {"wanders": 0.06, "weather": 0.6},
    "four days of a new container": {"days": 3},
    "a slow container, one stretch": {"use": 1.0},
    "a fast one, refilled every second day": {"use": 20.0},
    "twelve days, use wanders by a tenth": {"wanders": 0.1, "days": 11},
    "read every third day": {"every": 3.0, "use": 2.0, "days": 60},
}


@pytest.mark.parametrize("case", CASES)
def test_the_interval_holds_the_true_use(case):
    """In at least 95 % of 400 seeded containers.

    Measured, in the order of the cases: 100, 96.5, 99.0, 97.3, 96.5, 97.8, 100, 100, 100, 97.0 and 100 %.
    """
    rng = random.Random(7)
    settings = CASES[case]
    use = settings.get("use", 5.3)
    held = 0
    for _ in range(400):
        found = pooled_slope(container(rng, **settings))
        held += found.low <= -use <= found.high
    assert held >= 380


def test_the_interval_is_not_wide_for_nothing():
    """Of a barrel read to 0.3 L over five weeks: less than a thirtieth of its use either way, by 100 seeded ones."""
    rng = random.Random(8)
    found = [pooled_slope(container(rng)) for _ in range(100)]
    assert sum(each.high - each.low for each in found) / 100 < 2 * 5.3 / 30
