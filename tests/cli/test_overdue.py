"""`rounds overdue`: the list, the load, and postponing several for one cause."""

from __future__ import annotations

import json


def test_alone_it_prints_the_list_and_the_load(rounds):
    """Life support first; fourteen days under it."""
    status, out, err = rounds("overdue")
    assert (status, err) == (0, "")
    assert out.startswith(
        "Test room\nOverdue on Wed 4 Mar 12:00: 3 items\n\nLife support\n  Reef [bold], Sump: Rinse the cup"
    )
    assert "\n\nLoad of the coming 14 days" in out
    assert out.count(" Mar  ") >= 14


def test_as_json_it_has_the_lists_and_the_load(rounds):
    """The same order as on paper."""
    found = rounds.json("overdue")
    assert list(found) == ["room", "at", "round_day", "off_normal", "overdue", "out_of_service", "load"]
    assert [item["id"] for item in found["overdue"]] == ["reef/cup", "reef/barrel-level", "reef/alkalinity"]
    assert found["overdue"][0]["place"] == "Reef [bold], Sump"
    assert len(found["load"]["days"]) == 14


def test_what_is_narrowed_has_no_load_unless_it_is_asked_for(rounds):
    """The load is of what was chosen."""
    assert "load" not in rounds.json("overdue", "--importance", "life-support")
    found = rounds.json("overdue", "--importance", "life support", "--load")
    assert list(found) == ["load"]
    assert {day["minutes"] for day in found["load"]["days"]} == {0, 5}
    assert [item["id"] for item in rounds.json("overdue", "--keeper", "mk")["overdue"]] == [
        "reef/barrel-level", "reef/alkalinity",
    ]  # fmt: skip


def test_what_does_not_exist_is_refused(rounds):
    """With what can be written instead."""
    assert "write one of room, reef" in rounds.refused("overdue", "--system", "reeff")
    assert "write one of people" in rounds.refused("overdue", "--importance", "high")
    assert "write one of TV, MK" in rounds.refused("overdue", "--keeper", "XX")
    rounds.refused("overdue", "reef/cup", status=2)
    rounds.refused("overdue", "--cause", "power cut", status=2)
    rounds.refused("overdue", "--load", "--postpone", "tomorrow", "--cause", "power cut", status=2)


def test_everything_due_is_postponed_for_one_cause(rounds):
    """A record each; what is past its grace stays overdue, and that is said."""
    rounds("record", "reef/alkalinity", "8.0", "--at", "2026-03-02T08:00")
    status, out, _ = rounds("overdue", "--postpone", "2026-03-04T18:00", "--cause", "power cut")
    assert (status, out.count("Recorded. TV postponed: ")) == (0, 3)
    assert out.count("power cut; to 18:00") == 3
    assert out.count("stays overdue: postponing does not make it less late") == 2
    states = {item["id"]: (item["state"], item["postponed_until"]) for item in rounds.json("sheet")["items"]}
    assert states == {
        "reef/cup": ("overdue", None), "reef/alkalinity": ("postponed", "2026-03-04T18:00:00+00:00"),
        "reef/barrel-level": ("overdue", None),
    }  # fmt: skip
    assert [item["put_off"]["reason"] for item in rounds.json("overdue")["overdue"]] == ["power cut", "power cut"]


def test_only_what_is_named_or_chosen_is_postponed(rounds):
    """Tasks by id, also those that come later; or by importance."""
    cause = ("--postpone", "tomorrow", "--cause", "power cut")
    assert [r["task"] for r in json.loads(rounds("overdue", "cup", "reef/heads", *cause, "--json")[1])] == [
        "reef/cup", "reef/heads",
    ]  # fmt: skip
    assert rounds.json("overdue", "--importance", "life support", *cause)["task"] == "reef/cup"


def test_postponing_several_is_refused_without_a_cause_or_without_anything_to_postpone(rounds):
    """Nothing is recorded then; a line without a cause is not whole, blank words are no cause."""
    assert "--cause WHY" in rounds.refused("overdue", "--postpone", "tomorrow", status=2)
    assert "say why" in rounds.refused("overdue", "--postpone", "tomorrow", "--cause", " ")
    cause = ("--cause", "power cut")
    assert "later time" in rounds.refused("overdue", "--postpone", "11:00", *cause)
    assert "not asked for" in rounds.refused("overdue", "temperature", "--postpone", "tomorrow", *cause)
    assert "nothing that could be postponed" in rounds.refused(
        "overdue", "--system", "room", "--postpone", "tomorrow", *cause
    )


def test_one_record_takes_a_cause_too(rounds):
    """It goes with --postpone alone."""
    assert rounds.json("record", "reef/cup", "--postpone", "tomorrow", "--cause", "power cut")["reason"] == "power cut"
    assert "--postpone" in rounds.refused("record", "reef/cup", "--cause", "power cut", status=2)
