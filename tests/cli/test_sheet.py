"""`rounds sheet`: the round as text and as JSON."""

from __future__ import annotations

from datetime import datetime

import pytest

TYPES = {
    "id": str, "system": str, "station": (str, type(None)), "title": str, "state": str, "importance": str,
    "due_at": (str, type(None)), "fine_until": (str, type(None)), "postponed_until": (str, type(None)),
    "could_not": (str, type(None)), "closed_at": (str, type(None)), "closed_by": (str, type(None)),
    "next_due_at": (str, type(None)), "last_done_at": (str, type(None)), "last_done_by": (str, type(None)),
    "late_by": int, "late_intervals": (int, float), "missed": int, "shift": (str, type(None)),
    "keeper": (str, type(None)), "takes": list, "minutes": (int, type(None)), "why": str,
}  # fmt: skip


def item(rounds, id, *arguments):
    return next(each for each in rounds.json("sheet", *arguments)["items"] if each["id"] == id)


def test_the_sheet_as_json_has_room_time_day_and_items(rounds):
    """The four keys of the round."""
    found = rounds.json("sheet")
    assert (found["room"], found["at"], found["round_day"]) == ("Test room", "2026-03-04T12:00:00+00:00", "2026-03-04")
    assert [each["id"] for each in found["items"]] == ["reef/cup", "reef/alkalinity", "reef/barrel-level"]


def test_every_item_has_every_field_with_its_type(rounds):
    """The same keys in each, whether open or closed; what does not apply is null."""
    rounds("record", "reef/cup")
    rounds("record", "reef/alkalinity", "--could-not", "no kit")
    for each in rounds.json("sheet", "--all")["items"]:
        assert list(each) == list(TYPES)
        for key, types in TYPES.items():
            assert isinstance(each[key], types), key


def test_times_carry_the_offset_of_the_room_in_whole_seconds(rounds):
    """In summer Dublin is an hour ahead."""
    found = item(rounds, "reef/cup", "--at", "2026-07-01T12:00")
    times = [found[key] for key in ("due_at", "fine_until")]
    assert times == ["2026-02-01T07:00:00+00:00", "2026-02-01T19:00:00+00:00"]
    assert rounds.json("sheet", "--at", "2026-07-01T12:00")["at"] == "2026-07-01T12:00:00+01:00"


def test_an_overdue_item_says_how_late(rounds):
    """Seconds since due, and how many of its intervals that is."""
    found = item(rounds, "reef/cup")
    since = datetime.fromisoformat("2026-03-04T12:00:00+00:00") - datetime.fromisoformat(found["due_at"])
    assert (found["state"], found["late_by"]) == ("overdue", since.total_seconds())
    assert found["late_intervals"] == pytest.approx(since.total_seconds() / 172_800)


def test_a_closed_item_says_by_whom_and_what_is_next(rounds):
    """Closed at, by, had been due, next due."""
    rounds("record", "reef/cup", by="MK")
    found = item(rounds, "reef/cup")
    keys = ("state", "closed_at", "closed_by", "due_at", "next_due_at", "last_done_by")
    assert {key: found[key] for key in keys} == {
        "state": "done", "closed_at": "2026-03-04T12:00:00+00:00", "closed_by": "MK",
        "due_at": "2026-02-01T07:00:00+00:00", "next_due_at": "2026-03-06T07:00:00+00:00", "last_done_by": "MK",
    }  # fmt: skip


def test_last_done_ignores_not_needed(rounds):
    """Who really did it last."""
    rounds("record", "reef/cup", "--at", "2026-03-01T12:00")
    rounds("record", "reef/cup", "--not-needed", "new skimmer", "--at", "2026-03-03T12:00", by="MK")
    found = item(rounds, "reef/cup", "--all")
    assert (found["last_done_at"], found["last_done_by"]) == ("2026-03-01T12:00:00+00:00", "TV")


def test_all_adds_what_comes_due_after_today(rounds):
    """Without it only the round."""
    assert "reef/heads" not in [each["id"] for each in rounds.json("sheet")["items"]]
    found = item(rounds, "reef/heads", "--all")
    assert (found["state"], found["due_at"]) == ("later", "2026-03-20T04:00:00+00:00")


def test_one_system_only(rounds):
    """The others are left out."""
    assert {each["system"] for each in rounds.json("sheet", "--system", "reef")["items"]} == {"reef"}
    assert rounds.json("sheet", "--system", "room")["items"] == []


def test_an_unknown_system_is_refused_with_those_there_are(rounds):
    """Exit 1 and the choice."""
    assert "room, reef" in rounds.refused("sheet", "--system", "lagoon")


MOMENTS = {
    "2026-03-02T09:30": "2026-03-02T09:30:00+00:00",
    "2026-03-02 09:30": "2026-03-02T09:30:00+00:00",
    "2026-03-02T09:30:15": "2026-03-02T09:30:15+00:00",
    "2026-03-02T09:30+02:00": "2026-03-02T07:30:00+00:00",
    "2026-03-02T09:30Z": "2026-03-02T09:30:00+00:00",
    "2026-07-02T09:30": "2026-07-02T09:30:00+01:00",
    "2026-03-02": "2026-03-02T04:00:00+00:00",
    "20260302": "2026-03-02T04:00:00+00:00",
    "2026-W10-1": "2026-03-02T04:00:00+00:00",
    "09:30": "2026-03-04T09:30:00+00:00",
    "9:30": "2026-03-04T09:30:00+00:00",
    "01:30": "2026-03-05T01:30:00+00:00",
}


@pytest.mark.parametrize(("text", "at"), MOMENTS.items(), ids=MOMENTS)
def test_forms_of_a_time(rounds, text, at):
    """ISO 8601, local unless it has an offset; a date is the start of its round day, a time lies in the current one."""
    assert rounds.json("sheet", "--at", text)["at"] == at


@pytest.mark.parametrize(
    "text",
    [
        "noon",
        "",
        "25:00",
        "09:60",
        "2026-02-30",
        "2026-13-01T09:00",
        "2026",
        "9",
        "1e9",
        "tomorrow",
        "99999-01-01",
        "\x1b[31m",
    ],
)
def test_what_is_no_time_cannot_be_read(rounds, text):
    """Exit 2 with examples of what can."""
    assert "2026-11-25T09:30, 2026-11-25 or 09:30" in rounds.refused("sheet", "--at", text, status=2)


def test_the_text_shows_state_and_counts(rounds):
    """A plain sheet in walking order, within 80 columns."""
    rounds("record", "reef/cup")
    _, out, _ = rounds("sheet")
    assert "Round of Wed 4 Mar, as it stands at 12:00" in out
    assert "[x] Rinse the cup: done 12:00 TV" in out
    assert "1 done, 2 left, 2 late" in out
    assert max(map(len, out.splitlines())) <= 80


def test_an_empty_round_says_so(rounds):
    """Nothing is not shown as nothing."""
    assert "Nothing is due today." in rounds("sheet", "--system", "room")[1]


def test_a_title_with_markup_is_shown_as_written(rounds):
    """Brackets are text."""
    assert "Reef [bold], Sump" in rounds("sheet")[1]
