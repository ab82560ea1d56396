"""`rounds protocol`: called, listed, done step by step, stopped."""

from __future__ import annotations

import pytest

from tests.cli.conftest import FOLLOWED, ROOM
from tests.cli.test_record import HOSTILE
from tests.support import write_room


def test_a_protocol_is_called_for_a_station(pumps):
    """What it is called for, and each step with its time and id."""
    status, out, err = pumps("protocol", "check", "reef/sump", "the", "new", "pump")
    assert (status, err) == (0, "")
    first, _, look, basket = out.splitlines()
    assert first == "Recorded. TV protocol: Check, Reef [bold], Sump; the new pump"
    assert look.startswith("  12:00  Look at it  (reef/step-")
    assert basket == "  13:00  Clean the basket  (reef/basket)"


def test_the_same_call_while_it_is_under_way_asks_first(pumps, clock):
    """For the same place and the same thing only; once it has ended it is called anew."""
    made = pumps.json("protocol", "check", "sump", "the pump")
    clock("12:10")
    status, out, err = pumps("protocol", "check", "sump", "The pump")
    assert (status, out) == (1, "")
    assert err.startswith("Check, Reef [bold], Sump; the pump was called 12:00 by TV and is under way; call it again?")
    assert pumps("protocol", "check", "sump", "the heater")[0] == 0
    assert pumps("protocol", "check", "sump", "the pump", "--sure")[0] == 0
    for call in pumps.json("protocol"):
        pumps("protocol", call["id"], "--stop", "bought another", "--at", "12:10")
    assert made["id"] not in [call["id"] for call in pumps.json("protocol")]
    assert pumps("protocol", "check", "sump", "the pump")[0] == 0


def test_the_call_as_json(pumps):
    """The record as it stands in its sheet."""
    made = pumps.json("protocol", "reef/check", "sump", "the pump")
    assert (made["kind"], made["task"], made["system"], made["station"], made["note"]) == (
        "protocol", "reef/check", "reef", "sump", "the pump",
    )  # fmt: skip


def test_those_that_can_be_called_are_listed(pumps):
    """Those of the room first, then those of every room."""
    out = pumps("protocol")[1]
    assert out.startswith("No protocol is under way.\n\nThey can be called:\n  reef/check: Check, for a station\n")
    assert "  power-return: Power return, for a system\n" in out


def test_what_is_under_way_as_json(pumps, clock):
    """Step by step, with who did it."""
    made = pumps.json("protocol", "check", "sump", "the pump")
    (running,) = pumps.json("protocol")
    step = running["steps"][0]["task"]
    clock("12:10")
    pumps("record", step, by="MK")
    (running,) = pumps.json("protocol")
    assert running == {
        "id": made["id"], "protocol": "reef/check", "name": "Check", "system": "reef", "station": "sump",
        "about": "the pump", "called_at": "2026-03-04T12:00:00+00:00", "called_by": "TV", "done": 1,
        "steps": [
            {"task": step, "title": "Look at it", "due_at": None, "times": 1, "times_done": 1,
             "done_at": "2026-03-04T12:10:00+00:00", "done_by": "MK"},
            {"task": "reef/basket", "title": "Clean the basket", "due_at": "2026-03-04T13:00:00+00:00", "times": 1,
             "times_done": 0, "done_at": None, "done_by": None},
        ],
    }  # fmt: skip
    assert "1 of 2 steps done; next: Clean the basket, due 13:00" in pumps("protocol")[1]


def test_its_last_step_completes_it(pumps, clock):
    """Two devices do its steps; the end is written down with the last."""
    pumps("protocol", "check", "sump")
    step = pumps.json("protocol")[0]["steps"][0]["task"]
    pumps("record", step)
    clock("13:05")
    out = pumps("record", "basket")[1]
    assert "TV protocol: Check, Reef [bold], Sump" in out
    assert pumps.json("protocol") == []


def test_its_last_step_struck_it_is_under_way_again(pumps, clock):
    """What said that it was completed is struck with it."""
    pumps("protocol", "check", "sump")
    pumps("record", pumps.json("protocol")[0]["steps"][0]["task"])
    last = pumps.json("record", "basket")
    assert pumps.json("protocol") == []
    clock("12:10")
    pumps("strike", last["id"], "--reason", "wrong tank")
    (running,) = pumps.json("protocol")
    assert (running["done"], running["steps"][1]["times_done"]) == (1, 0)


def test_another_step_struck_leaves_a_stopped_one_stopped(pumps, clock):
    """Whoever stopped it meant it."""
    made = pumps.json("protocol", "check", "sump")
    step = pumps.json("record", pumps.json("protocol")[0]["steps"][0]["task"])
    clock("12:10")
    pumps("protocol", made["id"], "--stop", "why")
    pumps("strike", step["id"], "--reason", "wrong tank")
    assert pumps.json("protocol") == []


def test_it_is_stopped_with_a_reason(pumps, clock):
    """By the end of its id."""
    made = pumps.json("protocol", "check", "sump")
    clock("12:30")
    stopped = pumps.json("protocol", made["id"].replace("-", "")[-12:], "--stop", "not needed")
    assert (stopped["ref"], stopped["reason"]) == (made["id"], "not needed")
    assert pumps.json("protocol") == []
    assert [each["id"] for each in pumps.json("sheet")["items"] if "step-" in each["id"]] == []


def test_it_is_called_for_every_system(pumps, folder):
    """Of those that have a step for it."""
    write_room(folder, ROOM, reef=FOLLOWED, lab='name = "Lab"\n')
    made = pumps.json("protocol", "power-return", "room")
    assert [each["system"] for each in made] == ["reef", "lab"]


def test_a_second_call_is_another(pumps):
    """Each with steps of its own."""
    pumps("protocol", "check", "sump", "first")
    pumps("protocol", "check", "sump", "second")
    assert [each["about"] for each in pumps.json("protocol")] == ["first", "second"]


def test_a_protocol_gone_from_the_files_can_be_stopped(pumps, folder):
    """The list says so."""
    made = pumps.json("protocol", "check", "sump")
    write_room(folder, ROOM, reef=FOLLOWED[: FOLLOWED.index("[[protocols]]")])
    assert "its steps are no longer in the room's files: stop it" in pumps("protocol")[1]
    assert pumps.json("protocol")[0]["steps"] == []
    assert pumps("protocol", made["id"], "--stop", "gone")[0] == 0


def test_a_second_dose_is_asked_about(pumps, clock):
    """Also hours later; the course becomes longer, nothing is doubled."""
    pumps("protocol", "treatment", "reef", "the fox face")
    dose = next(each["task"] for each in pumps.json("protocol")[0]["steps"] if each["times"] > 1)
    pumps("record", dose)
    clock("12:30")
    assert "30 minutes ago by TV; again?" in pumps.refused("record", dose)
    clock("20:00")
    assert "is due again tomorrow 12:00; now already?" in pumps.refused("record", dose)
    assert pumps("record", dose, "--sure")[0] == 0


def test_the_past_is_asked_by_its_time(pumps):
    """What was under way then."""
    made = pumps.json("protocol", "check", "sump", "--at", "11:00")
    pumps("protocol", made["id"], "--stop", "why")
    assert len(pumps.json("protocol", "--at", "11:30")) == 1
    assert pumps.json("protocol", "--at", "10:59") == pumps.json("protocol") == []


REFUSED = {
    "no such protocol": (("protocol", "reef/chek", "sump"), "did you mean reef/check?"),
    "no such place": (("protocol", "check", "reef/stump"), "did you mean reef/sump?"),
    "no such call": (("protocol", "0123", "--stop", "why"), "rounds protocol lists"),
    "no step for the place": (("protocol", "reef/check", "room"), "no step for room"),
}


@pytest.mark.parametrize(("arguments", "remedy"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(pumps, folder, arguments, remedy):
    """Exit 1, one sentence, nothing recorded."""
    text = FOLLOWED.replace('title = "Look at it"', 'title = "Look at it"\nif_kind = "pump"')
    write_room(folder, ROOM, reef=text)
    assert remedy in pumps.refused(*arguments)


def test_a_stop_without_a_reason_is_refused(pumps):
    """Say why."""
    made = pumps.json("protocol", "check", "sump")
    assert "a few words" in pumps.refused("protocol", made["id"], "--stop", " ")


UNREADABLE = {
    "nowhere": (("protocol", "check"), "TV"),
    "a stop of nothing": (("protocol", "--stop", "why"), "TV"),
    "nobody": (("protocol", "check", "sump"), None),
    "a time that is none": (("protocol", "check", "sump", "--at", "noon"), "TV"),
}


@pytest.mark.parametrize(("arguments", "by"), UNREADABLE.values(), ids=UNREADABLE)
def test_what_cannot_be_read_ends_with_2(pumps, arguments, by):
    """One sentence."""
    pumps.refused(*arguments, status=2, by=by)


def test_any_text_is_kept_and_shown_as_text(pumps):
    """Nothing in it reaches the terminal as a command."""
    pumps("protocol", "check", "sump", HOSTILE)
    for command in (("protocol",), ("history",)):
        out = pumps(*command)[1]
        assert "[/sump]" in out
        assert not set(out) & set("\x1b\x07\x00\u202e")


def test_a_fault_in_a_protocol_ends_with_3(pumps, folder):
    """The room is not opened with half of it."""
    write_room(folder, ROOM, reef=FOLLOWED.replace('title = "Look at it"', 'titel = "Look at it"'))
    status, out, err = pumps("protocol")
    assert (status, out) == (3, "")
    assert "'titel' is not known here" in err
