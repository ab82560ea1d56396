"""`rounds calc`: names, inputs, answers, arithmetic and refusals."""

from __future__ import annotations

import json
from math import isfinite
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rounds.cli import main
from rounds.water.calculators import CALCULATORS, ask

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")

FIELDS = {
    "carbonate": {"pco2_uatm", "dic_umol_kg", "omega_aragonite"},
    "ammonia": {"fraction", "un_ionised"},
    "light": {"dli"},
    "evaporation": {"mm_per_day", "litres_per_day"},
    "water-change": {"result"},
    "salinity": {"result"},
    "limewater": {"calcium_mg", "alkalinity_meq", "alkalinity_dkh"},
    "balance": {"consumption", "hold", "days_to_target"},
    "salt-batch": {"grams", "kilograms"},
    "slope": {"slope", "low", "high"},
    "outliers": {"scores", "flagged"},
    "volume": {"litres", "us_gallons"},
}


@pytest.fixture
def calc(capsys, tmp_path, monkeypatch):
    """`rounds calc` in a folder without a room; status, output, error."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("ROUNDS_ROOM", raising=False)

    def run(*arguments):
        status = main(["calc", *arguments])
        return status, *capsys.readouterr()

    return run


@pytest.fixture
def refused(calc):
    """The one sentence of a refusal."""

    def run(*arguments, status):
        found, out, err = calc(*arguments)
        assert (found, out) == (status, "")
        assert err.count("\n") == 1
        return err.strip()

    return run


def test_without_a_name_all_are_listed_with_inputs_units_and_sources(calc):
    """Needs no room."""
    status, out, err = calc()
    assert (status, err) == (0, "")
    told = " ".join(out.split())
    for each in CALCULATORS.values():
        assert f"{each.name}: {each.title}" in told
        assert " ".join(each.source.split()) in told
        assert all(f"{given.name}= " in told for given in each.inputs)
    assert "ppfd= at the plateau (µmol/m2/s)" in told
    assert max(map(len, out.splitlines())) <= 92


def test_the_list_as_json(calc):
    listed = {each["calculator"]: each for each in json.loads(calc("--json")[1])}
    assert list(listed) == list(CALCULATORS)
    ppfd = listed["light"]["inputs"][0]
    assert (ppfd["name"], ppfd["unit"], ppfd["required"]) == ("ppfd", "µmol/m2/s", True)


def test_one_of_them_in_full(calc):
    out = calc("light", "--about")[1]
    assert "ramp_up=" in out
    assert "carbonate" not in out


@pytest.mark.parametrize("name", CALCULATORS)
def test_every_example_works_and_shows_its_arithmetic(calc, name):
    """As text with units, rounding and source; as JSON with every output, finite numbers and the same lines."""
    status, out, err = calc(name, *CALCULATORS[name].example)
    assert (status, err) == (0, "")
    told = json.loads(calc(name, *CALCULATORS[name].example, "--json")[1])
    assert told["arithmetic"]
    assert told["source"] == CALCULATORS[name].source
    assert set(told["inputs"]) <= {each.name for each in CALCULATORS[name].inputs}
    assert FIELDS.get(name, set()) <= set(told)
    flat = " ".join(out.split())
    assert all(" ".join(line.split()) in flat for line in [*told["arithmetic"], *told["remarks"]])
    assert all(isfinite(value) for value in told.values() if isinstance(value, float))
    assert "Worked without rounding" in flat


@pytest.mark.parametrize("name", CALCULATORS)
def test_every_calculator_is_documented(name):
    """In the README."""
    assert f"`{name}" in README


def test_an_input_is_shown_beside_what_it_was_read_as(calc):
    """Only where that is another number or unit."""
    out = calc("evaporation", "water=78.8F", "air=24,0", "humidity=50", "surface=3.9")[1]
    lines = [" ".join(line.split()) for line in out.splitlines()]
    assert {"water = 78.8F = 26 °C", "air = 24,0 °C", "humidity = 50 = 0.5 (50 %)", "surface = 3.9 m2"} <= set(lines)


def test_json_is_unrounded(calc):
    told = json.loads(calc("volume", "length=10in", "width=10in", "depth=10in", "--json")[1])
    assert told["us_gallons"] == pytest.approx(1000 / 231, rel=1e-14)
    assert told["inputs"]["length"] == {"given": "10in", "value": 25.4, "unit": "cm"}


def test_a_shallow_tank_holds_about_200_gallons(calc):
    """8 ft by 4 ft, 10 in deep: common practice, no source."""
    told = json.loads(calc("volume", "length=8 ft", "width=4 ft", "depth=10 in", "--json")[1])
    assert told["us_gallons"] == pytest.approx(200, abs=1)


def test_what_a_balance_proposes(calc):
    """Supply 0.902, falling by 0.04 a day: 0.942 is used (invented room); 0.5 dKH up takes one day at 0.5 a day."""
    told = json.loads(
        calc("balance", "supply=0.902", "slope=-0.04", "target=8", "now=7.5", "max_step=0.5", "--json")[1]
    )
    assert (told["consumption"], told["hold"], told["days_to_target"]) == pytest.approx((0.942, 0.942, 1))
    assert told["supply_until_target"] == pytest.approx(1.442)


def test_salt_for_a_batch(calc):
    """38.5 g/L for 35: from 0 to 35 so much a litre, half way half of it."""
    whole, half = (
        json.loads(calc("salt-batch", "volume=300", start, "to=35", "grams_per_litre=38.5", "--json")[1])["grams"]
        for start in ("from=0", "from=17.5")
    )
    assert (whole, half) == pytest.approx((11_550, 5_775))


def test_names_and_keys_forgive_case_and_hyphens(calc):
    first = calc("WATER_CHANGE", "Fraction=0.1", "times=2", "start=10", "new=0", "--json")[1]
    assert json.loads(first)["result"] == pytest.approx(8.1)
    assert json.loads(calc("light", "ppfd=100", "ramp-up=2", "plateau=3", "--json")[1])["dli"] == pytest.approx(1.44)


def test_a_negative_driving_force_is_nothing_with_a_remark(calc):
    told = json.loads(calc("evaporation", "water=20", "air=30", "humidity=90", "surface=1", "--json")[1])
    assert (told["mm_per_day"], told["litres_per_day"]) == (0, 0)
    assert "condenses" in told["remarks"][0]


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["light"], "light needs ppfd= and plateau=; for example: rounds calc light ppfd="),
        (["ligth", "ppfd=1"], "'ligth' (did you mean light?) is no calculator; write one of carbonate"),
        (["light", "ppfd=1", "platau=2"], "'platau' (did you mean plateau?) is no input of light, which takes ppfd"),
        (["light", "ppfd=1", "plateau=2", "plateau=3"], "plateau is given twice"),
        (["light", "200"], "'200' is no input; write its name and value without spaces"),
        (["light", "200\\300"], "'200\\300' is no input"),
        (["light", "ppfd=bright", "plateau=2"], "ppfd: 'bright' is no number"),
        (["light", "ppfd=dim\\bright", "plateau=2"], "ppfd: 'dim\\bright' is no number"),
        (["light", "ppfd=nan", "plateau=2"], "ppfd: 'nan' is no number"),
        (["light", "ppfd=200 lux", "plateau=2"], "ppfd: lux has no single factor to light for corals"),
        (["volume", "length=8 gal", "width=1", "depth=1"], "length: 'gal' is no unit of length; write one of: cm, mm"),
        (["carbonate", "ph=8", "scale=nsb", "alkalinity=2300", "salinity=35", "temperature=25"], "(did you mean nbs?)"),
        (["salinity", "volume=1", "salinity=35"], "salinity needs lost="),
        (["salinity", "volume=9", "salinity=35", "lost=1", "added=1"], "one of them"),
        (["limewater", "volume=1", "system=9", "strength=1", "conductivity=8"], "not both"),
        (["correct-salinity", "volume=960", "salinity=34", "target=35"], "raising salinity takes salt water or salt"),
        (
            ["correct-salinity", "volume=9", "salinity=34", "target=35", "with=40", "grams_per_litre=38"],
            "with= or grams_per_litre=, not both",
        ),
        (["heat-weeks"], "heat-weeks needs temperatures= and usual_maximum="),
    ],
)
def test_what_cannot_be_read(refused, arguments, sentence):
    """Exit 2 and one sentence."""
    assert sentence in refused(*arguments, status=2)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["light", "ppfd=-5", "plateau=2"], "ppfd: -5 µmol/m2/s cannot be"),
        (["light", "ppfd=1e999", "plateau=2"], "beyond any quantity"),
        (["light", "ppfd=5", "plateau=20", "ramp_up=5"], "25 hours are more than a day"),
        (
            ["ammonia", "total=1", "ph=20", "salinity=35", "temperature=25"],
            "ph: 20 cannot be; it must lie between 0 and 14",
        ),
        (
            ["carbonate", "ph=8", "alkalinity=8", "salinity=35", "temperature=25"],
            "a number without a unit is in µmol/kg",
        ),
        (["carbonate", "ph=11", "alkalinity=2300", "salinity=35", "temperature=25"], "cannot stand together"),
        (["carbonate", "ph=8", "alkalinity=2300", "salinity=10", "temperature=25"], "salinity 19 to 43"),
        (["evaporation", "water=26", "air=24", "humidity=120", "surface=1"], "humidity: 120 is no share"),
        (["water-change", "fraction=10", "times=1", "start=1", "new=0"], "fraction: 10 is no share"),
        (["water-change", "fraction=0.1", "times=1.5", "start=1", "new=0"], "1.5 changes cannot be made"),
        (["salinity", "volume=10", "salinity=35", "lost=10"], "cannot be lost"),
        (["salt-batch", "volume=10", "from=36", "to=35", "grams_per_litre=38"], "36"),
        (["correct-salinity", "volume=9", "salinity=36", "target=35", "grams_per_litre=38"], "salt does not bring 36"),
        (["correct-salinity", "volume=9", "salinity=33", "target=35", "with=34"], "does not bring 33 to 35"),
        (["balance", "supply=1", "slope=0", "target=8", "now=7", "max_step=0"], "max_step above 0"),
        (["slope", "x=1,2", "y=1"], "give as many of each"),
        (["slope", "x=1,1", "y=1,2"], "two different x"),
        (["limewater", "volume=1", "system=0"], "system: 0 L cannot be; it must be more than 0 L"),
    ],
)
def test_what_cannot_be(refused, arguments, sentence):
    """Exit 1 and one sentence."""
    assert sentence in refused(*arguments, status=1)


TEXTS = st.one_of(
    st.sampled_from(["", "0", "-1", "1e15", "1e-30", "7", "35", "8.1", "0.5", "25,5", "nbs", "total", "1,2,3", "true",
                     "fill-first", "100 %", "2300 µmol/kg", "5 dKH", "40 mS/cm", "1.026 SG 25/25", "[x]", "\x1b[31m"]),
    st.text(max_size=8),
)  # fmt: skip


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_nothing_that_is_typed_ends_in_a_fault(calc, data):
    """An answer of finite numbers or one sentence, never anything unexpected; PyCO2SYS or numpy may not speak up."""
    chosen = data.draw(st.sampled_from(list(CALCULATORS.values())))
    given_ = {}
    for each in chosen.inputs:
        if each.default is None or data.draw(st.booleans()):
            given_[each.name] = data.draw(TEXTS)
    status, out, err = calc(chosen.name, *(f"{name}={text}" for name, text in given_.items()), "--json")
    assert "did not expect" not in err
    if status == 0:
        json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
    else:
        assert (status in (1, 2), out) == (True, "")
        assert err.count("\n") == 1


def test_the_answer_keeps_the_order_in_which_inputs_are_read():
    """Alkalinity in dKH may be typed before the salinity and temperature its density needs."""
    arguments = {"alkalinity": "8 dKH", "ph": "8.1", "temperature": "25", "salinity": "35"}
    assert ask(CALCULATORS["carbonate"], arguments).given["alkalinity"][1] == pytest.approx(2788.1, abs=0.1)
