"""Every line of arithmetic a calculator prints is true when it is worked out by hand."""

from __future__ import annotations

import pytest

from rounds.water.calculators import CALCULATORS, ask
from tests.arithmetic import calculates, false_clauses

ASKED = [
    *(f"{each.name} {' '.join(each.example).replace(' %', '%')}" for each in CALCULATORS.values() if each.example),
    "carbonate ph=7.83 scale=total alkalinity=2871 salinity=33.7 temperature=26.3",
    "ammonia total=0.37 ph=8.17 scale=nbs salinity=33.7 temperature=26.3 form=molal",
    "ammonia ph=7.93 scale=total salinity=33.7 temperature=26.3",
    "ammonia total=0.37 ph=7.93 scale=total salinity=33.7 temperature=26.3",
    "ammonia total=0.37 ph=8.17 scale=nbs salinity=1.3 temperature=19.7 zero=273.2",
    "limewater volume=7.1 temperature=21.3 conductivity=7.7 system=957",
    "limewater volume=7.1 temperature=21.3 conductivity=9.7 system=957",
    "calcification alkalinity=-1.37",
    "oxygen temperature=24.3 salinity=33.7 measured=5.93 pressure=983",
    "balance supply=0.902 slope=0.043 target=8 now=8.57 max_step=0.45",
    "balance supply=0.902 slope=-0.043 target=8 now=7.87 max_step=0.45",
    "balance supply=0.1 slope=0.4 target=8 now=8.3",
    "balance supply=0.1 slope=0.05 target=8 now=9.3",
    "balance supply=0.7 slope=0.01 target=8 now=8 max_step=0",
    "water-change fraction=13% times=3 start=41.7 new=2.3 order=fill-first",
    "water-change fraction=13% times=2.7 start=41.7 new=2.3 continuous=true",
    "changes-needed fraction=13% start=41.7 new=2.3 target=9.1",
    "changes-needed fraction=13% start=41.7 new=2.3 target=9.1 order=fill-first",
    "changes-needed fraction=13% start=41.7 new=2.3 target=9.1 order=continuous",
    "changes-needed fraction=1 start=40 new=2 target=10",
    "changes-needed fraction=0.5 start=40 new=2 target=40",
    "replacement fraction=17% start=33.7 target=34.3",
    "build-up production=0.37 interval=6.5 fraction=13% new=1.7",
    "salinity volume=957 salinity=34.7 lost=11.3",
    "salinity volume=957 salinity=34.7 added=31.3 added_salinity=32.9",
    "salinity volume=957 salinity=34.7 lost=11.3 basis=mass temperature=26.3",
    "salinity volume=957 salinity=34.7 added=31.3 basis=mass",
    "salinity volume=957 salinity=34.7 added=31.3 added_salinity=32.9 basis=mass",
    "correct-salinity volume=957 salinity=33.7 target=35 with=46.3",
    "correct-salinity volume=957 salinity=33.7 target=35 grams_per_litre=38.3",
    "correct-salinity volume=957 salinity=35 target=35",
    "composition salinity=33.7 temperature=26.3",
    "composition salinity=0",
    "salt-batch volume=297 from=1.3 to=34.7 grams_per_litre=38.3 at=34.9",
    "light ppfd=237 ramp_up=1.7 plateau=6.3 ramp_down=2.1 ramps=sine",
    "evaporation water=26.3 air=23.7 humidity=47% surface=3.7 air_speed=0.13 activity=0.74",
    "evaporation water=20 air=30 humidity=90 surface=1",
    "evaporation water=26.3 air=23.7 humidity=47% surface=3.7 method=shah",
    "evaporation water=18 air=26 humidity=30% surface=3.7 method=shah",
    "evaporation water=20 air=30 humidity=90 surface=1 method=shah",
    "depth surface=3.7 litres=11.3",
    "volume length=97.3 width=61.7 depth=43.9",
    "heat-weeks hotspots=1.3,2.7,0.8,1.2",
    "slope x=1,2.7,4,5.1,9 y=8.1,8.3,7.9,7.7,7.9",
    "outliers y=8.1,8.2,8.0,8.1,8.3,8.2,9.6,2.1",
    "outliers y=8,8,8,8,9.3",
    "outliers y=8,8,8",
]


def _answered(line: str):
    name, *inputs = line.split(" ")
    arguments: dict[str, str] = {}
    for text in inputs:  # an input such as volume=20 US gal holds spaces
        key, sign, value = text.partition("=")
        if sign:
            arguments[key] = value
        else:
            arguments[list(arguments)[-1]] += f" {text}"
    return ask(CALCULATORS[name], arguments).worked


@pytest.mark.parametrize("line", ASKED)
def test_every_line_is_true(line):
    worked = _answered(line)
    assert [false for each in worked.arithmetic for false in false_clauses(each)] == []


@pytest.mark.parametrize("name", CALCULATORS)
def test_every_calculator_shows_something_to_work_out(name):
    """So that what is above is about something."""
    assert any(calculates(each) for each in _answered(f"{name} {' '.join(CALCULATORS[name].example)}").arithmetic)


@pytest.mark.parametrize(
    ("line", "false"),
    [
        ("(35 × 1000) ÷ (1000 − 10) L = 35.3535", []),
        ("(35 × 1000) ÷ (1000 − 10) L = 35.3444", ["(35 × 1000) ÷ (1000 − 10) L = 35.3444"]),
        ("grams = 300 L × 1.1 g/L × (35 − 0) = 11550 g", []),
        ("300 × 38.5 = 11550 g = 11.55 kg", ["300 × 38.5 = 11550 g = 11.55 kg"]),
        ("supply = 0.1 − (-0.3) = 0.4; rest = 9.7 ÷ 8.6 = 1, no more", ["rest = 9.7 ÷ 8.6 = 1"]),
        ("e^(−0.13 × 2) = 0.771052, ln(0.771052) = -0.26, |8 − 9.3| = 1.3, 8^(1 ÷ 3) = 2", []),
        ("86,400 s × 2 = 172800", []),
    ],
)
def test_the_reader_with_the_pencil(line, false):
    """Finds what is false, and nothing else."""
    assert false_clauses(line) == false
