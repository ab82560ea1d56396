"""`rounds review`: a day and a month, by task and cause, and signed."""

from __future__ import annotations

import pytest

from tests.cli.conftest import REEF, ROOM
from tests.support import write_room

MEAL = """[[tasks]]
id = "meal"
station = "sump"
title = "Feed the fish"
rrule = "FREQ=DAILY"
at = "09:00"
make_up = false
"""


@pytest.fixture
def folder(folder, monkeypatch):
    """The room of the command line with a meal a day."""
    head, tasks = REEF.split("[[tasks]]", 1)
    return write_room(folder, ROOM, reef=f"{head}{MEAL}[[tasks]]{tasks}")


@pytest.fixture
def worked(rounds, monkeypatch):
    """Monday to Wednesday 4 March, noon; the meal of Tuesday was not given."""

    def at(time):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{time}:00+00:00")

    for time, arguments, by in (
        ("02T07:30", ("record", "reef/cup"), "TV"),
        ("02T09:00", ("record", "reef/meal"), "TV"),
        ("02T10:00", ("record", "reef/alkalinity", "8.0"), "TV"),
        ("03T09:30", ("record", "reef/meal", "--could-not", "no feed left"), "MK"),
        ("04T09:00", ("record", "reef/meal"), "MK"),
        ("04T09:40", ("record", "reef/alkalinity", "8.1", "--at", "09:00"), "MK"),
    ):
        at(time)
        assert rounds(*arguments, by=by)[0] == 0
    wrong = rounds.json("record", "reef/temperature", "9 C", "--sure")
    at("04T09:50")
    assert rounds("strike", wrong["id"], "--reason", "wrong tank")[0] == 0
    at("04T12:00")
    return rounds


def counts(found):
    return {key: found[key] for key in ("due", "in_time", "late", "not_needed", "not_done", "missed", "open")}


def test_a_day(worked):
    """The cup was due at 07:00 today and is fine until 19:00; levels and the cleaning of the month before are late."""
    found = worked.json("review")
    assert (found["room"], found["from"], found["to"]) == ("Test room", "2026-03-04", "2026-03-04")
    by_task = {each["id"]: each for each in found["tasks"]}
    assert counts(by_task["reef/meal"]) == {
        "due": 1, "in_time": 1, "late": 0, "not_needed": 0, "not_done": 0, "missed": 0, "open": 0,
    }  # fmt: skip
    assert by_task["reef/cup"]["open"] == 1
    assert by_task["reef/barrel-level"]["not_done"] == 1
    assert found["due"] == sum(each["due"] for each in found["tasks"])
    assert [(each["task"], each["late"], each["flagged"], each["struck"]) for each in found["entries"]] == [
        ("reef/alkalinity", True, False, None),
        ("reef/temperature", False, True, "wrong tank"),
    ]
    assert found["signed"] == []


def test_what_was_missed_with_its_cause(worked):
    found = worked.json("review", "2026-03-03")
    meal = next(each for each in found["tasks"] if each["id"] == "reef/meal")
    assert (meal["missed"], meal["causes"]) == (1, [{"cause": "could not: no feed left", "times": 1}])
    assert {"id": "reef/meal", "outcome": "missed", "due_at": "2026-03-03T09:00:00+00:00"}.items() <= {
        each["id"]: each for each in found["late"]
    }["reef/meal"].items()


def test_a_month_as_far_as_it_has_come(worked):
    found = worked.json("review", "2026-03")
    assert (found["from"], found["to"]) == ("2026-03-01", "2026-03-04")
    assert [each["day"] for each in found["days"]] == [f"2026-03-0{day}" for day in (1, 2, 3, 4)]
    meal = next(each for each in found["tasks"] if each["id"] == "reef/meal")
    assert counts(meal) == {
        "due": 4, "in_time": 2, "late": 0, "not_needed": 0, "not_done": 0, "missed": 2, "open": 0,
    }  # fmt: skip


def test_as_text(worked):
    status, out, _ = worked("review", "2026-03")
    assert status == 0
    worst = out.partition("MOST OFTEN FIRST\n")[2]
    assert worst.startswith(
        "  Reef [bold], Sump: Feed the fish: 4 due, 2 in time, 2 missed\n      could not: no feed left\n"
    )
    assert "Not reviewed yet." in out
    assert "  late: 09:00 Reef [bold]: MK reading: Test alkalinity; 8.1 dKH" in out
    assert "STRUCK by TV (wrong tank)" in out
    assert all(len(line) <= 80 for line in out.splitlines())


def test_no_keeper_is_measured(worked):
    """Whoever did or left it: what is counted is tasks, and the same whoever recorded."""
    found = worked.json("review", "2026-03")
    assert not any("by" in each for each in (*found["tasks"], *found["late"], *found["days"]))
    counted = worked("review", "2026-03")[1].partition("LATE, STRUCK")[0]
    assert "MK" not in counted
    assert "TV" not in counted


def test_signing_days(worked, monkeypatch):
    """One point for each day; told in the review of any of them from then on, and of no other."""
    said = worked.json("review", "2026-03", "--sign", "--note", "order feed earlier", "--sure")
    assert (said["kind"], said["reason"], said["note"], "ref" in said) == (
        "accepted",
        "review",
        "order feed earlier",
        False,
    )
    assert [point["about"] for point in said["points"]] == [f"day:2026-03-0{day}" for day in (1, 2, 3, 4)]
    assert "1 missed" in said["points"][2]["text"]
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-05T12:00:00+00:00")
    out = worked("review", "2026-03-03")[1]
    assert 'Reviewed yesterday 12:00 by TV, 4 days: "order feed earlier".' in out
    assert "Not reviewed yet." in worked("review")[1]
    assert worked.json("review", "2026-03-02")["signed"][0]["id"] == said["id"]


@pytest.mark.parametrize("period", ["2026-03-04", "2026-03"])
def test_a_day_that_is_not_over_is_signed_only_when_sure(worked, period):
    """It goes on after the signature; the month ends with it as far as it has come."""
    said = worked.refused("review", period, "--sign")
    assert said.startswith("Wed 4 Mar 2026 is not over; sign it as it stands? Nothing was recorded")
    assert worked("review", period, "--sign", "--sure")[0] == 0


def test_a_keeper_signs_the_same_days_again_only_when_sure(worked, monkeypatch):
    """Another keeper, more days than before, and days whose review was struck need no question."""
    first = worked.json("review", "2026-03-03", "--sign")
    said = worked.refused("review", "2026-03-03", "--sign")
    assert said.startswith("Tue 3 Mar 2026: TV signed its review 12:00; sign it again?")
    worked("strike", first["id"], "--reason", "too early")
    assert worked("review", "2026-03-03", "--sign")[0] == 0
    assert worked("review", "2026-03-03", "--sign", by="MK")[0] == 0
    assert worked("review", "2026-03-03", "--sign", "--sure")[0] == 0
    monkeypatch.setenv("ROUNDS_NOW", "2026-04-01T12:00:00+00:00")
    assert worked("review", "2026-03", "--sign")[0] == 0
    said = worked.refused("review", "2026-03-02", "--sign")
    assert said.startswith("Mon 2 Mar 2026: TV signed its review 13:00; sign it again?")


def test_a_review_is_no_acceptance_of_a_handover(worked):
    worked("handover", "--sign", "--sure")
    assert worked("review", "2026-03-03", "--sign")[0] == 0
    assert worked.json("handover", "--read", worked.json("handover")["signed"]["id"])["accepted"] is None


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("yesterday",), 2, "no day and no month"),
        (("2026-13",), 2, "no day and no month"),
        (("2026-02-30",), 2, "no day and no month"),
        (("2026-03-05",), 1, "has not begun"),
        (("2026-04",), 1, "has not begun"),
        (("--note", "x"), 2, "add --sign"),
    ],
)
def test_what_cannot_be_reviewed(worked, arguments, status, said):
    assert said in worked.refused("review", *arguments, status=status)
