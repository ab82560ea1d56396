"""Where a value lies beside its band, its act-now limits and its rate of change, and what is said about it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from rounds.core.bands import advice, moved, parse_rate, standing, steps
from rounds.core.entry import read_entry
from rounds.core.eos80 import salinity_of_gravity
from rounds.core.errors import CannotRead, Refused
from rounds.core.history import History
from rounds.core.model import Instrument
from rounds.core.record import CHANGE_STEP, Value
from rounds.core.recording import draft_closing, draft_instrument_step, finish
from rounds.water.seawater import practical_salinity
from tests.support import head, instant, record, room_from, strike

REEF = """name = "Reef"
[[readings]]
id = "alk"
name = "alkalinity"
quantity = "alkalinity"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_high = "10.0 dKH"
act_steps = ["check the containers"]
rate = "0.5 dKH in 24 hours"
again_after = "2 days"
instrument = "kit"
[[readings]]
id = "temp"
name = "temperature"
quantity = "temperature"
low = "24.5 °C"
high = "26.0 °C"
act_low = "23.0 °C"
act_high = "27.0 °C"
act_steps = ["unplug the stuck heater"]
rate = "1.0 °C in 3 hours"
called = true
[[readings]]
id = "no3"
name = "nitrate"
quantity = "nitrate"
low = "2 mg/L"
act_low = "0.5 mg/L"
act_high = "30 mg/L"
act_low_after = 2
again_after = "7 days"
[[readings]]
id = "po4"
quantity = "phosphate"
rate = "fall of 0.02 mg/L in 24 hours"
called = true
[[readings]]
id = "sal"
name = "salinity"
quantity = "salinity"
instrument = "prism"
called = true
[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"
reserve = "25 L"
[[instruments]]
id = "kit"
kind = "test kit"
name = "alkalinity kit"
batch = "2026-A"
opened = 2026-01-05
expires = 2026-03-01
[[instruments]]
id = "prism"
kind = "refractometer"
reference = "SG 25/25"
"""
ROOM = room_from(head(), reef=REEF)
ALK, TEMP, NO3, PO4, SAL = (ROOM.readings[f"reef/{id}"] for id in ("alk", "temp", "no3", "po4", "sal"))
NOW = instant("2026-03-04T12:00")


def value(reading, text):
    return read_entry(text, [reading]).values[0]


def took(reading, text, at, **fields):
    """A record of the reading, invented."""
    return record("reading", reading.id, at, values=(value(reading, text),), **fields)


def said(reading, text, *earlier, at=NOW):
    """The sentences about a value entered after the earlier records."""
    return draft_closing(ROOM, History(earlier), ROOM.tasks[reading.id], text, at).standings


# -- the band ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "act", "sentence"),
    [
        (8.0, None, None),
        (7.5, None, None),
        (7.4, False, "7.4 dKH is below the usual 7.5 to 8.6 dKH"),
        (8.7, False, "8.7 dKH is above the usual 7.5 to 8.6 dKH"),
        (6.5, False, "6.5 dKH is below the usual 7.5 to 8.6 dKH"),
        (6.4, True, "6.4 dKH is below the act-now limit of 6.5 dKH"),
        (10.1, True, "10.1 dKH is above the act-now limit of 10.0 dKH"),
    ],
)
def test_where_a_value_stands(number, act, sentence):
    """Inside the band nothing, outside the band, beyond the act-now limit; the limits themselves are inside."""
    found = standing(ALK, value(ALK, f"{number} dKH"))
    assert (found and found.act, found and found.sentence) == (act, sentence)


@pytest.mark.parametrize(
    ("text", "outside"),
    [("<6 dKH", True), ("<8 dKH", False), ("<9 dKH", False), (">9 dKH", True), (">8 dKH", False), (">7 dKH", False)],
)
def test_a_bound_is_outside_only_when_it_must_be(text, outside):
    """Less than 9 may be 8, more than 7 too; less than 6 is not."""
    assert (standing(ALK, value(ALK, text)) is not None) is outside


@pytest.mark.parametrize(("text", "act"), [("<6.5 dKH", True), (">10 dKH", True), ("<7.5 dKH", False)])
def test_a_bound_at_a_limit_lies_beyond_it(text, act):
    """What is less than the limit is not the limit."""
    assert standing(ALK, value(ALK, text)).act is act


def test_a_value_without_a_number_stands_nowhere():
    """Kept from elsewhere."""
    assert standing(ALK, Value(reading=ALK.id)) is None
    assert moved(ALK, Value(reading=ALK.id), NOW, ()) is None


# -- what follows --------------------------------------------------------------------------------------


def test_out_of_band_asks_for_a_test_after_half_of_its_interval():
    """Two days become one; a concern is offered with it."""
    (found,) = said(ALK, "7.4 dKH")
    assert found.retest_at == NOW + timedelta(days=1)
    assert advice([found], ROOM.calendar, NOW) == ["Test again by tomorrow 12:00; open a concern if it stays so."]
    assert (found.reading, found.steps, found.second_method) == (ALK.id, (), False)


def test_a_rare_test_is_repeated_within_three_days():
    """Half of a week would be three and a half."""
    (found,) = said(NO3, "1.5")
    assert found.retest_at == NOW + timedelta(days=3)


def test_beyond_an_act_now_limit_asks_for_a_second_method_first():
    """The steps kept with the limit come with it."""
    (found,) = said(ALK, "6.1 dKH")
    assert (found.act, found.second_method, found.steps) == (True, True, ("check the containers",))
    assert advice([found], ROOM.calendar, NOW) == ["Test again with a second method before acting."]


def test_for_temperature_acting_comes_first():
    """A stuck heater does not wait for a second thermometer."""
    (found,) = said(TEMP, "27.4")
    assert (found.act, found.second_method) == (True, False)
    assert advice([found], ROOM.calendar, NOW) == ["Act first, then measure again."]


def test_a_low_barrel_is_not_tested_again():
    """A level is what it is."""
    task = ROOM.tasks["reef/barrel-refill"]
    (found,) = draft_closing(ROOM, History(), task, "20 L", NOW).standings
    assert found.retest_at is None
    assert advice([found], ROOM.calendar, NOW) == []


# -- tests in a row ------------------------------------------------------------------------------------


def test_one_test_beyond_a_limit_that_wants_two():
    """It is said, and does not count yet."""
    (found,) = said(NO3, "0.4", took(NO3, "0.6", "2026-02-25T09:00"))
    assert not found.act
    assert found.sentence == "0.4 mg/L is below the act-now limit of 0.5 mg/L, which counts on 2 tests in a row"


@pytest.mark.parametrize("before", ["0.3", "<0.5"])
def test_the_second_test_in_a_row_counts(before):
    """Also when the first lay beyond the kit's limit."""
    (found,) = said(NO3, "0.4", took(NO3, before, "2026-02-25T09:00"))
    assert found.act


def test_one_test_above_the_upper_limit_counts():
    """Only what is too low may be the kit's own limit."""
    (found,) = said(NO3, "31", took(NO3, "5", "2026-02-25T09:00"))
    assert (found.act, found.sentence) == (True, "31.0 mg/L is above the act-now limit of 30.0 mg/L")


def test_a_better_test_between_breaks_the_row():
    """Only the one before it is asked."""
    earlier = [took(NO3, "0.3", "2026-02-18T09:00"), took(NO3, "1.0", "2026-02-25T09:00")]
    assert not said(NO3, "0.4", *earlier)[0].act


def test_a_struck_test_is_not_in_the_row():
    """It is taken out of account."""
    slip = took(NO3, "0.3", "2026-02-25T09:00")
    assert not said(NO3, "0.4", slip, strike(slip, "2026-02-25T09:05"))[0].act


# -- how fast ------------------------------------------------------------------------------------------


def test_a_rise_faster_than_the_rate():
    """Told with how much in how long; it asks for acting like a limit."""
    (found,) = said(TEMP, "25.9", took(TEMP, "24.5", "2026-03-04T10:00"))
    assert found.sentence == "rose 1.4 °C in 2 hours, more than 1.0 °C in 3 hours"
    assert (found.act, found.steps) == (True, ("unplug the stuck heater",))


def test_a_difference_is_no_temperature():
    """77.0 °F to 79.0 °F is 1.1 °C; a difference converts without the offset of 32."""
    (found,) = said(TEMP, "78.8F", took(TEMP, "76.6F", "2026-03-04T11:00"))
    assert found.sentence == "rose 1.2 °C in 1 hour, more than 1.0 °C in 3 hours"


@pytest.mark.parametrize(
    ("before", "at"),
    [
        ("24.8", "2026-03-04T10:00"),
        ("24.9", "2026-03-04T10:00"),
        ("24.5", "2026-03-04T08:59"),
        ("<24", "2026-03-04T11:00"),
    ],
    ids=["just the rate", "less", "longer ago", "a bound"],
)
def test_no_faster_than_the_rate(before, at):
    """Exactly the rate is allowed; what lies further back does not count, nor what is no number."""
    assert said(TEMP, "25.8", took(TEMP, before, at)) == ()


def test_the_greatest_change_within_the_span_is_told():
    """Not the last one."""
    earlier = [took(TEMP, "24.5", "2026-03-04T09:30"), took(TEMP, "24.8", "2026-03-04T11:00")]
    assert said(TEMP, "25.9", *earlier)[0].sentence.startswith("rose 1.4 °C in 2 hours")


def test_a_rate_of_one_direction_lets_the_other_pass():
    """Phosphate: only its fall."""
    before = took(PO4, "0.06", "2026-03-04T09:00")
    assert [found.sentence for found in said(PO4, "0.03", before)] == [
        "fell 0.03 mg/L in 3 hours, more than 0.02 mg/L in 24 hours"
    ]
    assert said(PO4, "0.09", before) == ()


def test_both_the_limit_and_the_rate_are_told():
    """Each has its own sentence."""
    found = said(ALK, "6.1 dKH", took(ALK, "7.0 dKH", "2026-03-04T08:00"))
    assert [each.sentence.split(",")[0] for each in found] == [
        "6.1 dKH is below the act-now limit of 6.5 dKH", "fell 0.9 dKH in 4 hours",
    ]  # fmt: skip


def test_what_to_do_is_said_once():
    """However many reasons there are."""
    found = said(ALK, "6.1 dKH", took(ALK, "7.0 dKH", "2026-03-04T08:00"))
    assert len(found) == 2
    assert advice(found, ROOM.calendar, NOW) == ["Test again with a second method before acting."]
    assert steps(found) == ["check the containers"]


@pytest.mark.parametrize(
    ("quantity", "text", "canonical", "within"),
    [
        ("temperature", "1.0 °C in 3 hours", 1.0, timedelta(hours=3)),
        ("temperature", "1.8 °F in 1 day", 1.0, timedelta(days=1)),
        ("pH", "0.2 in 24 hours", 0.2, timedelta(days=1)),
        ("redox", "fall of 100 mV in 1 day", 100.0, timedelta(days=1)),
        ("salinity", "0.5 PSU in 24 hours", 0.5, timedelta(days=1)),
    ],
)
def test_a_rate_is_read(quantity, text, canonical, within):
    """A degree Fahrenheit is five ninths of a degree Celsius (exact)."""
    found = parse_rate(quantity, text)
    assert (found.change.canonical, found.within.nominal) == (pytest.approx(canonical), within)


@pytest.mark.parametrize(
    ("quantity", "text"),
    [
        ("temperature", "1.0 °C"),
        ("temperature", "fast"),
        ("temperature", "1.0 in 3 hours"),
        ("temperature", "1.0 dKH in 3 hours"),
        ("temperature", "1.0 °C in a while"),
        ("temperature", "0 °C in 3 hours"),
        ("salinity", "0.001 SG 20/20 in 1 day"),
    ],
)
def test_what_is_no_rate_is_refused(quantity, text):
    """With the remedy in the sentence."""
    with pytest.raises(CannotRead):
        parse_rate(quantity, text)


# -- instruments ---------------------------------------------------------------------------------------


def test_an_expired_kit_is_said_with_the_value():
    """A remark, no question: the value is recorded."""
    draft = draft_closing(ROOM, History(), ROOM.tasks[ALK.id], "8.0 dKH", NOW)
    assert draft.questions == ()
    (remark,) = draft.remarks
    assert remark.startswith("the alkalinity kit (batch 2026-A) was good until Sun 1 Mar 2026; open a new one")


def test_a_kit_is_good_on_its_last_day():
    """Until it ends."""
    draft = draft_closing(ROOM, History(), ROOM.tasks[ALK.id], "8.0 dKH", instant("2026-03-01T18:00"))
    assert draft.remarks == ()


def test_the_instruments_are_read_whole():
    """Each under its full id."""
    assert ROOM.instruments["reef/kit"] == Instrument(
        id="reef/kit", system="reef", kind="test kit", name="alkalinity kit", batch="2026-A",
        opened=date(2026, 1, 5), expires=date(2026, 3, 1),
    )  # fmt: skip
    assert ALK.instrument == "reef/kit"
    assert ROOM.instruments["reef/prism"].reference == "SG 25/25"


def test_specific_gravity_alone_is_that_of_the_refractometer():
    """The room shows PSU, where SG alone would have no reference."""
    draft = draft_closing(ROOM, History(), ROOM.tasks[SAL.id], "1.0264 SG", NOW, seawater=practical_salinity)
    assert draft.values[0].value == pytest.approx(salinity_of_gravity(1.0264, 25, 25))


def test_a_step_of_the_instrument_keeps_both_values_under_it():
    """So that they do not count as a test of the water."""
    draft = draft_instrument_step(ROOM, ALK, NOW, batch="2026-B", old="8.3 dKH", new="8.05 dKH", note="same water")
    step = finish(draft, id="1", by="TV", device="tablet", recorded=NOW, room=ROOM)
    assert (step.kind, step.task, step.reason, step.note) == (CHANGE_STEP, "reef/kit", "new batch 2026-B", "same water")
    assert [(each.reading, each.entered) for each in step.values] == [("reef/kit", "8.3 dKH"), ("reef/kit", "8.05 dKH")]
    assert History([step]).valued(ALK.id).last(NOW) is None


def test_a_step_without_an_instrument_is_of_the_reading():
    """It can be recorded, but not with two values."""
    assert draft_instrument_step(ROOM, TEMP, NOW).task == TEMP.id
    with pytest.raises(Refused, match="names no instrument"):
        draft_instrument_step(ROOM, TEMP, NOW, old="25", new="25.4")


@pytest.mark.parametrize(
    "sides", [{"old": "8.3"}, {"new": "8.3"}, {"old": "8.3", "new": "<8"}, {"old": "8.3", "new": "low"}]
)
def test_old_and_new_are_both_numbers(sides):
    """Otherwise there is no difference to take out."""
    with pytest.raises(Refused):
        draft_instrument_step(ROOM, ALK, NOW, batch="2026-B", **sides)
