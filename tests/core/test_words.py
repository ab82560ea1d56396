"""Days and times in words."""

from __future__ import annotations

from datetime import date

import pytest

from rounds.core.words import day_name, full_moment
from tests.support import head, instant, room_from


@pytest.mark.parametrize(
    ("today", "said"),
    [(date(2026, 11, 26), "Mon 7 Jun 2027"), (date(2027, 1, 1), "Mon 7 Jun"), (None, "Mon 7 Jun")],
)
def test_a_day_of_another_year_is_named_with_it(today, said):
    """Where it is known what day it is; a list of days that follow one another needs no year."""
    assert day_name(date(2027, 6, 7), today) == said


@pytest.mark.parametrize(
    ("now", "said"), [("2026-12-31 23:00", "Fri 1 Jan 2027 00:30"), ("2027-02-01", "Fri 1 Jan 00:30")]
)
def test_a_time_of_another_year_is_named_with_it(now, said):
    """By the wall clock of the room."""
    calendar = room_from(head()).calendar
    assert full_moment(calendar, instant("2027-01-01 00:30"), instant(now)) == said
