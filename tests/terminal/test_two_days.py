"""Two keepers, two devices, two days: the whole program from the command line, one process for each thing done."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support import write_room

ROOT = Path(__file__).parents[2]
ROOM = """name = "Two keepers"
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-03-04
route = ["reef"]
on_call = ["TV"]
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
keepers = ["TV"]
[[shifts]]
name = "late"
begins = "12:30"
ends = "19:00"
keepers = ["MK"]
"""
REEF = """name = "Reef"
volume = "900 L"
[[stations]]
id = "sump"
name = "Sump"
[[tasks]]
id = "feed"
station = "sump"
title = "Feed the corals"
rrule = "FREQ=DAILY"
at = "11:00"
make_up = false
turns_off = ["return-pump"]
countdown = "15 minutes"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "1 day"
shift = "early"
[[tasks]]
id = "look"
station = "sump"
title = "Last look"
again_after = "1 day"
shift = "late"
importance = "life support"
[[readings]]
id = "temperature"
quantity = "temperature"
station = "sump"
low = "24 °C"
high = "26 °C"
again_after = "1 day"
[[equipment]]
id = "return-pump"
name = "return pump"
kind = "return pump"
station = "sump"
stops_with = ["uv"]
put_back_order = ["return-pump", "uv"]
[[equipment]]
id = "uv"
name = "UV"
kind = "UV unit"
station = "sump"
"""

Keeper = Callable[..., str]


def process(room: Path, device: str, now: str, by: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    """The program in a process of its own, with the folders of its device."""
    environment = {
        **os.environ, "PYTHONPATH": str(ROOT), "ROUNDS_ROOM": str(room), "ROUNDS_NOW": f"2026-03-{now}",
        "ROUNDS_DEVICE": device, "ROUNDS_BY": by, "XDG_CACHE_HOME": str(room.parent / device),
    }  # fmt: skip
    command = [sys.executable, "-m", "rounds", *arguments]
    return subprocess.run(command, env=environment, cwd=ROOT, capture_output=True, text=True, timeout=60)


@pytest.fixture
def room(tmp_path: Path) -> Path:
    write_room(tmp_path / "room", ROOM, reef=REEF)
    return tmp_path / "room"


@pytest.fixture
def tove(room: Path) -> Keeper:
    return _keeper(room, "walk", "TV")


@pytest.fixture
def mika(room: Path) -> Keeper:
    return _keeper(room, "bench", "MK")


def _keeper(room: Path, device: str, by: str) -> Keeper:
    def run(now: str, *arguments: str, status: int = 0) -> str:
        done = process(room, device, now, by, *arguments)
        assert done.returncode == status, done.stderr
        assert "Traceback" not in done.stderr
        return done.stdout if status == 0 else done.stderr

    return run


def short_id(said: str) -> str:
    """The end of the id that the program prints below what it recorded."""
    found = re.search(r"id \S*-([0-9a-f]{12})$", said, re.MULTILINE)
    assert found is not None, said
    return found.group(1)


def test_feeding_turns_the_pump_off_and_says_what_stops_with_it(tove: Keeper) -> None:
    """As it does where the pump is turned off by hand: without flow no UV."""
    said = tove("04T11:00", "record", "reef/feed")
    assert "return pump off; Feed the corals; put back by 11:15" in said
    assert "  Stop with it: UV.\n  Put back in this order: return pump, then UV.\n" in said


def test_the_countdown_goes_on_without_the_program(room: Path, tove: Keeper, mika: Keeper) -> None:
    """It is told by the clock on every device, also where the one that began it is gone with its cache."""
    tove("04T11:00", "record", "reef/feed")
    shutil.rmtree(room.parent / "walk")
    assert "put back by 11:15, in 10 minutes" in mika("04T11:05", "off-normal")
    assert "put back by 11:15, 6 minutes past its time" in tove("04T11:21", "off-normal")
    assert "[ ] Put back: return pump (off): 6 minutes late; life support" in mika("04T11:21", "sheet")
    mika("04T11:22", "put-back", "reef/return-pump")
    assert tove("04T11:23", "off-normal") == "Nothing is off normal.\n"


def test_a_killed_device_loses_no_countdown(room: Path, tove: Keeper, mika: Keeper) -> None:
    """The record stands on the disk before the program says so; a half-written file beside it does no harm."""
    tove("04T11:00", "record", "reef/feed")
    (sheet,) = (room / "sheets" / "2026").glob("*.walk.json")
    sheet.with_name(f".{sheet.name}.1.tmp").write_bytes(sheet.read_bytes()[:40])
    (listed,) = json.loads(tove("04T11:10", "off-normal", "--json"))
    assert listed["until"] == "2026-03-04T11:15:00+00:00"
    assert mika("04T11:10", "check").endswith("no fault found\n")


def test_a_concern_from_opening_to_reopening(tove: Keeper, mika: Keeper) -> None:
    concern = short_id(tove("04T11:24", "concern", "reef/sump", "tip pale", "--look-again", "16:00"))
    mika("04T15:50", "concern", concern, "--update", "as before")
    assert "tip pale" in tove("04T15:55", "concern")
    mika("04T16:30", "concern", concern, "--close", "it was the light")
    assert tove("04T16:40", "concern") == "No concern is open.\n"
    assert "closed by MK yesterday 16:30 (it was the light); open it again?" in tove(
        "05T08:00", "concern", concern, "--update", "pale again", status=1
    )
    tove("05T08:00", "concern", concern, "--update", "pale again", "--sure")
    assert "pale again" in mika("05T08:10", "concern")


def test_refusals_name_the_value_and_the_remedy_and_record_nothing(room: Path, tove: Keeper, mika: Keeper) -> None:
    """In one sentence; what may be right is asked."""
    for arguments, said in (
        (("record", "reef/temperature", "200"), "200 cannot be right for temperature, which lies between"),
        (("record", "reef/nothing"), "the task 'reef/nothing' does not exist in this room; did you mean"),
        (("record", "reef/cup", "--postpone", "10:00"), "10:00 is not later than 11:40; postpone to a later time"),
        (("put-back", "reef/uv"), "'reef/uv' is not off normal; off normal now: nothing"),
        (("protocol", "power", "reef"), "the protocol 'power' does not exist in this room; rounds protocol lists them"),
        (("handover", "--accept"), "no handover is signed"),
    ):
        found = mika("04T11:40", *arguments, status=1)
        assert said in found
        assert found.count("\n") == 1
    assert not list(room.glob("sheets/*/*"))


def test_two_days(tove: Keeper, mika: Keeper) -> None:
    """What one leaves open, the other takes over, asks about, does, and hands back."""
    tove("04T08:00", "record", "reef/temperature", "26.4")
    tove("04T11:00", "record", "reef/feed")
    tove("04T11:16", "put-back", "reef/return-pump")
    tove("04T11:20", "off-normal", "reef/uv", "--until", "15:00", "--reason", "new lamp")
    call = short_id(tove("04T11:30", "protocol", "power-return", "reef", "mains back"))
    steps = json.loads(tove("04T11:30", "protocol", "--json"))[0]["steps"]
    *done, left = [step["task"] for step in steps]
    for step in done:
        tove("04T12:20", "record", step)
    tove("04T12:30", "overdue", "reef/cup", "--postpone", "tomorrow", "--cause", "power cut", "--sure")
    tove("04T12:31", "cover", "MK", "TV", "--until", "2026-03-06", "--at", "2026-03-05", "--reason", "away")

    assert "UV is off, to be put back by 15:00; hand over with it so?" in tove(
        "04T12:45", "handover", "--sign", status=1
    )
    tove("04T12:45", "handover", "--sign", "--sure", "--note", "one look left of the power return")
    report = json.loads(mika("04T12:50", "handover", "--json"))
    assert [line["text"].partition(":")[0] for line in report["off_normal"]] == ["Reef, Sump"]
    assert [line["about"] for line in report["protocols"]] == [f"protocols:{call}"]
    signed = report["signed"]["id"]
    read = json.loads(mika("04T12:50", "handover", "--read", signed, "--json"))
    assert any("postponed to tomorrow 04:00 by TV: power cut" in line["text"] for line in read["not_done"])
    assert [line["number"] for line in read["off_normal"]] == [1]
    mika("04T12:55", "handover", "--accept", "--question", "1=which lamp?", "--note", "gone through together")

    mika("04T14:31", "record", left)
    assert mika("04T14:40", "protocol").startswith("No protocol is under way.")
    mika("04T14:50", "put-back", "reef/uv")
    mika("04T18:30", "record", "reef/look")
    mika("04T18:55", "handover", "--sign", "--note", "all on")
    evening = mika("04T18:56", "handover", "--list").splitlines()
    assert len(evening) == 2
    assert "not accepted yet" in evening[0]
    assert "accepted 12:55 by MK, 1 question" in evening[1]

    tove("05T07:05", "handover", "--accept")
    tove("05T07:30", "record", "reef/cup")
    report = json.loads(tove("05T12:45", "handover", "--json"))
    assert [line["text"] for line in report["next"]] == [
        "late shift, Thu 5 Mar 2026, 12:30 to 19:00: TV, Tove (covers MK)"
    ]
    assert report["off_normal"] == report["protocols"] == []
    assert any("Feed the corals" in line["text"] for line in report["not_done"])
    tove("06T09:00", "review", "2026-03-04", "--sign", "--note", "seen")
    review = json.loads(tove("06T09:05", "review", "2026-03-04", "--json"))
    assert [each["by"] for each in review["signed"]] == ["TV"]
    assert any(each["id"] == "reef/cup" for each in review["late"])
    for form in ("text", "markdown", "html"):
        said = " ".join(mika("06T09:10", "handover", "--read", signed, "--format", form).split())
        assert "gone through together" in said
        assert "MK asks: which lamp?" in said
