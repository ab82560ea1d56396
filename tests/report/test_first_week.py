"""The first week of a room that does not stand yet."""

from __future__ import annotations

from datetime import date, timedelta

import msgspec
import pytest

from rounds.core.founding import Answers, ReservoirAnswers, SystemAnswers
from rounds.report.first_week import first_week, unsafe
from rounds.storage.founding import new_room

TODAY = date(2026, 11, 25)
ANSWERS = Answers(
    folder="/nowhere/room",
    name="Tern Quay reef room",
    timezone="Europe/Dublin",
    systems=(SystemAnswers(name="Jars", kinds=("live-food culture",)),),
)


def test_seven_days_from_now() -> None:
    room = new_room(ANSWERS, TODAY).room
    days = first_week(room, room.calendar.start(TODAY))
    assert [day.day for day in days] == [TODAY + timedelta(days=number) for number in range(7)]
    first = days[0]
    assert first.tasks == len(first.titles)
    assert first.titles[0] == ("The room", "First look at every system, before any other work")
    assert [title for title in first.titles if title[1] == "Feed cultures"] == [("Jars", "Feed cultures")] * 2
    assert first.minutes >= 8 + 2 * 10  # the first look and two feeds, as the catalogue has them


def test_a_room_that_begins_later_is_shown_from_then() -> None:
    later = TODAY + timedelta(days=3)
    room = new_room(ANSWERS, later).room
    assert first_week(room, room.calendar.start(TODAY))[0].day == later


@pytest.mark.parametrize(
    ("capacity", "said"),
    [
        ("54 L", []),
        ("55 L", ["its 55 L usable are 9% of the system, more than the 9% that a valve stuck open"]),
        ("80 L", ["its 80 L usable are 13% of the system, more than the 9% that a valve stuck open"]),
    ],
)
def test_a_top_off_that_is_too_much_at_once_is_said(capacity: str, said: list[str]) -> None:
    """More than 9 per cent of the 600 L it stands at."""
    barrel = ReservoirAnswers(name="Barrel", kind="top-off", capacity=capacity)
    racks = SystemAnswers(name="Racks", kinds=("coral grow-out",), volume="600 L", reservoirs=(barrel,))
    room = new_room(msgspec.structs.replace(ANSWERS, systems=(racks,)), TODAY).room
    found = unsafe(room, room.calendar.start(TODAY))
    assert [(name, why.partition(" may let in")[0]) for name, why in found] == [("Barrel", each) for each in said]
