"""Nutrients as ion or as nitrogen, phosphorus: ratios of IUPAC atomic weights, computed apart.

The rows on un-ionised ammonia are tested beside the ammonia calculator.
"""

from __future__ import annotations

import pytest

from rounds.water.convert import convert
from rounds.water.requests import read_request


@pytest.mark.parametrize(
    ("id", "text", "expected", "tolerance"),
    [
        ("T12-17", "1 mg/L P to mg/L PO4", 3.0661, 2e-4),
        ("T12-19", "1 mg/L N to mg/L NH4", 1.2879, 2e-4),
        ("T12-20", "1 mg/L N to mg/L NO2", 3.2844, 2e-4),
        ("T12-21", "10 mg/L N to mg/L NO3", 44.27, 0.01),
        ("NO3 in the formula of T12", "1 mg/L N to mg/L NO3", 4.4267, 2e-4),
        ("NH3 in the formula of T12", "1 mg/L N to mg/L NH3", 1.2159, 2e-4),
    ],
)
def test_as_ion_or_as_element(id, text, expected, tolerance):
    """The same moles, another weight."""
    assert convert(read_request(text)).value == pytest.approx(expected, abs=tolerance)
