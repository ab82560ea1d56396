"""Slope, band and next test of simulated series whose truth is known; all series are invented."""

from __future__ import annotations

import random
import time
from datetime import datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.history import History
from rounds.core.record import CHANGE_STEP, READING, Record, Value
from rounds.core.series import bearing_on, standing_records
from rounds.water.trend import MOST_PAIRED, Trend, next_test, trend_of
from tests.support import head, instant, record, room_from, strike

REEF = """name = "Reef"
[[readings]]
id = "alk"
name = "alkalinity"
quantity = "alkalinity"
unit = "dKH"
low = "7.5 dKH"
high = "8.6 dKH"
instrument = "kit"
again_after = "2 days"
[[readings]]
id = "alk-meq"
quantity = "alkalinity"
unit = "meq/L"
low = "7.5 dKH"
[[readings]]
id = "temp"
quantity = "temperature"
unit = "°F"
[[readings]]
id = "no3"
quantity = "nitrate"
high = "10 mg/L"
[[readings]]
id = "salinity"
quantity = "salinity"
unit = "SG 25/25"
instrument = "prism"
[[reservoirs]]
id = "solution"
kind = "dosing"
capacity = "3 L"
[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"
[[instruments]]
id = "kit"
kind = "test kit"
[[instruments]]
id = "prism"
kind = "refractometer"
"""
ROOM = room_from(head(), reef=REEF)
START = instant("2026-03-01T09:00")
UNITS = {"alkalinity": "meq/L", "temperature": "°C", "nitrate": "mg/L", "salinity": "PSU"}
DAY = timedelta(days=1)


def day(number: float) -> datetime:
    return START + number * DAY


def took(reading: str, at: float, number: float, **about: str) -> Record:
    """A test on a day; the number in dKH for alkalinity, else in the canonical unit."""
    quantity = ROOM.readings[f"reef/{reading}"].quantity
    canonical = number / DKH_PER_MEQ if quantity == "alkalinity" else number
    value = Value(reading=f"reef/{reading}", value=canonical, unit=UNITS[quantity], **about)
    return record(READING, f"reef/{reading}", day(at), values=(value,))


def batch(at: float, old: float | None = None, new: float | None = None, task: str = "reef/kit") -> Record:
    """A new kit batch, old and new (dKH) side by side or not."""
    sides = [] if old is None or new is None else [old / DKH_PER_MEQ, new / DKH_PER_MEQ]
    values = tuple(Value(reading=task, value=each, unit="meq/L") for each in sides)
    return record(CHANGE_STEP, task, day(at), values=values, reason="new batch B")


def trend(records: list[Record], reading: str = "alk", now: float = 400, window: float | None = None) -> Trend:
    span = None if window is None else window * DAY
    return trend_of(ROOM, ROOM.readings[f"reef/{reading}"], records, day(now), span)


def falling(days: range, per_day: float = -0.03, start: float = 8.4) -> list[Record]:
    return [took("alk", at, start + per_day * at) for at in days]


# -- the slope -----------------------------------------------------------------------------------------


def test_a_straight_series_gives_its_slope_back() -> None:
    """Without noise the interval is nothing but the slope."""
    found = trend(falling(range(0, 20, 2)))
    assert found.line is not None
    assert (found.line.slope, found.line.low, found.line.high) == pytest.approx((-0.03, -0.03, -0.03))
    assert (found.unit, len(found.used), found.latest.value) == ("dKH", 10, pytest.approx(8.4 - 0.54))
    assert found.flagged == ()


def test_the_interval_holds_the_truth_in_nine_of_ten_runs() -> None:
    """300 seeded series with noise, gross errors and a kit step: measured 96 per cent for 95 promised."""
    held = forecast = 0
    for seed in range(300):
        rng = random.Random(seed)
        slope, step = rng.uniform(-0.05, 0.05), rng.uniform(-0.4, 0.4)
        records = []
        for at in range(0, 28, 2):
            number = 8.0 + slope * (at - 14) + rng.gauss(0, 0.08) + (step if at >= 13 else 0)
            records.append(took("alk", at, number + (rng.choice((-1.5, 1.5)) if rng.random() < 0.05 else 0)))
        records.append(batch(13, 8.0, 8.0 + step))
        line = trend(records).line
        assert line is not None
        held += line.low <= slope <= line.high
        forecast += line.direction in (0, 1 if slope > 0 else -1)
    assert held >= 270
    assert forecast >= 285
    print(f"held {held / 300:.3f}, direction {forecast / 300:.3f}")


def test_the_range_of_the_forecast_holds_the_true_day() -> None:
    """300 seeded falling series: the day on which the true line leaves the band, in nine of ten."""
    held = told = 0
    for seed in range(300):
        rng = random.Random(1000 + seed)
        slope = rng.uniform(-0.05, -0.02)
        records = [took("alk", at, 8.4 + slope * at + rng.gauss(0, 0.06)) for at in range(0, 16, 2)]
        leaves = trend(records).leaves
        if leaves is None or leaves.outside:
            continue
        told += 1
        truth = day((7.5 - 8.4) / slope)
        held += leaves.earliest <= truth and (leaves.latest is None or truth <= leaves.latest)
    assert told > 200
    assert held / told >= 0.9
    print(f"forecast range held {held / told:.3f} of {told}")


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_values_give_no_slope(count: int) -> None:
    """They are listed all the same."""
    found = trend(falling(range(count)))
    assert found.line is None
    assert found.leaves is None
    assert len(found.values) == count


def test_three_values_of_one_instant_give_no_slope() -> None:
    """There is no time between them."""
    assert trend([took("alk", 3, number) for number in (8.0, 8.1, 8.2)]).line is None


@pytest.mark.parametrize(("count", "confidence"), [(3, 2 / 3), (4, 11 / 12), (5, 0.95), (30, 0.95)])
def test_few_values_cannot_promise_ninety_five(count: int, confidence: float) -> None:
    """Of n! orders of n values two lie beyond the widest interval of Kendall's tau."""
    line = trend(falling(range(count))).line
    assert line is not None
    assert line.confidence == pytest.approx(confidence)


def test_a_bound_is_listed_and_not_calculated_with() -> None:
    """Beyond the kit's limit is no number."""
    records = [took("no3", at, 5 + at) for at in range(3)] + [
        took("no3", 3, 50, bound=">"),
        took("no3", 4, 0, bound="<"),
    ]
    found = trend(records, "no3")
    assert found.line is not None
    assert found.line.slope == pytest.approx(1)
    assert [value.used for value in found.values] == [True, True, True, False, False]
    assert [value.bound for value in found.values] == [None, None, None, ">", "<"]
    assert found.latest == found.values[2]


def test_an_outlier_is_flagged_and_does_not_bend_the_slope() -> None:
    """By its record's id; it stays in, the median of slopes tolerates it."""
    records = falling(range(12))
    odd = took("alk", 6.5, 9.6)
    found = trend([*records, odd])
    assert found.flagged == (odd.id,)
    assert found.values[7].score == pytest.approx(13 / 1.253314, rel=1e-6)  # the others lie on the line: MAD is 0
    assert len(found.used) == 13
    assert found.line is not None
    assert found.line.slope == pytest.approx(-0.03, abs=1e-6)


def test_a_series_that_merely_falls_has_no_outlier() -> None:
    """Level at first and then falling evenly: the first value is off the one line through all, not off its place."""
    values = (6.1, 6.0, 5.5, 4.4, 3.4, 2.4, 1.6, 0.8)
    found = trend([took("no3", 7 * week, number) for week, number in enumerate(values)], "no3")
    assert abs(found.values[0].score or 0) > 3.5
    assert found.flagged == ()


@pytest.mark.parametrize("place", [0, 1, 4, 7], ids=["first", "second", "within", "latest"])
def test_a_value_out_of_its_place_is_flagged_wherever_it_lies(place: int) -> None:
    """3 too high in a series that bends; the deviations of the others are mostly nothing."""
    values = [6.1, 6.0, 5.5, 4.4, 3.4, 2.4, 1.6, 0.8]
    values[place] += 3
    records = [took("no3", 7 * week, number) for week, number in enumerate(values)]
    assert trend(records, "no3").flagged == (records[place].id,)


def test_one_step_of_a_kit_is_no_outlier() -> None:
    """8.0 eleven times and 8.1 once: a kit that shows tenths cannot show less."""
    records = [took("alk", at, 8.1 if at == 5 else 8.0) for at in range(12)]
    assert trend(records).flagged == ()


def test_four_values_are_too_few_to_call_one_odd() -> None:
    """Which of them would it be?"""
    assert trend([took("alk", at, 9.9 if at == 2 else 8.0) for at in range(4)]).flagged == ()


def test_a_doubted_value_is_flagged() -> None:
    """An unusual one was confirmed and counts; one said to be wrong does not."""
    unusual, wrong = took("alk", 3, 8.3, flag="implausible"), took("alk", 4, 8.9, flag="reads high")
    found = trend([*falling(range(3)), unusual, wrong])
    assert found.flagged == (unusual.id, wrong.id)
    assert [value.used for value in found.values] == [True, True, True, True, False]


# -- the window ----------------------------------------------------------------------------------------


def test_the_window_is_thirty_days() -> None:
    """Back from the latest value, both ends included."""
    assert len(trend(falling(range(100))).used) == 31


def test_a_rare_test_has_a_longer_window() -> None:
    """Every 14 days: eight values."""
    assert len(trend(falling(range(0, 280, 14), -0.001)).used) == 8


def test_three_values_are_found_however_far_back() -> None:
    """Twice a year: three values, not two."""
    assert len(trend(falling(range(0, 1300, 200), 0), now=2000).used) == 3


@pytest.mark.parametrize(("window", "count"), [(7, 8), (90, 91), (1e6, 200)])
def test_a_window_of_ones_own(window: float, count: int) -> None:
    """Neither widened nor shortened."""
    assert len(trend(falling(range(200), 0.001), window=window).used) == count


def test_what_comes_later_does_not_count() -> None:
    """As it stood on that day."""
    assert len(trend(falling(range(20)), now=9.5).used) == 10


# -- steps ---------------------------------------------------------------------------------------------


def test_a_kit_step_with_its_offset_is_taken_out() -> None:
    """The new batch reads 0.25 high; the water goes on falling as before."""
    records = [*falling(range(8)), batch(7.5, 8.0, 8.25), *[took("alk", at, 8.65 - 0.03 * at) for at in range(8, 16)]]
    found = trend(records)
    assert found.line is not None
    assert found.line.slope == pytest.approx(-0.03)
    assert len(found.used) == 16
    assert found.used[0].value == pytest.approx(8.4)
    assert found.used[0].corrected == pytest.approx(8.65)
    assert [step.what for step in found.taken_out] == ["new batch B"]


@pytest.mark.parametrize(
    "step",
    [batch(7.5), batch(7.5, task="reef/alk"), batch(7.5, task="reef/solution")],
    ids=["kit without offset", "the reading", "dosing"],
)
def test_a_step_without_an_offset_begins_anew(step: Record) -> None:
    """The values before it are not looked at."""
    found = trend([*falling(range(8)), step, *[took("alk", at, 9 + 0.02 * at) for at in range(8, 13)]])
    assert found.line is not None
    assert (len(found.used), found.line.slope) == (5, pytest.approx(0.02))
    assert found.begins_with is not None
    assert found.begins_with.at == step.at


def test_a_step_that_was_held_breaks_nothing() -> None:
    """Before and after are alike."""
    held = batch(7.5, 70, 70, task="reef/solution")
    assert len(trend([*falling(range(8)), held, *falling(range(8, 13))]).used) == 13


@pytest.mark.parametrize("task", ["reef/barrel", "reef/prism", "reef/temp"])
def test_a_step_of_something_else_breaks_nothing(task: str) -> None:
    """Top-off, another instrument, another reading."""
    found = trend([*falling(range(8)), batch(7.5, task=task), *falling(range(8, 13))])
    assert len(found.used) == 13


def test_too_few_values_since_a_step_give_no_slope() -> None:
    """It does not reach back past it."""
    found = trend([*falling(range(8)), batch(7.5), *falling(range(8, 10))])
    assert (found.line, len(found.values)) == (None, 2)


# -- dilution ------------------------------------------------------------------------------------------


def stuck_float_valve(rng: random.Random | None = None) -> list[Record]:
    """The salinity falls overnight to 33.2 and is brought back in a week, alkalinity falling 0.02 dKH a day at 35.

    33.2 = 960 L × 35 / 1012 L: 52 L of fresh water let into 960 L.
    """
    records = []
    for at in range(15):
        salinity = 35.0 if at < 1 else min(35.0, 960 * 35 / 1012 + 0.26 * (at - 1))
        noise = rng.gauss(0, 0.02) if rng else 0.0
        records.append(took("alk", at, (7.9 - 0.02 * at) * salinity / 35 + noise))
        records.append(took("salinity", at, salinity))
    return records


def test_dilution_does_not_fool_the_slope() -> None:
    """From the stuck float valve on the raw values rise; those corrected to 35 fall as the water does."""
    records = [each for each in stuck_float_valve() if day(1) <= each.at <= day(8)]
    raw = trend([each for each in records if each.task == "reef/alk"])
    corrected = trend(records)
    assert raw.line is not None
    assert corrected.line is not None
    assert raw.line.slope > 0.02
    assert corrected.line.slope == pytest.approx(-0.02, abs=1e-9)
    assert (raw.at_35, corrected.at_35) == (False, True)


def test_dilution_with_noise_still_falls() -> None:
    """50 seeded runs of the whole fortnight: the sign is never wrong."""
    for seed in range(50):
        line = trend(stuck_float_valve(random.Random(seed))).line
        assert line is not None
        assert line.high < 0


def test_salinity_between_two_readings_is_interpolated() -> None:
    """Half way, half of the change."""
    records = [*falling(range(5)), took("salinity", 0, 34), took("salinity", 4, 36)]
    assert [value.salinity for value in trend(records).values] == pytest.approx([34, 34.5, 35, 35.5, 36])


@pytest.mark.parametrize(
    "salinities",
    [[], [(-60, 33)], [(0, 14), (4, 14)], [(0, 33)]],
    ids=["none", "long ago", "no ocean", "of fewer than half"],
)
def test_without_a_salinity_the_values_stand_as_measured(salinities: list[tuple[float, float]]) -> None:
    """And the trend says so."""
    found = trend([*falling(range(0, 20, 2)), *[took("salinity", at - 5, number) for at, number in salinities]])
    assert not found.at_35
    assert [value.corrected for value in found.values] == [value.value for value in found.values]


def test_a_value_without_a_salinity_near_it_takes_the_usual_one() -> None:
    """It makes no step of its own."""
    records = [*falling(range(0, 30, 3)), *[took("salinity", at, 34) for at in range(0, 12, 3)]]
    found = trend(records)
    assert (found.at_35, found.assumed_salinity) == (True, 34)
    assert found.line is not None
    assert found.line.slope == pytest.approx(-0.03 * 35 / 34)


def test_what_a_refractometer_read_before_an_unknown_step_is_no_salinity_of_today() -> None:
    """It read 1 too low until day 7, and nobody wrote by how much: no jump of the alkalinity comes of it."""
    step = record(CHANGE_STEP, "reef/prism", day(6.5), reason="calibrated")
    salinity = [took("salinity", at, 34 if at < 6.5 else 35) for at in range(15)]
    found = trend([*(took("alk", at, 8.0) for at in range(15)), *salinity, step])
    assert found.at_35
    assert [value.corrected for value in found.values] == pytest.approx([8.0] * 15)


def test_a_step_of_the_refractometer_is_taken_out_of_the_salinity() -> None:
    """It had read 1 too low until day 8."""
    sides = tuple(Value(reading="reef/prism", value=number, unit="PSU") for number in (34.0, 35.0))
    step = record(CHANGE_STEP, "reef/prism", day(7.5), reason="calibrated", values=sides)
    salinity = [took("salinity", at, 34 if at < 7.5 else 35) for at in range(15)]
    line = trend([*falling(range(15)), *salinity, step]).line
    assert line is not None
    assert line.slope == pytest.approx(-0.03)


def test_temperature_is_not_corrected() -> None:
    """Fresh water does not thin it out; and it is told in the unit of the reading."""
    found = trend([took("temp", at, 25 + 0.1 * at) for at in range(5)], "temp")
    assert (found.unit, found.at_35) == ("°F", False)
    assert found.line is not None
    assert found.line.slope == pytest.approx(0.18)


def test_salinity_is_told_in_the_unit_of_its_reading() -> None:
    """1.0264 SG 25/25 at 35 PSU, and 0.00075 more for each PSU there (EOS-80); 0.1 PSU a day."""
    found = trend([took("salinity", at, 35 + 0.1 * at) for at in range(5)], "salinity")
    assert found.unit == "SG 25/25"
    assert found.values[0].value == pytest.approx(1.0264, abs=5e-5)
    assert found.line is not None
    assert found.line.slope == pytest.approx(0.000075, rel=0.02)


# -- the band ------------------------------------------------------------------------------------------


def test_when_the_band_is_left() -> None:
    """(7.5 − 7.86) / −0.03 = 12 days after the latest value."""
    leaves = trend(falling(range(0, 20, 2))).leaves
    assert leaves is not None
    assert (leaves.below, leaves.outside) == (True, False)
    for at in (leaves.at, leaves.earliest, leaves.latest):
        assert abs(at - day(30)) < timedelta(seconds=1)


def test_a_rising_reading_leaves_at_the_top() -> None:
    """Nitrate 5 and 1 a day: 10 on the fifth day."""
    leaves = trend([took("no3", at, 5 + at) for at in range(4)], "no3").leaves
    assert leaves is not None
    assert not leaves.below
    assert abs(leaves.at - day(5)) < timedelta(seconds=1)


@pytest.mark.parametrize(
    "records",
    [
        [took("no3", at, 9 - at) for at in range(4)],
        [took("no3", at, 5.0) for at in range(4)],
        [took("no3", at, 5 + 0.0001 * at) for at in range(4)],
        [took("no3", at, number) for at, number in enumerate((5, 6, 5, 6, 5, 6))],
    ],
    ids=["no limit on its way", "steady", "beyond ten years", "no sure direction"],
)
def test_nothing_is_forecast(records: list[Record]) -> None:
    """Where nothing can be said, nothing is."""
    assert trend(records, "no3").leaves is None


def test_a_flat_end_of_the_interval_has_no_latest_day() -> None:
    """8.0 twice and then falling: the interval ends at no change at all."""
    found = trend([took("alk", at, number) for at, number in enumerate((8.0, 8.0, 7.9, 7.7, 7.6))])
    assert found.line is not None
    assert (found.line.high, found.line.direction) == (0, -1)
    assert found.leaves is not None
    assert found.leaves.latest is None
    assert found.leaves.earliest < found.leaves.at


def test_a_latest_value_outside_is_outside_whatever_the_line_says() -> None:
    """Nitrate at 5 for days, then 12, above its band of 10: the line through all of them is still inside."""
    found = trend([took("no3", at, number) for at, number in enumerate((5.0, 5.1, 5.2, 5.3, 5.4, 12.0))], "no3")
    assert found.line is not None
    assert found.line.at(day(5)) < 10
    assert found.leaves is not None
    assert (found.leaves.outside, found.leaves.below, found.leaves.at) == (True, False, day(5))


def test_outside_is_told_with_too_few_values_for_a_line() -> None:
    """Also by a value beyond the kit's limit; one that was said to be wrong tells nothing."""
    found = trend([took("no3", 1, 12)], "no3").leaves
    assert found is not None
    assert (found.outside, found.at) == (True, day(1))
    assert trend([took("no3", 1, 5), took("no3", 2, 10, bound=">")], "no3").leaves is not None
    assert trend([took("no3", 1, 5), took("no3", 2, 12, flag="reads high")], "no3").leaves is None


def test_outside_already() -> None:
    """The time is that of the latest value, whichever way it goes."""
    for slope in (-0.05, 0.05):
        leaves = trend([took("alk", at, 7.0 + slope * at) for at in range(6)]).leaves
        assert leaves is not None
        assert leaves.outside
        assert leaves.at == leaves.earliest == leaves.latest == day(5)


# -- the next test -------------------------------------------------------------------------------------

TWO = timedelta(days=2)


def test_the_next_test_is_the_one_that_is_due() -> None:
    """The band holds longer than that."""
    found = trend(falling(range(0, 20, 2)))
    assert next_test(found, day(18), day(20), TWO) == day(20)


def test_a_forecast_pulls_the_next_test_forward() -> None:
    """The band is left on day 30; tested last on day 28, due on day 40: half way from day 28."""
    found = trend(falling(range(0, 30, 2)))
    pulled = next_test(found, day(28), day(40), TWO)
    assert abs(pulled - day(29)) < timedelta(seconds=1)


def test_it_is_not_pulled_into_the_shadow_of_the_last() -> None:
    """Within a quarter of the interval a test shows nothing new."""
    found = trend(falling(range(0, 30, 2), -0.032))
    assert found.leaves is not None
    assert found.leaves.at < day(28.2)
    assert next_test(found, day(28), day(40), TWO) == day(28.5)


def test_an_overdue_test_stays_due_when_it_was() -> None:
    """Nothing is pulled into the past."""
    assert next_test(trend(falling(range(0, 30, 2))), day(29.5), day(29), TWO) == day(29)


def test_outside_the_band_it_is_tested_after_half_of_its_interval() -> None:
    """As the recorded value asks for."""
    found = trend(falling(range(0, 40, 2)))
    assert found.leaves is not None
    assert found.leaves.outside
    assert next_test(found, day(38.1), day(50), TWO) == day(39)
    assert next_test(found, day(39.5), None, TWO) == day(39.5)


def test_without_a_rule_only_a_forecast_asks_for_a_test() -> None:
    """Neither: nothing."""
    assert next_test(trend([]), day(1), None, TWO) is None
    assert next_test(trend(falling(range(0, 20, 2))), day(18), None, TWO) is not None


# -- what must not matter ------------------------------------------------------------------------------

numbers = st.lists(st.floats(6, 10), min_size=3, max_size=12)


@settings(deadline=None, max_examples=60)
@given(numbers, st.randoms(use_true_random=False))
def test_the_order_of_the_records_does_not_matter(values: list[float], rng: random.Random) -> None:
    """However two devices were merged."""
    records = [took("alk", at, number) for at, number in enumerate(values)] + [
        batch(1.5, 8, 8.1),
        took("salinity", 1, 34),
    ]
    mixed = list(records)
    rng.shuffle(mixed)
    assert trend(mixed) == trend(records)


@settings(deadline=None, max_examples=60)
@given(numbers, st.floats(-2, 2))
def test_a_shift_of_all_values_leaves_the_slope(values: list[float], shift: float) -> None:
    """Only their differences count."""
    first = trend([took("alk", at, number) for at, number in enumerate(values)]).line
    second = trend([took("alk", at, number + shift) for at, number in enumerate(values)]).line
    assert first is not None
    assert second is not None
    assert (second.slope, second.low, second.high) == pytest.approx((first.slope, first.low, first.high), abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(numbers)
def test_the_unit_scales_the_slope(values: list[float]) -> None:
    """2.8039 dKH to the meq/L; the time at which the band is left is the same."""
    dkh = trend([took("alk", at, number) for at, number in enumerate(values)])
    meq = trend([took("alk-meq", at, number) for at, number in enumerate(values)], "alk-meq")
    assert dkh.line is not None
    assert meq.line is not None
    assert meq.unit == "meq/L"
    assert meq.line.slope * DKH_PER_MEQ == pytest.approx(dkh.line.slope, abs=1e-9)


# -- many values and the records that bear on them -----------------------------------------------------


def test_five_years_take_no_time() -> None:
    """Six values a day, joined by weeks; the bound is generous, for any machine."""
    rng = random.Random(5)
    records = [took("temp", at / 6, 25 + 0.0005 * at / 6 + rng.gauss(0, 0.2)) for at in range(6 * 1826)]
    begin = time.perf_counter()
    found = trend(records, "temp", now=2000, window=1e6)
    took_so_long = time.perf_counter() - begin
    assert len(found.used) == 6 * 1826
    assert found.joined == DAY
    assert found.line is not None
    assert found.line.low <= 0.0005 * 1.8 <= found.line.high
    assert took_so_long < 3
    print(f"five years: {took_so_long:.2f} s")


def test_twenty_years_are_joined_by_weeks() -> None:
    """Daily medians would still be too many."""
    records = [took("temp", at, 25.0 + (at % 7) / 10) for at in range(7300)]
    found = trend(records, "temp", now=8000, window=1e6)
    assert found.joined == 7 * DAY
    assert found.line is not None
    assert found.line.pairs < MOST_PAIRED**2 / 2


def test_the_records_that_bear_on_a_reading() -> None:
    """Its own, its instrument's, the dosing's and the salinity's; struck ones and others do not."""
    alk = ROOM.readings["reef/alk"]
    slip = took("alk", 1, 8)
    wanted = [took("alk", 2, 8), batch(3), batch(4, task="reef/solution"), took("salinity", 5, 35)]
    others = [took("temp", 1, 25), took("no3", 2, 5), batch(3, task="reef/barrel"), slip, strike(slip, day(2))]
    known = History([*others, *wanted])
    assert standing_records(known, bearing_on(ROOM, alk), known.struck) == wanted
