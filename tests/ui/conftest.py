"""A small room with three systems in zones A, C and D, one Wednesday morning, and the app over it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from textual import _wait

from rounds.demo import write_demo
from tests.ui.app import NOW, record, write_room

ROOM = """
name = "Tern Quay reef room"
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-11-02
route = ["live-food", "nursery", "quarantine"]

[units]
alkalinity = "dKH"

[[zones]]
id = "A"
name = "clean"
tools = "white"

[[zones]]
id = "C"
name = "growing on"
tools = "blue"

[[zones]]
id = "D"
name = "quarantine"
tools = "red"

[[keepers]]
initials = "TV"
name = "Tove Vik"

[[keepers]]
initials = "BC"
name = "Brid Casey"

[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"

[[shifts]]
name = "late"
begins = "14:00"
ends = "20:00"
"""

LIVE_FOOD = """
name = "Live food bench"
zone = "A"

[[stations]]
id = "jars"
name = "Culture jars"

[[stations]]
id = "hatchery"
name = "Hatchery"

[[tasks]]
id = "feed-jars"
station = "jars"
title = "Feed the rotifer jars"
rrule = "FREQ=DAILY"
at = ["08:00", "18:00"]
make_up = false

[[tasks]]
id = "sieves"
station = "jars"
title = "Rinse the sieves"
again_after = "1 day"
shift = "early"

[[tasks]]
id = "cones"
station = "hatchery"
title = "Bleach the hatching cones"
again_after = "1 week"
caution = "Bleach: gloves and goggles, never together with acid."
steps = ["Fill with bleach water.", "Leave for an hour.", "Rinse until the smell is gone."]

[[tasks]]
id = "counter"
station = "hatchery"
title = "Give the borrowed counter back"
once = 2026-11-25
"""

NURSERY = """
name = "Nursery raceway"
zone = "C"
volume = "960 L"

[[stations]]
id = "racks"
name = "Coral racks"

[[stations]]
id = "sump"
name = "Sump"

[[stations]]
id = "barrel"
name = "Top-off barrel"

[[tasks]]
id = "feed"
station = "racks"
title = "Target-feed the colonies"
rrule = "FREQ=DAILY"
at = "09:00"
make_up = false
importance = "husbandry"

[[tasks]]
id = "look"
station = "racks"
title = "Look over the colonies"
again_after = "1 day"
shift = "early"
look_for = "Polyps out, tissue up to the edge, no slime."

[[tasks]]
id = "probe"
station = "racks"
title = "Check the probe against the reference"
again_after = "1 day"
takes = ["temperature", "salinity"]

[[tasks]]
id = "cup"
station = "sump"
title = "Empty the skimmer cup"
again_after = "2 days"
takes = ["skimmate"]

[[tasks]]
id = "return"
station = "sump"
title = "Feel the return pump"
again_after = "8 hours"
importance = "life support"

[[tasks]]
id = "floss"
station = "sump"
title = "Change the filter floss"
rrule = "FREQ=WEEKLY;BYDAY=WE"
at = "11:00"

[[tasks]]
id = "restart"
station = "sump"
title = "Start again after a power cut"
called = true

[[readings]]
id = "temperature"
quantity = "temperature"
station = "racks"
low = "24.5 °C"
high = "26.5 °C"

[[readings]]
id = "salinity"
quantity = "salinity"
station = "racks"
low = "34 PSU"
high = "36 PSU"

[[readings]]
id = "skimmate"
quantity = "volume"
unit = "mL"
station = "sump"

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "racks"
target = "8.0 dKH"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_high = "10.0 dKH"
act_steps = ["Test again with a fresh vial.", "Stop the doser at its plug."]
again_after = "2 days"

[[readings]]
id = "phosphate"
quantity = "phosphate"
station = "sump"
again_after = "1 week"
shift = "late"

[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "barrel"
capacity = "80 L"
reserve = "25 L"
level_unit = "%"
again_after = "1 day"
"""

QUARANTINE = """
name = "Quarantine"
zone = "D"

[[stations]]
id = "tank"
name = "Arrivals tank"

[[stations]]
id = "bench"
name = "Dip bench"

[[tasks]]
id = "inspect"
station = "tank"
title = "Look for pests under the lamp"
again_after = "1 day"

[[tasks]]
id = "siphon"
station = "tank"
title = "Siphon the floor"
again_after = "3 days"
importance = "upkeep"

[[tasks]]
id = "dip"
station = "bench"
title = "Wash the dip basins"
again_after = "2 days"
"""


@pytest.fixture(autouse=True)
def one_morning(monkeypatch: pytest.MonkeyPatch) -> None:
    """A Wednesday in November, half past nine, on a device with a fixed name."""
    monkeypatch.setenv("ROUNDS_NOW", NOW)
    monkeypatch.setenv("ROUNDS_DEVICE", "laptop")


@pytest.fixture(autouse=True)
def short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    """The pilot looks twice as often whether the app has come to rest; the share of time that counts as rest stays."""
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", _wait.SLEEP_GRANULARITY / 2)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", _wait.SLEEP_IDLE / 2)


@pytest.fixture
def make_room(tmp_path: Path) -> Callable[..., Path]:
    """Writes the room; texts given by name stand in for the usual ones."""

    def make(**texts: str) -> Path:
        usual = {"room": ROOM, "live-food": LIVE_FOOD, "nursery": NURSERY, "quarantine": QUARANTINE}
        return write_room(
            tmp_path / "room", {**usual, **{name.replace("_", "-"): text for name, text in texts.items()}}
        )

    return make


@pytest.fixture
def folder(make_room: Callable[..., Path]) -> Path:
    """The room, nothing recorded."""
    return make_room()


YESTERDAY = (
    ("done", "live-food/feed-jars", "2026-11-24T08:05", {}),
    ("done", "live-food/feed-jars", "2026-11-24T18:05", {}),
    ("done", "live-food/sieves", "2026-11-24T08:10", {}),
    ("done", "live-food/cones", "2026-11-21T10:00", {}),
    ("done", "nursery/feed", "2026-11-24T09:10", {}),
    ("done", "nursery/look", "2026-11-24T08:20", {"note": "wet foam"}),
    ("done", "nursery/probe", "2026-11-24T08:25", {}),
    ("done", "nursery/cup", "2026-11-23T08:30", {}),
    ("done", "nursery/return", "2026-11-24T20:00", {}),
    ("done", "nursery/floss", "2026-11-18T11:10", {}),
    ("reading", "nursery/alkalinity", "2026-11-23T08:40", {"values": {"nursery/alkalinity": 8.0 / 2.8039}}),
    ("reading", "nursery/phosphate", "2026-11-18T15:00", {"values": {"nursery/phosphate": 0.05}}),
    ("reading", "nursery/barrel-level", "2026-11-24T08:45", {"values": {"nursery/barrel-level": 60.0}}),
    ("done", "quarantine/inspect", "2026-11-24T09:00", {}),
    ("done", "quarantine/siphon", "2026-11-22T09:00", {}),
    ("done", "quarantine/dip", "2026-11-23T09:00", {}),
)
"""What BC recorded on the tablet up to yesterday evening."""


@pytest.fixture(scope="session")
def sheets_of_yesterday(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheets of `YESTERDAY`, written once."""
    folder = write_room(
        tmp_path_factory.mktemp("yesterday") / "room",
        {"room": ROOM, "live-food": LIVE_FOOD, "nursery": NURSERY, "quarantine": QUARANTINE},
    )
    for kind, task, when, fields in YESTERDAY:
        record(folder, kind, task, when, **fields)
    return folder / "sheets"


@pytest.fixture
def kept(folder: Path, sheets_of_yesterday: Path) -> Path:
    """The room with everything up to yesterday evening recorded: only today's work is left."""
    shutil.copytree(sheets_of_yesterday, folder / "sheets")
    return folder


@pytest.fixture(scope="session")
def demo_written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "room"
    write_demo(folder, datetime(2026, 11, 25, 9, 30, tzinfo=UTC))
    return folder


@pytest.fixture
def demo(demo_written: Path, tmp_path: Path) -> Path:
    """A copy of the demo room, opened at half past nine."""
    return shutil.copytree(demo_written, tmp_path / "demo")
