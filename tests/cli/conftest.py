"""The command line called as a function, on a room of its own."""

from __future__ import annotations

import json

import pytest

from rounds.cli import main
from tests.support import write_room

ROOM = """name = "Test room"
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-02-01
route = ["reef"]

[[keepers]]
initials = "TV"
name = "Tove"

[[keepers]]
initials = "MK"
name = "Mika"

[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"
"""

REEF = """name = "Reef [bold]"
[[stations]]
id = "sump"
name = "Sump"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "2 days"
shift = "early"
keeper = "TV"
minutes = 5
importance = "life support"
[[tasks]]
id = "heads"
station = "sump"
title = "Clean the pump heads"
again_after = "1 month"
first_day = 2026-03-20
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "sump"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_steps = ["test again", "stop the dosing"]
again_after = "2 days"
[[readings]]
id = "temperature"
quantity = "temperature"
station = "sump"
called = true
[[readings]]
id = "salinity"
quantity = "salinity"
station = "sump"
called = true
[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
level_unit = "%"
again_after = "1 day"
"""


class CommandLine:
    """Runs `rounds` in this process."""

    def __init__(self, capsys, folder):
        self._capsys = capsys
        self.folder = folder

    def __call__(self, *arguments, by="TV"):
        """Status, standard output and standard error."""
        given = [str(each) for each in arguments]
        status = main([*(["--by", by] if by else []), *given])
        out, err = self._capsys.readouterr()
        assert "Traceback" not in out + err
        return status, out, err

    def json(self, *arguments, by="TV"):
        status, out, err = self(*arguments, "--json", by=by)
        assert (status, err) == (0, "")
        return json.loads(out)

    def refused(self, *arguments, status=1, by="TV"):
        """The one sentence on standard error; nothing on standard output, nothing recorded."""
        before = self.sheets()
        found, out, err = self(*arguments, by=by)
        assert (found, out) == (status, "")
        assert err.endswith("\n")
        assert err.count("\n") == 1
        assert self.sheets() == before
        return err.strip()

    def sheets(self):
        return {path: path.read_bytes() for path in (self.folder / "sheets").rglob("*.json")}


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """The room is the one of $ROUNDS_ROOM; it is noon on Wednesday 4 March 2026."""
    folder = write_room(tmp_path / "room", ROOM, reef=REEF)
    monkeypatch.setenv("ROUNDS_ROOM", str(folder))
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00+00:00")
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    monkeypatch.chdir(tmp_path)
    return folder


@pytest.fixture
def rounds(capsys, folder):
    return CommandLine(capsys, folder)


FOLLOWED = (
    REEF.replace('name = "Reef [bold]"', 'name = "Reef [bold]"\nvolume = "900 L"')
    + """
[[equipment]]
id = "pump"
kind = "pump"
station = "sump"
name = "return pump"
stops_with = ["uv"]
[[equipment]]
id = "uv"
kind = "UV"
station = "sump"
[[tasks]]
id = "basket"
station = "sump"
title = "Clean the basket"
called = true
turns_off = ["pump"]
countdown = "15 minutes"
[[protocols]]
id = "check"
name = "Check"
place = "station"
[[protocols.steps]]
title = "Look at it"
[[protocols.steps]]
task = "basket"
after = "1 hour"
"""
)


@pytest.fixture
def pumps(rounds, folder):
    """The same room with pumps, and protocols of its own."""
    write_room(folder, ROOM, reef=FOLLOWED)
    return rounds


@pytest.fixture
def clock(monkeypatch):
    """Sets the time of the commands that follow, on 4 March 2026."""

    def at(time):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-04T{time}:00+00:00")

    return at
