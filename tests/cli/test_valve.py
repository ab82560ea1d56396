"""`rounds valve`: a tank valved off, opened again, listed, and what is refused."""

from __future__ import annotations

import pytest

from tests.cli.conftest import REEF
from tests.support import write_room

TANK = """
[[stations]]
id = "tank-a"
name = "Tank A"
[[tanks]]
id = "a"
name = "Tank A"
volume = "560 L"
stations = ["tank-a"]
"""


@pytest.fixture
def folder(folder):
    """The same room with 1300 L, of which a tank of 560 L can be valved off."""
    reef = REEF.replace('name = "Reef [bold]"\n', f'name = "Reef [bold]"\nvolume = "1300 L"\n{TANK}')
    return write_room(folder, (folder / "room.toml").read_text(), reef=reef)


def test_valved_off_listed_and_opened_again(rounds, monkeypatch):
    """1300 − 560 = 740 L are left."""
    status, out, _ = rounds("valve", "reef/a", "--apart", "--reason", "new fish")
    assert status == 0
    assert out.startswith("Recorded. TV valved: Tank A apart; new fish\n")
    assert "  Reef [bold] without Tank A, 740 L: Tank A apart since 12:00 (new fish)\n" in out
    found = rounds.json("valve")
    assert [(each["tank"], each["volume_l"]) for each in found] == [(None, 740), ("reef/a", 560)]
    assert rounds.json("valve", "--at", "2026-03-04T11:59")[0]["volume_l"] == 1300
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-05T12:00:00+00:00")
    record = rounds.json("valve", "a", "--joined", "--reason", "settled")
    assert (record["kind"], record["words"], record["reason"]) == ("valved", ["joined"], "settled")
    assert rounds("valve")[1] == "Reef [bold], 1300 L: Tank A joined since 12:00 (settled)\n"


def test_the_sheet_says_so_at_the_station(rounds, folder):
    """The work there goes on."""
    task = '[[tasks]]\nid = "feed"\nstation = "tank-a"\ntitle = "Feed"\nagain_after = "1 day"\n'
    path = folder / "systems" / "reef.toml"
    path.write_text(path.read_text() + task)
    rounds("valve", "a", "--apart", "--reason", "new fish")
    out = rounds("sheet")[1]
    assert "Reef [bold], Tank A: apart since 12:00, 560 L\n" in out
    assert "Feed" in out


def test_a_strike_takes_it_back(rounds):
    record = rounds.json("valve", "a", "--apart", "--reason", "new fish")
    assert rounds("strike", record["id"], "--reason", "wrong tank")[0] == 0
    assert rounds("valve")[1] == "Reef [bold], 1300 L: all its tanks joined\n"
    assert rounds("check")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("reef/b", "--apart", "--reason", "x"), 1, "the tank 'reef/b' does not exist in this room"),
        (("a", "--joined", "--reason", "x"), 1, "Tank A is joined; there is nothing to record"),
        (("a", "--apart"), 2, "--reason WHY"),
        (("a", "--reason", "x"), 2, "--apart or --joined"),
        (("--apart",), 2, "say which tank"),
        (("a", "--apart", "--joined", "--reason", "x"), 2, "not allowed with"),
        (("a", "--apart", "--reason", " "), 1, "say why Tank A is valved off"),
        (("a", "--apart", "--reason", ""), 1, "say why Tank A is valved off"),
    ],
)
def test_what_cannot_be_is_refused(rounds, arguments, status, said):
    assert said in rounds.refused("valve", *arguments, status=status)
