"""Cases worked by hand: what a keeper would say looking at the calendar, beside what the program says."""

from __future__ import annotations

import pytest

from rounds.core.why import why
from tests.support import TASK, Bench, done

THREE_DAYS = 'again_after = "3 days"'
MORNING = 'again_after = "1 day"\nshift = "morning"'
MONTHLY = 'again_after = "1 month"\nat = "09:00"'
EIGHT_HOURS = 'again_after = "8 hours"'
TWICE_A_WEEK = 'rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "10:00"'
TWO_FEEDS = 'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false'
NIGHTS = 'on_dates = [2026-03-05, 2026-03-03, 2026-03-20]\nat = "20:30"'

CASES = {
    "every 3 days, one day early": (
        THREE_DAYS, ["2026-03-01 17:40"], "2026-03-03 09:00",
        "later", "2026-03-04 04:00", "2026-03-05 04:00", False,
    ),
    "every 3 days, fine until the round day ends although grace ends at 22:00": (
        THREE_DAYS, ["2026-03-01 17:40"], "2026-03-04 09:00",
        "due", "2026-03-04 04:00", "2026-03-05 04:00", True,
    ),
    "every day in the morning shift, grace and shift end together": (
        MORNING, ["2026-03-03 08:00"], "2026-03-04 09:00",
        "due", "2026-03-04 07:00", "2026-03-04 13:00", True,
    ),
    "every 3 days, done after midnight counts for the evening before": (
        THREE_DAYS, ["2026-03-02 01:10"], "2026-03-04 05:00",
        "due", "2026-03-04 04:00", "2026-03-05 04:00", True,
    ),
    "every month from the 31st comes on the last of February": (
        MONTHLY, ["2026-01-31 10:00"], "2026-02-28 09:30",
        "due", "2026-02-28 09:00", "2026-03-07 21:00", True,
    ),
    "every 8 hours is elapsed time when the clocks go forward": (
        EIGHT_HOURS, ["2026-03-28 22:00"], "2026-03-29 07:30",
        "due", "2026-03-29 07:00", "2026-03-29 09:00", True,
    ),
    "Monday and Thursday, Monday done": (
        TWICE_A_WEEK, ["2026-03-02 10:20"], "2026-03-05 12:00",
        "due", "2026-03-05 10:00", "2026-03-06 10:00", True,
    ),
    "Monday and Thursday, Thursday done the evening before": (
        TWICE_A_WEEK, ["2026-03-02 10:20", "2026-03-04 23:00"], "2026-03-05 12:00",
        "later", "2026-03-09 10:00", "2026-03-10 04:00", False,
    ),
    "two feeds a day, the second is due": (
        TWO_FEEDS, [], "2026-03-05 18:00",
        "due", "2026-03-05 17:00", "2026-03-05 21:00", True,
    ),
    "two feeds a day, next morning": (
        TWO_FEEDS, [], "2026-03-06 04:30",
        "later", "2026-03-06 09:00", "2026-03-06 11:00", True,
    ),
    "listed nights in any order, the first is due": (
        NIGHTS, [], "2026-03-03 21:00",
        "due", "2026-03-03 20:30", "2026-03-04 08:30", True,
    ),
    "listed nights, the second comes after the first": (
        NIGHTS, ["2026-03-03 20:40"], "2026-03-05 06:00",
        "later", "2026-03-05 20:30", "2026-03-09 14:30", True,
    ),
    "listed nights, the last takes the gap before it": (
        NIGHTS, ["2026-03-03 20:40", "2026-03-05 20:35"], "2026-03-20 21:00",
        "due", "2026-03-20 20:30", "2026-03-24 14:30", True,
    ),
    "listed nights before the first day do not count": (
        f"{NIGHTS}\nfirst_day = 2026-03-04", [], "2026-03-04 12:00",
        "later", "2026-03-05 20:30", "2026-03-09 14:30", False,
    ),
}  # fmt: skip


@pytest.mark.parametrize(
    ("keys", "records", "now", "state", "due", "fine_until", "in_round"), CASES.values(), ids=CASES
)
def test_stands_as_worked_by_hand(keys, records, now, state, due, fine_until, in_round):
    """State, due time, the end of what is fine and membership of the round are those worked by hand."""
    bench = Bench(keys)
    found = [
        item for item in bench.items(now, [done(TASK, at) for at in records]) if item.state not in ("done", "missed")
    ]
    item = found[0]
    assert (item.state, bench.wall(item.due_at), bench.wall(item.fine_until), item.in_round) == (
        state, due, fine_until, in_round,
    )  # fmt: skip


MISSED = {
    "the first of two feeds, while the second is due": ("2026-03-05 18:00", ["2026-03-05 09:00"]),
    "both feeds of the day before": ("2026-03-06 04:30", ["2026-03-05 09:00", "2026-03-05 17:00"]),
}


@pytest.mark.parametrize(("now", "due"), MISSED.values(), ids=MISSED)
def test_a_feed_that_lapsed_is_missed(now, due):
    """A meal not given is shown as missed, not made up."""
    bench = Bench(TWO_FEEDS)
    missed = [bench.wall(item.due_at) for item in bench.items(now) if item.state == "missed"]
    assert [each for each in missed if each >= "2026-03-05"] == due


def test_thursday_is_closed_by_wednesday_night():
    """A closing record in Thursday's window closes Thursday: nothing is due on Thursday."""
    bench = Bench(TWICE_A_WEEK)
    records = [done(TASK, "2026-03-02 10:20"), done(TASK, "2026-03-04 23:00")]
    assert bench.round("2026-03-05 12:00", records) == []


def test_after_the_last_listed_night_nothing_comes():
    """A list ends with its last day, and a round day that is not listed has no occurrence."""
    bench = Bench(NIGHTS)
    closed = [done(TASK, at) for at in ("2026-03-03 20:40", "2026-03-05 20:40", "2026-03-20 20:40")]
    assert [item.state for item in bench.items("2026-03-21 12:00", closed)] == []


def test_listed_nights_are_told_one_by_one():
    """The sentence names each day."""
    bench = Bench(NIGHTS)
    item = bench.items("2026-03-03 21:00")[0]
    assert why(bench.room, item, bench.at("2026-03-03 21:00")).startswith(
        "On 3 Mar 2026, 5 Mar 2026 and 20 Mar 2026 at 20:30."
    )


def test_a_night_after_midnight_belongs_to_its_listed_day():
    """Each date is a round day: half past one on the 3rd is on the wall of the 4th."""
    bench = Bench('on_dates = [2026-03-03]\nat = "01:30"')
    item = bench.items("2026-03-03 12:00")[0]
    assert bench.wall(item.due_at) == "2026-03-04 01:30"
