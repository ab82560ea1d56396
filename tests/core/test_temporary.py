"""Tasks for some days: when they begin and end."""

from __future__ import annotations

import pytest

from rounds.core.ahead import times_of
from rounds.core.completion import IN_TIME, judged
from rounds.core.completion import MISSED as MISSED_IN_REVIEW
from rounds.core.history import History
from rounds.core.items import DONE, DUE, LATER, MISSED, OVERDUE
from rounds.core.planner import Planner
from rounds.core.why import rule_text
from rounds.storage.faults import RoomFaults
from tests.support import Bench, done

EVERY = 'again_after = "2 hours"\nfrom = 2026-03-04T10:00:00\nuntil = 2026-03-05T20:00:00'


def test_a_check_of_some_hours_begins_and_ends_with_its_times() -> None:
    """Due from 10:00 on, again two hours after each time; at 20:00 the next day it is gone, done or not."""
    bench = Bench(EVERY)
    assert bench.shown(bench.open("2026-03-04T09:00")) == (LATER, "2026-03-04 10:00")
    assert bench.shown(bench.open("2026-03-04T10:10")) == (DUE, "2026-03-04 10:00")
    first = done("reef/cup", "2026-03-04T10:20")
    assert bench.shown(bench.open("2026-03-04T11:00", [first])) == (LATER, "2026-03-04 12:20")
    assert bench.open("2026-03-05T19:59", [first]).state == OVERDUE
    assert bench.none_open("2026-03-05T20:00", [first])


def test_what_would_come_due_at_its_end_does_not_exist() -> None:
    """Done at 18:00, the next would be at 20:00; what was done today stays, and names no next time."""
    bench = Bench(EVERY)
    last = done("reef/cup", "2026-03-05T18:00")
    (closed,) = bench.items("2026-03-05T18:30", [last])
    assert (closed.state, closed.next_due_at) == (DONE, None)


def test_dates_end_with_it_too() -> None:
    """What was missed before the end is still said, what lies after it is not."""
    bench = Bench('rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false\nuntil = 2026-03-04T12:00:00')
    assert [bench.shown(item) for item in bench.items("2026-03-05T05:00")] == [(MISSED, "2026-03-04 09:00")]


def test_the_round_that_is_worked_out_again_ends_with_it() -> None:
    """Nothing is recorded at the end; time alone changes the answer."""
    bench, planner, history = Bench(EVERY), Planner(), History()
    states = [
        [item.state for item in planner.items(bench.room, history, bench.at(f"2026-03-05T{clock}"))]
        for clock in ("19:58", "19:59", "20:00")
    ]
    assert states == [[OVERDUE], [OVERDUE], []]


def test_its_rule_says_its_end() -> None:
    assert rule_text(Bench(EVERY).task) == "again 2 hours after the last time, until Thu 5 Mar 20:00"


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ('again_after = "2 days"\nfrom = 2026-03-04T10:00:00', "from goes with again_after in minutes or hours"),
        (f"{EVERY}\nfirst_day = 2026-03-04", "take first_day away"),
        (f"{EVERY}\nlast_day = 2026-03-06", "take last_day away"),
        ("called = true\nuntil = 2026-03-04T10:00:00", "take until away"),
        ('again_after = "2 hours"\nuntil = 2026-03-04', "no local date and time"),
        ('again_after = "2 hours"\nuntil = 2026-03-04T10:00:00Z', "no local date and time"),
        ('again_after = "2 hours"\nfrom = 2026-03-04T10:00:00\nuntil = 2026-03-04T09:00:00', "until lies before from"),
    ],
)
def test_faults_of_begin_and_end(keys: str, said: str) -> None:
    with pytest.raises(RoomFaults, match=said):
        Bench(keys)


def test_the_coming_days_end_with_it() -> None:
    """Of every two hours from 10:00 on the last is at 18:00 the next day."""
    bench = Bench(EVERY)
    times = [each.at for each in times_of(bench.room, History(), bench.task, bench.at("2026-03-04T10:00"))]
    assert (len(times), times[-1]) == (17, bench.at("2026-03-05T18:00"))


def test_a_review_does_not_count_on_after_its_end() -> None:
    """What was due and not done by then was missed; nothing came due later."""
    bench = Bench(EVERY)
    records = History([done("reef/cup", "2026-03-04T10:20")])
    found = judged(bench.room, records, bench.at("2026-03-04"), bench.at("2026-03-08"), bench.at("2026-03-08"))
    assert [(each.due_at, each.outcome) for each in found] == [
        (bench.at("2026-03-04T10:00"), IN_TIME), (bench.at("2026-03-04T12:20"), MISSED_IN_REVIEW)
    ]  # fmt: skip
