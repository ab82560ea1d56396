"""Use out of the ordinary, and its likely cause; the rooms and numbers are invented."""

from __future__ import annotations

import random

import pytest

from rounds.core.history import History
from rounds.core.record import BACK_TO_NORMAL, OFF_NORMAL
from rounds.water.levels import Levels
from tests.support import instant, record
from tests.water.tanks import BARREL, SALINITY, daily, level, refill, room_of, salinity, standing

TANK = "reef/barrel"
ROOM = room_of(BARREL + SALINITY)
WEEK = [72.0, 66.8, 61.5, 56.1, 51.0, 45.6, 40.2]
"""About 5.3 L a day."""


def settled(seed=1, first="2026-02-02 18:00", days=25):
    """A barrel read to 0.3 L in the evening, 5.3 L a day, refilled to 72 below 34."""
    rng = random.Random(seed)
    litres, found = 72.0, []
    for n, empty in enumerate(daily(TANK, first, [0] * days)):
        found.append(level(TANK, empty.at, round(litres + rng.gauss(0, 0.3), 1)))
        if litres < 34 and n < days - 1:
            litres = 72.0
            found.append(refill(TANK, empty.at, litres))
        litres -= 5.3
    return found


def overnight(before, after, *readings):
    """Steady for weeks, then from one level to another between Wednesday evening and Thursday morning."""
    return [
        *settled(),
        refill(TANK, "2026-03-02 18:00", before + 10.6),
        *daily(TANK, "2026-03-03 18:00", [before + 5.3, before]),
        level(TANK, "2026-03-05 07:12", after),
        *readings,
    ]


def test_the_barrel_that_emptied_overnight():
    """The float valve stuck open: 62 to 10 L between evening and first look; 960 × 35 / 1012 = 33.2 in the tank."""
    before = [salinity(f"2026-03-0{day} 09:00", 35.0) for day in (1, 3)]
    records = overnight(62, 10, *before, salinity("2026-03-05 07:20", 33.2))
    found = standing(ROOM, records, "2026-03-05 07:30")
    assert found.abnormal.startswith("High use: 62.0 L yesterday 18:00 to 10.0 L 07:12")
    assert "Salinity is falling by 1.8 since: a valve stuck open" in found.abnormal
    assert found.days_to_reserve == 0


def test_with_only_a_few_levels_before_it():
    """Four levels and a flood, read to whole litres."""
    records = [*daily(TANK, "2026-03-01 08:30", [72, 67, 62]), level(TANK, "2026-03-04 07:12", 10)]
    assert standing(ROOM, records, "2026-03-04 07:30").abnormal.startswith("High use")


def test_a_refill_does_not_make_it_forgotten_before_the_next_level():
    """Tap shut, barrel filled again at eight: what happened in the night still stands there."""
    records = overnight(62, 10, refill(TANK, "2026-03-05 08:00", 60))
    assert standing(ROOM, records, "2026-03-05 09:00").abnormal.startswith("High use")
    later = [*records, level(TANK, "2026-03-06 08:00", 54.7)]
    assert standing(ROOM, later, "2026-03-06 09:00").abnormal is None


@pytest.mark.parametrize(("after", "goes_on"), [(61.4, True), (66.7, False)])
def test_a_refill_does_not_make_it_forgotten_while_it_goes_on(after, goes_on):
    """Two days at double the use, a barrel filled again, and the same once more: a full barrel is seldom full to the
    litre, but a level that falls as it did before the refill is no doubt of that."""
    records = [
        *settled(),
        refill(TANK, "2026-03-02 18:00", 72),
        *daily(TANK, "2026-03-03 18:00", [66.7, 56.1, 45.5]),
        refill(TANK, "2026-03-05 18:05", 72),
        level(TANK, "2026-03-06 18:00", after),
    ]
    found = standing(ROOM, records, "2026-03-06 19:00").abnormal
    if goes_on:
        assert found.startswith("High use: 72.0 L yesterday 18:05 to 61.4 L 18:00 is 10.6 L a day, usually 5.3 L")
    else:
        assert found is None


# -- while it is high ------------------------------------------------------------------------------

DOUBLE = [
    *settled(),
    refill(TANK, "2026-03-02 18:00", 72),
    *daily(TANK, "2026-03-03 18:00", [66.7, 61.4]),
    level(TANK, "2026-03-05 18:00", 50.8),
]
"""About 5.3 L a day for weeks, then 10.6 L in a day: 25.8 L above the reserve."""


def test_the_range_reaches_to_where_the_newest_use_leads():
    """4.9 days at the usual use, which stays what is expected, 2.4 at the newest: Saturday is the last whole day."""
    found = standing(ROOM, DOUBLE, "2026-03-05 18:00")
    assert found.abnormal.startswith("High use: ")
    assert found.days_low == pytest.approx(25.8 / 10.6)
    assert found.days_to_reserve == pytest.approx(4.8, abs=0.15)
    assert found.days_high >= found.days_to_reserve
    assert (found.refill_before - instant("2026-03-05 18:00")).total_seconds() == pytest.approx(25.8 / 10.6 * 86400)
    assert found.refill_by.isoformat() == "2026-03-07"


def test_a_range_is_said_where_only_one_step_is_out_of_the_ordinary():
    """By a known use and two levels: it comes neither sooner than the newest use says nor is later than usual known."""
    known = room_of(BARREL + 'use = "5 L/day"\n')
    found = standing(known, daily(TANK, "2026-03-02 18:00", [75, 55]), "2026-03-03 18:00")
    assert (found.days_low, found.days_to_reserve, found.days_high) == pytest.approx((1.5, 6, 6))


def test_a_use_as_usual_again_is_counted_on_again():
    """The three days after fall by 5.3 L each."""
    records = [*DOUBLE, *daily(TANK, "2026-03-06 18:00", [45.5, 40.2, 34.9])]
    found = standing(ROOM, records, "2026-03-08 18:00")
    assert found.abnormal is None
    assert found.refill_before == found.reserve_at


def test_low_use_puts_nothing_off():
    """A valve stuck shut may open."""
    found = standing(ROOM, [*DOUBLE[:-1], level(TANK, "2026-03-05 18:00", 61.2)], "2026-03-05 18:00")
    assert found.abnormal.startswith("Low use")
    assert found.refill_before == found.reserve_at


CAUSES = {
    "much, salinity falling": (40, 34.2, "stuck open"),
    "much, salinity steady": (40, 35.1, "evaporation"),
    "much, salinity rising": (40, 35.6, "a leak of container or line"),
    "none, salinity rising": (62, 35.6, "stuck shut"),
    "none, salinity falling": (62, 34.2, "other fresh water"),
    "none, salinity steady": (62, 34.9, "less evaporation"),
    "much, salinity not read since": (40, None, "Test the salinity now"),
}


@pytest.mark.parametrize("case", CAUSES)
def test_the_cause_is_read_together_with_the_salinity(case):
    """The table of the trade (common practice, no source)."""
    after, psu, cause = CAUSES[case]
    records = [*overnight(62, after)[:-1], level(TANK, "2026-03-05 18:00", after), salinity("2026-03-01 09:00", 35.0)]
    readings = [salinity("2026-03-05 18:10", psu)] if psu is not None else []
    found = standing(ROOM, [*records, *readings], "2026-03-05 19:00")
    assert cause in found.abnormal


@pytest.mark.parametrize(
    ("state", "since", "back", "cause"),
    [
        pytest.param("shut", "2026-03-04 18:10", None, "left shut yesterday 18:10 by TV: new float.", id="since"),
        pytest.param("shut", "2026-03-01 08:00", "2026-03-05 08:00", "left shut Sun 1 Mar 08:00", id="until then"),
        pytest.param("shut", "2026-03-01 08:00", "2026-03-03 08:00", "other fresh water", id="open again before"),
        pytest.param("shut", "2026-03-05 18:05", None, "other fresh water", id="only afterwards"),
        pytest.param("open", "2026-03-04 18:10", None, "other fresh water", id="open is no reason to use little"),
    ],
)
def test_what_a_keeper_has_left_so_is_the_cause(state, since, back, cause):
    """A tap that was recorded shut is why nothing is used, whatever the salinity does."""
    records = [*overnight(62, 62)[:-1], level(TANK, "2026-03-05 18:00", 62), salinity("2026-03-01 09:00", 35.0)]
    left = record(OFF_NORMAL, TANK, since, id="left", words=(state,), reason="new float", until="2026-03-09 18:00")
    records += [salinity("2026-03-05 18:10", 34.2), left]
    if back is not None:
        records.append(record(BACK_TO_NORMAL, TANK, back, ref="left"))
    assert cause in standing(ROOM, records, "2026-03-05 19:00").abnormal


def test_a_slow_leak_shows_within_days():
    """3 L a day more than usual: the night after it is plain."""
    records = [*settled(), refill(TANK, "2026-03-02 18:00", 72), *daily(TANK, "2026-03-03 18:00", [66.7, 58.4])]
    assert standing(ROOM, records, "2026-03-05 07:00").abnormal.startswith("High use: 66.7 L")


@pytest.mark.parametrize("seed", range(40))
def test_an_ordinary_barrel_is_never_called_abnormal(seed):
    """Read to 0.3 L, through several refills."""
    records = settled(seed)
    assert standing(ROOM, records, "2026-02-27 07:00").abnormal is None


def test_a_refill_that_was_not_quite_full_is_no_leak():
    """Said to be 72 L, 2 L less in truth: nobody fills to the litre."""
    records = [*settled(), refill(TANK, "2026-03-02 18:00", 72), level(TANK, "2026-03-03 18:00", 64.7)]
    assert standing(ROOM, records, "2026-03-03 19:00").abnormal is None


def test_what_a_coarse_scale_cannot_show_is_nothing_odd():
    """Half a litre a day read to half a litre: a day without a step."""
    room = room_of('[[reservoirs]]\nid = "waste"\nkind = "waste"\ncapacity = "10 L"\nreserve = "8 L"')
    records = daily("reef/waste", "2026-03-01 08:30", [0, 0.5, 1, 1.5, 2, 2.5, 3, 3, 3.5, 4, 4])
    assert standing(room, records, "2026-03-11 09:00", "reef/waste").abnormal is None


# -- a known use, and pairs ------------------------------------------------------------------------

PAIR = """
[[reservoirs]]
id = "alkalinity-solution"
kind = "dosing"
capacity = "3 L"
reserve = "0.3 L"
use = "70 mL/day"
paired_with = "calcium-solution"

[[reservoirs]]
id = "calcium-solution"
kind = "dosing"
capacity = "3 L"
reserve = "0.3 L"
use = "70 mL/day"
"""
DOSES = room_of(PAIR)
ALKALINITY, CALCIUM = "reef/alkalinity-solution", "reef/calcium-solution"


def falling(tank, *a_day, days=14, seed=1):
    """Levels weighed to 3 mL from 2.9 L down; then so many litres on each further day."""
    rng = random.Random(f"{tank} {seed}")
    litres, levels = 2.9, []
    for gone in (*[0.07] * days, *a_day, 0):
        levels.append(round(litres + rng.gauss(0, 0.003), 3))
        litres -= gone
    return daily(tank, "2026-03-01 09:00", levels)


def both(alkalinity, calcium, seed=1):
    records = falling(ALKALINITY, *alkalinity, seed=seed) + falling(CALCIUM, *calcium, seed=seed)
    now = "2026-03-18 12:00"
    return standing(DOSES, records, now, ALKALINITY).abnormal, standing(DOSES, records, now, CALCIUM).abnormal


@pytest.mark.parametrize("seed", range(20))
def test_a_pair_that_falls_in_step_is_nothing_odd(seed):
    """Both by their 70 mL."""
    assert both((0.07, 0.07), (0.07, 0.07), seed) == (None, None)


def test_one_falling_alone_is_a_failed_head_of_the_other():
    """The alkalinity container stands still for two days; both say so."""
    alkalinity, calcium = both((0, 0), (0.07, 0.07))
    assert "does not fall in step with the calcium solution: the head of this one has failed" in alkalinity
    assert "It falls alone: the head of the alkalinity solution has failed" in calcium


def test_both_standing_still_is_no_failed_head():
    """The clock of the pump, or its plug."""
    alkalinity, calcium = both((0, 0), (0, 0))
    assert alkalinity.startswith("Low use")
    assert "failed, or its line" not in alkalinity + calcium


def test_one_running_on_is_a_siphon():
    """Half a litre in a day."""
    alkalinity, calcium = both((0.07, 0.5), (0.07, 0.07))
    assert "It falls faster than the calcium solution" in alkalinity
    assert "The alkalinity solution falls faster than this one" in calcium


def test_a_known_use_that_the_levels_do_not_show():
    """Set to 70 mL, falls by 55 for weeks: no day stands out, the setting does."""
    records = daily(ALKALINITY, "2026-03-01 09:00", [2.9 - 0.055 * n for n in range(15)])
    found = standing(DOSES, records, "2026-03-15 12:00", ALKALINITY)
    assert "fall" not in (standing(DOSES, records, "2026-03-15 12:00", CALCIUM).abnormal or "")
    assert found.abnormal.startswith("The levels change by 55 mL a day")
    assert "not by the 70 mL that is set" in found.abnormal
    assert found.use_per_day == pytest.approx(0.055)


def test_a_known_use_judges_the_first_step_too():
    """A new container, two levels: 70 mL were to go, 600 are gone."""
    found = standing(DOSES, daily(ALKALINITY, "2026-03-01 09:00", [2.9, 2.3]), "2026-03-02 12:00", ALKALINITY)
    assert found.abnormal.startswith("High use")


def test_out_of_step_over_weeks():
    """55 and 70 mL a day without a set dose: neither day stands out, the pair does."""
    room = room_of(PAIR.replace('use = "70 mL/day"\n', ""))
    records = daily(ALKALINITY, "2026-03-01 09:00", [2.9 - 0.055 * n for n in range(15)])
    records += daily(CALCIUM, "2026-03-01 09:00", [2.9 - 0.07 * n for n in range(15)])
    found = standing(room, records, "2026-03-15 12:00", CALCIUM)
    assert "It falls by 70 mL a day, the alkalinity solution by 55 mL: out of step" in found.abnormal


def test_the_departure_is_known_of_the_newest_levels_only():
    """A flood three weeks ago is history."""
    records = [*overnight(62, 10), refill(TANK, "2026-03-05 08:00", 72), *daily(TANK, "2026-03-06 08:00", WEEK[1:])]
    measured = Levels().measured(ROOM, History(records), ROOM.reservoirs[TANK], instant("2026-03-12 09:00"))
    assert measured.departure is None
