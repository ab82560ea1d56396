"""The Reference Composition of sea water, and units of alkalinity.

Millero F.J., Feistel R., Wright D.G. and McDougall T.J. (2008), Deep-Sea Research I 55, 50-72, Table 4. Hardness units:
DIN 38409-6 (1986), ISO 6059:1984, ISO 9963-1:1994; IUPAC abridged standard atomic weights. All figures of this file
were from memory and computed again from the definitions.
"""

from __future__ import annotations

import pytest

from rounds.water.composition import MEAN_WEIGHT, PARTS, WEIGHTS, alkalinity, milligrams
from rounds.water.convert import Request, convert
from rounds.water.ways import Water
from tests.published.calc import calc

CHARGES = {
    "Na": 1, "Mg": 2, "Ca": 2, "K": 1, "Sr": 2, "Cl": -1, "SO4": -2, "HCO3": -1,
    "Br": -1, "CO3": -2, "B(OH)4": -1, "F": -1, "OH": -1, "B(OH)3": 0, "CO2": 0,
}  # fmt: skip


def converted(value, unit, to, water=Water()):  # noqa: B008 - frozen
    return convert(Request(value, unit, to, water)).value


def test_the_table_adds_up():
    """T03-1: ten million parts, no charge, and the mean weight of the paper."""
    assert sum(PARTS.values()) == 10_000_000
    assert sum(PARTS[ion] * CHARGES[ion] for ion in PARTS) == 0
    assert sum(PARTS[ion] * WEIGHTS[ion] for ion in PARTS) / 1e7 == pytest.approx(MEAN_WEIGHT, abs=2e-6)
    assert pytest.approx(31.4038218, abs=2e-6) == MEAN_WEIGHT


@pytest.mark.parametrize(
    ("id", "ion", "expected", "tolerance"),
    [
        ("T03-2", "Ca", 412.08, 0.02),
        ("T03-3", "Mg", 1283.72, 0.05),
        ("T03-5", "Sr", 7.947, 0.002),
    ],
)
def test_what_a_kilogram_of_sea_water_holds(id, ion, expected, tolerance):
    """mg/kg at salinity 35."""
    assert milligrams(ion, 35) == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("id", "ion", "expected", "tolerance"),
    [("T03-8", "Ca", 421.7, 0.05), ("T03-9", "Mg", 1313.69, 0.1)],
)
def test_what_a_litre_of_sea_water_holds(id, ion, expected, tolerance):
    """mg/L at salinity 35 and 25 °C."""
    litre = converted(milligrams(ion, 35), "mg/kg", "mg/L", Water(25, 35))
    assert litre == pytest.approx(expected, abs=tolerance)


def test_what_the_calculator_tells():
    """T03-8, T03-9, T03-11 as someone outside would ask."""
    found = calc("composition salinity=35 temperature=25")
    assert found["calcium_mg_l"] == pytest.approx(421.7, abs=0.05)
    assert found["magnesium_mg_l"] == pytest.approx(1313.69, abs=0.1)
    assert found["alkalinity_dkh"] == pytest.approx(6.612, abs=0.001)


def test_alkalinity_of_sea_water():
    """T03-11: 6.612 dKH at salinity 35 and 25 °C."""
    found = converted(alkalinity(35) * 1e6, "µmol/kg", "dKH", Water(25, 35))
    assert found == pytest.approx(6.612, abs=0.001)


@pytest.mark.parametrize(
    ("id", "value", "unit", "to", "expected", "tolerance"),
    [
        ("T03-12", 1, "meq/L", "dKH", 2.80385, 0.0002),
        ("T03-13", 1, "meq/L", "ppm CaCO3", 50.0432, 0.002),
        ("T03-17", 8, "dKH", "meq/L", 2.8532, 0.0005),
        ("T03-18", 140, "ppm CaCO3", "dKH", 7.844, 0.001),
        ("the formula of T03", 1, "dKH", "mg/L CaO", 10, 1e-9),
        ("ISO 6059, from memory", 1, "dKH", "°fH", 1.785, 0.001),
        ("ISO 6059, from memory", 1, "dKH", "°e", 1.252, 0.001),
    ],
)
def test_units_of_alkalinity(id, value, unit, to, expected, tolerance):
    """By weight of CaO and CaCO3."""
    assert converted(value, unit, to) == pytest.approx(expected, abs=tolerance)
