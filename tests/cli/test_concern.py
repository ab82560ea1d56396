"""`rounds concern`: opened at a station, looked at again, updated, closed, listed."""

from __future__ import annotations

import pytest

from tests.cli.test_record import HOSTILE


def test_a_concern_is_opened(rounds):
    """With what to look for and when; the words of the trade in it are kept."""
    made = rounds.json("concern", "reef/sump", "pale", "corner", "--look-for", "tips", "--look-again", "2 days")
    assert (made["kind"], made["system"], made["station"], made["note"], made["words"]) == (
        "concern", "reef", "sump", "pale corner", ["pale"],
    )  # fmt: skip
    assert (made["reason"], made["until"]) == ("tips", "2026-03-06T12:00:00Z")


def test_it_is_said_as_it_was_understood(rounds):
    """One line and the id."""
    status, out, err = rounds("concern", "sump", "pale corner")
    assert (status, err) == (0, "")
    assert out.startswith("Recorded. TV concern: ")
    assert "id 0" in out


@pytest.mark.parametrize(
    ("place", "station"),
    [
        ("reef/sump", "sump"),
        ("sump", "sump"),
        ("reef", None),
        ("room", None),
    ],
)
def test_a_place_is_a_station_or_a_system(rounds, place, station):
    """Or the room as a whole."""
    assert rounds.json("concern", place, "pale").get("station") == station


def test_the_open_ones_are_listed(rounds, clock):
    """The oldest first, with age, look, what to look for, last word and the end of the id."""
    rounds("concern", "reef/sump", "pale corner", "--look-for", "tips", "--look-again", "14:00")
    (shown,) = rounds.json("concern")
    short = shown["id"].replace("-", "")[-12:]
    clock("15:00")
    rounds("concern", short, "--update", "paler")
    status, out, _ = rounds("concern")
    assert status == 0
    assert out.splitlines() == [
        f"{short}  Reef [bold], Sump: pale corner",
        "    open 3 hours, since 12:00 by TV; look again 17:00",
        "    look for: tips",
        "    last 15:00 TV: paler",
    ]


def test_without_any_it_says_so(rounds):
    """As text; as JSON an empty list."""
    assert rounds("concern")[1] == "No concern is open.\n"
    assert rounds.json("concern") == []


def test_an_open_concern_as_json(rounds, clock):
    """Times with the room's offset; what does not apply is null."""
    made = rounds.json("concern", "reef/sump", "pale corner", "--look-again", "14:00")
    clock("13:00")
    rounds("concern", made["id"], "--update", "paler", by="MK")
    (shown,) = rounds.json("concern")
    update = shown.pop("updates")
    assert shown == {
        "id": made["id"], "system": "reef", "station": "sump", "text": "pale corner", "words": ["pale"],
        "opened_at": "2026-03-04T12:00:00+00:00", "opened_by": "TV", "age": 3600, "look_for": None,
        "look_again_at": "2026-03-04T15:00:00+00:00", "last_look_at": "2026-03-04T13:00:00+00:00",
        "last_look_by": "MK", "closed_at": None, "closed_by": None,
    }  # fmt: skip
    assert [(each["kind"], each["by"], each["text"]) for each in update] == [("concern update", "MK", "paler")]


def test_a_look_is_recorded_like_any_work(rounds, clock):
    """By the id that the sheet shows."""
    rounds("concern", "reef/sump", "pale corner", "--look-again", "12:30")
    clock("12:45")
    (item,) = [each for each in rounds.json("sheet")["items"] if each["title"] == "Look again: pale corner"]
    assert (item["state"], item["due_at"]) == ("overdue", "2026-03-04T12:30:00+00:00")
    made = rounds.json("record", item["id"], "as", "before")
    assert (made["kind"], made["note"], made["until"]) == ("concern update", "as before", "2026-03-04T13:15:00Z")


def test_closed_and_opened_again(rounds, clock):
    """With a reason; opening again asks first."""
    made = rounds.json("concern", "reef/sump", "pale corner")
    clock("13:00")
    assert rounds.json("concern", made["id"], "--close", "healed")["reason"] == "healed"
    assert rounds.json("concern") == []
    clock("14:00")
    assert "closed by TV" in rounds.refused("concern", made["id"], "--close", "again")
    assert "open it again?" in rounds.refused("concern", made["id"], "--update", "pale again")
    rounds("concern", made["id"], "--update", "pale again", "--sure")
    assert len(rounds.json("concern")) == 1


def test_one_closed_long_ago_is_still_known(rounds, monkeypatch):
    """Also when nothing of it is kept for the present any more."""
    made = rounds.json("concern", "reef/sump", "pale corner")
    rounds("concern", made["id"], "--close", "healed", "--at", "12:00")
    for day in ("10", "20"):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{day}T12:00:00+00:00")
        rounds("record", "reef/cup")
    assert "closed by TV" in rounds.refused("concern", made["id"], "--close", "again")
    rounds("concern", made["id"], "--update", "pale again", "--sure")
    (shown,) = rounds.json("concern")
    assert [each["kind"] for each in shown["updates"]] == ["concern closed", "concern update"]


def test_the_past_is_asked_by_its_time(rounds, clock):
    """What was open then; what is recorded for later is not open yet."""
    made = rounds.json("concern", "reef/sump", "pale corner", "--at", "11:00")
    rounds("concern", made["id"], "--close", "healed")
    assert [each["id"] for each in rounds.json("concern", "--at", "11:30")] == [made["id"]]
    assert rounds.json("concern", "--at", "10:59") == rounds.json("concern", "--at", "18:00") == []


REFUSED = {
    "no such station": (("concern", "reef/stump", "pale"), "did you mean reef/sump?"),
    "no such concern": (("concern", "0123", "--close", "why"), "rounds concern lists"),
    "no words": (("concern", "reef/sump"), "a few words"),
    "blank words": (("concern", "reef/sump", " "), "a few words"),
    "a look that is past": (("concern", "reef/sump", "pale", "--look-again", "11:00"), "later time"),
}


@pytest.mark.parametrize(("arguments", "remedy"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(rounds, arguments, remedy):
    """Exit 1, one sentence, nothing recorded."""
    assert remedy in rounds.refused(*arguments)


UNREADABLE = {
    "nobody": (("concern", "reef/sump", "pale"), None),
    "two things at once": (("concern", "x", "--update", "a", "--close", "b"), "TV"),
    "an update of nothing": (("concern", "--update", "a"), "TV"),
    "words beside an update": (("concern", "x", "y", "--update", "a"), "TV"),
    "a time that is none": (("concern", "reef/sump", "pale", "--look-again", "soon"), "TV"),
    "a moment that is none": (("concern", "reef/sump", "pale", "--at", "noon"), "TV"),
}


@pytest.mark.parametrize(("arguments", "by"), UNREADABLE.values(), ids=UNREADABLE)
def test_what_cannot_be_read_ends_with_2(rounds, arguments, by):
    """One sentence."""
    rounds.refused(*arguments, status=2, by=by)


def test_any_text_is_kept_and_shown_as_text(rounds):
    """Nothing in it reaches the terminal as a command."""
    made = rounds.json("concern", "reef/sump", HOSTILE, "--look-for", HOSTILE, "--look-again", "1 hour")
    assert "[/sump]" in made["note"]
    rounds("concern", made["id"], "--update", HOSTILE)
    for command in (("concern",), ("sheet",), ("history",)):
        out = rounds(*command)[1]
        assert "[/sump]" in out
        assert not set(out) & set("\x1b\x07\x00\u202e")


def test_two_devices_keep_one_concern(rounds, monkeypatch, clock):
    """One opens it, the other updates it, the first closes it."""
    made = rounds.json("concern", "reef/sump", "pale corner")
    clock("12:10")
    monkeypatch.setenv("ROUNDS_DEVICE", "phone")
    rounds("concern", made["id"], "--update", "paler", by="MK")
    clock("12:20")
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    assert len(rounds.json("concern")[0]["updates"]) == 1
    rounds("concern", made["id"], "--close", "healed")
    monkeypatch.setenv("ROUNDS_DEVICE", "phone")
    assert rounds.json("concern") == []
