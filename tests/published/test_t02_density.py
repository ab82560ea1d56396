"""Density, specific gravity and refraction beside published values.

Millero F.J. and Poisson A. (1981), Deep-Sea Research 28A, 625-629, and UNESCO Technical Papers in Marine Science 44
(1983), pages 15-19: the check values are given there for temperatures on IPTS-68, and stood in memory as well as in a
reprint. TEOS-10: IOC, SCOR and IAPSO (2010), Manuals and Guides 56. Refraction: Quan X. and Fry E.S. (1995), Applied
Optics 34, 3477-3480 (from memory). Not covered: T02-32, the scale of a refractometer that corrects for pure water
only, for which the program has no function.
"""

from __future__ import annotations

import pytest

from rounds.core.eos80 import IPTS_68, density
from rounds.water.convert import Request, convert
from rounds.water.ways import Water


def converted(value, unit, to, t90=None):
    return convert(Request(value, unit, to, Water(t90))).value


@pytest.mark.parametrize(
    ("id", "salinity", "t90", "expected", "tolerance"),
    [
        ("T02-2", 0, 25 / IPTS_68, 997.04796, 1e-5),
        ("T02-4", 35, 25 / IPTS_68, 1023.34306, 1e-5),
        ("T02-5", 35, 0, 1028.106331, 1e-6),
        ("T02-7", 0, 30 / IPTS_68, 995.651134, 1e-6),
        ("T02-8", 35, 25, 1023.341235, 2e-5),  # computed from the published equation
        ("T02-9", 35, 20, 1024.76174, 2e-5),  # likewise
    ],
)
def test_density_by_eos_80(id, salinity, t90, expected, tolerance):
    """kg/m3; also through a conversion, and back."""
    assert density(salinity, t90) == pytest.approx(expected, abs=tolerance)
    assert converted(salinity, "PSU", "kg/m3", t90) == pytest.approx(expected, abs=tolerance)
    assert converted(expected, "kg/m3", "PSU", t90) == pytest.approx(salinity, abs=1e-4)


@pytest.mark.parametrize(
    ("id", "salinity", "t90", "expected"),
    [("T02-10", 35, 25, 1023.343631), ("T02-11", 35, 20, 1024.766)],
)
def test_density_by_teos_10(id, salinity, t90, expected):
    """kg/m3 of Reference-Composition sea water."""
    assert converted(salinity, "PSU", "kg/m3 TEOS-10", t90) == pytest.approx(expected, abs=2e-5)


@pytest.mark.parametrize(
    ("id", "salinity", "unit", "expected"),
    [
        ("T02-13", 35, "SG 20/20", 1.0266),
        ("T02-14", 35, "SG 25/25", 1.02637),
        ("T02-16", 33, "SG 25/25", 1.02486),
        ("T02-17", 30, "SG 25/25", 1.02259),
        ("T02-19", 35, "SG 20/3.98", 1.02479),  # the densest water
        ("T02-26", 35, "SG 25C/60F", 1.02435),  # a 60 °F hydrometer floating in water of 25 °C
    ],
)
def test_specific_gravity_of_a_salinity(id, salinity, unit, expected):
    """Computed from EOS-80."""
    assert converted(salinity, "PSU", unit) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    ("id", "gravity", "unit", "salinity"),
    [
        ("T02-21", 1.0264, "SG 20/20", 34.733),
        ("T02-23", 1.025, "SG 25/25", 33.188),
        ("T02-25", 1.026, "SG 20/20", 34.209),
    ],
)
def test_salinity_of_a_specific_gravity(id, gravity, unit, salinity):
    """Computed from EOS-80."""
    assert converted(gravity, unit, "PSU") == pytest.approx(salinity, abs=0.002)


@pytest.mark.parametrize(
    ("id", "salinity", "temperature", "expected"),
    [("T02-27", 0, 20, 1.333), ("T02-28", 35, 20, 1.33941), ("T02-29", 35, 25, 1.33886)],
)
def test_refractive_index(id, salinity, temperature, expected):
    """Of sodium light, from memory."""
    assert converted(salinity, "PSU", "nD", temperature) == pytest.approx(expected, abs=2e-5)


def test_an_uncompensated_refractometer_reads_warm_water_too_low():
    """T02-31: salinity 35 at 25 °C on a scale made for 20 °C shows 32.0 (from memory)."""
    seen = converted(35, "PSU", "nD", 25)
    assert converted(seen, "nD", "PSU", 20) == pytest.approx(32.0, abs=0.03)
