"""`rounds staged`: what is changed in steps on the command line."""

from __future__ import annotations

from tests.cli.conftest import REEF
from tests.support import write_room

LIGHTS = """
[[lights]]
id = "lights"
station = "sump"
begins = "10:00"
plateau = "6 hours"
channels = [{ name = "blue", peak = "60 %" }]
"""


def test_a_light_programme_without_steps(rounds, folder):
    """As text and as JSON: nothing done yet, and why it may or may not rise."""
    write_room(folder, (folder / "room.toml").read_text(), reef=REEF + LIGHTS)
    (found,) = rounds.json("staged")
    assert (found["id"], found["kind"], found["steps"], found["hold"]) == ("reef/lights", "light", [], [])
    status, out, _ = rounds("staged")
    assert status == 0
    assert out.startswith("reef/lights  lights, Reef [bold], Sump\n")


def test_a_room_without_any(rounds):
    assert rounds("staged")[1] == "Nothing is changed in steps in this room yet.\n"
    assert rounds.json("staged") == []
