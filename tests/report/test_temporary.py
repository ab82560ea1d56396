"""Tasks for once or for some days: the tables that are written of what is typed."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from rounds.core.errors import CannotRead, Refused
from rounds.report.temporary import once, read_end, read_when, repeated
from tests.support import Bench, instant

PLACE = ("reef", "sump")
NOW = instant("2026-03-04T10:00")
ROOM = Bench('again_after = "1 day"').room


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("today", date(2026, 3, 4)),
        ("tomorrow", date(2026, 3, 5)),
        ("2026-03-09", date(2026, 3, 9)),
        ("tomorrow 20:00", datetime.fromisoformat("2026-03-05T20:00")),
        ("2 hours", datetime.fromisoformat("2026-03-04T12:00")),
        ("17:30", datetime.fromisoformat("2026-03-04T17:30")),
    ],
)
def test_when_something_is_done_once(typed: str, found: date) -> None:
    assert read_when(ROOM, typed, NOW) == found
    assert once(ROOM, PLACE, "Give it back", found, "upkeep", NOW)["once"] == found


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("tomorrow 20:00", datetime.fromisoformat("2026-03-05T20:00")),
        ("tomorrow", datetime.fromisoformat("2026-03-05T04:00")),
        ("2026-03-06", datetime.fromisoformat("2026-03-07T04:00")),
        ("3 days", datetime.fromisoformat("2026-03-07T10:00")),
    ],
)
def test_when_something_ends(typed: str, found: datetime) -> None:
    """A day ends with its round day; tomorrow begins with its own."""
    assert read_end(ROOM, typed, NOW) == found


@pytest.mark.parametrize("read", [read_when, read_end])
def test_times_that_have_passed_or_are_none(read: object) -> None:
    assert callable(read)
    for typed in ("09:00", "2026-03-01"):
        with pytest.raises(Refused, match="has passed"):
            read(ROOM, typed, NOW)
    with pytest.raises(CannotRead, match="'soonish' is no time"):
        read(ROOM, "soonish", NOW)
    with pytest.raises(CannotRead, match="'tomorrow evening' is no time; write for example tomorrow 20:00"):
        read(ROOM, "tomorrow evening", NOW)


def test_the_table_of_a_repeated_task() -> None:
    """Hours are counted from now, days from today."""
    until = datetime.fromisoformat("2026-03-05T20:00")
    assert repeated(ROOM, PLACE, " Check the new [reactor]! ", "2 hours", until, "life support", NOW) == {
        "id": "check-the-new-reactor-2026-03-04", "station": "sump", "title": "Check the new [reactor]!",
        "again_after": "2 hours", "from": datetime.fromisoformat("2026-03-04T10:00"), "until": until,
        "importance": "life support",
    }  # fmt: skip
    daily = repeated(ROOM, ("room", ""), "دلو", "1 days", until, "upkeep", NOW)
    assert (daily["id"], daily["first_day"], daily["again_after"]) == ("task-2026-03-04", date(2026, 3, 4), "1 day")
    assert "station" not in daily


def test_a_blank_title_is_refused_and_a_long_one_makes_a_short_id() -> None:
    with pytest.raises(Refused, match="what is to be done"):
        once(ROOM, PLACE, "  ", date(2026, 3, 4), "upkeep", NOW)
    id = once(ROOM, PLACE, "x" * 200, date(2026, 3, 4), "upkeep", NOW)["id"]
    assert id == f"{'x' * 40}-2026-03-04"
