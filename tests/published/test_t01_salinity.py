"""Practical salinity beside the check values of UNESCO 44.

Fofonoff N.P. and Millard R.C. (1983), Algorithms for computation of fundamental properties of seawater, UNESCO
Technical Papers in Marine Science 44, pages 6-12. Its temperatures are IPTS-68; the program takes ITS-90
(t68 = 1.00024 t90).
"""

from __future__ import annotations

import pytest

from rounds.water.convert import Request, convert
from rounds.water.requests import read_request
from rounds.water.ways import Water


def converted(value, unit, to, t90):
    return convert(Request(value, unit, to, Water(t90))).value


@pytest.mark.parametrize(
    ("id", "salinity", "t68", "ratio"),
    [("T01-4", 25, 0, 0.498008), ("T01-5", 25, 10, 0.65499)],
)
def test_conductivity_ratio_of_a_salinity(id, salinity, t68, ratio):
    """The table of UNESCO 44, at the surface."""
    assert converted(salinity, "PSU", "R", t68 / 1.00024) == pytest.approx(ratio, abs=1e-6)
    assert converted(ratio, "R", "PSU", t68 / 1.00024) == pytest.approx(salinity, abs=1e-4)


def test_salinity_under_pressure():
    """T01-2, the check value of UNESCO 44 at 2000 dbar."""
    found = convert(Request(1.2, "R", "PSU", Water(20 / 1.00024, None, 2000))).value
    assert found == pytest.approx(37.245628, abs=1e-6)
    assert convert(read_request("1.2 R to PSU at 20 t68, 2000 dbar")).value == pytest.approx(found, abs=1e-9)


@pytest.mark.parametrize(
    ("id", "conductivity", "t90", "salinity", "tolerance"),
    [
        ("T01-8", 42.914, 14.99640086379269, 35.0, 1e-5),  # standard sea water, 15 °C on IPTS-68
        ("T01-9", 53.0, 25, 34.947299, 2e-5),  # computed from the equations of PSS-78
        ("T01-11", 55.0, 26, 35.642907, 2e-5),  # likewise
        ("T01-12", 48.0, 20, 35.067189, 2e-5),  # likewise
    ],
)
def test_salinity_of_a_conductivity(id, conductivity, t90, salinity, tolerance):
    """At the surface."""
    assert converted(conductivity, "mS/cm", "PSU", t90) == pytest.approx(salinity, abs=tolerance)


@pytest.mark.parametrize(
    ("id", "salinity", "t90", "conductivity"),
    [("T01-14", 35, 20, 47.91804), ("T01-16", 35, 26, 54.1182)],
)
def test_conductivity_of_a_salinity(id, salinity, t90, conductivity):
    """Computed from the equations of PSS-78."""
    assert converted(salinity, "PSU", "mS/cm", t90) == pytest.approx(conductivity, abs=2e-4)
