"""Salinity from conductivity and specific gravity beside published check values.

PSS-78: Fofonoff N.P. and Millard R.C. (1983), UNESCO Technical Papers in Marine Science 44. Density: Millero F.J. and
Poisson A. (1981), Deep-Sea Research 28A, 625-629; TEOS-10 agrees with it within 0.004 in salinity.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from rounds.core.errors import CannotRead, Refused
from rounds.water.seawater import practical_salinity, specific_gravity


@pytest.mark.parametrize(
    ("conductivity", "temperature", "salinity"),
    [
        (42.914, 14.99640086379269, 35.0),  # UNESCO 44: standard sea water at 15 °C (IPTS-68)
        (53.0, 25, 34.947299),  # computed from the PSS-78 equations
        (55.0, 26, 35.642907),
        (48.0, 20, 35.067189),
        (47.91804, 20, 35.0),
        (54.1182, 26, 35.0),
    ],
)
def test_salinity_from_conductivity(conductivity, temperature, salinity):
    """PSS-78 at the sea surface, temperature on ITS-90."""
    assert practical_salinity(conductivity, "mS/cm", temperature) == pytest.approx(salinity, abs=1e-4)


@pytest.mark.parametrize(
    ("salinity", "unit", "gravity"),
    [
        (35, "SG 20/20", 1.02660),  # Millero and Poisson (1981), EOS-80
        (35, "SG 25/25", 1.02637),
        (33, "SG 25/25", 1.02486),
        (30, "SG 25/25", 1.02259),
    ],
)
def test_specific_gravity_of_sea_water(salinity, unit, gravity):
    """At the temperature of each pair."""
    assert specific_gravity(salinity, unit) == pytest.approx(gravity, abs=1e-5)


@pytest.mark.parametrize(
    ("gravity", "unit", "salinity"),
    [(1.0264, "SG 20/20", 34.733), (1.0250, "SG 25/25", 33.188), (1.0260, "SG 20/20", 34.209)],
)
def test_salinity_from_specific_gravity(gravity, unit, salinity):
    """The inverse of EOS-80 (Millero and Poisson 1981); TEOS-10 is within 0.004 of it."""
    assert practical_salinity(gravity, unit) == pytest.approx(salinity, abs=0.006)


@pytest.mark.parametrize("unit", ["SG 20/20", "SG 25/25", "SG 60/60F"])
@pytest.mark.parametrize("salinity", [0, 5, 20, 35, 42, 60])
def test_there_and_back(unit, salinity):
    """Salinity to specific gravity and back is the same salinity."""
    assert practical_salinity(specific_gravity(salinity, unit), unit) == pytest.approx(salinity, abs=1e-9)


@pytest.mark.parametrize("unit", ["SG 20/20", "SG 25/25", "SG 60/60F"])
def test_the_same_number_on_another_scale_is_another_salinity(unit):
    """The pairs differ; at 1.026 by up to half a unit of salinity."""
    others = {"SG 20/20", "SG 25/25", "SG 60/60F"} - {unit}
    assert all(abs(practical_salinity(1.026, unit) - practical_salinity(1.026, other)) > 0.05 for other in others)


@pytest.mark.parametrize("value", [0, 0.9, 1.06, 1.5, 35, 1026, -1, float("inf"), float("nan")])
def test_what_is_no_specific_gravity_of_sea_water_is_refused(value):
    """With the range there is."""
    with pytest.raises(Refused, match=r"between 1\.000 and 1\.050"):
        practical_salinity(value, "SG 25/25")


@pytest.mark.parametrize("value", [-1, float("nan")])
def test_what_is_no_conductivity_is_refused(value):
    """Both numbers are named."""
    with pytest.raises(Refused, match="at 25 °C is no sea water"):
        practical_salinity(value, "mS/cm", 25)


def test_conductivity_needs_a_temperature():
    """It says so."""
    with pytest.raises(Refused, match="needs a temperature"):
        practical_salinity(53.0, "mS/cm")


@pytest.mark.parametrize("unit", ["SG", "SG 17.5/17.5", "PSU", "%"])
def test_an_unknown_measure_is_refused_with_those_there_are(unit):
    """The reference pairs are listed."""
    with pytest.raises(CannotRead, match=r"SG 20/20, SG 25/25, SG 60/60F"):
        practical_salinity(1.026, unit)


def test_numpy_is_not_loaded_before_it_is_needed():
    """Importing the module costs nothing."""
    program = "import sys, rounds.water.seawater; sys.exit('numpy' in sys.modules or 'gsw' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", program], cwd=Path(__file__).parents[2], check=False).returncode == 0
