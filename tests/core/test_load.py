"""The load of the coming days, and what is proposed to be done earlier."""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.ahead import coming
from rounds.core.following import draft_off_normal
from rounds.core.history import History
from rounds.core.load import FULLER, levelling, load
from rounds.core.recording import finish
from tests.core.test_ahead import lived
from tests.support import done, head, instant, postponed, room_from

NOW = instant("2026-03-02 09:00")
TODAY = date(2026, 3, 2)
ZONES = """
[[zones]]
id = "A"
name = "clean"
[[zones]]
id = "B"
name = "dirty"
[[shifts]]
name = "early"
begins = "07:00"
ends = "08:30"
"""


def task(id, rule, minutes=None, more=""):
    says = f"minutes = {minutes}\n" if minutes is not None else ""
    return f'[[tasks]]\nid = "{id}"\nstation = "sump"\ntitle = "Care {id}"\n{rule}\n{says}{more}\n'


def room_of(*tasks, top="", dirty=()):
    """The clean system `reef` with these tasks, and `quarantine` in the dirtier zone."""
    station = '[[stations]]\nid = "sump"\n[[equipment]]\nid = "uv"\nkind = "UV lamp"\nstation = "sump"\n'
    return room_from(
        head(ZONES, top=top),
        reef=f'name = "Reef"\nzone = "A"\n{station}{"".join(tasks)}',
        quarantine=f'name = "Quarantine"\nzone = "B"\n{station}{"".join(dirty)}',
    )


def proposed(room, records=(), now=NOW, days=14):
    history = History(records)
    ahead = coming(room, history, now, days)
    found = load(room, ahead, room.calendar.round_day(now), days)
    return found, levelling(room, history, now, ahead, found)


def last(id, day):
    return done(f"reef/{id}", f"2026-{day} 08:00")


# -- the load --------------------------------------------------------------------------------------


def test_a_day_says_its_minutes_and_what_is_not_in_them():
    """Tasks that do not say how long they take are counted apart."""
    room = room_of(task("a", 'again_after = "7 days"', 20), task("b", 'again_after = "7 days"'))
    found, _ = proposed(room, [last("a", "02-24"), last("b", "02-24")])
    assert [(day.minutes, day.tasks, day.without_minutes) for day in found.days[:3]] == [
        (0, 0, 0),
        (20, 2, 1),
        (0, 0, 0),
    ]
    assert [day.day for day in found.days] == [TODAY + timedelta(days=number) for number in range(14)]


def test_what_is_left_of_today_is_its_load():
    """What was done today takes no more time; what is late takes it today."""
    room = room_of(task("a", 'again_after = "7 days"', 20), task("b", 'again_after = "7 days"', 5))
    found, _ = proposed(room, [last("a", "03-02"), last("b", "02-20")])
    assert found.days[0].minutes == 5


def test_without_minutes_a_day_the_days_are_compared():
    """A quarter above the median of the days that take time, here of 10, 10 and 40 minutes."""
    once = [task(f"t{day}", f"once = 2026-03-{day:02}", minutes) for day, minutes in ((3, 10), (5, 10), (9, 40))]
    found, _ = proposed(room_of(*once))
    assert (found.limit, found.because) == (12, "a quarter more than the median of the days, 10 minutes")
    assert [day.day.day for day in found.days if day.too_full] == [9]
    assert found.limit == int(10 * FULLER)


def test_minutes_a_day_is_the_limit_where_it_is_given():
    """Up to it a day is not too full."""
    once = [task(f"t{day}", f"once = 2026-03-{day:02}", minutes) for day, minutes in ((3, 10), (5, 30), (9, 31))]
    found, _ = proposed(room_of(*once, top="minutes_a_day = 30"))
    assert (found.limit, found.because) == (30, "minutes_a_day in room.toml")
    assert [day.day.day for day in found.days if day.too_full] == [9]


def test_days_without_any_minutes_are_not_too_full():
    """Nothing to compare, nothing too full."""
    found, proposals = proposed(room_of(task("a", 'again_after = "1 day"')))
    assert (found.limit, any(day.too_full for day in found.days), proposals) == (0, False, [])


# -- what to do earlier ----------------------------------------------------------------------------


def two_on(day, *more, top="minutes_a_day = 30"):
    """Two tasks of 20 minutes that come due on the same day, counted 28 and 8 days from the last time."""
    room = room_of(
        task("month", 'again_after = "28 days"', 20, *more), task("week", 'again_after = "8 days"', 20), top=top
    )
    due = date(2026, 3, day)
    records = [
        done("reef/month", instant(f"{due - timedelta(days=28)} 08:00")),
        done("reef/week", instant(f"{due - timedelta(days=8)} 08:00")),
    ]
    return room, records


def test_what_comes_seldom_is_brought_forward_to_a_light_day():
    """The one counted in 28 days moves, to the nearest of the lightest days; the arithmetic is said."""
    (proposal,) = proposed(*two_on(6))[1]
    assert (proposal.task.id, proposal.from_day, proposal.to_day) == ("reef/month", date(2026, 3, 6), date(2026, 3, 5))
    assert proposal.why == (
        "Fri 6 Mar takes 40 minutes, more than 30; without these 20 it takes 20. Thu 5 Mar takes 0 and with them 20. "
        "It is due again 28 days after the last time: done 1 day before it is due it is never late, "
        "and due again Thu 2 Apr instead of Fri 3 Apr."
    )


def test_nothing_is_proposed_where_no_day_is_too_full():
    """Levelling is for days that are too full."""
    room, records = two_on(6, top="minutes_a_day = 40")
    assert proposed(room, records)[1] == []


@pytest.mark.parametrize(("full", "moved"), [((8,), [7]), ((7, 8), [])])
def test_nothing_moves_further_than_a_quarter_of_its_interval(full, moved):
    """What is counted in 9 days moves by two days to the 7th; not to the 6th, though it is free."""
    fixed = [task(f"f{day}", f"once = 2026-03-{day:02}", 25) for day in full]
    pair = [task(id, 'again_after = "9 days"', 20) for id in "ab"]
    room = room_of(*pair, *fixed, top="minutes_a_day = 30")
    records = [last(id, "02-28") for id in "ab"]
    assert [each.to_day.day for each in proposed(room, records)[1]] == moved


@pytest.mark.parametrize(("early", "moved"), [("1 hour", []), ("1 day", []), ("3 days", [6])])
def test_how_early_it_can_be_done_may_be_said(early, moved):
    """A quarantine of 28 days is not to be shorter by a week; three days before the 9th is the 6th."""
    fixed = [task(f"f{day}", f"once = 2026-03-{day:02}", 25) for day in (7, 8)]
    pair = [task(id, 'again_after = "28 days"', 20, f'early = "{early}"') for id in "ab"]
    records = [last(id, "02-09") for id in "ab"]
    found = proposed(room_of(*pair, *fixed, top="minutes_a_day = 30"), records)[1]
    assert [each.to_day.day for each in found] == moved


@pytest.mark.parametrize(
    "rule",
    [
        pytest.param('again_after = "72 hours"', id="hours"),
        pytest.param('again_after = "3 days"', id="so often that a day is more than a quarter"),
        pytest.param("once = 2026-03-06", id="one time"),
        pytest.param('rrule = "FREQ=WEEKLY;BYDAY=FR"', id="dates"),
    ],
)
def test_only_work_counted_in_days_from_the_last_time_moves(rule):
    """Dates stay where they are, and so does what comes every few days or hours."""
    room = room_of(task("a", rule, 20), task("b", rule, 20), top="minutes_a_day = 30")
    records = [done(f"reef/{id}", "2026-03-03 08:00") for id in "ab"] if "again" in rule else []
    found, proposals = proposed(room, records)
    assert any(day.too_full for day in found.days)
    assert proposals == []


def test_what_makes_the_light_stronger_is_not_brought_forward():
    """More light is a step for which the animals have to be ready: it comes when it is due, the other one moves."""
    (proposal,) = proposed(*two_on(6, "light_step = true"))[1]
    assert proposal.task.id == "reef/week"


def test_what_is_late_or_put_off_stays_where_it_is():
    """Today cannot be made lighter by doing something earlier, and what was put off has its day."""
    room, records = two_on(2)
    assert proposed(room, records)[1] == []
    put_off = [postponed(f"reef/{id}", "2026-03-02 08:30", "2026-03-05 08:00") for id in ("month", "week")]
    assert proposed(room, [*records, *put_off])[1] == []


def test_today_is_taken_while_there_is_time_for_it():
    """Tomorrow is too full and today the only earlier day; not when the shift of the task is over."""
    (proposal,) = proposed(*two_on(3))[1]
    assert (proposal.to_day, proposal.at) == (TODAY, NOW)
    assert [each.task.id for each in proposed(*two_on(3, 'shift = "early"'))[1]] == ["reef/week"]
    (proposal,) = proposed(*two_on(3, 'shift = "early"'), now=instant("2026-03-02 06:00"))[1]
    assert (proposal.task.id, proposal.at) == ("reef/month", instant("2026-03-02 07:00"))


def test_nothing_leads_back_from_a_dirtier_zone_today():
    """Quarantine was worked in today: the clean system waits, but tomorrow is another day."""
    dirty = done("quarantine/x", "2026-03-02 08:30")
    room, records = two_on(3)
    assert proposed(room, [*records, dirty])[1] == []
    room, records = two_on(4)
    assert [each.to_day for each in proposed(room, [*records, dirty])[1]] == [date(2026, 3, 3)]
    dirty = done("quarantine/x", "2026-03-01 20:00")
    room, records = two_on(3)
    assert [each.to_day for each in proposed(room, [*records, dirty])[1]] == [TODAY]


def test_work_in_the_dirtiest_zone_can_still_come_today():
    """From clean to dirty is the way of the round."""
    station = 'again_after = "28 days"'
    room = room_of(
        dirty=[task("a", station, 20), task("b", station, 20)], top="minutes_a_day = 30"
    )  # fmt: skip
    records = [done(f"quarantine/{id}", "2026-02-03 08:00") for id in "ab"]
    assert [each.to_day for each in proposed(room, [*records, done("reef/x", "2026-03-02 08:30")])[1]] == [TODAY]


def test_nothing_is_brought_to_a_day_on_which_its_equipment_is_off():
    """The lamp is back on Thursday: nothing that needs it comes before."""
    room, records = two_on(6, 'equipment = "uv"')
    for until, day in (("2026-03-04 20:00", date(2026, 3, 5)), ("2026-03-05 20:00", None)):
        draft = draft_off_normal(
            room.equipment["reef/uv"], "off", instant(until), "a course", instant("2026-03-02 08:00")
        )
        off = finish(draft, id="9", by="TV", device="test", recorded=draft.at, room=room)
        moved = {each.task.id: each.to_day for each in proposed(room, [*records, off])[1]}
        assert moved.get("reef/month") == day


def test_nothing_is_brought_before_its_first_day():
    """It does not exist before."""
    room = room_of(
        *(task(id, 'again_after = "28 days"', 20, "first_day = 2026-03-06") for id in "ab"), top="minutes_a_day = 30"
    )
    assert proposed(room)[1] == []


def test_nothing_is_brought_to_the_day_on_which_it_was_done():
    """However early it may be done: done today, it comes tomorrow at the earliest."""
    pair = [task(id, 'again_after = "4 days"', 20, 'early = "2 weeks"') for id in "ab"]
    fixed = [task(f"f{day}", f"once = 2026-03-{day:02}", 25) for day in (4, 5)]
    room = room_of(*pair, *fixed, top="minutes_a_day = 30")
    found = proposed(room, [last(id, "03-02") for id in "ab"], days=5)[1]
    assert [each.to_day.day for each in found] == [3]


RULES = st.sampled_from(
    ["4 days", "5 days", "1 week", "9 days", "2 weeks", "1 month", "2 months", "1 year", "2 days", "8 hours"]
)


@st.composite
def rooms(draw):
    """Tasks with minutes, counted from a last time, beside some of fixed dates, in two zones."""
    places = {"reef": [], "quarantine": []}
    records = []
    for number in range(draw(st.integers(2, 10))):
        system = draw(st.sampled_from(sorted(places)))
        span = draw(RULES)
        more = draw(
            st.sampled_from(
                ["", 'early = "3 days"\n', 'shift = "early"\n', 'at = "17:00"\n', "last_day = 2026-03-12\n"]
            )
        )
        if span.endswith("hours"):
            more = ""
        places[system].append(task(f"t{number}", f'again_after = "{span}"', draw(st.integers(1, 60)), more))
        ago = timedelta(hours=draw(st.integers(0, 40 * 24)))
        records.append(done(f"{system}/t{number}", NOW - ago))
    for number in range(draw(st.integers(0, 4))):
        day = TODAY + timedelta(days=draw(st.integers(0, 13)))
        places["reef"].append(task(f"o{number}", f"once = {day}", draw(st.integers(1, 60))))
    top = draw(st.sampled_from(["", "minutes_a_day = 30", "minutes_a_day = 60"]))
    return room_of(*places["reef"], dirty=places["quarantine"], top=top), records


def minutes_of(room, times):
    found = Counter()
    for id, day, *_ in times:
        found[day] += room.tasks[id].minutes or 0
    return found


@given(rooms())
@settings(max_examples=80)
def test_followed_the_proposals_level_the_days(place):
    """Lived with each done when it is proposed: no more work, no fuller day, nothing late that was not."""
    room, records = place
    found, proposals = proposed(room, records)
    assert proposals == proposed(room, list(reversed(records)))[1]
    assert len({each.task.id for each in proposals}) == len(proposals)
    before = lived(room, records, NOW, 14)
    after = lived(room, records, NOW, 14, early=[(each.at, each.task.id) for each in proposals])
    was, now = minutes_of(room, before), minutes_of(room, after)
    assert {day.day: day.minutes for day in found.days if day.minutes} == dict(was)
    assert len(after) == len(before)
    assert sum(now.values()) == sum(was.values())
    assert max(now.values(), default=0) <= max(was.values(), default=0)
    full = [day.day for day in found.days if day.too_full]
    assert all(now[day] <= found.limit or (day in full and now[day] <= was[day]) for day in now)
    for each in proposals:
        assert NOW <= each.at < each.due_at <= each.fine_until
        assert room.calendar.round_day(each.at) == each.to_day < each.from_day
        assert each.from_day in full
        reach = each.task.early or each.task.rule.span.nominal / 4
        assert each.from_day - each.to_day <= reach
        assert str(each.minutes) in each.why
    worked = {room.system[each.system].zone for each in records if each.at >= instant("2026-03-02 04:00")}
    if "B" in worked:
        assert not [each for each in proposals if each.to_day == TODAY and each.task.system == "reef"]


def test_nothing_has_to_be_done_more_often_within_the_days():
    """Brought forward by two days it would come once more before the two weeks are over; by one day it does not."""
    records = [last(id, "03-01") for id in "ab"]
    pair = [task(id, 'again_after = "8 days"', 20) for id in "ab"]
    assert [each.to_day.day for each in proposed(room_of(*pair, top="minutes_a_day = 30"), records)[1]] == [8]
