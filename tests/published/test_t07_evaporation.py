"""Evaporation from an open surface.

ASHRAE Handbook, HVAC Applications, chapter on natatoriums; Smith C.C., Löf G.O.G. and Jones R.W. (1998), ASHRAE Trans.
104(1A); Shah M.M. (2014), ASHRAE Trans. 120(2), SE-14-001. Recomputed; the equations partly from memory.
"""

from __future__ import annotations

import pytest

from tests.published.calc import calc


@pytest.mark.parametrize(
    ("inputs", "mm"),
    [
        ("water=26 air=24 humidity=0.5 air_speed=0.1 activity=1", 6.415),  # T07-1
        ("water=26 air=24 humidity=50% air_speed=0.1 activity=0.5", 3.207),  # T07-2
        ("water=26 air=24 humidity=50 air_speed=0.1 activity=0.74", 4.747),  # T07-3
        ("water=27 air=29 humidity=0.6 air_speed=0.1 activity=0.5", 1.995),  # T07-7
        ("water=80.6F air=84.2F humidity=60", 1.995),  # T07-7 in Fahrenheit, the rest as it is when left out
    ],
)
def test_ashrae(inputs: str, mm: float) -> None:
    found = calc(f"evaporation {inputs} surface=3.9")
    assert found["mm_per_day"] == pytest.approx(mm, rel=0.005)
    assert found["litres_per_day"] == pytest.approx(mm * 3.9, rel=0.005)


def test_shah() -> None:
    """T07-9"""
    found = calc("evaporation water=26 air=26 humidity=60 surface=1 method=shah")
    assert found["mm_per_day"] == pytest.approx(1.727, rel=0.02)


@pytest.mark.parametrize("surface", ["2.97289728", "2.97289728 m²", "32 ft2"])
def test_depth_as_litres(surface: str) -> None:
    """T07-11: 4 ft by 8 ft."""
    found = calc("depth depth=3.3", surface=surface)
    assert found["litres"] == pytest.approx(9.811, abs=0.005)
    assert calc("depth", surface=surface, litres=9.8106)["mm"] == pytest.approx(3.3, abs=1e-4)
