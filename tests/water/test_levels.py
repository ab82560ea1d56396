"""Levels of one reservoir: use, days to its reserve and refill-by, worked by hand; and what never matters."""

from __future__ import annotations

import random
from datetime import UTC, timedelta

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.history import History
from rounds.core.record import NOT_NEEDED
from rounds.storage.records import kept_records
from rounds.water.levels import Levels
from rounds.water.refills import Refills
from rounds.water.reserves import reservoir_level, reservoir_levels
from tests.support import done, instant, record, strike
from tests.water.tanks import BARREL, daily, level, refill, room_of, standing

TANK = "reef/barrel"
ROOM = room_of()


# -- use -------------------------------------------------------------------------------------------


def test_the_use_is_what_is_gone_in_a_day():
    """70, 65, 60, 55: five litres a day, and four levels that agree are not yet certainty."""
    found = standing(ROOM, daily(TANK, "2026-03-02 08:30", [70, 65, 60, 55]), "2026-03-05 08:30")
    assert found.use_per_day == pytest.approx(5)
    low, high = found.use_interval
    assert 4 < low < 5 < high < 6
    assert "4 levels" in found.basis


def test_a_refill_begins_a_new_stretch_with_the_level_it_says():
    """40, refilled to 70, 65 the next day: the rise is no use."""
    records = [
        *daily(TANK, "2026-03-02 08:30", [50, 45, 40]),
        refill(TANK, "2026-03-04 09:30", 70),
        level(TANK, "2026-03-05 09:30", 65),
    ]
    found = standing(ROOM, records, "2026-03-05 10:00")
    assert found.use_per_day == pytest.approx(5)
    assert "2 stretches" in found.basis


def test_a_level_and_a_refill_of_the_same_minute_belong_to_either_side():
    """Read, then refilled, both written down for 08:30."""
    records = [
        *daily(TANK, "2026-03-02 08:30", [50, 45, 40]),
        refill(TANK, "2026-03-04 08:30", 70),
        *daily(TANK, "2026-03-05 08:30", [65, 60]),
    ]
    assert standing(ROOM, records, "2026-03-06 08:30").use_per_day == pytest.approx(5)


def test_a_rise_that_nobody_recorded_is_taken_for_a_refill():
    """From 40 to 75 overnight: somebody filled it; a rise of 4 L of 80 would be noise."""
    records = daily(TANK, "2026-03-02 08:30", [50, 45, 40, 75, 70, 65])
    found = standing(ROOM, records, "2026-03-07 08:30")
    assert found.use_per_day == pytest.approx(5)
    assert "1 rise taken for" in found.basis


def test_a_level_beyond_a_limit_is_no_number():
    """``<10`` after 60 neither makes a use nor is the last level."""
    records = [
        *daily(TANK, "2026-03-02 08:30", [70, 65, 60]),
        level(TANK, "2026-03-05 08:30", 10, bound="<"),
    ]
    found = standing(ROOM, records, "2026-03-05 08:30")
    assert (found.level, found.use_per_day) == (60, pytest.approx(5))
    assert found.level_now == pytest.approx(55)


def test_a_level_beyond_a_mark_shows_that_the_reserve_is_passed():
    """60, 55, 50, 45 L on four mornings, then less than 10 L: no number, but the reserve of 25 L is passed."""
    room = room_of()
    records = [*daily("reef/barrel", "2026-03-01 08:00", (60, 55, 50, 45)), level(
        "reef/barrel", "2026-03-05 08:00", 10, bound="<"
    )]  # fmt: skip
    found = standing(room, records, "2026-03-05 09:00")
    assert found.days_to_reserve == 0
    assert "less than 10.0 L was read" in found.basis
    (due,) = Refills().forecasts(room, History(records), instant("2026-03-05 09:00"))
    assert due.fine_until == instant("2026-03-05 08:00")
    assert due.importance == "life support"
    assert "Less than 10.0 L read" in due.why
    later = [*records, level("reef/barrel", "2026-03-05 10:00", 44)]
    assert standing(room, later, "2026-03-05 11:00").days_to_reserve > 3


def test_a_level_below_more_than_the_reserve_shows_nothing():
    """Less than 70 L may be anything."""
    records = [*daily("reef/barrel", "2026-03-01 08:00", (60, 55, 50, 45)), level(
        "reef/barrel", "2026-03-05 08:00", 70, bound="<"
    )]  # fmt: skip
    assert standing(room_of(), records, "2026-03-05 09:00").days_to_reserve > 2


def test_a_refill_to_more_than_a_limit_still_ends_the_stretch():
    """What is above the scale is no number, but what follows is another stretch."""
    over = refill(TANK, "2026-03-04 09:30", 46)
    over = msgspec.structs.replace(over, values=(msgspec.structs.replace(over.values[0], bound=">"),))
    records = [*daily(TANK, "2026-03-02 08:30", [50, 45, 40]), over, *daily(TANK, "2026-03-05 08:30", [47, 42, 37])]
    found = standing(ROOM, records, "2026-03-07 08:30")
    assert found.use_per_day == pytest.approx(5)
    assert "2 stretches" in found.basis


@pytest.mark.parametrize(
    ("litres", "says"),
    [([], "no level is recorded yet"), ([70], "1 level is too few"), ([70, 65], "2 levels are too few")],
)
def test_too_few_levels_give_no_use_and_say_so(litres, says):
    """It takes two steps to know one from the other."""
    found = standing(ROOM, daily(TANK, "2026-03-02 08:30", litres), "2026-03-04 08:30")
    assert (found.use_per_day, found.use_interval, found.days_to_reserve, found.refill_by) == (None, None, None, None)
    assert says in found.basis


def test_levels_read_within_minutes_say_nothing_of_a_day():
    """62.0, 61.5, 62.2 within ten minutes would be a use of some 70 L a day."""
    begin = instant("2026-03-02 08:30")
    records = [level(TANK, begin + timedelta(minutes=5 * n), each) for n, each in enumerate((62.0, 61.5, 61.8))]
    assert standing(ROOM, records, "2026-03-02 09:00").use_per_day is None


def test_a_known_use_stands_in_for_levels():
    """One level and a dose of 70 mL a day: (2.1 − 0.7) / 0.07 = 20 days."""
    room = room_of(
        '[[reservoirs]]\nid = "dose"\nkind = "dosing"\ncapacity = "3 L"\nreserve = "0.7 L"\nuse = "70 mL/day"'
    )
    found = standing(room, [level("reef/dose", "2026-03-02 08:00", 2.1)], "2026-03-02 08:00", "reef/dose")
    assert (found.use_per_day, found.use_interval) == (pytest.approx(0.07), None)
    assert found.days_to_reserve == pytest.approx(20)
    assert "as the room's file says; 1 level is too few" in found.basis


def test_a_waste_container_fills_up_to_its_mark():
    """From 2 L at half a litre a day to 8 L of 10: (8 − 3) / 0.5 = 10 days; its use is how fast it fills."""
    room = room_of('[[reservoirs]]\nid = "waste"\nkind = "waste"\ncapacity = "10 L"\nreserve = "8 L"')
    records = daily("reef/waste", "2026-03-02 08:30", [2, 2.5, 3])
    found = standing(room, records, "2026-03-04 08:30", "reef/waste")
    assert (found.use_per_day, found.days_to_reserve) == (pytest.approx(0.5), pytest.approx(10))
    assert found.days_to_end == pytest.approx(14)
    emptied = [*records, refill("reef/waste", "2026-03-04 09:00", 0), level("reef/waste", "2026-03-05 09:00", 0.5)]
    assert standing(room, emptied, "2026-03-05 09:00", "reef/waste").days_to_reserve == pytest.approx(15)


def test_what_cannot_be_drawn_ends_it_before_it_is_empty():
    """From 48 L at 5 a day: 4.6 days to the reserve of 25, 8 to the dead 8 L."""
    found = standing(ROOM, daily(TANK, "2026-03-02 08:30", [58, 53, 48]), "2026-03-04 08:30")
    assert (found.days_to_reserve, found.days_to_end) == (pytest.approx(4.6), pytest.approx(8))


def test_without_a_reserve_what_cannot_be_drawn_is_the_limit():
    """58, 53, 48 with 8 L dead: 8 days."""
    room = room_of(BARREL.replace('reserve = "25 L"\n', ""))
    found = standing(room, daily(TANK, "2026-03-02 08:30", [58, 53, 48]), "2026-03-04 08:30")
    assert found.days_to_reserve == pytest.approx(8)


def test_a_level_that_rises_by_itself_does_not_run_out():
    """Other water gets in: no day on which it would be low."""
    found = standing(ROOM, daily(TANK, "2026-03-02 08:30", [50, 51, 52]), "2026-03-04 08:30")
    assert found.use_per_day == pytest.approx(-1)
    assert (found.days_to_reserve, found.refill_by) == (None, None)


def test_days_with_the_tap_shut_say_nothing_of_the_use():
    """A week at 10 L after a flood, then in use again: five litres a day, as before."""
    records = daily(TANK, "2026-02-10 08:30", [70, 65, 60, 55, 50, 45, 40, 35, 10, 10, 10, 10, 10, 10])
    records += [refill(TANK, "2026-02-23 09:00", 60), *daily(TANK, "2026-02-24 09:00", [55, 50, 45])]
    found = standing(ROOM, records, "2026-02-26 09:00")
    assert found.use_per_day == pytest.approx(5)
    assert 4 < found.use_interval[0] <= found.use_per_day


def test_old_levels_are_left_out():
    """Five weeks before the newest count; the barrel of two months ago used twice as much."""
    old = daily(TANK, "2026-01-05 08:30", [75, 65, 55, 45])
    new = daily(TANK, "2026-03-02 08:30", [75 - 2 * n for n in range(15)])
    assert standing(ROOM, old + new, "2026-03-16 09:00").use_per_day == pytest.approx(2)


# -- from now --------------------------------------------------------------------------------------


def test_days_are_counted_from_now():
    """(55 − 25) / 5 = 6 days after the last level; a day and a half later 4.5 are left."""
    records = daily(TANK, "2026-03-02 08:30", [65, 60, 55])
    assert standing(ROOM, records, "2026-03-04 08:30").days_to_reserve == pytest.approx(6)
    later = standing(ROOM, records, "2026-03-05 20:30")
    assert later.days_to_reserve == pytest.approx(4.5)
    assert later.level_now == pytest.approx(47.5)
    assert later.share == pytest.approx(47.5 / 80)


def test_when_the_reserve_has_passed_no_days_are_left():
    """Nobody has read it since; the level is carried on no further than what can be drawn."""
    found = standing(ROOM, daily(TANK, "2026-03-02 08:30", [65, 60, 55]), "2026-03-20 08:30")
    assert found.days_to_reserve == 0
    assert found.reserve_at == instant("2026-03-10 08:30")
    assert found.level_now == 8
    assert found.refill_by.isoformat() == "2026-03-09"


def test_a_level_below_the_reserve_dates_when_it_was_passed():
    """30 on Monday, 20 on Tuesday: by the straight line 25 was passed at half time."""
    found = standing(ROOM, daily(TANK, "2026-03-01 08:30", [35, 30, 20]), "2026-03-03 12:00")
    assert found.reserve_at == instant("2026-03-02 20:30")
    assert found.days_to_reserve == 0


def test_records_later_than_now_do_not_count():
    """A level written down for tomorrow."""
    records = daily(TANK, "2026-03-02 08:30", [65, 60, 55, 10])
    assert standing(ROOM, records, "2026-03-05 08:00").level == 55


# -- refill by -------------------------------------------------------------------------------------

REFILL_BY = {
    "six days after Wednesday 08:30 is Tuesday, Monday is the last whole day": (
        {}, "2026-03-04 08:30", "2026-03-04 08:30", "2026-03-09",
    ),
    "the reserve at 03:00 belongs to the evening before": (
        {}, "2026-03-04 03:00", "2026-03-04 12:00", "2026-03-08",
    ),
    "the reserve at the very beginning of a round day: the one before is whole": (
        {}, "2026-03-04 04:00", "2026-03-04 12:00", "2026-03-09",
    ),
    "a day that begins at midnight": (
        {"day_begins": "00:00"}, "2026-03-04 03:00", "2026-03-04 12:00", "2026-03-09",
    ),
    "clocks go forward on 29 March: six times 24 hours end at 04:30 by the wall": (
        {}, "2026-03-24 03:30", "2026-03-24 12:00", "2026-03-29",
    ),
    "clocks go back on 25 October: six times 24 hours end at 03:30 by the wall": (
        {}, "2026-10-20 04:30", "2026-10-20 12:00", "2026-10-24",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", REFILL_BY)
def test_refill_by_is_the_last_whole_round_day_before(case):
    """65, 60, 55 a day apart, the last at the given time, 5 L a day to 25: six times 24 hours later."""
    of, last, now, day = REFILL_BY[case]
    room = room_of(**of)
    at = instant(last).astimezone(UTC)
    records = [level(TANK, at - timedelta(days=2 - n), each) for n, each in enumerate((65, 60, 55))]
    found = standing(room, records, now)
    assert found.reserve_at == at + timedelta(days=6)
    assert found.refill_by.isoformat() == day


# -- the whole room --------------------------------------------------------------------------------


def test_what_runs_out_first_comes_first():
    """By when the reserve is reached; those of which it is not known at the end."""
    room = room_of(BARREL + BARREL.replace('"barrel"', '"can"') + BARREL.replace('"barrel"', '"new"'))
    records = [
        *daily(TANK, "2026-03-02 08:30", [65, 60, 55]),
        *daily("reef/can", "2026-03-02 08:30", [50, 45, 40]),
    ]
    found = reservoir_levels(Levels(), room, History(records), instant("2026-03-04 09:00"))
    assert [each.tank.id for each in found] == ["reef/can", "reef/barrel", "reef/new"]


def test_what_is_remembered_is_what_would_be_worked_out():
    """Through levels, refills, strikes and records dated ahead, and back in time."""
    chance = random.Random(3)
    store = '[[reservoirs]]\nid = "store"\nkind = "purified water"\ncapacity = "400 L"\nreserve = "50 L"'
    room = room_of(BARREL + 'fed_by = "room/store"', room=store)
    history, remembers, now = History(), Levels(), instant("2026-03-02 05:00")
    made = []
    for number in range(150):
        now += timedelta(minutes=chance.choice((1, 30, 300, 700, -20)))
        at = now + timedelta(minutes=chance.choice((-900, -30, 0, 0, 45)))
        tank = chance.choice((TANK, "room/store"))
        kind = chance.choice((level, level, level, refill, strike))
        made.append(
            strike(chance.choice(made), at, id=f"{number:04}")
            if kind is strike and made
            else (level if kind is strike else kind)(tank, at, chance.randrange(10, 80), id=f"{number:04}")
        )
        history.add(made[-1])
        for each in room.reservoirs.values():
            known = reservoir_level(remembers, room, history, each, now)
            assert known == reservoir_level(Levels(), room, history, each, now)


LEVELS = st.lists(
    st.tuples(st.integers(0, 30 * 24), st.floats(0, 80), st.sampled_from(("level", "refill", "not needed"))),
    max_size=25,
)


def _records(read):
    begin = instant("2026-02-01 00:00")
    kinds = {"level": level, "refill": refill}
    return [
        kinds[kind](TANK, begin + timedelta(hours=hours), litres, id=f"{n:04}")
        if kind in kinds
        else record(NOT_NEEDED, f"{TANK}-level", begin + timedelta(hours=hours), id=f"{n:04}", reason="closed")
        for n, (hours, litres, kind) in enumerate(read)
    ]


@given(LEVELS, st.randoms(use_true_random=False))
def test_the_order_in_which_records_come_does_not_matter(read, chance):
    """Devices meet in any order."""
    records = _records(read)
    shuffled = records[:]
    chance.shuffle(shuffled)
    assert standing(ROOM, records, "2026-03-05 12:00") == standing(ROOM, shuffled, "2026-03-05 12:00")


@given(LEVELS, st.integers(0, 30 * 24), st.floats(0, 80))
def test_a_struck_record_changes_nothing(read, hours, litres):
    """A level that was written down for the wrong barrel and struck."""
    records = _records(read)
    wrong = level(TANK, instant("2026-02-01 00:00") + timedelta(hours=hours), litres, id="wrong")
    struck = [*records, wrong, strike(wrong, "2026-03-05 11:00")]
    assert standing(ROOM, records, "2026-03-05 12:00") == standing(ROOM, struck, "2026-03-05 12:00")


@given(LEVELS)
def test_any_levels_give_an_answer(read):
    """Whatever was typed: a use, days that are not negative, and a sentence."""
    found = standing(ROOM, _records(read), "2026-03-05 12:00")
    assert found.days_to_reserve is None or found.days_to_reserve >= 0
    assert (found.use_interval is None) or found.use_interval[0] <= found.use_per_day <= found.use_interval[1]
    assert found.basis.endswith(".")


def test_what_is_kept_at_hand_is_enough():
    """Forty records of each level, six times of each work: no look at the levels of today asks for more."""
    room = room_of(
        BARREL + 'fed_by = "room/vat"\n[[tasks]]\nid = "exchange"\ntitle = "Exchange"\nagain_after = "1 day"\n'
        'draws = [{ from = "room/vat", amount = "4 L" }]',
        room='[[reservoirs]]\nid = "vat"\nkind = "salt water"\ncapacity = "300 L"\nreserve = "60 L"',
    )
    records = daily(TANK, "2026-01-05 08:30", [70 - n % 10 * 5 for n in range(60)])
    records += [refill(TANK, each.at.replace(hour=9), 70) for each in records if each.values[0].value == 25]
    records += daily("room/vat", "2026-01-05 18:00", [250 - n for n in range(60)])
    records += [done("reef/exchange", each.at) for each in records[:60]]
    now = instant("2026-03-05 12:00")
    whole = History(records)
    begin = room.calendar.start(room.calendar.round_day(now))
    kept = whole.kept(begin - timedelta(days=2), begin, kept_records)
    at_hand = History.restored(kept)
    for tank in room.reservoirs.values():
        assert reservoir_level(Levels(), room, at_hand, tank, now) == reservoir_level(Levels(), room, whole, tank, now)
    assert Refills().forecasts(room, at_hand, now) == Refills().forecasts(room, whole, now)
