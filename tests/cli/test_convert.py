"""`rounds convert`, as typed in a shell."""

from __future__ import annotations

import json

import pytest

from rounds.core.quantities import QUANTITIES
from tests.cli.conftest import CommandLine


@pytest.fixture
def convert(capsys, tmp_path, monkeypatch):
    """The command, where there is no room at all."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("ROUNDS_ROOM", raising=False)
    return lambda *words: CommandLine(capsys, tmp_path)("convert", *words, by=None)


@pytest.mark.parametrize(
    ("words", "value", "unit"),
    [
        (("1.0264", "SG 25/25", "to", "PSU"), 35.036, "PSU"),  # EOS-80: 1.02637 is salinity 35
        (("53.07", "mS/cm", "to", "PSU", "at", "25 °C"), 34.999, "PSU"),  # PSS-78
        (("77", "°F", "to", "°C"), 25.0, "°C"),
        (("8", "dKH", "to", "meq/L"), 2.8532, "meq/L"),  # T03-17
        (("100", "US gal", "to", "L"), 378.5411784, "L"),
        (("100", "US", "gal", "to", "UK", "gal"), 83.267384, "UK gal"),
        (("-40", "°C", "to", "°F"), -40.0, "°F"),
        (("-40°C", "to", "°F"), -40.0, "°F"),
        (("-0,5", "°C", "to", "°F"), 31.1, "°F"),
        (("10", "mg/L N", "to", "mg/L NO3"), 44.266, "mg/L NO3"),
        (("35", "PSU", "to", "kg/m3", "at", "20 °C"), 1024.76174, "kg/m3"),  # T02-9
        (("8.2", "NBS", "to", "total", "at", "25 °C, 35 PSU"), 8.063, "pH total"),
        (("85", "%", "to", "mg/L", "at", "25 °C", "with", "35 PSU"), 5.755, "mg/L"),
    ],
)
def test_a_value_in_another_unit(convert, words, value, unit):
    """As JSON, unrounded; without a room."""
    status, out, err = convert(*words, "--json")
    found = json.loads(out)
    assert (status, err, found["unit"]) == (0, "", unit)
    assert found["value"] == pytest.approx(value, rel=2e-5)


def test_the_json_tells_how(convert):
    """What was asked, the quantity, the method, every step and what was taken for granted."""
    _, out, _ = convert("2304", "µmol/kg", "to", "dKH", "--json")
    found = json.loads(out)
    assert found["from"] == {"value": 2304.0, "unit": "µmol/kg"}
    assert (found["quantity"], found["bound"], found["assumed"]) == ("alkalinity", None, ["25 °C", "salinity 35"])
    assert len(found["arithmetic"]) == 2
    assert "1.02334 kg/L" in found["method"]


def test_the_answer_is_rounded_and_shows_its_method(convert):
    """Six digits, the equation, the constants."""
    assert convert("1.0264", "SG 25/25", "to", "PSU")[1].splitlines() == [
        "1.0264 SG 25/25 = 35.036 PSU",
        "  EOS-80 (Millero and Poisson 1981), sea water at 25 °C over pure water at 25 °C of 997.0464 kg/m3",
    ]
    assert convert("77", "°F", "to", "°C")[1].splitlines() == [
        "77 °F = 25 °C",
        "  (77 − 32) × 0.555556 = 25: exact (NIST SP 811)",
    ]


def test_what_was_taken_for_granted_is_shown(convert):
    """With the way to say otherwise."""
    assert "taken for granted: 25 °C, salinity 35" in convert("412", "mg/kg", "to", "mg/L")[1]


def test_a_bound_stays_one(convert):
    """Beyond the kit's limit in every unit."""
    assert convert("<0.02", "mg/L PO4", "to", "µg/L P")[1].startswith("<0.02 mg/L PO4 = <6.5229 µg/L PO4-P\n")


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("8", "dKH"), 2),
        (("8", "foo", "to", "meq/L"), 2),
        (("8", "gal", "to", "L"), 2),
        (("8", "dKH", "to", "L"), 1),
        (("53", "mS/cm", "to", "PSU"), 1),
        (("-5", "L", "to", "mL"), 1),
        (("10", "mmol/L", "to", "mg/L"), 1),
        (("53", "mS/cm", "to", "PSU", "at", "warm"), 2),
        (("--loud",), 2),
    ],
)
def test_what_is_refused_ends_with_its_status(convert, words, status):
    """1 understood and not carried out, 2 not to be read; one sentence on standard error."""
    found, out, err = convert(*words)
    assert (found, out, err.count("\n")) == (status, "", 1)


def test_alone_it_lists_the_units(convert):
    """Of every quantity that has some, also as JSON."""
    out = convert()[1]
    listed = json.loads(convert("--json")[1])
    for name, kind in QUANTITIES.items():
        if kind.canonical:
            assert f"{name}: {kind.canonical}" in out
            assert listed[name][0] == kind.canonical
