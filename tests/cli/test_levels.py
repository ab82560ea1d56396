"""`rounds levels`: reservoirs recorded on the command line, forecast, and refilled when they come due."""

from __future__ import annotations

import random
import re

import pytest

from tests.cli.conftest import REEF
from tests.support import write_room

FIELDS = {
    "id": str, "kind": str, "level_l": (int, float), "as_of": str, "use_l_per_day": (int, float, type(None)),
    "use_low": (int, float, type(None)), "use_high": (int, float, type(None)),
    "days_to_reserve": (int, float, type(None)), "refill_by": (str, type(None)), "abnormal": (str, type(None)),
    "basis": str,
}  # fmt: skip
BARREL = "reef/barrel"


@pytest.fixture
def folder(folder):
    """The same room; its barrel has a reserve, and a can is read in centimetres."""
    barrel = REEF.replace('level_unit = "%"\n', 'level_unit = "%"\ndead = "8 L"\nreserve = "25 L"\n')
    can = 'id = "can"\nkind = "top-off"\ncapacity = "20 L"\nlevel_unit = "cm"\nlitres_per_cm = 0.8\nreserve = "4 L"\n'
    return write_room(folder, (folder / "room.toml").read_text(), reef=f"{barrel}[[reservoirs]]\n{can}")


def days(monkeypatch, rounds, *levels, first=1):
    """A level of the barrel at 08:00 on each day of March from `first`; the clock stays at the last of them."""
    for day, level in enumerate(levels, first):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{day:02}T08:00:00+00:00")
        assert rounds("record", f"{BARREL}-level", level, "--sure")[0] == 0


def of(found, id=BARREL):
    return next(each for each in found if each["id"] == id)


def test_levels_as_json(rounds, monkeypatch):
    """65, 60, 55 L: 5 L a day, (55 − 25) / 5 = 6 days to Monday 08:00, the Sunday before is whole."""
    days(monkeypatch, rounds, "65 L", "60 L", "55 L")
    found = of(rounds.json("levels"))
    for key, types in FIELDS.items():
        assert isinstance(found[key], types), key
    assert (found["kind"], found["level_l"], found["as_of"]) == ("top-off", 55, "2026-03-03T08:00:00+00:00")
    assert found["use_l_per_day"] == pytest.approx(5)
    assert found["days_to_reserve"] == pytest.approx(6)
    assert (found["refill_by"], found["abnormal"]) == ("2026-03-08", None)


def test_days_are_counted_from_now(rounds, monkeypatch):
    """Two days later four are left; `--at` asks for another time."""
    days(monkeypatch, rounds, "65 L", "60 L", "55 L")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-05T08:00:00+00:00")
    assert of(rounds.json("levels"))["days_to_reserve"] == pytest.approx(4)
    assert of(rounds.json("levels", "--at", "2026-03-06T20:00"))["days_to_reserve"] == pytest.approx(2.5)


def test_a_level_is_entered_in_litres_per_cent_or_centimetres(rounds, monkeypatch):
    """50 % of 80 L, 7.5 cm of 0.8 L each; without a unit the reservoir's own."""
    for typed, litres in (("31.5 L", 31.5), ("50 %", 40), ("45", 36), ("8 US gal", 8 * 3.785411784)):
        rounds("record", f"{BARREL}-level", typed, "--sure")
        assert of(rounds.json("levels"))["level_l"] == pytest.approx(litres)
    rounds("record", "reef/can-level", "7.5 cm")
    assert of(rounds.json("levels"), "reef/can")["level_l"] == pytest.approx(6)


def test_too_few_levels_say_so(rounds):
    """A reservoir is listed even when nothing is known."""
    found = of(rounds.json("levels"))
    assert (found["level_l"], found["use_l_per_day"], found["refill_by"]) == (None, None, None)
    assert "no level is recorded yet" in found["basis"]


def test_a_refill_is_full_when_it_says_nothing(rounds, monkeypatch):
    """And the level it says when it does."""
    days(monkeypatch, rounds, "65 L", "60 L", "55 L")
    rounds("record", f"{BARREL}-refill")
    assert of(rounds.json("levels"))["level_l"] == 80
    rounds("record", f"{BARREL}-refill", "70 L")
    assert of(rounds.json("levels"))["level_l"] == 70


def test_a_refill_comes_due_by_itself_and_stays_done(rounds, monkeypatch):
    """The reserve of 25 L on Saturday 7 March at 08:00: on Friday the sheet asks for it, and then says who did it."""
    days(monkeypatch, rounds, "55 L", "50 L", "45 L")
    refills = [each for each in rounds.json("sheet")["items"] if each["id"] == f"{BARREL}-refill"]
    assert refills == []
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-06T09:00:00+00:00")
    due = of(rounds.json("sheet")["items"], f"{BARREL}-refill")
    assert (due["state"], due["importance"]) == ("due", "husbandry")
    assert (due["due_at"], due["fine_until"]) == ("2026-03-06T07:00:00+00:00", "2026-03-07T08:00:00+00:00")
    assert "(45.0 L − 25.0 L) / 5.0 L = 4.0 days" in due["why"]
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-07T07:30:00+00:00")
    assert of(rounds.json("sheet")["items"], f"{BARREL}-refill")["importance"] == "life support"
    rounds("record", f"{BARREL}-refill", by="MK")
    closed = of(rounds.json("sheet")["items"], f"{BARREL}-refill")
    assert (closed["state"], closed["closed_by"], closed["due_at"]) == ("done", "MK", "2026-03-06T07:00:00+00:00")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-08T09:00:00+00:00")
    assert f"{BARREL}-refill" not in [each["id"] for each in rounds.json("sheet")["items"]]


def test_a_barrel_that_emptied_overnight_is_abnormal(rounds, monkeypatch):
    """With the salinity of the morning: stuck open."""
    days(monkeypatch, rounds, "72 L", "67 L", "62 L")
    rounds("record", "reef/salinity", "35.0")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T07:12:00+00:00")
    rounds("record", f"{BARREL}-level", "10 L")
    rounds("record", "reef/salinity", "33.2", "--sure")
    found = of(rounds.json("levels"))
    assert "stuck open" in found["abnormal"]
    assert found["days_to_reserve"] == 0
    status, out, _ = rounds("levels")
    assert status == 0
    assert "refill now, below its reserve since about" in out
    assert "! High use" in out


def test_what_runs_out_first_stands_first(rounds, monkeypatch):
    """Days, refill-by in words, use with its interval; the fresh water of a system after them."""
    days(monkeypatch, rounds, "65 L", "60 L", "55 L")
    for day, level in enumerate((18, 16, 14), 1):
        rounds("record", "reef/can-level", f"{level} L", "--at", f"2026-03-0{day}T08:00")
    _, out, _ = rounds("levels")
    lines = [re.sub(r"\([0-9.]+( m?L)? to [0-9.]+( m?L)?\)", "(interval)", line) for line in out.splitlines()]
    assert lines[3] == "Reef [bold], can: refill by Sat 7 Mar, 5.0 days to its reserve (interval)"
    assert lines[4] == "    14.0 L of 20.0 L, read less than a minute ago; loses 2.0 L a day (interval)"
    assert lines[5] == "Reef [bold], barrel: refill by Sun 8 Mar, 6.0 days to its reserve (interval)"
    assert "    Reef [bold]: 7.0 L a day" in lines


def test_a_time_that_cannot_be_read_ends_with_2(rounds):
    """One sentence."""
    assert "is no time" in rounds.refused("levels", "--at", "sometime", status=2)


@pytest.mark.parametrize("seed", range(3))
def test_the_use_of_a_simulated_barrel_comes_back(rounds, monkeypatch, seed):
    """4.2 L a day that wander by a tenth, read to half a litre each morning, filled up below 30 L, for twelve days."""
    rng, litres = random.Random(seed), 72.0
    for day in range(1, 13):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{day:02}T08:30:00+00:00")
        rounds("record", f"{BARREL}-level", f"{litres + rng.gauss(0, 0.5):.1f} L", "--sure")
        if litres < 30:
            litres = 80.0
            rounds("record", f"{BARREL}-refill")
        litres -= 4.2 * (1 + rng.gauss(0, 0.1))
    found = of(rounds.json("levels"))
    assert found["use_low"] <= 4.2 <= found["use_high"]
    assert found["use_high"] - found["use_low"] < 1
    assert found["abnormal"] is None
