"""Quantities and their units: names, factors, what is shown, what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.bands import standing
from rounds.core.entry import read_entry
from rounds.core.errors import CannotRead, Refused
from rounds.core.quantities import QUANTITIES
from rounds.core.units import (
    find_unit,
    from_canonical,
    named_unit,
    reference_pair,
    show,
    show_band,
    shown_unit,
    to_canonical,
)
from rounds.water.seawater import practical_salinity
from tests.support import head, room_from

WITH_VESSEL = ("vessel", "conductivity")
PAIRS = [
    (quantity, unit.name)
    for quantity, kind in QUANTITIES.items()
    for unit in kind.units
    if unit.needs not in WITH_VESSEL
]  # fmt: skip


# -- names ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_no_name_stands_for_two_units_of_a_quantity(quantity):
    """Each name leads back to its own unit, in capitals or not."""
    for unit in QUANTITIES[quantity].every_unit:
        for name in (unit.name, *unit.aliases):
            assert named_unit(quantity, name) == named_unit(quantity, name.upper()) == unit


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_the_first_unit_is_the_canonical_one(quantity):
    """With a factor of 1, and what is plausible is possible."""
    kind = QUANTITIES[quantity]
    assert (kind.units[0].factor, kind.units[0].zero) == (1.0, 0.0)
    assert kind.possible[0] <= kind.plausible[0] < kind.plausible[1] <= kind.possible[1]


@pytest.mark.parametrize(
    ("quantity", "text", "name"),
    [
        ("temperature", "c", "°C"),
        ("temperature", "º C", "°C"),
        ("temperature", "degF", "°F"),
        ("salinity", "ppt", "PSU"),
        ("salinity", "sg25/25", "SG 25/25"),
        ("salinity", "SG 60 °F/60 °F", "SG 60/60F"),
        ("alkalinity", "mg/L as CaCO3", "ppm CaCO3"),
        ("alkalinity", "°dKH", "dKH"),
        ("nitrate", "mg/l N", "mg/L NO3-N"),
        ("nitrate", "mg/L (as N)", "mg/L NO3-N"),
        ("nitrate", "MG/L NO3-N", "mg/L NO3-N"),
        ("nitrate", "mg/L NO₃", "mg/L NO3"),
        ("nitrate", "ppm", "mg/L"),
        ("ammonia", "mg/L", "mg/L N"),
        ("ammonia", "mg/L NH3-N", "mg/L N"),
        ("phosphate", "ug/L P", "µg/L PO4-P"),
        ("phosphate", "μg/L", "µg/L"),
        ("light", "umol/m²/s", "µmol/m2/s"),
        ("light integral", "DLI", "mol/m2/day"),
        ("volume", "m³", "m3"),
        ("volume", "usgal", "US gal"),
        ("volume", "US_liquid_gallon", "US gal"),
        ("volume", "inch**3", "in3"),
        ("flow", "ml/min", "mL/min"),
        ("length", "inches", "in"),
    ],
)
def test_a_unit_is_found_however_it_is_written(quantity, text, name):
    """Capitals, spaces, raised digits and the three ways to write micro make no difference."""
    assert find_unit(quantity, text).name == name


@pytest.mark.parametrize(
    ("quantity", "text", "remedy"),
    [
        ("volume", "gal", "US gal or UK gal"),
        ("volume", "fl oz", "US fl oz or UK fl oz"),
        ("salinity", "SG", "SG 20/20, SG 25/25 or SG 60/60F"),
        ("conductivity", "ppm TDS", "read the conductivity"),
        ("light", "lux", "measure PPFD"),
        ("alkalinity", "µmol/kg", "rounds convert"),
        ("calcium", "mg/kg", "rounds convert"),
        ("oxygen", "%", "rounds convert"),
        ("pH", "pH total", "rounds convert"),
        ("temperature", "dKH", "write one of: °C, °F"),
    ],
)
def test_what_is_no_unit_to_record_is_refused_with_what_to_do(quantity, text, remedy):
    """Two kinds of gallon, units without one factor, and per kilogram, which takes a density."""
    with pytest.raises(CannotRead, match=remedy):
        find_unit(quantity, text)


@pytest.mark.parametrize(
    ("name", "pair"),
    [
        ("SG 20/20", (20, 20)),
        ("SG 25 °C/25 °C", (25, 25)),
        ("SG 60/60F", (140 / 9, 140 / 9)),
        ("SG 60F/60F", (140 / 9, 140 / 9)),
        ("SG 20/4", (20, 4)),
        ("SG 17.5/17.5", (17.5, 17.5)),
        ("SG 25/60F", (25, 140 / 9)),
        ("SG 77F/25C", (25, 25)),
    ],
)
def test_a_reference_pair_is_read_from_its_name(name, pair):
    """Sample and pure water, °C; one mark serves for both when both are the same number."""
    assert reference_pair(name) == pytest.approx(pair)


# -- there and back ------------------------------------------------------------------------------------


@given(st.sampled_from(PAIRS), st.floats(0, 1))
def test_to_the_canonical_unit_and_back(pair, where):
    """Every unit a room takes, over everything that is possible."""
    quantity, unit = pair
    low, high = QUANTITIES[quantity].possible
    canonical = low + where * (min(high, 75.0 if quantity == "salinity" else high) - low)
    shown = from_canonical(quantity, canonical, unit)
    assert to_canonical(quantity, shown, unit) == pytest.approx(canonical, rel=1e-9, abs=1e-9)


def test_a_salinity_has_no_conductivity_without_a_temperature():
    """It is refused, not given as the number of the PSU."""
    with pytest.raises(Refused, match="without a temperature"):
        from_canonical("salinity", 35, "mS/cm")


# -- shown in the room's unit --------------------------------------------------------------------------

REEF = """name = "Reef"
[[readings]]
id = "t"
quantity = "temperature"
low = "24.5 °C"
high = "26.0 °C"
[[readings]]
id = "s"
quantity = "salinity"
low = "34.5 PSU"
high = "35.5 PSU"
act_low = "33 PSU"
[[readings]]
id = "alk"
quantity = "alkalinity"
low = "7.5 dKH"
[[readings]]
id = "no3"
quantity = "nitrate"
[[readings]]
id = "freezer"
quantity = "temperature"
unit = "°C"
high = "-18 °C"
act_high = "-12 °C"
[[readings]]
id = "tank"
quantity = "temperature"
unit = "°C"
low = "24.5 °C"
act_high = "27 °C"
[[readings]]
id = "dead"
quantity = "count"
[[readings]]
id = "feed"
quantity = "mass"
[[readings]]
id = "o2"
quantity = "oxygen"
[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"
"""


def reading(id, **units):
    """A reading of a room whose people use these units."""
    table = "\n".join(f'{quantity} = "{unit}"' for quantity, unit in units.items())
    return room_from(head(f"[units]\n{table}"), reef=REEF).readings[f"reef/{id}"]


@pytest.mark.parametrize(
    ("id", "units", "canonical", "shown"),
    [
        ("t", {"temperature": "°F"}, 25.0, "77.0 °F"),
        ("s", {"salinity": "SG 25/25"}, 35.0, "1.0264 SG 25/25"),  # Millero and Poisson (1981): 1.02637
        ("s", {"salinity": "SG 20/20"}, 35.0, "1.0266 SG 20/20"),  # 1.02660
        ("s", {"salinity": "SG 60/60F"}, 35.0, "1.0269 SG 60/60F"),  # 1.02686
        ("s", {"salinity": "ppt"}, 35.0, "35.0 PSU"),
        ("s", {"salinity": "mS/cm"}, 35.0, "35.0 PSU"),
        ("alk", {"alkalinity": "meq/L"}, 2.8532, "2.85 meq/L"),
        ("alk", {"alkalinity": "ppm CaCO3"}, 2.8532, "143 ppm CaCO3"),
        ("no3", {"nitrate": "mg/L N"}, 44.27, "10.0 mg/L NO3-N"),
        ("barrel-level", {"volume": "US gal"}, 37.85411784, "10.0 US gal"),
        ("barrel-level", {"volume": "UK gal"}, 45.4609, "10.0 UK gal"),
        ("feed", {"mass": "oz"}, 28.349523125, "1.0 oz"),
    ],
)
def test_a_value_is_shown_in_the_rooms_unit(id, units, canonical, shown):
    """Every quantity; only conductivity, which says nothing without its temperature, is shown as PSU."""
    assert show(reading(id, **units), canonical) == shown
    assert shown.endswith(shown_unit(reading(id, **units)).name)


@pytest.mark.parametrize(
    ("capacity", "unit", "litres", "shown"),
    [
        ("3 L", "L", 2.83, "2.83 L"),
        ("3 L", "%", 2.83, "94 %"),
        ("80 L", "L", 62.83, "62.8 L"),
    ],
)
def test_the_level_of_a_small_container_is_shown_as_fine_as_a_day_uses(capacity, unit, litres, shown):
    """70 mL a day out of 3 L: to a tenth, a level would stand still for a day and a half."""
    tank = f'[[reservoirs]]\nid = "tank"\nkind = "dosing"\nstation = "sump"\ncapacity = "{capacity}"\n'
    text = f'name = "Reef"\n[[stations]]\nid = "sump"\n{tank}level_unit = "{unit}"\n'
    assert show(room_from(head(), reef=text).readings["reef/tank-level"], litres) == shown


def test_a_band_is_shown_in_the_rooms_unit():
    """Both ends as specific gravity."""
    salinity = reading("s", salinity="SG 25/25")
    assert show_band(salinity, salinity.low, salinity.high) == "1.0260 to 1.0268 SG 25/25"


@pytest.mark.parametrize(
    ("id", "units", "typed", "canonical"),
    [
        ("t", {"temperature": "°F"}, "77", 25.0),
        ("s", {"salinity": "SG 25/25"}, "1.02637", 35.0),  # Millero and Poisson (1981)
        ("s", {"salinity": "mS/cm"}, "53.0710", 35.0),  # PSS-78 at 25 °C
        ("alk", {"alkalinity": "meq/L"}, "2.9", 2.9),
        ("no3", {"nitrate": "mg/L NO3-N"}, "10", 44.266),
        ("barrel-level", {"volume": "US gal"}, "10", 37.85411784),
    ],
)
def test_a_number_without_a_unit_is_in_the_rooms_unit(id, units, typed, canonical):
    """Of every quantity."""
    entry = read_entry(typed, [reading(id, **units)], temperature=25.0, seawater=practical_salinity)
    assert (entry.values[0].value, entry.note) == (pytest.approx(canonical, abs=5e-3), "")


def test_a_value_typed_in_another_unit_is_judged_all_the_same():
    """Specific gravity in a room that thinks in it, with the sentence in its unit."""
    salinity = reading("s", salinity="SG 25/25")
    found = standing(salinity, read_entry("1.0240", [salinity]).values[0])
    assert found is not None
    assert (found.act, found.sentence) == (
        True,
        "1.0240 SG 25/25 is below the act-now limit of 1.0249 SG 25/25",
    )


# -- the entry line --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("id", "text"),
    [
        ("s", "35 °C"),
        ("s", "35 C"),
        ("s", "35 %"),
        ("s", "35 US gal"),
        ("alk", "8.1 L"),
        ("alk", "8.1 PSU"),
        ("alk", "2300 µmol/kg"),
        ("alk", "2300 umol/kg"),
        ("no3", "5 dKH"),
        ("no3", "5 mg/kg"),
        ("no3", "5 mg/L PO4"),
        ("no3", "5 mg/l po4"),
        ("t", "77 g"),
        ("dead", "2 mL"),
        ("o2", "85 %"),
        ("o2", "7 gal"),
        ("barrel-level", "40 kg"),
        ("barrel-level", "40 gal"),
    ],
)
def test_a_unit_of_something_else_is_never_taken_for_a_note(id, text):
    """With a space before it too; nothing is recorded in the wrong unit."""
    with pytest.raises(Refused, match=r"no unit of|cannot be recorded|not the same everywhere"):
        read_entry(text, [reading(id)], temperature=25.0, seawater=practical_salinity)


@pytest.mark.parametrize(
    ("id", "text", "note"),
    [
        ("dead", "2 in the left tank", "in the left tank"),
        ("alk", "8.1 in sump water", "in sump water"),
        ("alk", "8.1 20 L changed before", "20 L changed before"),
        ("alk", "8.1 40 mL spilled", "40 mL spilled"),
        ("alk", "8.1 total of two tests", "total of two tests"),
        ("t", "25 C in the sump", "in the sump"),
        ("no3", "5 mg/L N tested twice", "tested twice"),
        ("s", "35, C side", "C side"),
    ],
)
def test_a_note_may_begin_like_a_unit(id, text, note):
    """Plain words, and a second number with a unit of something else, which is no repeat."""
    entry = read_entry(text, [reading(id)])
    assert (len(entry.values), entry.note, entry.questions) == (1, note, ())


@pytest.mark.parametrize(
    ("id", "text", "asked"),
    [
        ("freezer", "-20", False),
        ("freezer", "-28 °C", False),
        ("freezer", "-40", True),
        ("freezer", "4", False),
        ("tank", "25", False),
        ("tank", "36", True),
        ("tank", "9", True),
        ("t", "9 C", True),
    ],
)
def test_what_is_plausible_depends_on_what_is_measured(id, text, asked):
    """A freezer may be at -20 °C, a tank is asked about; its own band lies within what a tank may be."""
    assert bool(read_entry(text, [reading(id)]).questions) is asked


@pytest.mark.parametrize("celsius", ["77", "-20"])
def test_the_water_of_a_tank_does_not_boil_or_freeze(celsius):
    """77 typed for °F is refused where the band is that of water."""
    with pytest.raises(Refused, match=r"between -5\.0 °C and 60\.0 °C"):
        read_entry(celsius, [reading("tank")])


@pytest.mark.parametrize("celsius", ["-40", "-60", "110"])
def test_a_freezer_and_boiling_water_can_be_recorded(celsius):
    """From -60 to 110 °C."""
    assert read_entry(celsius, [reading("freezer")]).values[0].value == float(celsius)


@pytest.mark.parametrize(
    ("id", "text", "bound", "canonical"),
    [
        ("no3", "<0.2", "<", 0.2),
        ("no3", ">50 mg/L NO3-N", ">", 221.33),
        ("no3", "< 20 µg/L", "<", 0.02),
        ("s", ">1.030 SG 25/25", ">", 39.8),
        ("t", ">80 F", ">", 26.67),
    ],
)
def test_a_value_beyond_the_kits_limit_stays_a_bound(id, text, bound, canonical):
    """Converted like a value, marked as none, and asked no question."""
    entry = read_entry(text, [reading(id)])
    assert (entry.values[0].bound, entry.questions) == (bound, ())
    assert entry.values[0].value == pytest.approx(canonical, rel=1e-3)
