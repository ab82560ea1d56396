"""Salinity from conductivity and specific gravity beside published check values.

PSS-78: Fofonoff N.P. and Millard R.C. (1983), UNESCO Technical Papers in Marine Science 44. Density: Millero F.J. and
Poisson A. (1981), Deep-Sea Research 28A, 625-629; TEOS-10 agrees with it within 0.004 in salinity.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.eos80 import gravity, salinity_of_gravity
from rounds.core.errors import Refused
from rounds.core.quantities import QUANTITIES
from rounds.core.units import reference_pair
from rounds.water.seawater import conductivity, practical_salinity


@pytest.mark.parametrize(
    ("measured", "temperature", "salinity"),
    [
        (42.914, 14.99640086379269, 35.0),  # UNESCO 44: standard sea water at 15 °C (IPTS-68)
        (53.0, 25, 34.947299),  # computed from the PSS-78 equations
        (55.0, 26, 35.642907),
        (48.0, 20, 35.067189),
        (47.91804, 20, 35.0),
        (54.1182, 26, 35.0),
    ],
)
def test_salinity_from_conductivity(measured, temperature, salinity):
    """PSS-78 at the sea surface, temperature on ITS-90."""
    assert practical_salinity(measured, temperature) == pytest.approx(salinity, abs=1e-4)


PAIRS = [reference_pair(unit.name) for unit in QUANTITIES["salinity"].units if unit.needs == "reference pair"]


@pytest.mark.parametrize("pair", PAIRS)
@pytest.mark.parametrize("salinity", [0, 5, 20, 35, 42, 60])
def test_there_and_back(pair, salinity):
    """Salinity to specific gravity and back is the same salinity."""
    assert salinity_of_gravity(gravity(salinity, *pair), *pair) == pytest.approx(salinity, abs=1e-9)


@pytest.mark.parametrize("pair", PAIRS)
def test_the_same_number_on_another_scale_is_another_salinity(pair):
    """The pairs differ; at 1.026 by up to half a unit of salinity."""
    others = [other for other in PAIRS if other != pair]
    assert all(abs(salinity_of_gravity(1.026, *pair) - salinity_of_gravity(1.026, *each)) > 0.05 for each in others)


@pytest.mark.parametrize("value", [0, 0.9, 1.06, 1.5, 35, 1026, -1, float("inf"), float("nan")])
def test_what_is_no_specific_gravity_of_sea_water_is_refused(value):
    """With the range there is."""
    with pytest.raises(Refused, match=r"between 1\.000 and 1\.050"):
        salinity_of_gravity(value, 25, 25)


@pytest.mark.parametrize("value", [-1, float("nan")])
def test_what_is_no_conductivity_is_refused(value):
    """Both numbers are named."""
    with pytest.raises(Refused, match="at 25 °C is no sea water"):
        practical_salinity(value, 25)


@given(st.floats(2, 42), st.floats(0, 35), st.floats(0, 10_000))
def test_conductivity_there_and_back_under_pressure(salinity, temperature, pressure):
    """Salinity to conductivity and back is the same salinity."""
    there = conductivity(salinity, temperature, pressure)
    assert practical_salinity(there, temperature, pressure) == pytest.approx(salinity, abs=1e-6)


def test_numpy_is_not_loaded_before_it_is_needed():
    """Importing the module costs nothing."""
    program = "import sys, rounds.water.seawater; sys.exit('numpy' in sys.modules or 'gsw' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], cwd=Path(__file__).parents[2], check=False).returncode == 0
