"""How inputs of a calculator may be written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import CannotRead, Refused
from rounds.water import measures

WRITTEN = [
    (measures.TEMPERATURE, "25", 25),
    (measures.TEMPERATURE, "77F", 25),
    (measures.TEMPERATURE, "77 °F", 25),
    (measures.PH, "8,1", 8.1),
    (measures.VOLUME, "20 US gal", 75.70823568),
    (measures.VOLUME, "1.2 m3", 1200),
    (measures.LENGTH, "8 ft", 243.84),
    (measures.LENGTH, "10in", 25.4),
    (measures.AREA, "32 ft²", 2.97289728),
    (measures.HOURS, "90 min", 1.5),
    (measures.SALINITY, "35 ppt", 35),
    (measures.DKH, "2 meq/L", 2 * DKH_PER_MEQ),
    (measures.per_day(measures.DKH), "-0.04 dKH/day", -0.04),
    (measures.per_day(measures.DKH), "−0,04 a day", -0.04),
    (measures.share(), "10 %", 0.1),
    (measures.share(), "0,1", 0.1),
    (measures.share(bare_per_cent=True), "50", 0.5),
    (measures.share(bare_per_cent=True), "0.5", 0.5),
    (measures.share(bare_per_cent=True), "1 %", 0.01),
    (measures.AMMONIA, "1 mg/L NH3", 14.007 / 17.031),
    (measures.CO2_IN_AIR, "0.1 %", 1000),
    (measures.DAYS, "2 weeks", 14),
    (measures.number(), "1e3", 1000),
]


@pytest.mark.parametrize(("measure", "text", "value"), WRITTEN, ids=[text for _, text, _ in WRITTEN])
def test_ways_to_write_a_value(measure, text, value):
    assert measure.read(text, {}) == pytest.approx(value, rel=1e-6)


def test_salinity_as_specific_gravity_and_conductivity():
    """Conductivity goes with the temperature read before it; 53.07 mS/cm at 25 °C is salinity 35 (PSS-78)."""
    assert measures.SALINITY.read("1.02637 SG 25/25", {}) == pytest.approx(35, abs=0.01)
    assert measures.SALINITY.read("53.07 mS/cm", {"temperature": 25}) == pytest.approx(35, abs=0.01)
    with pytest.raises(Refused, match="needs a temperature"):
        measures.SALINITY.read("53.07 mS/cm", {})


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("1,2.5,4", [1, 2.5, 4]),
        ("1, 2.5, 4", [1, 2.5, 4]),
        ("1;2,5;4", [1, 2.5, 4]),
        ("1 2.5 4", [1, 2.5, 4]),
        ("3", [3]),
    ],
)
def test_lists(text, values):
    assert measures.several(measures.number()).read(text, {}) == values


@pytest.mark.parametrize("text", ["", ",", "1,,2", "1,", "1;;2", "a,b", "1,2x"])
def test_lists_that_cannot_be_read(text):
    with pytest.raises(CannotRead):
        measures.several(measures.number()).read(text, {})


def test_a_list_beyond_what_a_slope_can_carry_is_refused():
    with pytest.raises(Refused, match="5000 at most"):
        measures.several(measures.number()).read(",".join("1" * 5001), {})


@pytest.mark.parametrize(
    "text", ["nan", "inf", "-inf", "", "pH 8", "1 2", "--1", "0x10", "½", "٣", "1,000,000", "1_000"]
)
def test_what_is_no_number_cannot_be_read(text):
    with pytest.raises(CannotRead):
        measures.number().read(text, {})


@pytest.mark.parametrize("text", ["1e999", "-1e16", "1e-300"])
def test_a_number_beyond_any_quantity_is_refused(text):
    with pytest.raises(Refused, match="beyond any quantity"):
        measures.number().read(text, {})


@pytest.mark.parametrize(("text", "shares"), [("10", "0 % to 100 %"), ("-0.1", "0 to 1"), ("101 %", "0 % to 100 %")])
def test_what_is_no_share_is_refused(text, shares):
    with pytest.raises(Refused, match=shares):
        measures.share().read(text, {})


@given(st.floats(1, 1e5), st.floats(20, 40), st.floats(5, 30))
def test_alkalinity_per_kilogram_and_per_litre_are_apart(value, salinity, temperature):
    """Sea water is heavier than a kilogram a litre: the same number per litre is less per kilogram."""
    known = {"salinity": salinity, "temperature": temperature}
    per_kilogram = measures.alkalinity_per_kg().read(f"{value!r} meq/kg", known)
    per_litre = measures.alkalinity_per_kg().read(f"{value!r} meq/L", known)
    assert per_kilogram == pytest.approx(value * 1000)
    assert 1.01 < per_kilogram / per_litre < 1.04
