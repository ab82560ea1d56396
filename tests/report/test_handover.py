"""What the report of a shift says of changes in steps, drifting values, equipment out of service and names."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.items import Forecast
from rounds.core.record import BACK_TO_NORMAL, CHANGE_STEP, OFF_NORMAL
from rounds.core.recording import finish
from rounds.core.shifts import duty_at
from rounds.core.staged import Setting, draft_step
from rounds.report.handover_sections import shift_report
from rounds.report.light import draft_light_held, draft_light_step
from rounds.report.readings import Past
from tests.report.test_light import LIGHTS, LOOK, PAR
from tests.report.test_light import ROOM as LIT
from tests.support import done, head, instant, measured, not_needed, postponed, record, room_from

NOW = instant("2026-03-31T11:00")
DAY = timedelta(days=1)
SHIFTS = """[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"
[[shifts]]
name = "late"
begins = "12:30"
ends = "19:00"
"""
REEF = """name = "Reef"
volume = "900 L"
[[stations]]
id = "sump"
name = "Sump"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "1 day"
equipment = "skimmer"
[[tasks]]
id = "meal"
station = "sump"
title = "Feed"
rrule = "FREQ=DAILY"
at = ["08:00", "14:00", "16:00"]
make_up = false
equipment = "skimmer"
[[tasks]]
id = "late"
station = "sump"
title = "Late work"
again_after = "1 week"
shift = "late"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
unit = "dKH"
station = "sump"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
[[reservoirs]]
id = "soda"
name = "soda solution"
kind = "dosing"
station = "sump"
capacity = "5 L"
doses = "alkalinity"
strength = "1.0 meq/mL"
[[equipment]]
id = "skimmer"
name = "skimmer"
kind = "skimmer"
care = false
station = "sump"
"""
ROOM = room_from(head(SHIFTS), reef=REEF)


def texts(section, records, now=NOW, *, room=ROOM, forecasts=(), shift=None, kind="shift"):
    """The lines of one section, ``!`` before what stands out."""
    records = list(records)
    report = shift_report(
        room, History(records), now, duty_at(room, now, shift), kind, forecasts,
        lambda system: Past(each for each in records if each.system == system), None,
    )  # fmt: skip
    return [f"{'!' if line.strong else ''}{line.text}" for line in report.section(section)]


def kept(draft, room, number):
    return finish(draft, id=f"step-{number}", by="TV", device="test", recorded=draft.at, room=room)


# -- levels ----------------------------------------------------------------------------------------


def soda(litres):
    """A level a day, the last of them this morning."""
    begin = NOW - (len(litres) - 1) * DAY - timedelta(hours=2)
    return [measured("reef/soda-level", begin + n * DAY, each) for n, each in enumerate(litres)]


def test_a_container_that_falls_otherwise_than_usual_is_told():
    """70 mL a day for twelve days, and since yesterday nothing: the next keeper has to look at its head."""
    falling = [4.0 - 0.07 * n for n in range(13)]
    (told,) = texts("out_of_band", soda([*falling, falling[-1]]))
    assert told.startswith("!Reef, Sump, soda solution: Low use: 3.16 L yesterday 09:00 to 3.16 L 09:00 is 0 mL a day")
    (system,) = texts("systems", soda([*falling, falling[-1]]))
    assert "soda solution level" in system
    assert "out of the ordinary" in system
    assert texts("out_of_band", soda(falling)) == []


# -- changes in steps ------------------------------------------------------------------------------


def test_a_light_step_with_what_may_come_next():
    step = kept(draft_light_step(LIGHTS, 4.0, 4.4, NOW - 3 * DAY), LIT, 1)
    assert texts("staged", [LOOK, PAR, step], room=LIT) == [
        "Reef, lights: light up 10 % Sat 28 Mar 11:00; next: wait until Sat 4 Apr: light up 10 % on Sat 28 Mar"
    ]


def test_a_step_of_long_ago_is_not_told():
    step = kept(draft_light_step(LIGHTS, 4.0, 4.4, NOW - 15 * DAY), LIT, 1)
    assert texts("staged", [LOOK, PAR, step], room=LIT) == []
    held = kept(draft_light_held(LIGHTS, 4.4, NOW + 5 * DAY, NOW - DAY, "paling"), LIT, 2)
    assert texts("staged", [LOOK, PAR, held], room=LIT) == []  # a step that was not made has no next


def dose(before, after, at, **fields):
    setting = [Setting(value / 1000, "L/day", f"{value} mL/day") for value in (before, after)]
    what = ("reef/soda", "reef", "sump")
    return kept(draft_step(what, *setting, at, "alkalinity falls", **fields), ROOM, f"{before}-{after}")


def test_a_step_of_a_dose():
    assert texts("staged", [dose(60, 65, NOW - 2 * DAY)]) == [
        "Reef, soda solution: made, 60 mL/day to 65 mL/day Sun 29 Mar 11:00 by TV: alkalinity falls; "
        "next: test before another step"
    ]


def test_a_dose_that_was_held_says_until_when():
    (line,) = texts("staged", [dose(65, 65, NOW - 2 * DAY, until=NOW + DAY)])
    assert line.startswith("Reef, soda solution: held at 65 mL/day until tomorrow 11:00 Sun 29 Mar 11:00 by TV")


# -- values ----------------------------------------------------------------------------------------


def alkalinity(*meq, by="TV"):
    """One value a day up to this morning, meq/L; 7.5 dKH is 2.675."""
    last = len(meq) - 1
    return [
        measured("reef/alkalinity", NOW - (last - place) * DAY - timedelta(hours=3), value, by)
        for place, value in enumerate(meq)
    ]


def test_a_value_out_of_its_band_with_its_trend():
    (line,) = texts("out_of_band", alkalinity(2.8, 2.76, 2.72, 2.68, 2.64, 2.60))
    assert line == ("Reef, alkalinity: 7.3 dKH, below its band (band 7.5 to 8.6 dKH); 08:00 TV; falling 0.11 a day")


def test_a_value_to_act_on_stands_out():
    (line,) = texts("out_of_band", alkalinity(2.8, 2.2))
    assert line.startswith("!Reef, alkalinity: 6.2 dKH, act now: below 6.5 dKH")


def test_a_value_in_its_band_that_leaves_it_in_the_next_shift_is_told():
    """Falling by 0.2 meq/L a day from 2.70: a ninth of a day or so, with the late shift until 19:00."""
    (line,) = texts("out_of_band", alkalinity(3.7, 3.5, 3.3, 3.1, 2.9, 2.70))
    assert line.startswith("Reef, alkalinity: 7.6 dKH, leaves in about")
    assert texts("out_of_band", alkalinity(2.95, 2.9, 2.85, 2.8, 2.75, 2.72)) == []


# -- what comes ------------------------------------------------------------------------------------


def test_each_time_until_the_next_shift_ends():
    """Both meals of the afternoon on one line; tomorrow's is the next but one's."""
    lines = texts("next_due", [done("reef/meal", "2026-03-31T08:05"), done("reef/cup", "2026-03-31T08:05")])
    assert lines == ["Reef, Sump: Feed: 14:00, 16:00"]


def test_each_time_of_tomorrow_where_the_next_shift_is_tomorrow():
    records = [done("reef/meal", f"2026-03-31T{hour}:05") for hour in ("08", "14", "16")]
    records += [done("reef/cup", "2026-03-31T08:05"), done("reef/late", "2026-03-31T14:00")]
    lines = texts("next_due", records, instant("2026-03-31T18:50"))
    assert lines == ["Reef, Sump: Rinse the cup: tomorrow 04:00", "Reef, Sump: Feed: tomorrow 08:00"]


def test_work_of_the_next_shift_is_not_left_by_this_one():
    """Due at 12:30 with the late shift, at 12:45 it is the late one's to do, not the early one's not done."""
    records = [done("reef/late", "2026-03-24T14:00"), done("reef/cup", "2026-03-31T08:05")]
    now = instant("2026-03-31T12:45")
    assert "Reef, Sump: Late work: 12:30" in texts("next_due", records, now)
    assert not any("Late work" in line for line in texts("not_done", records, now))
    put_off = postponed("reef/late", "2026-03-31T12:40", "2026-03-31T17:00", reason="pump on loan")
    assert texts("not_done", [*records, put_off], now)[-1] == (
        "Reef, Sump: Late work: postponed to 17:00 by TV: pump on loan; it was due 12:30"
    )


def test_what_was_put_off_and_not_done_then_keeps_its_reason():
    """When the time has passed too; not what was said of an earlier meal, nor before it was done last."""
    records = [done("reef/late", "2026-03-22T14:00"), done("reef/cup", "2026-03-31T08:05")]
    put_off = postponed("reef/late", "2026-03-30T16:00", "2026-03-30T18:00", reason="pump on loan")
    (late,) = (line for line in texts("not_done", [*records, put_off]) if "Late work" in line)
    assert late.endswith("due Sun 29 Mar 12:30; was postponed to yesterday 18:00 by TV: pump on loan")
    meal = postponed("reef/meal", "2026-03-30T16:10", "2026-03-30T16:30", reason="no feed")
    before = postponed("reef/late", "2026-03-22T13:00", "2026-03-22T13:30", reason="pump on loan")
    assert not any("postponed" in line for line in texts("not_done", [*records, meal, before]))


def test_a_refill_that_comes_due_before_the_next_shift_ends():
    def forecast(due, fine, **fields):
        return Forecast(task="reef/soda-refill", due_at=instant(due), fine_until=instant(fine), why="Low.", **fields)

    late = forecast("2026-03-30T12:30", "2026-03-31T10:00", importance="life support")
    assert texts("refills", [], forecasts=[late]) == ["!Reef, Sump: Refill the soda solution, was due 10:00; Low."]
    soon = forecast("2026-03-31T18:00", "2026-04-01T10:00")
    assert texts("refills", [], forecasts=[soon]) == ["Reef, Sump: Refill the soda solution, by tomorrow 10:00; Low."]
    assert texts("refills", [], forecasts=[forecast("2026-04-01T12:30", "2026-04-02T10:00")]) == []
    refilled = forecast("2026-03-31T07:00", "2026-03-31T10:00", closed=True)
    assert texts("refills", [], forecasts=[refilled]) == []


# -- out of service, missed, done ------------------------------------------------------------------


def off(at, until):
    return record(OFF_NORMAL, "reef/skimmer", at, words=("off",), until=until, reason="new pump")


def test_equipment_out_of_service_is_shown_as_such():
    """What it is needed for is neither late nor missed, and asks no answer."""
    records = [done("reef/cup", "2026-03-27T08:05"), done("reef/late", "2026-03-30T14:00"),
               off("2026-03-28T09:00", "2026-04-02T09:00")]  # fmt: skip
    assert texts("not_done", records) == [
        "Reef, Sump: Rinse the cup: not in service: skimmer is off",
        "Reef, Sump: Feed: not in service: skimmer is off",
    ]
    assert texts("missed", records, instant("2026-04-01T06:00")) == []


def test_what_lapsed_before_the_shift_was_told_before():
    """A meal lapses when the next window begins, the last of a day with its round day: each is told once."""
    records = [record(BACK_TO_NORMAL, "reef/skimmer", "2026-03-01T08:00"), done("reef/meal", "2026-03-30T14:05")]
    evening, morning = instant("2026-03-30T18:50"), NOW
    assert texts("missed", records, instant("2026-03-30T12:45")) == [
        "Reef, Sump: Feed: missed yesterday 16:00",
        "Reef, Sump: Feed: missed 08:00",
    ]
    assert texts("missed", records, evening) == []
    assert texts("missed", records, morning) == ["Reef, Sump: Feed: missed yesterday 16:00"]


def test_what_was_done_in_the_night_is_not_lost():
    """By who was on call, between the late shift and the early one: the early one tells it, the late one cannot."""
    night = done("reef/cup", "2026-03-30T23:10", "XY", note="overflowing")
    late, early = (texts("done", [night], at)[1:] for at in (instant("2026-03-30T18:50"), NOW))
    assert late == []
    assert early == ["yesterday 23:10 Reef: XY done: Rinse the cup; overflowing"]


def test_a_change_and_what_was_not_needed_are_told():
    records = [not_needed("reef/cup", "2026-03-31T08:00", reason="dry"), dose(60, 65, NOW - DAY / 24)]
    assert texts("done", records)[1:] == [
        "08:00 Reef: TV not needed: Rinse the cup; dry",
        "10:00 Reef: TV change step: soda solution; 60 mL/day, 65 mL/day; alkalinity falls",
    ]


def test_values_of_a_step_are_of_its_kind():
    """What the lines of a dose stand on."""
    assert dose(60, 65, NOW).kind == CHANGE_STEP


@pytest.mark.parametrize(("kind", "next_ends"), [("shift", "12:30 to 19:00"), ("mid-shift", "goes on until 13:00")])
def test_who_comes_next(kind, next_ends):
    assert next_ends in texts("next", [], kind=kind)[0]
