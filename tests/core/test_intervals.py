"""Intervals and grace beside published scheduling rules.

US NRC Generic Letter 89-14 (1989), Specification 4.0.2: a surveillance interval may be extended by 25 per cent,
measured from the last performance. Ours differs in what is stated beside a case: without a time of its own a task is
fine until the end of its shift or round day, and a grace is at most 14 days.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from tests.support import TASK, Bench, done, utc


@pytest.mark.parametrize(
    ("span", "days"), [("1 day", 1.25), ("7 days", 8.75), ("30 days", 37.5), ("8 hours", 10 / 24), ("1 month", 37.5)]
)
def test_the_extension_is_a_quarter_of_the_interval(span, days):
    """Last performance plus 1.25 of the interval (NRC GL 89-14): for tasks at 08:00, last done at 08:00."""
    at = "" if "hours" in span else '\nat = "08:00"'
    bench = Bench(f'again_after = "{span}"{at}')
    last = "2026-04-01 08:00"
    item = bench.open("2026-04-01 09:00", [done(TASK, last)])
    assert item.fine_until - bench.at(last) == timedelta(days=days)


def test_thirty_days_and_a_quarter():
    """Last done 1 April 08:00, every 30 days: latest 8 May 20:00, 37.5 days later (NRC GL 89-14)."""
    bench = Bench('again_after = "30 days"\nat = "08:00"')
    item = bench.open("2026-04-01 09:00", [done(TASK, "2026-04-01 08:00")])
    assert bench.wall(item.fine_until) == "2026-05-08 20:00"


def test_ours_without_a_time_is_fine_until_the_round_day_ends():
    """Every day, last done at 08:00: due 04:00, a quarter more is 10:00; ours is fine until 04:00 next morning."""
    bench = Bench('again_after = "1 day"')
    item = bench.open("2026-04-02 05:00", [done(TASK, "2026-04-01 08:00")])
    assert (bench.wall(item.due_at), bench.wall(item.fine_until)) == ("2026-04-02 04:00", "2026-04-03 04:00")


def test_ours_in_a_shift_is_fine_until_the_shift_ends():
    """Every 8 days in the morning shift with a grace of an hour: due 07:00, ours is fine until 13:00."""
    bench = Bench('again_after = "8 days"\nshift = "morning"\ngrace = "1 hour"')
    item = bench.open("2026-04-09 08:00", [done(TASK, "2026-04-01 08:00")])
    assert bench.wall(item.fine_until) == "2026-04-09 13:00"


def test_ours_is_at_most_fourteen_days():
    """A quarter of a year would be 91 days."""
    bench = Bench('again_after = "1 year"\nat = "08:00"')
    item = bench.open("2026-04-01 09:00", [done(TASK, "2026-04-01 08:00")])
    assert item.fine_until - item.due_at == timedelta(days=14)


def test_three_extended_intervals_are_each_fine():
    """Gaps of 8.5, 8.5 and 6 days exceed 3.25 × 7 days together; GL 89-14 dropped that limit: each is judged alone."""
    bench = Bench('again_after = "168 hours"')
    at, records = bench.at("2026-04-01 08:00"), []
    for gap in (8.5, 8.5, 6.0):
        records.append(done(TASK, at))
        at += timedelta(days=gap)
        states = [
            item.state for item in bench.items(at.isoformat(), records) if item.state in ("due", "overdue", "later")
        ]
        assert states == ["due" if gap > 7 else "later"]
    assert 8.5 + 8.5 + 6.0 > 3.25 * 7


def test_168_hours_are_elapsed_time():
    """Exact (RFC 5545 section 3.3.6): 168 hours after 3 March 08:00 in New York it is 13:00 UTC, 09:00 on the wall."""
    bench = Bench('again_after = "168 hours"', zone="America/New_York")
    item = bench.open("2026-03-09 12:00", [done(TASK, "2026-03-03 08:00", zone="America/New_York")])
    assert item.due_at == utc("2026-03-10T13:00")


def test_seven_days_keep_the_wall_clock():
    """Nominal: the same week in days is 167 hours, 08:00 on the wall (RFC 5545 section 3.3.6)."""
    bench = Bench('again_after = "7 days"\nat = "08:00"', zone="America/New_York")
    item = bench.open("2026-03-09 12:00", [done(TASK, "2026-03-03 08:00", zone="America/New_York")])
    assert item.due_at == utc("2026-03-10T12:00")


@pytest.mark.parametrize(
    ("rule", "due"),
    [
        pytest.param('again_after = "7 days"', date(2026, 4, 17), id="counted from the last performance"),
        pytest.param('rrule = "FREQ=WEEKLY"\nfirst_day = 2026-04-01', date(2026, 4, 15), id="fixed in the calendar"),
    ],
)
def test_a_late_performance_moves_one_and_not_the_other(rule, due):
    """Done on 1 April and late on 10 April: next on the 17th when counted, on the 15th when fixed."""
    bench = Bench(rule)
    item = bench.open("2026-04-10 13:00", [done(TASK, "2026-04-01 12:00"), done(TASK, "2026-04-10 12:00")])
    assert bench.room.calendar.round_day(item.due_at) == due
