"""Exact units.

NIST Special Publication 811 (2008), App. B; NIST Handbook 44, App. C (gallon of 231 cubic inches); UK Weights and
Measures Act 1985, Schedule 1 (4.54609 dm3); 16 CFR 500.19.
"""

from __future__ import annotations

import pytest

from rounds.water.convert import convert
from rounds.water.requests import read_request


@pytest.mark.parametrize(
    ("id", "text", "expected", "tolerance"),
    [
        ("T10-1", "25 °C to °F", 77.0, 1e-9),
        ("T10-2", "-40 °C to °F", -40.0, 1e-9),
        ("T10-5", "2 °C difference to °F difference", 3.6, 1e-9),
        ("T10-6", "1 US gal to L", 3.785411784, 1e-12),
        ("T10-7", "1 UK gal to L", 4.54609, 1e-12),
        ("T10-9", "1 in3 to mL", 16.387064, 1e-9),
        ("T10-10", "1 ft3 to US gal", 7.480519480519, 1e-9),
    ],
)
def test_an_exact_conversion(id, text, expected, tolerance):
    """To the last digit of the source."""
    assert convert(read_request(text)).value == pytest.approx(expected, abs=tolerance, rel=0)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1 in to mm", 25.4),
        ("1 ft to m", 0.3048),
        ("1 lb to g", 453.59237),
        ("1 oz to g", 28.349523125),
        ("1 US fl oz to mL", 29.5735295625),
        ("1 UK fl oz to mL", 28.4130625),
        ("1 ft2 to m2", 0.09290304),
        ("1 psi to kPa", 6.894757293168361),
        ("0 °C to K", 273.15),
        ("1 atm to kPa", 101.325),
        ("1 mmHg to Pa", 133.322387415),
        ("1 mH2O to kPa", 9.80665),
        ("1 yd to m", 0.9144),
        ("1 yd2 to m2", 0.83612736),
        ("1 yd3 to L", 764.554857984),
        ("1 US qt to mL", 946.352946),
        ("1 US pt to mL", 473.176473),
        ("1 UK qt to mL", 1136.5225),
        ("1 UK pt to mL", 568.26125),
        ("1 US gal/min to L/min", 3.785411784),
        ("1 US_liquid_gallon to liter", 3.785411784),
        ("1 imperial_gallon to liter", 4.54609),
        ("1 inch**3 to milliliter", 16.387064),
    ],
)
def test_what_the_same_sources_define(text, expected):
    """NIST SP 811, App. B.8; the fluid ounces are 1/128 US and 1/160 UK gallon."""
    assert convert(read_request(text)).value == pytest.approx(expected, rel=1e-12)


def test_five_litres_are_a_little_over_a_us_gallon():
    """Common practice, no source: 5 L a day of top-off."""
    assert 1.3 < convert(read_request("5 L/day to US gal/day")).value < 1.35


@pytest.mark.parametrize(("text", "expected"), [("1 inHg to hPa", 33.86389), ("1 mmHg to Pa", 133.3224)])
def test_mercury_as_the_tables_print_it(text, expected):
    """NIST SP 811, App. B.8, to the seven figures printed."""
    assert convert(read_request(text)).value == pytest.approx(expected, rel=5e-7)
