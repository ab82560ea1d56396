"""When a task is due, in the order in which a keeper would explain it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.due import occurrences_of
from rounds.core.history import History
from rounds.core.items import Forecast, overdue_order
from rounds.core.plan import due_items
from rounds.core.why import state_text, why
from tests.support import (
    TASK,
    Bench,
    could_not,
    done,
    head,
    instant,
    measured,
    not_needed,
    postponed,
    record,
    room_from,
    strike,
)

DAILY_TEN = 'rrule = "FREQ=DAILY"\nat = "10:00"'
MONDAY = 'rrule = "FREQ=WEEKLY;BYDAY=MO"\nat = "10:00"'
MEAL = f"{MONDAY}\nmake_up = false"
THREE_DAYS = 'again_after = "3 days"'

# -- time ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "day"),
    [
        pytest.param("2026-03-04 04:00", "2026-03-04", id="its first instant"),
        pytest.param("2026-03-05 03:59:59", "2026-03-04", id="its last second"),
        pytest.param("2026-03-05 00:30", "2026-03-04", id="after midnight"),
        pytest.param("2026-03-29 03:30", "2026-03-28", id="in the night the clocks go forward"),
        pytest.param("2026-10-25 03:59", "2026-10-24", id="in the night the clocks go back"),
    ],
)
def test_work_after_midnight_belongs_to_the_evening_before(at, day):
    """A round day runs from the hour at which the day begins, that instant included."""
    assert Bench(THREE_DAYS).room.calendar.round_day(instant(at)).isoformat() == day


def test_a_wall_time_in_the_gap_is_read_with_the_offset_before_it():
    """01:30 does not exist in Dublin on 29 March 2026: it is 01:30 GMT, shown as 02:30 (RFC 5545 section 3.3.5)."""
    bench = Bench('rrule = "FREQ=DAILY"\nat = "01:30"', day_begins="00:00")
    assert bench.open("2026-03-29 12:00", [done(TASK, "2026-03-28 01:30")]).due_at == instant("2026-03-29T01:30+00:00")


def test_an_ambiguous_wall_time_is_the_first():
    """01:30 comes twice in Dublin on 25 October 2026: the first is still summer time (RFC 5545 section 3.3.5)."""
    bench = Bench('rrule = "FREQ=DAILY"\nat = "01:30"', day_begins="00:00")
    assert bench.open("2026-10-25 12:00", [done(TASK, "2026-10-24 01:30")]).due_at == instant("2026-10-25T01:30+01:00")


def test_a_wall_time_before_the_day_begins_is_on_the_next_date():
    """01:00 of round day 4 March is on the clock of 5 March."""
    bench = Bench('again_after = "1 day"\nat = "01:00"')
    assert bench.wall(bench.open("2026-03-04 12:00", [done(TASK, "2026-03-03 20:00")]).due_at) == "2026-03-05 01:00"


def test_a_shift_that_ends_where_the_day_begins_lasts_until_then():
    """A night shift from 22:00 to 04:00 ends with the round day."""
    bench = Bench('again_after = "1 day"\nshift = "night"')
    item = bench.open("2026-03-04 23:00", [done(TASK, "2026-03-03 23:00")])
    assert (bench.wall(item.due_at), bench.wall(item.fine_until)) == ("2026-03-04 22:00", "2026-03-05 04:00")


# -- records ---------------------------------------------------------------------------------------


def test_a_record_later_than_now_does_not_count():
    """What happens later has not happened yet."""
    bench = Bench(THREE_DAYS)
    records = [done(TASK, "2026-03-01 17:40"), done(TASK, "2026-03-04 12:00")]
    assert bench.open("2026-03-04 11:59:59", records).state == "due"
    assert bench.open("2026-03-04 12:00", records).state == "later"


def test_not_needed_closes_like_done():
    """The next due time is counted from "not needed" too."""
    bench = Bench(THREE_DAYS)
    item = bench.open("2026-03-03 09:00", [not_needed(TASK, "2026-03-01 17:40")])
    assert bench.shown(item) == ("later", "2026-03-04 04:00")


def test_last_done_passes_over_not_needed():
    """Who did it last is who did it, not who said it was not needed."""
    records = [done(TASK, "2026-03-01 09:00", "TV"), not_needed(TASK, "2026-03-04 09:00", "MK")]
    item = Bench(THREE_DAYS).open("2026-03-05 09:00", records)
    assert (item.last_done.by, item.last_closed.by) == ("TV", "MK")


@pytest.mark.parametrize("kind", ["could not", "note", "reading", "postponed", "something newer"])
def test_nothing_else_closes_a_task(kind):
    """Only "done" and "not needed" close it."""
    bench = Bench(THREE_DAYS)
    records = [done(TASK, "2026-03-01 17:40"), record(kind, TASK, "2026-03-04 08:00", reason="x")]
    assert bench.open("2026-03-04 09:00", records).state == "due"


def test_could_not_stays_and_shows_the_reason():
    """What could not be done stays due and says why."""
    item = Bench(THREE_DAYS).open("2026-03-04 09:00", [could_not(TASK, "2026-03-04 08:00", "no vinegar")])
    assert (item.state, item.could_not) == ("overdue", "no vinegar")


def test_could_not_is_forgotten_once_it_is_done():
    """The reason goes with the closing."""
    records = [could_not(TASK, "2026-03-04 08:00"), done(TASK, "2026-03-04 09:00")]
    assert Bench(THREE_DAYS).open("2026-03-07 09:00", records).could_not is None


def test_could_not_of_an_earlier_window_is_not_shown():
    """With a rule in the calendar the reason belongs to the occurrence in whose window it was given."""
    bench = Bench(MEAL)
    assert bench.open("2026-03-09 12:00", [could_not(TASK, "2026-03-02 12:00")]).could_not is None


def test_of_two_could_nots_the_later_reason_shows():
    """The last word counts."""
    records = [could_not(TASK, "2026-03-04 08:00", "no vinegar"), could_not(TASK, "2026-03-04 09:00", "no time")]
    assert Bench(THREE_DAYS).open("2026-03-04 10:00", records).could_not == "no time"


def test_a_struck_record_does_not_count():
    """Striking the closing brings the item back as it was."""
    bench = Bench(THREE_DAYS)
    closing = done(TASK, "2026-03-04 08:00")
    records = [done(TASK, "2026-03-01 17:40"), closing, strike(closing, "2026-03-04 08:30")]
    assert bench.shown(bench.open("2026-03-04 09:00", records)) == ("due", "2026-03-04 04:00")


def test_a_strike_dated_after_now_counts_all_the_same():
    """Strikes always count, whatever time is asked about."""
    closing = done(TASK, "2026-03-04 08:00")
    records = [done(TASK, "2026-03-01 17:40"), closing, strike(closing, "2026-03-09 08:30")]
    assert Bench(THREE_DAYS).open("2026-03-04 09:00", records).state == "due"


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0), (2, 0, 1)], ids=str)
def test_a_strike_cannot_be_struck(order):
    """A strike of a strike has no effect, whichever arrives first."""
    closing = done(TASK, "2026-03-04 08:00")
    first = strike(closing, "2026-03-04 08:30")
    records = [closing, first, strike(first, "2026-03-04 08:40")]
    history = History(records[place] for place in order)
    bench = Bench(THREE_DAYS)
    assert [item.state for item in due_items(bench.room, history, bench.at("2026-03-04 09:00"))] == ["overdue"]
    assert history.strike_of(first.id) is None


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)], ids=str)
def test_of_two_strikes_the_earlier_is_named(order):
    """Two devices struck one record: all agree on whose strike it is."""
    closing = done(TASK, "2026-03-04 08:00")
    records = [closing, strike(closing, "2026-03-04 08:30", "TV"), strike(closing, "2026-03-04 08:40", "MK")]
    assert History(records[place] for place in order).strike_of(closing.id).by == "TV"


def test_a_strike_of_an_unknown_record_waits_for_it():
    """The record of another device may arrive after its strike."""
    closing = done(TASK, "2026-03-04 08:00")
    history = History([strike(closing, "2026-03-04 08:30")])
    history.add(closing)
    bench = Bench(THREE_DAYS)
    assert [item.state for item in due_items(bench.room, history, bench.at("2026-03-04 09:00"))] == ["overdue"]


def test_a_struck_postponement_does_not_postpone():
    """Strikes work on every kind."""
    bench = Bench(THREE_DAYS)
    put_off = postponed(TASK, "2026-03-04 08:00", "2026-03-04 20:00")
    records = [done(TASK, "2026-03-01 17:40"), put_off, strike(put_off, "2026-03-04 08:30")]
    assert bench.open("2026-03-04 09:00", records).state == "due"


def test_records_at_one_instant_stand_in_the_order_they_were_written():
    """History order is the time it happened, then the time it was written down."""
    records = [
        done(TASK, "2026-03-04 08:00", "MK", recorded="2026-03-04 08:20"),
        done(TASK, "2026-03-04 08:00", "TV", recorded="2026-03-04 08:10"),
    ]
    item = Bench(THREE_DAYS).items("2026-03-04 09:00", records)[0]
    assert (item.state, item.closed_by) == ("done", "MK")


def test_records_are_judged_by_the_rules_as_they_now_stand():
    """A rule changed from three days to five moves what is due."""
    records = [done(TASK, "2026-03-01 17:40")]
    assert Bench(THREE_DAYS).wall(Bench(THREE_DAYS).open("2026-03-02 09:00", records).due_at) == "2026-03-04 04:00"
    five = Bench('again_after = "5 days"')
    assert five.wall(five.open("2026-03-02 09:00", records).due_at) == "2026-03-06 04:00"


# -- again_after -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("span", "last", "due"),
    [
        pytest.param("1 day", "2026-03-28 09:00", "2026-03-29 04:00", id="a day over the change of clocks"),
        pytest.param("2 weeks", "2026-03-20 23:00", "2026-04-03 04:00", id="two weeks"),
        pytest.param("1 month", "2026-01-31 10:00", "2026-02-28 04:00", id="a month from the 31st"),
        pytest.param("1 month", "2028-01-31 10:00", "2028-02-29 04:00", id="a month from the 31st in a leap year"),
        pytest.param("3 months", "2026-11-30 10:00", "2027-02-28 04:00", id="three months into a short one"),
        pytest.param("1 year", "2028-02-29 10:00", "2029-02-28 04:00", id="a year from 29 February"),
        pytest.param("1 month", "2026-03-01 03:00", "2026-03-28 04:00", id="a month from the night of 28 February"),
    ],
)
def test_nominal_spans_count_round_days(span, last, due):
    """Days and longer: the round day of the last closing plus the span, at the task's time."""
    bench = Bench(f'again_after = "{span}"')
    assert bench.wall(bench.open(last, [done(TASK, last)]).due_at) == due


@pytest.mark.parametrize(
    ("span", "last", "due"),
    [
        pytest.param("8 hours", "2026-03-28T22:00+00:00", "2026-03-29T06:00+00:00", id="hours over the gap"),
        pytest.param("8 hours", "2026-10-24T22:00+01:00", "2026-10-25T05:00+00:00", id="hours over the fold"),
        pytest.param("90 minutes", "2026-03-04T08:15+00:00", "2026-03-04T09:45+00:00", id="minutes"),
        pytest.param("36 hours", "2026-03-04T08:15+00:00", "2026-03-05T20:15+00:00", id="more than a day"),
    ],
)
def test_exact_spans_count_elapsed_time(span, last, due):
    """Hours and minutes: the last closing plus elapsed time."""
    assert Bench(f'again_after = "{span}"').open(last, [done(TASK, last)]).due_at == instant(due)


@pytest.mark.parametrize(
    ("keys", "due"),
    [
        pytest.param('again_after = "3 days"', "2026-01-05 04:00", id="when the room began"),
        pytest.param('again_after = "3 days"\nat = "09:30"', "2026-01-05 09:30", id="at its own time"),
        pytest.param(
            'again_after = "3 days"\nshift = "morning"', "2026-01-05 07:00", id="at the beginning of its shift"
        ),
        pytest.param('again_after = "3 days"\nfirst_day = 2026-02-10', "2026-02-10 04:00", id="on its first day"),
        pytest.param(
            'again_after = "8 hours"\nshift = "morning"', "2026-01-05 04:00", id="hours: at the start of the day"
        ),
    ],
)
def test_what_was_never_done_is_due_from_the_first_day(keys, due):
    """Nothing closed yet: due on the first day, else on the day the room began."""
    bench = Bench(keys)
    assert bench.wall(bench.open("2026-01-05 04:30").due_at) == due


def test_a_due_time_before_the_first_day_is_moved_to_it():
    """Done early, long before the first day: due on the first day at the task's time."""
    bench = Bench('again_after = "3 days"\nat = "09:00"\nfirst_day = 2026-02-10')
    assert bench.wall(bench.open("2026-02-02 12:00", [done(TASK, "2026-02-01 12:00")]).due_at) == "2026-02-10 09:00"


def test_what_comes_due_after_the_last_day_does_not_exist():
    """Closed on the last day for good."""
    bench = Bench(f"{THREE_DAYS}\nlast_day = 2026-03-05")
    assert bench.none_open("2026-03-04 09:00", [done(TASK, "2026-03-03 09:00")])


def test_what_came_due_by_the_last_day_stays_until_closed():
    """The last one is still owed weeks later."""
    bench = Bench(f"{THREE_DAYS}\nlast_day = 2026-03-05")
    item = bench.open("2026-03-20 09:00", [done(TASK, "2026-03-02 09:00")])
    assert bench.shown(item) == ("overdue", "2026-03-05 04:00")


# -- grace and fine until --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "last", "due", "fine"),
    [
        pytest.param('again_after = "8 days"', "2026-03-01", "2026-03-09 04:00", "2026-03-11 04:00", id="a quarter"),
        pytest.param(
            'again_after = "1 year"', "2025-03-09", "2026-03-09 04:00", "2026-03-23 04:00", id="at most 14 days"
        ),
        pytest.param(
            'again_after = "8 days"\ngrace = "3 days"', "2026-03-01", "2026-03-09 04:00", "2026-03-12 04:00", id="given"
        ),
        pytest.param(
            'again_after = "8 days"\ngrace = "1 hour"',
            "2026-03-01",
            "2026-03-09 04:00",
            "2026-03-10 04:00",
            id="given, yet not before the day ends",
        ),
        pytest.param(
            'again_after = "8 days"\nat = "09:00"\ngrace = "1 hour"',
            "2026-03-01",
            "2026-03-09 09:00",
            "2026-03-09 10:00",
            id="given, with a time of its own to the minute",
        ),
        pytest.param(
            'again_after = "8 hours"\ngrace = "5 minutes"',
            "2026-03-08 20:00",
            "2026-03-09 04:00",
            "2026-03-09 04:05",
            id="hours, to the minute",
        ),
        pytest.param(
            'again_after = "1 day"\nshift = "morning"\ngrace = "1 hour"',
            "2026-03-08",
            "2026-03-09 07:00",
            "2026-03-09 13:00",
            id="the end of its shift",
        ),
        pytest.param(
            'again_after = "1 day"\nat = "08:00"\nshift = "morning"\ngrace = "1 hour"',
            "2026-03-08",
            "2026-03-09 08:00",
            "2026-03-09 09:00",
            id="its own time inside a shift",
        ),
        pytest.param(
            'again_after = "1 month"', "2026-02-09", "2026-03-09 04:00", "2026-03-16 16:00", id="a month is 30 days"
        ),
    ],
)
def test_fine_until(keys, last, due, fine):
    """Due plus grace; without a time of its own not before its shift or its round day ends."""
    bench = Bench(keys)
    item = bench.open("2026-03-09 10:00", [done(TASK, last if " " in last else f"{last} 10:00")])
    assert (bench.wall(item.due_at), bench.wall(item.fine_until)) == (due, fine)


def test_grace_is_elapsed_time_over_the_change_of_clocks():
    """12 hours after 20:00 on the eve of summer time it is 09:00."""
    bench = Bench('again_after = "2 days"\nat = "20:00"')
    assert bench.wall(bench.open("2026-03-28 21:00", [done(TASK, "2026-03-26 20:00")]).fine_until) == "2026-03-29 09:00"


@pytest.mark.parametrize(
    ("now", "state"),
    [
        pytest.param("2026-03-04 08:59:59", "later", id="a second before due"),
        pytest.param("2026-03-04 09:00", "due", id="when due"),
        pytest.param("2026-03-05 03:00", "due", id="when fine ends"),
        pytest.param("2026-03-05 03:00:01", "overdue", id="a second after"),
    ],
)
def test_states_change_at_their_instants(now, state):
    """Due from the due time on, overdue only after the last fine instant."""
    bench = Bench(f'{THREE_DAYS}\nat = "09:00"')
    assert bench.open(now, [done(TASK, "2026-03-01 17:40")]).state == state


def test_lateness_counts_from_due_not_from_fine():
    """A day and six hours after due is as late as that, in intervals of three days."""
    bench = Bench(f'{THREE_DAYS}\nat = "09:00"')
    item = bench.open("2026-03-05 15:00", [done(TASK, "2026-03-01 17:40")])
    assert (item.state, item.late_by, item.late_intervals) == ("overdue", timedelta(hours=30), pytest.approx(30 / 72))


def test_what_is_later_is_not_late():
    """Lateness is nothing before due, not negative."""
    item = Bench(THREE_DAYS).open("2026-03-02 09:00", [done(TASK, "2026-03-01 17:40")])
    assert (item.late_by, item.late_intervals) == (timedelta(0), 0)


def test_what_is_due_is_already_late_by_the_time_since():
    """Late is counted while it is still fine."""
    item = Bench(f'{THREE_DAYS}\nat = "09:00"').open("2026-03-04 12:00", [done(TASK, "2026-03-01 17:40")])
    assert (item.state, item.late_by) == ("due", timedelta(hours=3))


# -- rules in the calendar: windows ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "at", "closes"),
    [
        pytest.param(
            MONDAY, "2026-03-08 21:59:59", "2026-03-02 10:00", id="12 hours before at most, a second too soon"
        ),
        pytest.param(MONDAY, "2026-03-08 22:00", "2026-03-09 10:00", id="12 hours before, included"),
        pytest.param(DAILY_TEN, "2026-03-09 03:59:59", "2026-03-08 10:00", id="a quarter of a day, a second too soon"),
        pytest.param(DAILY_TEN, "2026-03-09 04:00", "2026-03-09 10:00", id="a quarter of a day, included"),
        pytest.param(f'{MONDAY}\nearly = "3 days"', "2026-03-06 10:00", "2026-03-09 10:00", id="given"),
        pytest.param(
            f'{MONDAY}\nearly = "3 days"', "2026-03-06 09:59:59", "2026-03-02 10:00", id="given, a second too soon"
        ),
        pytest.param(
            f'{MONDAY}\nearly = "3 weeks"', "2026-03-02 10:00", "2026-03-09 10:00", id="given, cut to the gap"
        ),
        pytest.param(
            'rrule = "FREQ=WEEKLY;BYDAY=MO,TU"\nat = "10:00"',
            "2026-03-03 04:00",
            "2026-03-03 10:00",
            id="the gap before it counts, not the one after",
        ),
    ],
)
def test_a_window_opens_before_its_occurrence(keys, at, closes):
    """A record closes the occurrence whose window holds it; a window's first instant belongs to it."""
    bench = Bench(keys)
    assert bench.wall(occurrences_of(bench.room, bench.task).holding(bench.at(at)).due) == closes


def test_the_first_window_uses_the_gap_after_it():
    """The first Monday can be done from Sunday 22:00 on."""
    bench = Bench(MONDAY)
    assert bench.wall(bench.open("2026-01-05 09:00", [done(TASK, "2026-01-04 22:00")]).due_at) == "2026-01-12 10:00"


def test_a_record_before_the_first_window_closes_nothing():
    """A second earlier it closes no occurrence."""
    bench = Bench(MONDAY)
    assert bench.wall(bench.open("2026-01-05 09:00", [done(TASK, "2026-01-04 21:59:59")]).due_at) == "2026-01-05 10:00"


def test_the_last_window_has_no_end():
    """Done months after the last occurrence, it is closed and nothing follows."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO;COUNT=2"\nat = "10:00"')
    assert bench.none_open("2026-06-01 12:00", [done(TASK, "2026-05-30 12:00")])


def test_count_counts_days_not_times():
    """Two days with two times each are four occurrences."""
    bench = Bench('rrule = "FREQ=DAILY;COUNT=2"\nat = ["09:00", "17:00"]')
    assert bench.open("2026-02-01 12:00").missed == 3


def test_the_last_day_ends_a_rule_as_until_does():
    """After the occurrence on the last day nothing comes."""
    bench = Bench(f"{MONDAY}\nlast_day = 2026-03-09")
    assert bench.wall(bench.open("2026-03-03 12:00", [done(TASK, "2026-03-02 10:00")]).due_at) == "2026-03-09 10:00"
    assert bench.none_open("2026-03-09 12:00", [done(TASK, "2026-03-09 11:00")])


def test_the_rule_starts_on_the_first_day():
    """INTERVAL counts from the first day given."""
    bench = Bench('rrule = "FREQ=DAILY;INTERVAL=3"\nat = "10:00"\nfirst_day = 2026-02-10')
    assert bench.wall(bench.open("2026-02-11 12:00", [done(TASK, "2026-02-10 10:00")]).due_at) == "2026-02-13 10:00"


def test_the_start_is_an_occurrence_only_if_it_matches():
    """The room began on a Monday; a rule of Wednesdays begins on Wednesday."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=WE"\nat = "10:00"')
    assert bench.wall(bench.open("2026-01-05 12:00").due_at) == "2026-01-07 10:00"


def test_the_interval_is_the_gap_to_the_next_occurrence():
    """Monday's grace with Thursday next is a quarter of three days, Thursday's of four."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "10:00"')
    monday = bench.open("2026-03-02 11:00", [done(TASK, "2026-02-26 10:00")])
    thursday = bench.open("2026-03-05 11:00", [done(TASK, "2026-03-02 10:00")])
    assert (bench.wall(monday.fine_until), bench.wall(thursday.fine_until)) == ("2026-03-03 04:00", "2026-03-06 10:00")


def test_the_interval_of_the_last_occurrence_is_the_gap_before_it():
    """There is no next one to measure."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO;COUNT=2"\nat = "10:00"')
    item = bench.open("2026-01-12 11:00", [done(TASK, "2026-01-05 10:00")])
    assert item.fine_until - item.due_at == timedelta(days=7) / 4


def test_the_interval_of_a_single_occurrence_is_a_day():
    """Alone it has a grace of six hours."""
    bench = Bench('rrule = "FREQ=DAILY;COUNT=1"\nat = "10:00"')
    assert bench.wall(bench.open("2026-01-05 11:00").fine_until) == "2026-01-05 16:00"


# -- made up and not made up -----------------------------------------------------------------------


def test_a_missed_time_is_made_up():
    """Due from the first occurrence after the last closed one, however long ago, counting the later ones."""
    bench = Bench(DAILY_TEN)
    item = bench.open("2026-03-05 12:00", [done(TASK, "2026-03-01 10:00")])
    assert (*bench.shown(item), item.missed) == ("overdue", "2026-03-02 10:00", 3)


def test_a_later_occurrence_counts_only_once_it_has_come():
    """Today's 10:00 is not missed at 09:59."""
    bench = Bench(DAILY_TEN)
    assert bench.open("2026-03-05 09:59", [done(TASK, "2026-03-01 10:00")]).missed == 2
    assert bench.open("2026-03-05 10:00", [done(TASK, "2026-03-01 10:00")]).missed == 3


def test_what_is_missed_is_counted_up_to_99():
    """Nobody needs a larger number."""
    assert Bench(DAILY_TEN).open("2026-12-01 12:00").missed == 99


def test_one_closing_clears_the_lot():
    """Four days late and done once, the next is tomorrow's."""
    bench = Bench(DAILY_TEN)
    item = bench.open("2026-03-05 12:00", [done(TASK, "2026-03-01 10:00"), done(TASK, "2026-03-05 11:00")])
    assert (*bench.shown(item), item.missed) == ("later", "2026-03-06 10:00", 0)


def test_closing_late_shows_since_when_it_had_been_due():
    """What was made up today had been due four days ago."""
    bench = Bench(DAILY_TEN)
    items = bench.items("2026-03-05 12:00", [done(TASK, "2026-03-01 10:00"), done(TASK, "2026-03-05 11:00")])
    assert [bench.shown(item) for item in items if item.state == "done"] == [("done", "2026-03-02 10:00")]


@pytest.mark.parametrize(
    ("keys", "now", "state"),
    [
        pytest.param(MEAL, "2026-03-03 03:59:59", "overdue", id="until its round day ends"),
        pytest.param(MEAL, "2026-03-03 04:00", "later", id="lapsed with its round day"),
        pytest.param(f'{MEAL}\nlapse = "2 hours"', "2026-03-02 11:59:59", "due", id="until its own lapse"),
        pytest.param(f'{MEAL}\nlapse = "2 hours"', "2026-03-02 12:00", "later", id="lapsed after its own time"),
        pytest.param(f'{MEAL}\nlapse = "2 days"', "2026-03-04 09:59:59", "overdue", id="a lapse longer than the day"),
    ],
)
def test_a_meal_lapses(keys, now, state):
    """Not made up: once lapsed the item is the next occurrence."""
    bench = Bench(f'{keys}\ngrace = "17 hours"')
    assert bench.open(now, [done(TASK, "2026-02-23 10:00")]).state == state


def test_a_meal_lapses_when_the_window_of_the_next_opens():
    """The 09:00 meal lapses at 15:00, two hours before that of 17:00."""
    bench = Bench('rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false')
    before = [item for item in bench.round("2026-03-05 14:59:59") if item.state in ("due", "overdue")]
    after = [item for item in bench.round("2026-03-05 15:00") if item.state == "later"]
    assert [bench.wall(item.due_at) for item in before] == ["2026-03-05 09:00"]
    assert [bench.wall(item.due_at) for item in after] == ["2026-03-05 17:00"]


def test_a_meal_counts_nothing_as_missed():
    """The number is for what is made up."""
    assert Bench(MEAL).open("2026-03-30 12:00").missed == 0


def test_a_missed_meal_shows_today_and_tomorrow():
    """The miss is in the round of its own day and of the next, then gone."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO"\nat = "10:00"\nmake_up = false\nlapse = "2 hours"')
    records = [done(TASK, "2026-02-23 10:00")]
    shown = {
        now: [bench.shown(i) for i in bench.round(now, records)]
        for now in ("2026-03-02 13:00", "2026-03-03 13:00", "2026-03-04 13:00")
    }
    missed = [("missed", "2026-03-02 10:00")]
    assert list(shown.values()) == [missed, missed, []]


def test_a_meal_given_before_it_lapsed_is_not_missed_next_day():
    """Closed is not missed."""
    bench = Bench(MEAL)
    assert bench.round("2026-03-03 12:00", [done(TASK, "2026-03-02 12:00")]) == []


def test_meals_still_to_come_today_are_in_the_round():
    """Not made up: each of the day's times is an item of its own."""
    bench = Bench('rrule = "FREQ=DAILY"\nat = ["09:00", "13:00", "17:00"]\nmake_up = false')
    items = [
        bench.shown(i) for i in bench.round("2026-03-05 09:30", [done(TASK, "2026-03-05 09:05")]) if i.state != "missed"
    ]
    assert items == [("done", "2026-03-05 09:00"), ("later", "2026-03-05 13:00"), ("later", "2026-03-05 17:00")]


def test_a_missed_meal_keeps_why_it_could_not_be_given():
    """The reason stays beside the miss."""
    bench = Bench(f'{MEAL}\nlapse = "2 hours"')
    items = bench.round(
        "2026-03-02 13:00", [done(TASK, "2026-02-23 10:00"), could_not(TASK, "2026-03-02 10:30", "no food")]
    )
    assert [(item.state, item.could_not) for item in items] == [("missed", "no food")]


# -- once and called -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "due", "fine"),
    [
        pytest.param("once = 2026-03-10", "2026-03-10 04:00", "2026-03-11 04:00", id="a date"),
        pytest.param('once = 2026-03-10\nat = "09:00"', "2026-03-10 09:00", "2026-03-11 09:00", id="a date at a time"),
        pytest.param(
            'once = 2026-03-10\nshift = "morning"', "2026-03-10 07:00", "2026-03-11 07:00", id="a date in a shift"
        ),
        pytest.param("once = 2026-03-10T15:30:00", "2026-03-10 15:30", "2026-03-11 15:30", id="a date and time"),
        pytest.param(
            'once = 2026-03-10T15:30:00\ngrace = "1 hour"', "2026-03-10 15:30", "2026-03-10 16:30", id="with a grace"
        ),
        pytest.param(
            'once = 2026-03-10\ngrace = "1 hour"', "2026-03-10 04:00", "2026-03-11 04:00", id="a date to its end"
        ),
        pytest.param(
            "once = 2026-03-10T02:00:00", "2026-03-10 02:00", "2026-03-11 02:00", id="a time after midnight as written"
        ),
    ],
)
def test_once(keys, due, fine):
    """Due on that day or at that time, with a grace of a day."""
    bench = Bench(keys)
    item = bench.open("2026-03-01 12:00")
    assert (bench.wall(item.due_at), bench.wall(item.fine_until)) == (due, fine)


def test_once_stays_due_until_closed():
    """A year later it is still owed."""
    assert Bench("once = 2026-03-10").open("2027-03-10 12:00").state == "overdue"


def test_once_closed_does_not_come_again():
    """Closed, even before it was due, it is over."""
    assert Bench("once = 2026-03-10").none_open("2026-03-09 12:00", [done(TASK, "2026-03-08 12:00")])


def test_called_comes_due_only_when_called():
    """Nothing is due of itself."""
    assert Bench("called = true").items("2026-03-10 12:00") == []


def test_called_and_done_shows_in_the_round():
    """What was done is shown, without a time at which it had been due."""
    items = Bench("called = true").round("2026-03-10 12:00", [done(TASK, "2026-03-10 11:00")])
    assert [(item.state, item.due_at, item.next_due_at) for item in items] == [("done", None, None)]


# -- postponed -------------------------------------------------------------------------------------

AT_NINE = f'{THREE_DAYS}\nat = "09:00"'
"""Due 2026-03-04 09:00, fine until 2026-03-05 03:00, after a closing on 1 March."""
CLOSED = done(TASK, "2026-03-01 17:40", id="closed")


@pytest.mark.parametrize(
    ("at", "until", "now", "state"),
    [
        pytest.param("2026-03-04 10:00", "2026-03-04 20:00", "2026-03-04 12:00", "postponed", id="until tonight"),
        pytest.param("2026-03-04 10:00", "2026-03-04 20:00", "2026-03-04 20:00", "due", id="its time has come"),
        pytest.param(
            "2026-03-04 10:00", "2026-03-08 20:00", "2026-03-05 03:00", "postponed", id="to after what is fine"
        ),
        pytest.param(
            "2026-03-04 10:00", "2026-03-08 20:00", "2026-03-05 03:00:01", "overdue", id="overdue all the same"
        ),
        pytest.param(
            "2026-03-03 10:00", "2026-03-04 20:00", "2026-03-03 12:00", "later", id="put off before it is due"
        ),
        pytest.param("2026-03-03 10:00", "2026-03-04 20:00", "2026-03-04 12:00", "postponed", id="then due"),
        pytest.param(
            "2026-03-01 17:00", "2026-03-04 20:00", "2026-03-04 12:00", "due", id="put off before the last closing"
        ),
        pytest.param("2026-03-04 13:00", "2026-03-04 20:00", "2026-03-04 12:00", "due", id="put off later than now"),
    ],
)
def test_postponed(at, until, now, state):
    """Postponed while fine and until the time named, by the latest postponement after the last closing."""
    assert Bench(AT_NINE).open(now, [CLOSED, postponed(TASK, at, until)]).state == state


def test_postponing_never_makes_it_less_late():
    """Lateness still counts from due."""
    item = Bench(AT_NINE).open("2026-03-04 12:00", [CLOSED, postponed(TASK, "2026-03-04 10:00", "2026-03-04 20:00")])
    assert (item.state, item.late_by) == ("postponed", timedelta(hours=3))


def test_of_two_postponements_the_latest_counts():
    """Brought forward again: due at the time of the later record."""
    records = [
        CLOSED,
        postponed(TASK, "2026-03-04 10:00", "2026-03-04 20:00"),
        postponed(TASK, "2026-03-04 10:30", "2026-03-04 11:00"),
    ]
    assert Bench(AT_NINE).open("2026-03-04 12:00", records).state == "due"


def test_a_postponement_of_an_earlier_window_does_not_count():
    """With a rule in the calendar it must lie in the window of the item's occurrence or later."""
    bench = Bench(f'{MONDAY}\nmake_up = false\nlapse = "3 days"\ngrace = "3 days"')
    put_off = postponed(TASK, "2026-03-08 21:00", "2026-03-10 20:00")
    assert bench.open("2026-03-09 12:00", [done(TASK, "2026-03-02 10:00"), put_off]).state == "due"
    put_off = postponed(TASK, "2026-03-08 22:00", "2026-03-10 20:00")
    assert bench.open("2026-03-09 12:00", [done(TASK, "2026-03-02 10:00"), put_off]).state == "postponed"


def test_postponed_until_is_shown_only_while_postponed():
    """An item that is due again has no such time."""
    records = [CLOSED, postponed(TASK, "2026-03-04 10:00", "2026-03-04 11:00")]
    assert Bench(AT_NINE).open("2026-03-04 12:00", records).postponed_until is None


# -- the round -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "inside"),
    [
        pytest.param("2026-03-04 03:59", False, id="the evening before"),
        pytest.param("2026-03-04 04:00", True, id="from the start of its day"),
        pytest.param("2026-03-07 12:00", True, id="while it is late"),
    ],
)
def test_later_today_is_in_the_round(now, inside):
    """What comes due before the round day ends belongs to it; what is late stays."""
    assert Bench(AT_NINE).open(now, [CLOSED]).in_round is inside


def test_what_comes_due_at_the_end_of_the_day_is_tomorrows():
    """The next round day's start is not before the end of this one."""
    bench = Bench('again_after = "1 day"')
    assert not bench.open("2026-03-04 12:00", [done(TASK, "2026-03-04 09:00")]).in_round


def test_closed_today_stays_in_the_round():
    """The round shows who closed it, when, what it had been due and when it is next."""
    bench = Bench(AT_NINE)
    items = bench.round("2026-03-04 20:00", [CLOSED, done(TASK, "2026-03-04 19:00", "MK")])
    assert [
        (i.state, i.closed_by, bench.wall(i.closed_at), bench.wall(i.due_at), bench.wall(i.next_due_at)) for i in items
    ] == [("done", "MK", "2026-03-04 19:00", "2026-03-04 09:00", "2026-03-07 09:00")]


def test_closed_yesterday_is_not_in_the_round():
    """At the start of the next round day it is gone."""
    assert Bench(AT_NINE).round("2026-03-05 04:00", [CLOSED, done(TASK, "2026-03-04 19:00")]) == []


def test_closed_after_midnight_is_in_the_round_of_the_evening():
    """Done at 01:00 it belongs to the day before."""
    records = [CLOSED, done(TASK, "2026-03-05 01:00")]
    assert [i.state for i in Bench(AT_NINE).round("2026-03-05 02:00", records)] == ["done"]


def test_closed_twice_is_one_entry():
    """The last closing says by whom, the first since when it had been due."""
    bench = Bench(AT_NINE)
    records = [CLOSED, done(TASK, "2026-03-04 10:00", "TV"), not_needed(TASK, "2026-03-04 11:00", "MK")]
    items = bench.round("2026-03-04 12:00", records)
    assert [(i.state, i.closed_by, bench.wall(i.due_at)) for i in items] == [("not needed", "MK", "2026-03-04 09:00")]


def test_closed_and_due_again_the_same_day_are_two_entries():
    """Every two hours: done at 09:00 and due again at 11:00."""
    bench = Bench('again_after = "2 hours"')
    items = bench.round("2026-03-04 10:00", [done(TASK, "2026-03-04 06:30"), done(TASK, "2026-03-04 09:00")])
    assert [bench.shown(item) for item in items] == [("done", "2026-01-05 04:00"), ("later", "2026-03-04 11:00")]


def test_each_occurrence_closed_today_is_an_entry():
    """Two times a day, both done: two entries with their own times."""
    bench = Bench('rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]')
    records = [
        done(TASK, "2026-03-04 17:00"),
        done(TASK, "2026-03-05 09:05", "TV"),
        done(TASK, "2026-03-05 17:10", "MK"),
    ]
    items = [i for i in bench.round("2026-03-05 18:00", records) if i.state == "done"]
    assert [(bench.wall(i.due_at), i.closed_by) for i in items] == [
        ("2026-03-05 09:00", "TV"),
        ("2026-03-05 17:00", "MK"),
    ]


def test_done_early_in_its_window_shows_the_occurrence_it_closed():
    """Thursday's done on Wednesday evening stands in Wednesday's round, due on Thursday."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "10:00"')
    records = [done(TASK, "2026-03-02 10:20"), done(TASK, "2026-03-04 23:00")]
    assert [bench.shown(i) for i in bench.round("2026-03-04 23:30", records)] == [("done", "2026-03-05 10:00")]


def test_closing_a_struck_closing_again_counts_the_new_one():
    """Who did it is who is not struck."""
    first = done(TASK, "2026-03-04 10:00", "TV")
    records = [CLOSED, first, strike(first, "2026-03-04 10:05"), done(TASK, "2026-03-04 12:00", "MK")]
    assert [(i.state, i.closed_by) for i in Bench(AT_NINE).round("2026-03-04 13:00", records)] == [("done", "MK")]


# -- readings, reservoirs, forecasts ---------------------------------------------------------------

READINGS = """name = "Reef"
[[stations]]
id = "sump"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "sump"
again_after = "3 days"
[[readings]]
id = "nitrate"
quantity = "nitrate"
station = "sump"
[[tasks]]
id = "kits"
station = "sump"
title = "Test everything"
again_after = "1 day"
takes = ["alkalinity"]
[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
again_after = "1 day"
"""
ALKALINITY = "reef/alkalinity"


def state_of(id, records, now="2026-03-04 12:00"):
    items = due_items(room_from(head(), reef=READINGS), History(records), instant(now))
    return {item.task.id: item.state for item in items}.get(id)


@pytest.mark.parametrize("kind", ["reading", "done", "could not", "note", "refill", "something newer"])
def test_a_reading_is_closed_by_a_value_of_any_kind_of_record(kind):
    """Any unstruck record with a value of the reading closes it."""
    records = [measured(ALKALINITY, "2026-03-03 12:00", kind=kind, task="reef/kits")]
    assert state_of(ALKALINITY, records) == "later"


def test_a_reading_is_closed_by_not_needed():
    """Without a value only "not needed" closes it."""
    assert state_of(ALKALINITY, [not_needed(ALKALINITY, "2026-03-03 12:00")]) == "later"


def test_a_reading_is_not_closed_by_done_without_a_value():
    """A mere "done", from another program, is no value."""
    assert state_of(ALKALINITY, [done(ALKALINITY, "2026-03-03 12:00")]) == "overdue"


def test_a_value_of_another_reading_closes_nothing_here():
    """Nitrate says nothing about alkalinity."""
    assert state_of(ALKALINITY, [measured("reef/nitrate", "2026-03-03 12:00")]) == "overdue"


def test_a_reading_without_a_rule_is_never_due():
    """It can be recorded at any time and is asked for by no one."""
    assert state_of("reef/nitrate", []) is None


def test_a_refill_is_due_only_when_a_forecast_says_so():
    """A forecast calls the refill; without one there is no such item."""
    room = room_from(head(), reef=READINGS)
    now = instant("2026-03-04 12:00")
    forecast = Forecast(
        task="reef/barrel-refill", due_at=instant("2026-03-04 10:00"), fine_until=instant("2026-03-05 10:00")
    )
    without = [item.task.id for item in due_items(room, History(), now)]
    with_one = {item.task.id: item for item in due_items(room, History(), now, [forecast])}
    assert "reef/barrel-refill" not in without
    assert (with_one["reef/barrel-refill"].state, with_one["reef/barrel-refill"].due_at) == ("due", forecast.due_at)


def test_a_forecast_says_how_important_its_refill_is_and_why():
    """Its importance and sentence become those of the item."""
    room = room_from(head(), reef=READINGS)
    now = instant("2026-03-04 12:00")
    due = instant("2026-03-04 10:00")
    forecast = Forecast(
        task="reef/barrel-refill", due_at=due, fine_until=due, importance="life support", why="Five litres are left."
    )
    item = next(item for item in due_items(room, History(), now, [forecast]) if item.task.source == "refill")
    assert (item.task.importance, item.state) == ("life support", "overdue")
    assert why(room, item, now).startswith("Five litres are left. Nobody has recorded it yet.")
    assert [each.task.id for each in overdue_order([item])] == ["reef/barrel-refill"]


def test_a_refill_that_closed_a_forecast_stands_as_done_with_what_it_had_been():
    """And beside it the one that is called next."""
    room = room_from(head(), reef=READINGS)
    was, now = instant("2026-03-04 07:00"), instant("2026-03-04 12:00")
    forecasts = [
        Forecast(task="reef/barrel-refill", due_at=was, fine_until=was, closed=True),
        Forecast(task="reef/barrel-refill", due_at=instant("2026-03-09 07:00"), fine_until=instant("2026-03-10 07:00")),
    ]
    history = History([record("refill", "reef/barrel-refill", "2026-03-04 09:00")])
    found = [item for item in due_items(room, history, now, forecasts) if item.task.source == "refill"]
    assert [(item.state, item.due_at, item.in_round) for item in found] == [
        ("done", was, True), ("later", forecasts[1].due_at, False),
    ]  # fmt: skip
    assert found[0].next_due_at == forecasts[1].due_at


def test_a_level_read_at_the_refill_closes_the_level():
    """The refill's own level is a value like any other."""
    records = [measured("reef/barrel-level", "2026-03-04 11:00", 80, kind="refill", task="reef/barrel-refill")]
    assert state_of("reef/barrel-level", records) == "later"


# -- paused ----------------------------------------------------------------------------------------


def system_with(keys):
    tasks = "".join(
        f'[[tasks]]\nid = "{id}"\ntitle = "{id}"\nimportance = "{importance}"\nagain_after = "1 day"\n'
        for id, importance in (("a", "people"), ("b", "life support"), ("c", "husbandry"), ("d", "upkeep"))
    )
    return f'name = "Reef"\n{keys}\n{tasks}'


@pytest.mark.parametrize(
    ("keys", "running"),
    [
        pytest.param("", "abcd", id="running"),
        pytest.param("paused = true", "ab", id="paused"),
        pytest.param("paused = true\ndrained = true", "", id="paused and drained"),
        pytest.param("paused = false", "abcd", id="not paused"),
    ],
)
def test_a_paused_system_keeps_what_protects_life(keys, running):
    """Pausing a system leaves people and life support; a drained one asks for nothing."""
    room = room_from(head(), reef=system_with(keys))
    ids = [item.task.id.removeprefix("reef/") for item in due_items(room, History(), instant("2026-03-04 12:00"))]
    assert "".join(ids) == running


@pytest.mark.parametrize("importance", ["people", "husbandry"])
def test_a_paused_task_is_out_whatever_its_importance(importance):
    """Pausing the task itself takes it out."""
    assert Bench(f'{THREE_DAYS}\nimportance = "{importance}"\npaused = true').items("2026-03-04 12:00") == []


# -- order -----------------------------------------------------------------------------------------


def test_the_round_follows_the_walk():
    """Room, route, other systems by id; in each by station, there tasks, then readings, then levels."""
    task = '[[tasks]]\nid = "{0}"\ntitle = "{0}"\nstation = "{1}"\nagain_after = "1 day"\n'
    walk = (
        'name = "{}"\n[[stations]]\nid = "second"\n[[stations]]\nid = "first"\n'
        '[[reservoirs]]\nid = "barrel"\nkind = "top-off"\nstation = "second"\ncapacity = "80 L"\n'
        'again_after = "1 day"\n'
        '[[readings]]\nid = "ph"\nquantity = "pH"\nstation = "second"\nagain_after = "1 day"\n'
        + task.format("at-first", "first") + task.format("z", "second") + task.format("a", "second")
    )  # fmt: skip
    top = head('[[stations]]\nid = "door"\n' + task.format("lock", "door"), top='route = ["reef", "aside"]')
    room = room_from(top, aside=walk, reef=walk, zoo=walk, lab=walk)
    ids = [item.task.id for item in due_items(room, History(), instant("2026-03-04 12:00"))]
    one = ["z", "a", "ph", "barrel-level", "at-first"]
    assert ids == ["room/lock", *(f"{system}/{id}" for system in ("reef", "aside", "lab", "zoo") for id in one)]


def test_overdue_is_ordered_by_importance_then_by_intervals_late():
    """Who could be hurt comes first, then what is late by most of its own interval; what is only due is left out."""
    task = '[[tasks]]\nid = "{}"\ntitle = "x"\nagain_after = "{}"\nimportance = "{}"\nfirst_day = {}\n'
    room = room_from(
        head(),
        reef='name = "Reef"\n'
        + task.format("weekly", "7 days", "husbandry", "2026-02-01")
        + task.format("daily", "1 day", "husbandry", "2026-02-20")
        + task.format("filter", "1 month", "upkeep", "2026-01-05")
        + task.format("heater", "1 month", "life support", "2026-02-01")
        + task.format("gas", "1 year", "people", "2026-01-05")
        + task.format("today", "1 day", "people", "2026-03-04"),
    )
    late = overdue_order(due_items(room, History(), instant("2026-03-04 12:00")))
    assert [item.task.id.removeprefix("reef/") for item in late] == ["gas", "heater", "daily", "weekly", "filter"]


# -- why -------------------------------------------------------------------------------------------


def explained(keys, now, records=()):
    bench = Bench(keys)
    return [why(bench.room, item, bench.at(now)) for item in bench.items(now, records)]


def test_why_says_rule_last_time_due_and_fine():
    """A keeper can check it by hand: the rule, who and when, due when, fine until when."""
    text = explained(AT_NINE, "2026-03-04 12:00", [CLOSED])[0]
    for part in ("3 days", "09:00", "TV", "Sun 1 Mar 17:40", "Wed 4 Mar 09:00", "Thu 5 Mar 03:00"):
        assert part in text


def test_why_says_when_nobody_has_done_it():
    """Never done is said in words."""
    assert "Nobody has recorded it yet" in explained(AT_NINE, "2026-03-04 12:00")[0]


def test_why_says_when_it_was_not_needed():
    """The last closing that did no work is named as such."""
    assert "not needed" in explained(AT_NINE, "2026-03-04 12:00", [not_needed(TASK, "2026-03-01 17:40")])[0]


def test_why_says_how_late():
    """Overdue: by how much and how many intervals."""
    text = explained(AT_NINE, "2026-03-07 09:00", [CLOSED])[0]
    assert "3 days late" in text
    assert "1.0 of its interval" in text


def test_why_says_that_missed_times_are_made_up():
    """The number that came meanwhile, and that doing it once clears them."""
    text = explained(DAILY_TEN, "2026-03-05 12:00", [done(TASK, "2026-03-01 10:00")])[0]
    assert "3 later times" in text
    assert "made up" in text


def test_why_says_that_a_missed_meal_is_not_made_up():
    """The missed one says when it was due."""
    texts = explained(f'{MEAL}\nlapse = "2 hours"', "2026-03-02 13:00", [done(TASK, "2026-02-23 10:00")])
    assert any("due Mon 2 Mar 10:00 and is not made up" in text for text in texts)


def test_why_says_to_when_it_was_postponed():
    """And that it does not make it less late."""
    text = explained(AT_NINE, "2026-03-04 12:00", [CLOSED, postponed(TASK, "2026-03-04 10:00", "2026-03-04 20:00")])[0]
    assert "Postponed to Wed 4 Mar 20:00" in text


@pytest.mark.parametrize(
    ("now", "said"),
    [
        pytest.param("2026-03-04 12:00", "Postponed to Wed 4 Mar 20:00 (no \u00b7vinegar); that does", id="postponed"),
        pytest.param("2026-03-04 21:00", "It was postponed to Wed 4 Mar 20:00 (no \u00b7vinegar).", id="due again"),
        pytest.param("2026-03-07 09:00", "It was postponed to Wed 4 Mar 20:00 (no \u00b7vinegar).", id="overdue"),
    ],
)
def test_why_says_why_it_was_postponed_also_when_that_time_has_passed(now, said):
    """The reason in the keeper's own words, without control characters."""
    put_off = postponed(TASK, "2026-03-04 10:00", "2026-03-04 20:00", reason="no \x1bvinegar")
    assert said in explained(AT_NINE, now, [CLOSED, put_off])[0]


def test_why_says_that_what_is_overdue_was_put_off_all_the_same():
    """To a time that is still to come."""
    text = explained(AT_NINE, "2026-03-07 09:00", [CLOSED, postponed(TASK, "2026-03-07 08:00", "2026-03-07 20:00")])[0]
    assert "Postponed to Sat 7 Mar 20:00; that does not make it less late." in text


@pytest.mark.parametrize(
    ("at", "until", "now"),
    [
        pytest.param("2026-03-03 10:00", "2026-03-03 20:00", "2026-03-04 12:00", id="to before it was due"),
        pytest.param("2026-03-03 10:00", "2026-03-04 20:00", "2026-03-04 08:00", id="not due yet"),
        pytest.param("2026-02-28 10:00", "2026-03-06 20:00", "2026-03-04 12:00", id="before it was closed last"),
    ],
)
def test_why_is_silent_about_a_postponement_that_changes_nothing(at, until, now):
    """It says nothing of the time for which the item is open."""
    assert "ostponed" not in explained(AT_NINE, now, [CLOSED, postponed(TASK, at, until)])[0]


def test_why_says_what_could_not_be_done():
    """The reason in the keeper's own words, without control characters."""
    text = explained(AT_NINE, "2026-03-04 12:00", [CLOSED, could_not(TASK, "2026-03-04 10:00", "no \x1b[31mvinegar")])[
        0
    ]
    assert "vinegar" in text
    assert "\x1b" not in text


def test_why_of_what_is_closed_says_who_and_what_is_next():
    """By whom, when, when it had been due and when it is next."""
    text = explained(AT_NINE, "2026-03-04 20:00", [CLOSED, done(TASK, "2026-03-04 19:00", "MK")])[0]
    for part in ("MK", "Wed 4 Mar 19:00", "had been due Wed 4 Mar 09:00", "Next due Sat 7 Mar 09:00"):
        assert part in text


@pytest.mark.parametrize(
    ("now", "records", "text"),
    [
        pytest.param("2026-03-04 08:00", [CLOSED], "later today, 09:00", id="later today"),
        pytest.param("2026-03-03 08:00", [CLOSED], "due tomorrow 09:00", id="tomorrow"),
        pytest.param("2026-03-04 12:00", [CLOSED], "fine until tomorrow 03:00", id="fine until"),
        pytest.param("2026-03-06 10:00", [CLOSED], "2 days late", id="late"),
        pytest.param("2026-03-04 20:00", [CLOSED, done(TASK, "2026-03-04 19:00", "MK")], "done 19:00 MK", id="done"),
    ],
)
def test_the_state_is_said_in_plain_words(now, records, text):
    """What stands beside the item on the sheet."""
    bench = Bench(AT_NINE)
    assert state_text(bench.room, bench.items(now, records)[0], bench.at(now)) == text


def test_the_name_of_a_shift_is_shown_without_what_would_turn_the_line():
    """A direction override in it shows as a dot, like in every text of a user."""
    shift = '[[shifts]]\nname = "mor\\u202ening"\nbegins = "07:00"\nends = "13:00"\n'
    bench = Bench('again_after = "3 days"\nshift = "mor\\u202ening"', room=shift)
    now = "2026-03-04 12:00"
    assert "in the mor·ning shift" in why(bench.room, bench.open(now), bench.at(now))
