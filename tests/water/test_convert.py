"""A value in another unit: every pair there and back, what is taken for granted, what is refused."""

from __future__ import annotations

import subprocess
import sys
from itertools import product
from pathlib import Path

import gsw
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core import eos80
from rounds.core.errors import CannotRead, Refused
from rounds.core.quantities import QUANTITIES
from rounds.core.units import named_unit, to_canonical
from rounds.water import seawater
from rounds.water.convert import Request, Vessel, convert
from rounds.water.requests import read_request, read_water
from rounds.water.ways import Water, from_canonical, settle
from tests.arithmetic import calculates, false_clauses

APART = ("oxygen saturation", "pH total", "level")
SUBSTANCES = ("calcium", "magnesium", "potassium", "nitrate", "nitrite", "ammonia", "phosphate", "oxygen")
ALL_PAIRS = [
    (quantity, one.name, other.name)
    for quantity, kind in QUANTITIES.items()
    if quantity not in APART and kind.canonical
    for one, other in product(kind.every_unit, repeat=2)
]
WATERS = st.builds(Water, temperature=st.floats(5, 35), salinity=st.floats(5, 42))


def answer(text):
    return convert(read_request(text))


def ratio(quantity, one, other):
    """How much of the other unit one is, where both need the same; None where the quantity has not both."""
    first, second = (named_unit(quantity, name) for name in (one, other))
    if first is None or second is None:
        return None
    return (first.factor or first.scale) / (second.factor or second.scale)


def needs_the_substance(quantity, one, other):
    """Whether the two units alone do not tell the factor: mmol/L of what?"""
    ratios = [found for each in SUBSTANCES if (found := ratio(each, one, other)) is not None]
    return quantity in SUBSTANCES and max(ratios) > min(ratios) * (1 + 1e-9)


PAIRS = [pair for pair in ALL_PAIRS if not needs_the_substance(*pair)]


def plausible(quantity, where, name, water):
    """A plausible value in this unit."""
    low, high = QUANTITIES[quantity].plausible
    high = min(high, 42.0) if quantity == "salinity" else high
    unit = named_unit(quantity, name)
    return from_canonical(low + where * (high - low), unit, settle(water, (unit,)))


# -- there and back ------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", dict.fromkeys(quantity for quantity, _, _ in PAIRS))
def test_every_pair_of_units_converts_both_ways(quantity):
    """In water of 24 °C and salinity 34, from the middle of what is plausible."""
    water = Water(24.0, 34.0)
    for _, one, other in (pair for pair in PAIRS if pair[0] == quantity):
        value = plausible(quantity, 0.5, one, water)
        there = convert(Request(value, one, other, water))
        assert there.unit == other
        assert convert(Request(there.value, other, one, water)).value == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("quantity", SUBSTANCES)
def test_a_pair_that_needs_the_substance_is_refused(quantity):
    """mmol/L to mg/L, of what? In both directions."""
    pairs = [pair for pair in ALL_PAIRS if pair[0] == quantity and needs_the_substance(*pair)]
    assert pairs
    for _, one, other in pairs:
        with pytest.raises(Refused, match="not the same for"):
            convert(Request(1, one, other, Water(24.0, 34.0)))


@settings(deadline=None)
@given(st.sampled_from(PAIRS), st.floats(0, 1), WATERS)
def test_there_and_back_is_the_same_value(pair, where, water):
    """Any plausible value of any pair of units, in any water."""
    quantity, one, other = pair
    value = plausible(quantity, where, one, water)
    there = convert(Request(value, one, other, water)).value
    assert convert(Request(there, other, one, water)).value == pytest.approx(value, rel=1e-6, abs=1e-9)


@settings(deadline=None)
@given(st.sampled_from(PAIRS), st.floats(0, 1), st.floats(0, 1), WATERS)
def test_more_stays_more(pair, one_place, other_place, water):
    """Of two values the greater one is the greater in every unit."""
    quantity, unit, to = pair
    values = [plausible(quantity, place, unit, water) for place in sorted((one_place, other_place))]
    first, second = (convert(Request(value, unit, to, water)).value for value in values)
    assert first <= second + abs(second) * 1e-9


TYPED = [
    (quantity, unit.name)
    for quantity in ("volume", "flow", "mass", "alkalinity", "temperature", "length")
    for unit in QUANTITIES[quantity].units
]


@given(st.sampled_from(TYPED), st.floats(1, 30))
def test_the_command_and_the_entry_line_agree(pair, value):
    """What both can convert, they convert alike."""
    quantity, unit = pair
    found = convert(Request(value, unit, QUANTITIES[quantity].canonical))
    assert found.value == pytest.approx(to_canonical(quantity, value, unit))


# -- against other calculations ------------------------------------------------------------------------


@pytest.mark.parametrize("temperature", [0, 15, 25, 30])
@pytest.mark.parametrize("salinity", [0, 10, 35, 42])
def test_the_two_equations_of_state_agree(salinity, temperature):
    """EOS-80 and TEOS-10 (gsw), within 0.01 kg/m3."""
    assert eos80.density(salinity, temperature) == pytest.approx(seawater.density(salinity, temperature), abs=0.01)


def test_oxygen_at_saturation():
    """Garcia and Gordon (1992): check value 274.610 µmol/kg at S 35 and 10 °C, from memory."""
    per_litre = seawater.oxygen_at_saturation(35, 10)
    found = per_litre / 31.998 * 1000 / (seawater.density(35, 10) / 1000)
    assert found == pytest.approx(274.610, abs=0.05)


def test_oxygen_of_a_coral_tank():
    """6.77 mg/L at 25 °C and salinity 35: the same equation, computed apart."""
    assert answer("100 % to mg/L at 25 °C, 35 PSU").value == pytest.approx(6.77, abs=0.005)


def test_nbs_and_total_scale():
    """NBS 8.200 is 8.063 on the total scale at S 35, 25 °C (Takahashi et al. 1982, computed apart)."""
    there = answer("8.2 NBS to total at 25 °C, 35 PSU")
    assert (there.value, there.unit) == (pytest.approx(8.063, abs=5e-4), "pH total")
    assert answer(f"{there.value} pH total to pH at 25 °C, 35 PSU").value == pytest.approx(8.2, abs=1e-9)


def test_per_kilogram_and_per_litre_meet_over_the_density():
    """mg/kg times kg/L is mg/L, in the water that is said."""
    found = answer("412.1 mg/kg to mg/L at 20 °C, 30 PSU")
    density = float(gsw.rho_t_exact(30 * 35.16504 / 35, 20, 0)) / 1000
    assert found.value == pytest.approx(412.1 * density)
    assert f"{density:.5f} kg/L" in found.method
    assert found.assumed == ()


def test_two_units_per_kilogram_need_no_density():
    """And no water."""
    found = answer("412.1 mg/kg Ca to mmol/kg")
    assert (found.value, found.assumed) == (pytest.approx(412.1 / 40.078), ())


@pytest.mark.parametrize(
    ("text", "assumed"),
    [
        ("2304 µmol/kg to dKH", ("25 °C", "salinity 35")),
        ("2304 µmol/kg to dKH at 20 °C", ("salinity 35",)),
        ("2304 µmol/kg to dKH at 20 °C, 30 PSU", ()),
        ("100 µmol/kg difference to dKH difference", ("25 °C", "salinity 35")),
        ("8.2 pH to pH total", ("25 °C", "salinity 35")),
        ("85 % to mg/L at 25 °C", ("salinity 35",)),
        ("53 mS/cm to PSU at 25 °C", ()),
        ("35 PSU to SG 25/25", ()),
        ("8 dKH to meq/L", ()),
    ],
)
def test_what_was_taken_for_granted_is_said(text, assumed):
    """And nothing else."""
    assert answer(text).assumed == assumed


# -- which quantity ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "quantity"),
    [
        ("10 mg/L to µg/L", 10_000, None),
        ("10 ppm to mg/L", 10, None),
        ("53 mS/cm to µS/cm", 53_000, None),
        ("10 mg/L N to mg/L NO3", 44.266, "nitrate"),
        ("10 mg/L N to mg/L NO2", 32.844, "nitrite"),
        ("10 mg/L N to mg/L NH4", 12.879, "ammonia"),
        ("1 mg/L P to mg/L PO4", 3.0661, "phosphate"),
        ("0.1 mg/L PO4 to mg/L P2O5", 0.07473, "phosphate"),
        ("140 ppm to dKH", 7.844, "alkalinity"),
        ("421.7 mg/L Ca to mmol/L", 10.522, "calcium"),
        ("10.28 mmol/L calcium to mg/L", 412.0, "calcium"),
        ("1 mL/L to mg/L", 1.429, "oxygen"),
        ("1.2 R to mS/cm", 51.497, "salinity"),
        ("35 PSU to g/kg", 35.16504, "salinity"),
        ("1 psi to kPa", 6.894757, "pressure"),
    ],
)
def test_the_more_specific_unit_tells_the_quantity(text, value, quantity):
    """Where all agree there is nothing to tell."""
    found = answer(text)
    assert (found.value, found.quantity) == (pytest.approx(value, rel=2e-4), quantity)


@pytest.mark.parametrize("text", ["10 mmol/L to mg/L", "10 mmol/kg to mg/L", "1 mg/L to mg/L N"])
def test_a_factor_that_depends_on_the_substance_is_refused_with_the_choice(text):
    """Calcium is no nitrate."""
    with pytest.raises(Refused, match=r"not the same for .*nitrate.* name it in the unit: .*mg/L"):
        answer(text)


@pytest.mark.parametrize("text", ["5 L to °C", "8 dKH to mg/L Ca", "35 PSU to L", "25 °C to Δ°F", "5 dKH to %"])
def test_units_of_two_quantities_are_refused(text):
    """Both are named."""
    with pytest.raises(Refused, match=r"is a unit of|is no difference"):
        answer(text)


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("5 foo to L", "no unit known"),
        ("5 L to foo", "no unit known"),
        ("5 gal to L", "US gal or UK gal"),
        ("5 fl oz to mL", "US fl oz"),
        ("300 ppm TDS to µS/cm", "no single factor"),
        ("9000 lux to PAR", "depends on the lamp"),
        ("1.026 SG to PSU", "SG 20/20"),
        ("1.026 SG 20/x to PSU", "no specific gravity"),
    ],
)
def test_what_is_no_unit_is_refused_with_what_to_write(text, remedy):
    """The line cannot be read."""
    with pytest.raises(CannotRead, match=remedy):
        answer(text)


# -- differences ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "2 °C difference to °F difference",
        "2 C difference to F difference",
        "2 Δ°C to Δ°F",
        "2 delta C to delta F",
        "2 °C difference to °F",
        "2 K difference to °F difference",
    ],
)
def test_a_difference_converts_as_one(text):
    """2 °C apart is 3.6 °F apart; the answer says that it is a difference."""
    found = answer(text)
    assert (found.value, found.unit) == (pytest.approx(3.6, abs=1e-12), "°F difference")


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("-0.5 dKH difference to meq/L difference", -0.17832),
        ("-10 mg/kg Ca difference to mmol/kg difference", -0.24951),
        ("100 µmol/kg difference to meq/L difference at 25 °C", 0.102334),
        ("-10 % difference to mg/L difference at 25 °C", -0.67706),
    ],
)
def test_a_difference_may_be_a_fall_and_may_take_a_density(text, value):
    """In one water equal steps stay equal."""
    assert answer(text).value == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    "text",
    [
        "0.001 SG 25/25 difference to PSU difference",
        "0.001 SG 25/25 difference to SG 60/60F difference",
        "1 mS/cm difference to PSU difference",
        "1 mS/cm difference to PSU difference at 25 °C",
        "1 kg/m3 difference to PSU difference at 25 °C",
    ],
)
def test_a_difference_that_is_not_the_same_everywhere_is_refused(text):
    """With what to do instead."""
    with pytest.raises(Refused, match="convert the two values and subtract"):
        answer(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1 mS/cm difference to µS/cm difference", 1000),
        ("0.1 R difference to mS/cm difference", 4.2914),
        ("1 kg/m3 difference to kg/L difference", 0.001),
        ("0.001 SG 25/25 difference to SG 25/25 difference", 0.001),
        ("0.001 SG 25/25 difference to SG 25C/25 difference", 0.001),
        ("0.001 SG 25/25 difference to kg/m3 difference at 25 °C", 0.9970464),  # kg/L of pure water at 25 °C
        ("0.1 pH difference to pH total difference", 0.1),  # the scales lie apart by the same in one water
        ("0.1 pH total difference to pH total difference", 0.1),
        ("-3 L difference to US gal difference", -0.792516),
        ("1 PSU difference to g/kg difference", 35.16504 / 35),
    ],
)
def test_steps_that_are_equal_everywhere_convert(text, value):
    assert answer(text).value == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize("quantity", dict.fromkeys(quantity for quantity, _, _ in PAIRS))
def test_a_difference_is_the_difference_of_the_values(quantity):
    """Of every pair of units, wherever on the scale the values lie; refused only where steps are not equal."""
    water = Water(24.0, 34.0)
    for _, one, other in (pair for pair in PAIRS if pair[0] == quantity):
        here = [plausible(quantity, place, one, water) for place in (0.1, 0.4, 0.9)]
        there = [convert(Request(value, one, other, water)).value for value in here]
        steps = [(there[at + 1] - there[at]) / (here[at + 1] - here[at]) for at in (0, 1)]
        asked = Request(here[2] - here[0], f"{one} difference", f"{other} difference", water)
        if steps[0] == pytest.approx(steps[1], rel=1e-6):
            assert convert(asked).value == pytest.approx(there[2] - there[0], rel=1e-6), (one, other)
        else:
            with pytest.raises(Refused, match="not the same everywhere"):
                convert(asked)


FACTORS = [pair for pair in PAIRS if all(named_unit(pair[0], name).factor is not None for name in pair[1:])]


@given(st.sampled_from(FACTORS), st.floats(0.1, 30))
def test_the_printed_arithmetic_is_true(pair, value):
    """Of what is proportional, also as a difference."""
    _, one, other = pair
    for mark in ("", " difference"):
        found = convert(Request(value, one + mark, other + mark))
        lines = [line.split(", for a step")[0].split(": ")[0] for line in found.arithmetic]
        assert all(calculates(line) for line in lines)
        assert [false for line in lines for false in false_clauses(line)] == []


# -- levels --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("45 % to L capacity=80", 36, "L"),
        ("45 % to L capacity=80 L", 36, "L"),
        ("45 % to L with capacity = 20 US gal", 9 * 3.785411784, "L"),
        ("36 L to % capacity=80", 45, "%"),
        ("12,5 cm to L litres_per_cm=2.4", 30, "L"),
        ("30 L to cm litres_per_cm=2.4 L/cm", 12.5, "cm"),
        ("12.5 cm to % litres_per_cm=2.4 capacity=80 L", 37.5, "%"),
        ("5 % difference to L difference capacity=80", 4, "L difference"),
        ("8 US gal to % capacity=80", 8 * 3.785411784 / 0.8, "%"),
    ],
)
def test_a_level_in_its_vessel(text, value, unit):
    """Per cent of the capacity, litres for each centimetre."""
    found = answer(text)
    assert (found.value, found.unit, found.quantity) == (pytest.approx(value), unit, "level")


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("45 % to L", r'takes the capacity of the vessel; add capacity="80 L"'),
        ("12 cm to US gal", r"takes the litres_per_cm of the vessel; add litres_per_cm=2\.4"),
        ("45 % to cm capacity=80", r"add litres_per_cm"),
        ("-5 % to L capacity=80", "no level so low"),
    ],
)
def test_a_level_without_its_vessel_is_refused(text, remedy):
    """With what to add."""
    with pytest.raises(Refused, match=remedy):
        answer(text)


@pytest.mark.parametrize(
    "text",
    [
        "8 dKH to meq/L capacity=80",
        "45 % to L capacity=0",
        "12 cm to L litres_per_cm=2 mm",
        "45 % to L capacity=80 dKH",
    ],
)
def test_a_vessel_that_is_none_is_refused(text):
    with pytest.raises((CannotRead, Refused)):
        answer(text)


# -- pressure ------------------------------------------------------------------------------------------


def test_oxygen_under_thin_air():
    """The saturation goes with the pressure of the air less that of water vapour: 3.17 kPa at 25 °C."""
    whole, thin = (answer(f"100 % to mg/L at 25 °C, 35 PSU{air}").value for air in ("", ", 900 hPa"))
    assert thin / whole == pytest.approx((90 - 3.17) / (101.325 - 3.17), abs=1e-4)


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("35 PSU to kg/m3 at 25 °C, 100 dbar", "kg/m3 is worked out at the surface only"),
        ("53 mS/cm to kg/m3 at 25 °C, 100 dbar", "kg/m3 is worked out at the surface only"),
        ("8.2 pH to pH total at 25 °C, 35 PSU, 1 bar", "does not depend on the pressure"),
        ("100 % to mg/L at 25 °C, 35 PSU, 100 bar", "no pressure of air"),
    ],
)
def test_a_pressure_that_cannot_be_is_refused(text, remedy):
    with pytest.raises(Refused, match=remedy):
        answer(text)


# -- specific gravity at any pair ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("35 PSU to SG 20/4", 1.02479),  # Millero and Poisson (1981)
        ("35 PSU to SG 25/60F", 1.02435),  # a 60 °F hydrometer floating in water of 25 °C
        ("35 PSU to SG 60/60F", 1.02686),
        ("1.02686 SG 60 °F/60 °F to SG 25/25", 1.02637),
        ("1.02660 SG 20/20 to SG 25/25", 1.02637),
    ],
)
def test_a_specific_gravity_at_any_pair_of_temperatures(text, value):
    """Sample over pure water, each at its own temperature."""
    assert answer(text).value == pytest.approx(value, abs=1e-5)


# -- what cannot be ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("90 PSU to SG 25/25", "between 0 and 80"),
        ("-1 PSU to SG 25/25", "between 0 and 80"),
        ("1.2 SG 25/25 to PSU", "no specific gravity of sea water"),
        ("500 mS/cm to PSU at 25 °C", "cannot be salinity"),
        ("900 kg/m3 to PSU at 25 °C", "cannot be salinity"),
        ("15 pH to pH total", "between 0 and 14"),
        ("-300 °C to °F", "no temperature so low"),
        ("-5 L to mL", "L difference"),
        ("53 mS/cm to PSU", 'at "25 °C"'),
        ("85 % to mg/L", "takes the temperature"),
        ("35 PSU to kg/m3", "takes the temperature"),
        ("53 mS/cm to PSU at 60 °C", "outside -2 to 40 °C"),
        ("35 PSU to SG 77/60F", "write both temperatures"),
    ],
)
def test_what_cannot_be_is_refused(text, remedy):
    """With the range, or what to add."""
    with pytest.raises(Refused, match=remedy):
        answer(text)


# -- reading the line ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("77 °F to °C", Request(77, "°F", "°C")),
        ("77°F to °C", Request(77, "°F", "°C")),
        ("8,1 dKH to meq/L", Request(8.1, "dKH", "meq/L")),
        ("−40 °C to °F", Request(-40, "°C", "°F")),
        ("1e3 mL to L", Request(1000, "mL", "L")),
        (".5 US gal to UK gal", Request(0.5, "US gal", "UK gal")),
        ("<0.02 mg/L to µg/L", Request(0.02, "mg/L", "µg/L", bound="<")),
        ("53 mS/cm to PSU at 25 °C", Request(53, "mS/cm", "PSU", Water(25))),
        ("35 PSU to mS/cm at 25 °C, 33 PSU", Request(35, "PSU", "mS/cm", Water(25, 33))),
        ("5 mg/kg to mg/L with 33 PSU", Request(5, "mg/kg", "mg/L", Water(None, 33))),
        ("5 mg/kg to mg/L at 25 °C with 33 PSU", Request(5, "mg/kg", "mg/L", Water(25, 33))),
        ("1.2 R to PSU at 20 °C, 2000 dbar", Request(1.2, "R", "PSU", Water(20, None, 2000))),
        ("45 % to L capacity=80", Request(45, "%", "L", vessel=Vessel(80))),
    ],
)
def test_a_line_is_read(text, asked):
    """Value, unit, unit, water."""
    assert read_request(text) == asked


@pytest.mark.parametrize(
    ("text", "temperature", "salinity"),
    [
        ("25 °C", 25, None),
        ("25", 25, None),
        ("25C", 25, None),
        ("77 °F", 25, None),
        ("25,5 °C", 25.5, None),
        ("25 °C, 35 PSU", 25, 35),
        ("25 °C,35 PSU", 25, 35),
        ("25 °C; 35", 25, 35),
        ("35 PSU and 25 °C", 25, 35),
        ("25 °C, S 35", 25, 35),
        ("25 °C, S=35", 25, 35),
        ("25 °C, 1.02637 SG 25/25", 25, 35),
        ("25 °C, 53.071 mS/cm", 25, 35),
    ],
)
def test_the_water_is_read(text, temperature, salinity):
    """Temperature and salinity in any order and unit."""
    found = read_water(text)
    assert found.temperature == pytest.approx(temperature)
    assert found.salinity == (pytest.approx(salinity, abs=5e-3) if salinity else None)


@pytest.mark.parametrize("text", ["", "8 dKH", "8 dKH to", "dKH to meq/L", "8 to meq/L", "1e999 L to mL"])
def test_a_line_that_is_no_conversion_is_not_read(text):
    """With an example."""
    with pytest.raises(CannotRead, match=r"no conversion|too large"):
        read_request(text)


@pytest.mark.parametrize("text", ["1e308 °C to °F", "-1e308 °C difference to °F difference", "1e306 L to mL"])
def test_an_answer_beyond_any_number_is_refused(text):
    """JSON has no word for infinity, and a reader none for 309 digits."""
    with pytest.raises(Refused, match="too large"):
        answer(text)


@pytest.mark.parametrize("text", ["warm", "25 °C, 26 °C", "25 °C, 33 PSU, 34 PSU", "25 °C, 8 dKH", "25 °C, 33 foo"])
def test_a_water_that_is_none_is_refused(text):
    """Told twice, or in units of something else."""
    with pytest.raises((CannotRead, Refused)):
        read_water(text)


@given(st.text(max_size=60))
def test_any_line_is_read_or_refused(text):
    """Nothing else happens."""
    try:
        answer(text)
    except (CannotRead, Refused):
        return


def test_what_loads_slowly_is_not_loaded_before_it_is_needed():
    """Importing the module, and converting what is proportional or a specific gravity, cost nothing."""
    program = (
        "import sys; from rounds.water.convert import convert; from rounds.water.requests import read_request; "
        "convert(read_request('77 °F to °C')); convert(read_request('35 PSU to SG 25/25')); "
        "sys.exit(any(name in sys.modules for name in ('numpy', 'gsw', 'PyCO2SYS')))"
    )
    assert subprocess.run([sys.executable, "-c", program], cwd=Path(__file__).parents[2], check=False).returncode == 0
