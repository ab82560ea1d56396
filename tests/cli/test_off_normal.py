"""`rounds off-normal` and `rounds put-back`: what is not as it should be left, until it is put back."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

import rounds
from tests.cli.test_record import HOSTILE

OFF = ("off-normal", "reef/pump", "--until", "15 minutes", "--reason", "feeding")


def test_a_pump_is_left_off(pumps):
    """The record, what must stop with it, and the order of putting back."""
    status, out, err = pumps(*OFF)
    assert (status, err) == (0, "")
    assert out.splitlines()[0] == "Recorded. TV off normal: return pump off; feeding; put back by 12:15"
    assert out.splitlines()[2:] == [
        "  Stop with it: uv.", "  Put back in this order: return pump, then uv.",
    ]  # fmt: skip


def test_the_record_as_json(pumps):
    """State among the words, times in RFC 3339."""
    made = pumps.json(*OFF, "--as", "manual")
    assert (made["kind"], made["task"], made["words"], made["reason"], made["until"]) == (
        "off normal", "reef/pump", ["on manual"], "feeding", "2026-03-04T12:15:00Z",
    )  # fmt: skip


@pytest.mark.parametrize("state", ["off", "running", "open", "shut", "muted", "manual"])
def test_each_way_of_leaving_it(pumps, state):
    """Shown by the list."""
    pumps(*OFF, "--as", state)
    (left,) = pumps.json("off-normal")
    assert left["state"] == {"manual": "on manual"}.get(state, state)


def test_what_is_off_normal_as_json(pumps, clock):
    """With the time that is left, in seconds; below zero it has passed."""
    made = pumps.json(*OFF)
    clock("12:20")
    (left,) = pumps.json("off-normal")
    assert left == {
        "id": made["id"], "equipment": "reef/pump", "name": "return pump", "system": "reef", "station": "sump",
        "state": "off", "since": "2026-03-04T12:00:00+00:00", "until": "2026-03-04T12:15:00+00:00", "by": "TV",
        "reason": "feeding", "seconds_left": -300, "passed": True,
    }  # fmt: skip


def test_a_countdown_goes_on_between_commands(pumps, clock):
    """It is a time in a record: no process has to run for it."""
    pumps(*OFF)
    clock("12:05")
    assert "put back by 12:15, in 10 minutes" in pumps("off-normal")[1]
    clock("12:40")
    assert "put back by 12:15, 25 minutes past its time" in pumps("off-normal")[1]
    (item,) = [each for each in pumps.json("sheet")["items"] if each["id"] == "reef/pump-put-back"]
    assert (item["state"], item["importance"], item["late_by"]) == ("overdue", "life support", 1500)


def test_a_countdown_outlives_a_killed_process(pumps, folder):
    """Killed right after it said so, and without a cache: another device still sees it."""
    code = (
        "import os, signal, sys; from rounds.cli import main;"
        f"main(['--by', 'TV', *{OFF!r}]); sys.stdout.flush(); os.kill(os.getpid(), signal.SIGKILL)"
    )
    here = {**os.environ, "PYTHONPATH": str(Path(rounds.__file__).parents[1])}
    killed = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=here)
    assert killed.returncode < 0
    assert killed.stdout.startswith("Recorded.")
    assert [each["equipment"] for each in pumps.json("off-normal")] == ["reef/pump"]


def test_put_back_by_another_device(pumps, monkeypatch, clock):
    """It says what is still off normal."""
    pumps(*OFF)
    pumps("off-normal", "uv", "--until", "13:00", "--reason", "with the pump")
    monkeypatch.setenv("ROUNDS_DEVICE", "phone")
    clock("12:10")
    status, out, err = pumps("put-back", "reef/pump", "all", "turning", by="MK")
    assert (status, err) == (0, "")
    assert "MK back to normal: return pump; all turning" in out
    assert "Still off normal: Reef [bold], Sump: uv off" in out
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    assert [each["name"] for each in pumps.json("off-normal")] == ["uv"]


@pytest.mark.parametrize("name", ["reef/pump", "pump", "return pump"])
def test_it_is_put_back_by_any_of_its_names(pumps, name):
    """As the list shows it."""
    pumps(*OFF)
    assert pumps.json("put-back", name)["kind"] == "back to normal"
    assert pumps.json("off-normal") == []


def test_it_is_put_back_from_the_sheet(pumps, clock):
    """Its item is done like any work."""
    pumps(*OFF)
    clock("12:10")
    assert pumps.json("record", "reef/pump-put-back")["kind"] == "back to normal"


def test_left_so_for_longer_keeps_since_when(pumps, clock):
    """The second record names the first."""
    first = pumps.json(*OFF)
    clock("12:14")
    second = pumps.json("off-normal", "pump", "--until", "13:00", "--reason", "still eating")
    assert second["ref"] == first["id"]
    (left,) = pumps.json("off-normal")
    assert (left["id"], left["since"][11:16], left["until"][11:16]) == (first["id"], "12:00", "13:00")


def test_what_stops_with_it_is_recorded_at_once(pumps):
    """On request; what is off already stays as it is."""
    both = pumps.json(*OFF, "--with-it")
    assert [(each["task"], each["reason"]) for each in both] == [
        ("reef/pump", "feeding"), ("reef/uv", "with the return pump"),
    ]  # fmt: skip
    assert pumps.json(*OFF, "--with-it")["task"] == "reef/pump"


def test_what_stopped_with_it_is_extended_with_it(pumps, clock):
    """On request, where it was to be put back sooner; what stays off for longer still is left so."""
    uv = pumps.json(*OFF, "--with-it")[1]
    clock("12:14")
    longer = ("off-normal", "pump", "--until", "12:40", "--reason", "still eating", "--with-it")
    assert [(each["task"], each["ref"]) for each in pumps.json(*longer)][1:] == [("reef/uv", uv["id"])]
    assert {each["until"][11:16] for each in pumps.json("off-normal")} == {"12:40"}
    pumps("off-normal", "uv", "--until", "18:00", "--reason", "new lamp")
    assert pumps.json("off-normal", "pump", "--until", "12:50", "--reason", "slow", "--with-it")["task"] == "reef/pump"


def test_something_in_no_table(pumps, clock):
    """A hose at a station: listed, extended and put back by what it was called."""
    made = pumps.json("off-normal", "sump", "--what", "filling hose", "--until", "12:30", "--reason", "top up",
                      "--as", "open")  # fmt: skip
    assert (made.get("task"), made["note"], made["station"]) == (None, "filling hose", "sump")
    clock("12:20")
    longer = pumps.json("off-normal", "filling hose", "--until", "13:00", "--reason", "slow")
    assert (longer["ref"], longer["words"]) == (made["id"], ["open"])
    (left,) = pumps.json("off-normal")
    assert (left["equipment"], left["name"], left["until"][11:16]) == (None, "filling hose", "13:00")
    assert "TV back to normal: filling hose, Reef [bold], Sump\n" in pumps("put-back", "filling hose")[1]
    assert pumps.json("off-normal") == []


def test_two_hoses_are_told_apart_by_id(pumps):
    """The refusal names both."""
    hose = ("off-normal", "sump", "--what", "hose", "--until", "12:30", "--reason", "x")
    made = [pumps.json(*hose)["id"] for _ in range(2)]
    told = pumps.refused("put-back", "hose")
    assert all(id in told for id in made)
    pumps("put-back", made[0].replace("-", "")[-12:])
    assert [each["id"] for each in pumps.json("off-normal")] == [made[1]]


def test_a_task_turns_its_equipment_off(pumps, clock):
    """With a countdown from when it is done; a late entry of long ago does not."""
    assert "TV off normal: return pump off; Clean the basket; put back by 12:15" in pumps("record", "basket")[1]
    pumps("put-back", "pump")
    pumps("record", "basket", "--at", "09:00", "--sure")
    assert pumps.json("off-normal") == []


def test_the_past_is_asked_by_its_time(pumps):
    """What was off then."""
    pumps(*OFF, "--at", "11:00")
    pumps("put-back", "pump", "--at", "11:10")
    assert len(pumps.json("off-normal", "--at", "11:05")) == 1
    assert pumps.json("off-normal", "--at", "10:59") == pumps.json("off-normal") == []


REFUSED = {
    "unknown equipment": (("off-normal", "reef/pmp", "--until", "13:00", "--reason", "x"), "did you mean reef/pump?"),
    "a time that is past": (("off-normal", "pump", "--until", "11:00", "--reason", "x"), "later time"),
    "a blank reason": (("off-normal", "pump", "--until", "13:00", "--reason", " "), "a few words"),
    "an empty reason": (("off-normal", "pump", "--until", "13:00", "--reason", ""), "a few words"),
    "an unknown station": (
        ("off-normal", "stump", "--what", "hose", "--until", "13:00", "--reason", "x"), "did you mean reef/sump?",
    ),
    "nothing is off": (("put-back", "pump"), "off normal now: nothing"),
    "before it was left so": (("put-back", "pump", "--at", "10:00"), "off normal now: nothing"),
}  # fmt: skip


@pytest.mark.parametrize(("arguments", "remedy"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(pumps, arguments, remedy):
    """Exit 1, one sentence, nothing recorded."""
    assert remedy in pumps.refused(*arguments)


UNREADABLE = {
    "no time": (("off-normal", "pump", "--reason", "x"), "TV"),
    "no reason": (("off-normal", "pump", "--until", "13:00"), "TV"),
    "a state there is not": ((*OFF, "--as", "broken"), "TV"),
    "a time that is none": (("off-normal", "pump", "--until", "soon", "--reason", "x"), "TV"),
    "nobody": (OFF, None),
    "put back what": (("put-back",), "TV"),
    "put back by nobody": (("put-back", "pump"), None),
}


@pytest.mark.parametrize(("arguments", "by"), UNREADABLE.values(), ids=UNREADABLE)
def test_what_cannot_be_read_ends_with_2(pumps, arguments, by):
    """One sentence."""
    pumps.refused(*arguments, status=2, by=by)


def test_no_room_ends_with_3(pumps, tmp_path):
    """Like every command."""
    pumps.refused("--room", str(tmp_path / "none"), "off-normal", status=3)


def test_a_clock_set_back_is_asked_about(pumps, clock):
    """Unless the time is given, or the answer."""
    pumps(*OFF)
    clock("09:00")
    assert "Is the clock right?" in pumps.refused("off-normal", "uv", "--until", "13:00", "--reason", "x")
    assert pumps("off-normal", "uv", "--until", "13:00", "--reason", "x", "--sure")[0] == 0


def test_any_text_is_kept_and_shown_as_text(pumps):
    """Nothing in it reaches the terminal as a command."""
    pumps("off-normal", "pump", "--until", "13:00", "--reason", HOSTILE)
    pumps("off-normal", "sump", "--what", HOSTILE, "--until", "13:00", "--reason", HOSTILE)
    for command in (("off-normal",), ("sheet",), ("history",), ("put-back", "pump")):
        out = pumps(*command)[1]
        assert "[/sump]" in out
        assert not set(out) & set("\x1b\x07\x00\u202e")


def test_what_stops_with_the_pump_is_put_back_after_it(pumps, clock):
    """The UV unit without flow asks first."""
    pumps(*OFF, "--with-it")
    clock("12:05")
    status, _, err = pumps("put-back", "reef/uv")
    assert status == 1
    assert "the return pump is still off, and the uv has to stop with it and comes after it" in err
    assert pumps("put-back", "reef/uv", "--sure")[0] == 0
    assert pumps("put-back", "reef/pump")[0] == 0
