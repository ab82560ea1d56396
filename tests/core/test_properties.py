"""What holds for every rule, every history and every place, over a simulated year."""

from __future__ import annotations

import locale
import os
import time
from datetime import timedelta

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rounds.core.due import occurrences_of
from rounds.core.history import History
from rounds.core.items import DUE, LATER, MISSED, OPEN_STATES, OVERDUE
from rounds.core.log import Incomplete
from rounds.core.model import OnDates
from rounds.core.plan import due_items
from rounds.core.why import state_text, why
from tests.support import TASK, Bench, could_not, done, not_needed, postponed, strike

ZONES = {
    "Europe/Dublin": "2026-01-05",
    "Australia/Lord_Howe": "2026-01-05",  # half an hour of daylight saving
    "Asia/Kathmandu": "2026-01-05",  # UTC+05:45, none
    "America/Sao_Paulo": "2017-07-01",  # changed at midnight
}

RULES = [
    'again_after = "1 day"',
    'again_after = "3 days"',
    'again_after = "2 weeks"\nat = "09:30"',
    'again_after = "1 month"\nshift = "morning"',
    'again_after = "8 hours"',
    'again_after = "45 minutes"',
    'again_after = "1 year"\ngrace = "1 hour"',
    'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]',
    'rrule = "FREQ=DAILY;INTERVAL=3"\nshift = "night"',
    'rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "02:30"',
    'rrule = "FREQ=MONTHLY;BYDAY=-1FR"\nat = "00:30"\nearly = "2 days"',
    'rrule = "FREQ=MONTHLY;BYMONTHDAY=31"',
    'rrule = "FREQ=YEARLY;BYMONTH=2,11;BYDAY=1SU"\nat = "01:30"',
    'rrule = "FREQ=WEEKLY;COUNT=5;BYDAY=TU"\nat = "10:00"',
    'on_dates = [2026-12-03, 2026-02-01, 2026-02-02, 2026-10-25, 2017-10-15, 2017-12-24]\nat = ["20:30", "01:30"]',
]
DATED = [rule for rule in RULES if "rrule" in rule or "on_dates" in rule]
MEALS = [f"{rule}\nmake_up = false" for rule in DATED]

benches: dict[tuple[str, str], Bench] = {}


def bench_of(rule: str, zone: str) -> Bench:
    key = (rule, zone)
    if key not in benches:
        benches[key] = Bench(rule, zone=zone, began=ZONES[zone])
    return benches[key]


@st.composite
def settings_of(draw, rules=tuple(RULES + MEALS)):
    """A bench and the beginning of its year."""
    bench = bench_of(draw(st.sampled_from(rules)), draw(st.sampled_from(sorted(ZONES))))
    return bench, bench.at(f"{bench.room.began.isoformat()} 00:00")


MINUTES = st.integers(0, 366 * 24 * 60).map(lambda minutes: timedelta(minutes=minutes))


@st.composite
def histories(draw, begin, at_most=12):
    """Records of a year: closings, attempts, postponements and strikes, written when they happened or later."""
    records = []
    for away in draw(st.lists(MINUTES, max_size=at_most)):
        at = begin + away
        kind = draw(st.sampled_from([done, done, done, not_needed, could_not, postponed, strike]))
        written = at + draw(st.sampled_from([timedelta(0), timedelta(hours=3)]))
        if kind is postponed:
            records.append(postponed(TASK, at, at + draw(MINUTES), recorded=written))
        elif kind is strike:
            if records:
                records.append(strike(draw(st.sampled_from(records)), at, recorded=written))
        else:
            records.append(kind(TASK, at, recorded=written))
    return records


@given(settings_of(tuple(DATED)), MINUTES)
@settings(max_examples=60)
def test_windows_tile_time(place, away):
    """Every instant from the first window on lies in exactly one window, which ends where the next begins."""
    bench, begin = place
    occurrences = occurrences_of(bench.room, bench.task)
    at = begin + away
    held = occurrences.holding(at)
    if held is None:
        assert at < occurrences.first.opens
        return
    following = occurrences.next(held)
    assert held.opens <= at
    assert held.opens <= held.due
    if following is not None:
        assert at < following.opens
        assert held.due < following.due
        assert occurrences.holding(following.opens) == following
        assert occurrences.holding(following.opens - timedelta(microseconds=1)) == held


@given(settings_of(tuple(DATED)))
@settings(max_examples=30)
def test_occurrences_follow_one_another(place):
    """Walked from the first through a year they are those of each day asked by itself."""
    bench, begin = place
    occurrences = occurrences_of(bench.room, bench.task)
    end = begin + timedelta(days=366)
    walked = [each for each in (occurrences.first, *occurrences.following(occurrences.first, end)) if each.due <= end]
    day = bench.room.began
    asked = [each for days in range(368) for each in occurrences.on(day + timedelta(days=days)) if each.due <= end]
    assert walked == asked


@given(settings_of(), st.lists(MINUTES, min_size=2, max_size=6))
@settings(max_examples=60)
def test_a_state_only_moves_forward(place, instants):
    """While nothing is recorded: later, due, overdue, and missed where it is not made up; never back."""
    bench, begin = place
    order = {LATER: 0, DUE: 1, OVERDUE: 2, MISSED: 3}
    seen: dict[object, int] = {}
    for away in sorted(instants):
        for item in due_items(bench.room, History(), begin + away):
            stage = order[item.state]
            assert stage >= seen.get(item.due_at, 0)
            assert (item.state == LATER) == (begin + away < item.due_at)
            assert item.due_at <= item.fine_until
            seen[item.due_at] = stage


@given(st.data(), settings_of())
@settings(max_examples=60)
def test_a_closing_helps(data, place):
    """Done now, in a window and after everything else, the open item afterwards is due later than before."""
    bench, begin = place
    records = data.draw(histories(begin))
    now = begin + data.draw(MINUTES)
    records = [record for record in records if record.at < now]
    if isinstance(bench.task.rule, OnDates):
        assume(occurrences_of(bench.room, bench.task).holding(now) is not None)

    def due(known):
        found = [item.due_at for item in due_items(bench.room, History(known), now) if item.state in OPEN_STATES]
        return min(found, default=None)

    before, after = due(records), due([*records, done(TASK, now)])
    assert after is None or after > now or bench.task.first_day is not None
    if before is not None and before <= now:
        assert after is None or after > before


@given(st.data(), settings_of())
@settings(max_examples=60)
def test_at_most_one_item_is_owed(data, place):
    """A task has one current item; several only where meals of the same day are still to come."""
    bench, begin = place
    now = begin + data.draw(MINUTES)
    items = due_items(bench.room, History(data.draw(histories(begin))), now)
    assert sum(item.state in OPEN_STATES - {LATER} for item in items) <= 1
    assert bench.task.make_up is False or sum(item.state in OPEN_STATES for item in items) <= 1


@given(st.data(), settings_of())
@settings(max_examples=50)
def test_the_order_in_which_records_arrive_does_not_matter(data, place):
    """Any order, any number of times: the same answer."""
    bench, begin = place
    records = data.draw(histories(begin))
    now = begin + data.draw(MINUTES)
    shuffled = data.draw(st.permutations(records))
    again = data.draw(st.lists(st.sampled_from(records), max_size=4)) if records else []
    assert due_items(bench.room, History(records), now) == due_items(bench.room, History([*shuffled, *again]), now)


@given(st.data(), settings_of())
@settings(max_examples=40)
def test_what_happens_later_changes_nothing_now(data, place):
    """Records after now do not count, except strikes."""
    bench, begin = place
    records = [record for record in data.draw(histories(begin)) if record.kind != "strike"]
    now = begin + data.draw(MINUTES)
    past = [record for record in records if record.at <= now]
    assert due_items(bench.room, History(past), now) == due_items(bench.room, History(records), now)


@given(st.data(), settings_of())
@settings(max_examples=80)
def test_a_cut_history_answers_alike_or_not_at_all(data, place):
    """What is kept of a history for the present never gives another answer; also with records that come afterwards."""
    bench, begin = place
    calendar = bench.room.calendar
    records = data.draw(histories(begin, 20))
    day = calendar.round_day(begin + data.draw(MINUTES))
    split = data.draw(st.integers(0, len(records)))
    count = data.draw(st.integers(1, 4))
    kept = History(records[:split]).kept(calendar.start(day - timedelta(days=2)), calendar.start(day), lambda _: count)
    short, whole = History.restored(kept), History(records)
    for record in records[split:]:
        short.add(record)
    for away in data.draw(st.lists(st.timedeltas(timedelta(0), timedelta(days=40)), min_size=1, max_size=3)):
        now = calendar.start(day) + away
        wanted = due_items(bench.room, whole, now)
        try:
            found = due_items(bench.room, short, now)
        except Incomplete:
            continue
        assert found == wanted


@given(st.data(), settings_of())
@settings(max_examples=50)
def test_every_item_can_be_explained(data, place):
    """Whatever its state, there is a sentence for it, without control characters."""
    bench, begin = place
    now = begin + data.draw(MINUTES)
    for item in due_items(bench.room, History(data.draw(histories(begin))), now):
        assert (why(bench.room, item, now) + state_text(bench.room, item, now)).isprintable()
        assert "None" not in why(bench.room, item, now)


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the platform cannot change its time zone")
@pytest.mark.parametrize("zone", ["America/St_Johns", "Pacific/Kiritimati", "UTC"])
def test_the_machines_zone_and_language_do_not_matter(zone, monkeypatch):
    """The answer and its words depend on the room alone."""
    bench = bench_of('rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "02:30"', "Europe/Dublin")
    now = bench.at("2026-03-29 12:00")

    def answer():
        items = due_items(bench.room, History([done(TASK, "2026-03-20 12:00", id="x")]), now)
        return items, [why(bench.room, item, now) for item in items]

    here = answer()
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    before = locale.setlocale(locale.LC_ALL)
    try:
        for name in ("de_DE.UTF-8", "tr_TR.UTF-8", "C"):
            try:
                locale.setlocale(locale.LC_ALL, name)
            except locale.Error:
                continue
            assert answer() == here
    finally:
        locale.setlocale(locale.LC_ALL, before)
        os.environ["TZ"] = "UTC"
        time.tzset()
