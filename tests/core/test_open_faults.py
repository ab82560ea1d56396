"""Behaviour that is not yet as agreed: each test here fails until its fault is mended."""

from __future__ import annotations

from datetime import date

import pytest

from rounds.core.errors import CannotRead
from rounds.core.recurrence import check_occurs, parse_rrule
from tests.core.test_recurrence import bound_the_search


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=DAILY;INTERVAL=20000;BYMONTH=2;BYMONTHDAY=31",
        "FREQ=WEEKLY;INTERVAL=7000;BYMONTH=2;BYDAY=MO;UNTIL=20260401",
    ],
)
def test_an_impossible_rule_with_a_large_interval_is_refused(text, monkeypatch):
    """The search for a first date ends also where a few intervals reach beyond the years there are."""
    bound_the_search(monkeypatch)
    with pytest.raises(CannotRead):
        check_occurs(parse_rrule(text), date(2026, 3, 3))


@pytest.mark.parametrize(
    "text", ["FREQ=WEEKLY;COUNT=999999", "FREQ=DAILY;BYDAY=MO;COUNT=999999", "FREQ=MONTHLY;COUNT=999999"]
)
def test_a_large_count_costs_nothing_to_read(text, monkeypatch):
    """A rule of many dates does not have to be walked to its end before its first is known."""
    bound_the_search(monkeypatch)
    check_occurs(parse_rrule(text), date(2026, 3, 3))


def test_five_years_from_the_end_of_a_month_are_five_years():
    """30 January 2031 lies within five years of 31 January 2026."""
    check_occurs(parse_rrule("FREQ=YEARLY;INTERVAL=5;BYMONTH=1;BYMONTHDAY=30"), date(2026, 1, 31))
