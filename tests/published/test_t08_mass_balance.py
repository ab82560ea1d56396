"""Water changes and salinity by conservation of mass.

Continuous exchange: Levenspiel O. (1999), Chemical Reaction Engineering, 3rd ed., ch. 11–13.
"""

from __future__ import annotations

from math import log

import pytest

from tests.published.calc import calc


def test_evaporation_by_mass() -> None:
    """T08-2"""
    found = calc("salinity volume=1000 salinity=35 lost=10 basis=mass temperature=25")
    assert found["result"] == pytest.approx(35.3444, abs=0.0003)


def test_evaporation_by_volume() -> None:
    """The same, with litres that add up: within the accuracy of a probe."""
    assert calc("salinity volume=1000 salinity=35 lost=10")["result"] == pytest.approx(35.354, abs=0.0005)


def test_a_stuck_valve() -> None:
    """T08-3"""
    assert calc("salinity volume=1000 salinity=35 added=30")["result"] == pytest.approx(33.98058, abs=0.0001)


@pytest.mark.parametrize(
    ("inputs", "expected", "within"),
    [
        ("fraction=0.1 times=5 start=1 new=0", 0.59049, 1e-9),  # T08-4
        ("fraction=0.05 times=10 start=1 new=0", 0.5987369392, 1e-9),  # T08-5
        ("fraction=50% times=1 start=1 new=0", 0.5, 1e-12),  # T08-6
        ("fraction=10% times=5 start=40 new=2", 24.43862, 1e-5),  # T08-7
        ("fraction=1 times=1 start=1 new=0 continuous=true", 0.3678794412, 1e-9),  # T08-9
        ("fraction=0.1 times=1 start=1 new=0 order=fill-first", 1 / 1.1, 1e-12),  # filling first gives 1 ÷ (1 + f)
    ],
)
def test_water_changes(inputs: str, expected: float, within: float) -> None:
    assert calc(f"water-change {inputs}")["result"] == pytest.approx(expected, abs=within)


def test_a_day_without_top_off() -> None:
    """T08-14: 3.3 mm off 4 ft by 8 ft, 755 L."""
    litres = calc("depth surface=2.97289728 depth=3.3")["litres"]
    found = calc("salinity volume=755.116 salinity=35", lost=litres)
    assert found["change"] == pytest.approx(0.46071, abs=0.0002)


def test_how_many_changes() -> None:
    """n = ln r ÷ ln(1 − f)."""
    found = calc("changes-needed fraction=0.1 start=1 new=0 target=0.5")
    assert found["times"] == pytest.approx(log(0.5) / log(0.9))
    assert found["whole"] == 7


def test_salinity_of_the_new_water() -> None:
    """(target − (1 − f) × S) ÷ f."""
    assert calc("replacement fraction=0.2 start=34 target=34.5")["new"] == pytest.approx(36.5)


def test_steady_production() -> None:
    """Changes hold production × interval ÷ f, not zero."""
    found = calc("build-up production=0.5 interval=7 fraction=0.1")
    assert (found["before"], found["after"]) == pytest.approx((35, 31.5))
