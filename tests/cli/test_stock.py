"""`rounds stock`: listed, counted, delivered and ordered on the command line, drawn by what is done."""

from __future__ import annotations

import json

import pytest

from rounds.report.stock import stock_rows
from rounds.storage.room import RoomFolder
from tests.cli.conftest import REEF
from tests.support import write_room

STOCK = """
[[stock]]
id = "socks"
name = "filter [socks]"
kind = "spare"
station = "sump"
unit = "piece"
minimum = "2 piece"
pack = "5 piece"
[[stock]]
id = "buffer"
kind = "reagent"
unit = "mL"
"""


@pytest.fixture
def folder(folder):
    """The same room with two items of stock; each rinsing of the cup takes a sock."""
    reef = REEF.replace('title = "Rinse the cup"', 'title = "Rinse the cup"\nuses = { socks = "1 piece" }')
    return write_room(folder, (folder / "room.toml").read_text(), reef=reef + STOCK)


def of(found, id="reef/socks"):
    return next(each for each in found if each["id"] == id)


def test_counted_drawn_short_ordered_delivered(rounds, monkeypatch):
    """Two counted; the cup takes one; short of two it is ordered, then five come."""
    written = rounds.json("stock", "socks", "--count", "2")
    assert (written["kind"], written["task"], written["words"]) == ("stock", "reef/socks", ["counted"])
    assert of(rounds.json("stock"))["asked"] == []
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T13:00:00+00:00")
    rounds("record", "reef/cup")
    found = of(rounds.json("stock"))
    assert (found["level"], [each["what"] for each in found["asked"]]) == (1, ["order"])
    _, sheet, _ = rounds("sheet")
    assert "Order filter [socks]" in sheet
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T14:00:00+00:00")
    status, out, _ = rounds("record", "reef/socks-order", "five from the dealer")
    assert status == 0
    assert "filter [socks] ordered; five from the dealer; expected Wed 11 Mar" in out
    assert of(rounds.json("stock"))["expected_at"] == "2026-03-11T14:00:00+00:00"
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-06T09:00:00+00:00")
    status, out, _ = rounds("stock", "socks", "--delivered")
    assert (status, "filter [socks] delivered; 5 pieces" in out) == (0, True)
    assert (of(rounds.json("stock"))["level"], of(rounds.json("stock"))["asked"]) == (6, [])


def test_a_last_day_comes_with_a_delivery(rounds):
    """As on a label: a month ends with its last day."""
    rounds("stock", "buffer", "--delivered", "250 mL", "--expires", "2027-02")
    assert of(rounds.json("stock"), "reef/buffer")["expires"] == "2027-02-28"


def test_as_text(rounds):
    rounds("stock", "socks", "--count", "1 piece")
    status, out, err = rounds("stock")
    assert (status, err) == (0, "")
    first, why, rest = out.splitlines()
    assert first == "▲ reef/socks  filter [socks]: 1 piece; at least 2 pieces"
    assert "TV counted 1 piece 12:00: 1 piece left. The minimum is 2 pieces." in why
    assert rest == "· reef/buffer  buffer: not counted"
    _, alone, _ = rounds("stock", "socks")
    assert "Drawn by: Rinse the cup (Reef [bold], Sump): 1 piece each time." in alone


@pytest.mark.parametrize(
    ("arguments", "said", "status"),
    [
        (["sock", "--count", "2"], "did you mean reef/socks?", 1),
        (["socks", "--count", "two"], "counted in pieces: write for example 7 pieces", 2),
        (["socks", "--delivered", "3", "--expires", "soon"], "'soon' is no day", 2),
        (["buffer", "--delivered"], "say how much buffer came", 1),
        (["socks", "--ordered", "x", "--expires", "2027-01-01"], "only ordered", 2),
        (["socks", "--ordered", "x", "--expected", "2026-03-01"], "before it was ordered", 1),
        (["--count", "2"], "say of which item", 2),
    ],
    ids=lambda each: " ".join(each) if isinstance(each, list) else None,
)
def test_what_is_refused(rounds, arguments, said, status):
    assert said in rounds.refused("stock", *arguments, status=status)


def test_a_level_outlives_the_cache_and_long_work(rounds, folder, monkeypatch):
    """A count older than the records that are kept of other work is still reckoned from."""
    rounds("stock", "socks", "--count", "100")
    for day in range(5, 30):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{day:02}T12:00:00+00:00")
        assert rounds("record", "reef/cup", "--sure")[0] == 0
    assert of(rounds.json("stock"))["level"] == 75
    room = RoomFolder(folder)
    row = next(row for row in stock_rows(room.model, room.history, room.now()) if row.id == "reef/socks")
    assert row.found.level == 75, "what was kept in the cache is enough"


def test_faults_of_stock_are_named(rounds, folder):
    """A unit that is not its own, and stock that does not exist."""
    text = (folder / "systems" / "reef.toml").read_text()
    wrong = text.replace('socks = "1 piece"', 'socks = "1 kg", floss = "1 m"').replace('"2 piece"', '"2"', 1)
    (folder / "systems" / "reef.toml").write_text(wrong.replace('pack = "5 piece"', "pack = 5"))
    status, out, err = rounds("check")
    assert status == 1
    said = out + err
    assert "'1 kg' is no amount of filter [socks]; it is counted in pieces" in said
    assert "the stock 'floss' does not exist; add it under [[stock]]" in said
    assert "5 is no amount of filter [socks]" in said


def test_a_count_may_be_in_the_plural_of_its_unit(rounds):
    """The unit is one piece, and two of them are pieces."""
    rounds("stock", "socks", "--count", "2 pieces")
    assert of(rounds.json("stock"))["level"] == 2


def test_nothing_left_lasts_for_nothing(rounds, monkeypatch):
    """Of which a use is known."""
    rounds("stock", "socks", "--count", "100")
    for day in range(5, 15):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{day:02}T12:00:00+00:00")
        rounds("record", "reef/cup", "--sure")
    assert "filter [socks]: 90 pieces; lasts" in rounds("stock")[1]
    rounds("stock", "socks", "--count", "0")
    first = rounds("stock")[1].splitlines()[0]
    assert first == "▲ reef/socks  filter [socks]: 0 pieces; nothing is left; at least 2 pieces"
    assert "a day over the last four weeks; nothing is left." in rounds("stock", "socks")[1]


def test_about_one_a_day_is_said_as_one(rounds, monkeypatch):
    """A unit goes with the number that is shown: some minutes after a whole number of days too."""
    rounds("stock", "socks", "--count", "100")
    for day in range(5, 15):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{day:02}T12:00:00+00:00")
        rounds("record", "reef/cup", "--sure")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-14T12:10:00+00:00")
    assert "Use: 1 piece a day over the last four weeks" in rounds("stock", "socks")[1]


def test_json_of_the_list(rounds):
    status, out, _ = rounds("stock", "--json")
    assert status == 0
    assert [each["id"] for each in json.loads(out)] == ["reef/socks", "reef/buffer"]
