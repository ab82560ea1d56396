"""`rounds away`: an absence on the command line; it is noon on Wednesday 4 March 2026."""

from __future__ import annotations

import json

import pytest

BARREL = "reef/barrel"
SPAN = ("2026-03-05T18:00", "2026-03-12T18:00")


@pytest.fixture
def lived_in(rounds):
    """Levels that fall by 5 L a day, and the cup rinsed."""
    for day, litres in ((2, 65), (3, 60), (4, 55)):
        assert rounds("record", f"{BARREL}-level", f"{litres} L", "--at", f"2026-03-0{day}T08:00", "--sure")[0] == 0
    assert rounds("record", "reef/cup", "--at", "2026-03-04T10:00")[0] == 0
    return rounds


def test_an_absence_as_json(lived_in):
    """The barrel has no reserve: empty after 55 / 5 = 11 days is after the return; the cup is TV's every two days."""
    found = lived_in.json("away", *SPAN)
    assert list(found) == ["room", "at", "from", "to", "sitter", "before", "during", "fails_first", "after"]
    assert (found["from"], found["to"]) == ("2026-03-05T18:00:00+00:00", "2026-03-12T18:00:00+00:00")
    cup = [(each["day"], each["who"]) for each in found["during"] if each["id"] == "reef/cup"]
    assert cup == [("2026-03-06", "TV"), ("2026-03-08", "TV"), ("2026-03-10", "TV")]
    assert [each["id"] for each in found["fails_first"]] == ["reef/cup"]


def test_what_runs_dry_fails_first(lived_in):
    """Three weeks: (55 − 0) / 5 = 11 days after the 4th at 08:00."""
    found = lived_in.json("away", "2026-03-05T18:00", "2026-03-26T18:00")
    barrel = next(each for each in found["fails_first"] if each["id"] == BARREL)
    assert (barrel["kind"], barrel["at"]) == ("level", "2026-03-15T08:00:00+00:00")
    assert "(55.0 L − 0 mL) / 5.0 L = 11.0 days" in barrel["why"]
    assert f"{BARREL}-refill" in [each["id"] for each in found["before"]]


def test_a_sitter_does_everything(lived_in):
    """Named by initials, in any case; one who is no keeper is refused."""
    found = lived_in.json("away", *SPAN, "--sitter", "mk")
    assert found["sitter"] == "MK"
    assert {each["who"] for each in found["during"]} == {"MK"}
    assert "is no keeper of this room" in lived_in.refused("away", *SPAN, "--sitter", "ZZ")


@pytest.mark.parametrize(("form", "begins"), [
    ("text", "Test room: away from Thu 5 Mar 18:00 to Thu 12 Mar 18:00\n"),
    ("markdown", "# Test room: away from Thu 5 Mar 18:00 to Thu 12 Mar 18:00\n"),
    ("html", "<!DOCTYPE html>\n"),
])  # fmt: skip
def test_forms(lived_in, form, begins):
    """Text, Markdown and one page of HTML without a script; a name with markup stays as it is."""
    status, out, err = lived_in("away", *SPAN, "--format", form)
    assert (status, err) == (0, "")
    assert out.startswith(begins)
    assert "<script" not in out
    assert ("Reef \\[bold\\]" if form == "markdown" else "Reef [bold]") in out


def test_the_sheet_alone(lived_in):
    """Without what the keeper does; as JSON its own keys."""
    _, out, _ = lived_in("away", *SPAN, "--sheet")
    assert "Telephone" in out
    assert "Before leaving" not in out
    _, out, _ = lived_in("away", *SPAN, "--sheet", "--format", "json")
    assert json.loads(out)["days"][0]["day"] == "2026-03-06"


def test_what_cannot_be_planned(rounds):
    """The return before the leaving, an absence in the past, a time that is none: one sentence each."""
    assert "time of leaving first" in rounds.refused("away", "2026-03-12", "2026-03-05")
    assert "which is past" in rounds.refused("away", "2026-02-20", "2026-03-12")
    assert "is no time" in rounds.refused("away", "soon", "2026-03-12", status=2)


def test_nothing_is_recorded(lived_in):
    """It only looks."""
    before = lived_in.sheets()
    assert lived_in("away", *SPAN)[0] == 0
    assert lived_in.sheets() == before
