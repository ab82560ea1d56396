"""The coming days, compared with living through them: at every turn what is due is recorded as done."""

from __future__ import annotations

from datetime import timedelta
from time import perf_counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.ahead import coming
from rounds.core.following import (
    draft_concern,
    draft_done,
    draft_off_normal,
    draft_protocol,
)
from rounds.core.history import History
from rounds.core.items import LATER, OPEN_STATES, POSTPONED, Forecast
from rounds.core.plan import due_items
from rounds.core.record import CONCERN
from rounds.core.recording import draft_not_needed, finish
from tests.core.test_properties import histories, settings_of
from tests.support import TASK, Bench, done, head, instant, postponed, record, room_from

ROOM = head(
    """
[[keepers]]
initials = "TV"
name = "Tove"
"""
)
REEF = """name = "Reef"
volume = "900 L"
[[stations]]
id = "sump"
[[equipment]]
id = "uv"
kind = "UV lamp"
station = "sump"
[[tasks]]
id = "lamp"
station = "sump"
title = "Wipe the lamp"
again_after = "2 days"
equipment = "uv"
[[tasks]]
id = "check"
station = "sump"
title = "Check the lamp"
rrule = "FREQ=DAILY"
at = ["09:00", "17:00"]
make_up = false
equipment = "uv"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "sump"
again_after = "3 days"
[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
again_after = "1 day"
[[protocols]]
id = "course"
name = "A course"
place = "system"
steps = [
  { title = "Dose", every = "2 days", times = 3, grace = "6 hours" },
  { title = "Look at them", after = "5 days", grace = "1 day" },
]
"""


def lived(room, records, now, days, forecasts=(), early=()):
    """Task, round day, due and fine until of everything done when each thing is done as soon as it is to be done.

    `early` are (instant, task) at which something is done before it is due.
    """
    history = History(records)
    calendar = room.calendar
    end = calendar.end(calendar.round_day(now) + timedelta(days=days - 1))
    at, found, left, waiting = now, [], list(forecasts), list(early)
    while at < end:
        items = [item for item in due_items(room, history, at, left) if item.state in OPEN_STATES]
        brought = [item for item in items if (at, item.task.id) in waiting][:1]
        waiting = [each for each in waiting if each not in [(at, item.task.id) for item in brought]]
        ready = brought or sorted((item for item in items if to_do(item, at)), key=is_not_put_back)
        if ready:
            item = ready[0]
            found.append((item.task.id, calendar.round_day(at), item.due_at, item.fine_until))
            left = [forecast for forecast in left if forecast.task != item.task.id]
            history.add(closing(room, history, item.task, at, len(found)))
            continue
        turns = [item.due_at for item in items if item.state == LATER] + [when for when, _ in waiting]
        for item in items:
            if item.state == POSTPONED:
                turns += [item.postponed_until] if item.out_of_service else [item.postponed_until, item.fine_until]
        later = [turn for turn in turns if turn > at]
        if not later:
            break
        at = min(later)
    return found


def is_not_put_back(item):
    return item.task.source != "put back"


def to_do(item, at):
    """Due, overdue, or put off to the end of its grace, beyond which nothing puts it off."""
    if item.state == POSTPONED:
        return not item.out_of_service and at >= item.fine_until
    return item.state != LATER


def closing(room, history, task, at, number):
    """Written down after everything else of that instant."""
    draft = (
        draft_not_needed(room, history, task, "for the test", at)
        if task.by_value
        else draft_done(room, history, task, "", at)
    )
    return finish(draft, id=f"9-{number:06}", by="TV", device="test", recorded=at + timedelta(days=1), room=room)


def foreseen(room, records, now, days, forecasts=()):
    found = coming(room, History(records), now, days, forecasts)
    return [(each.task.id, each.day, each.due_at, each.fine_until) for each in found]


@given(st.data(), settings_of(), st.integers(1, 20))
@settings(max_examples=120)
def test_the_days_come_as_foreseen(data, place, days):
    """Whatever the rule and the past: the same times as when each is done as soon as it is due."""
    bench, begin = place
    now = begin + data.draw(st.integers(0, 300 * 24 * 60).map(lambda minutes: timedelta(minutes=minutes)))
    records = [each for each in data.draw(histories(begin)) if each.at <= now]
    assert sorted(foreseen(bench.room, records, now, days)) == sorted(lived(bench.room, records, now, days))


def written(room, draft, id):
    return finish(draft, id=id, by="TV", device="test", recorded=draft.at, room=room)


@pytest.mark.parametrize("hours", [0, 5, 30, 60, 200])
@pytest.mark.parametrize("away", [timedelta(hours=1), timedelta(days=2, hours=1), timedelta(days=30)])
def test_what_records_ask_for_comes_as_foreseen(hours, away):
    """Looks at a concern, putting back, steps of a protocol, what waits for equipment, and a refill by forecast."""
    room = room_from(ROOM, reef=REEF)
    begun = instant("2026-03-20 08:00")
    records = [
        written(room, draft_concern("reef", "sump", "pale", begun, look_at=begun + timedelta(days=3)), "1-1"),
        written(room, draft_off_normal(room.equipment["reef/uv"], "off", begun + away, "a course", begun), "1-2"),
        written(room, draft_protocol(room, room.protocol["reef/course"], "reef", "", "wrasse", begun), "1-3"),
        done("reef/lamp", "2026-03-19 10:00"),
    ]
    now = begun + timedelta(hours=hours)
    refill = Forecast(task="reef/barrel-refill", due_at=begun + timedelta(days=4), fine_until=begun + timedelta(days=6))
    found = foreseen(room, records, now, 14, [refill])
    assert sorted(found) == sorted(lived(room, records, now, 14, [refill]))
    assert {id.partition("/")[2].split("-")[0] for id, *_ in found} >= {"look", "step", "barrel", "alkalinity"}


def test_what_is_late_is_done_today_and_counted_on_from_today():
    """Four days late: today, and then every third day."""
    bench = Bench('again_after = "3 days"')
    found = coming(bench.room, History([done(TASK, "2026-03-01 17:40")]), bench.at("2026-03-08 12:00"), 7)
    assert [(str(each.day), bench.wall(each.due_at)) for each in found] == [
        ("2026-03-08", "2026-03-04 04:00"), ("2026-03-11", "2026-03-11 04:00"), ("2026-03-14", "2026-03-14 04:00"),
    ]  # fmt: skip


def test_what_is_put_off_comes_when_that_ends_but_not_after_its_grace():
    """Put off to the day after tomorrow it is done there, if it is fine until then; otherwise when that has passed."""
    bench = Bench('again_after = "8 days"')
    records = [done(TASK, "2026-03-01 17:40")]
    now = bench.at("2026-03-09 12:00")
    for until, day in (("2026-03-10 12:00", "2026-03-10"), ("2026-03-13 12:00", "2026-03-11")):
        found = coming(bench.room, History([*records, postponed(TASK, "2026-03-09 11:00", until)]), now, 7)
        assert [str(each.day) for each in found] == [day]


def test_without_days_nothing_comes():
    """No day at all, and no rule at all."""
    bench = Bench("called = true")
    assert coming(bench.room, History(), bench.at("2026-03-08 12:00"), 14) == []
    assert coming(Bench('again_after = "1 day"').room, History(), bench.at("2026-03-08 12:00"), 0) == []


def test_a_look_that_names_no_later_time_ends_nothing():
    """A concern whose next look is not after it is looked at every minute, not for ever in the same one."""
    room = room_from(ROOM, reef=REEF)
    at = instant("2026-03-20 08:00")
    odd = record(CONCERN, None, at, system="reef", note="pale", until=at)
    assert due_items(room, History([odd]), at + timedelta(hours=1))
    assert len([each for each in coming(room, History([odd]), at, 1) if each.task.source == "look"]) == 20 * 60


def test_six_hundred_tasks_are_quick():
    """The coming days of a large room in well under half a second (the best of three)."""
    rules = (
        'again_after = "1 day"', 'again_after = "12 hours"', 'rrule = "FREQ=WEEKLY;BYDAY=MO,WE,FR"\nat = "10:00"',
        'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false', 'again_after = "1 month"',
    )  # fmt: skip
    tasks = "".join(
        f'[[tasks]]\nid = "t{number}"\nstation = "sump"\ntitle = "Care {number}"\n{rules[number % len(rules)]}\n'
        for number in range(600)
    )
    room = room_from(ROOM, reef=f'name = "Reef"\n[[stations]]\nid = "sump"\n{tasks}')
    now = instant("2026-03-20 08:00")
    spent = []
    for _ in range(3):
        begun = perf_counter()
        assert len(coming(room, History(), now)) > 5000
        spent.append(perf_counter() - begun)
    assert min(spent) < 0.5
