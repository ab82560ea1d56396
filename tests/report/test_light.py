"""The light over a system by its records, and its steps as records."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from rounds.core.errors import RoundsError
from rounds.core.history import History
from rounds.core.record import Record, Value
from rounds.core.recording import Draft, finish
from rounds.core.staged import steps
from rounds.report.light import (
    LightState,
    draft_light_held,
    draft_light_step,
    draft_light_taken_back,
    light_lines,
    light_state,
    wanted_integral,
)
from tests.support import done, head, instant, measured, record, room_from

REEF = """name = "Reef"

[[stations]]
id = "racks"

[[tasks]]
id = "look"
title = "Look over the animals"
station = "racks"
again_after = "1 day"
animals_seen = true

[[tasks]]
id = "carbon"
title = "Renew carbon"
again_after = "1 month"
light_step = true

[[tasks]]
id = "wipe"
title = "Wipe lenses"
again_after = "14 days"
light_step = true

[[tasks]]
id = "check"
title = "Compare light"
again_after = "1 day"
light_check = "lights"

[[readings]]
id = "par"
quantity = "light"

[[lights]]
id = "lights"
station = "racks"
begins = "10:00"
ramp_up = "2 hours"
plateau = "6 hours"
ramp_down = "2 hours"
measured = "par"
channels = [{ name = "blue", peak = "60 %" }, { name = "white", peak = "30 %" }]
"""
NOW = instant("2026-03-31T11:00")
DAY = timedelta(days=1)
ROOM = room_from(head(), reef=REEF)
LIGHTS = ROOM.lights["reef/lights"]
LOOK = done("reef/look", NOW - DAY / 2)
PAR = measured("reef/par", NOW - DAY, 200)


def state(*records: Record) -> LightState:
    return light_state(ROOM, History(records), LIGHTS, NOW)


def kept(draft: Draft, id: str) -> Record:
    return finish(draft, id=id, by="TV", device="test", recorded=draft.at, room=ROOM)


def step(days: float, before: float = 5.0, after: float = 5.5) -> Record:
    return kept(draft_light_step(LIGHTS, before, after, NOW - days * DAY), f"step-{days}")


def par_step(days: float, shown: float) -> Record:
    """A step written down with its PAR reading alone."""
    values = (Value(reading="reef/par", entered=f"{shown:g}", value=shown, unit="µmol/m2/s"),)
    return record("change step", None, NOW - days * DAY, system="reef", values=values)


def test_the_integral_comes_from_the_last_reading() -> None:
    """200 × 8 h × 3600 s = 5.76 mol; at most a tenth more after the next step."""
    found = state(measured("reef/par", NOW - 9 * DAY, 180), PAR, LOOK)
    assert found.integral == pytest.approx(5.76)
    assert found.highest == pytest.approx(5.76 * 1.1)
    assert found.verdict.may_rise


def test_steps_of_every_sort_are_on_one_list() -> None:
    """Of the programme, with a PAR reading alone, and new carbon; held ones change nothing."""
    held = kept(draft_light_held(LIGHTS, 5.5, None, NOW - 9 * DAY, "pale"), "held")
    records = (step(20), par_step(15, 160), par_step(12, 172), held, done("reef/carbon", NOW - 3 * DAY), LOOK, PAR)
    found = state(*records)
    assert [(each.said, each.planned) for each in found.steps] == [
        ("light up 10 %", True), ("light up 7 %", True), ("Renew carbon (counts as a light step)", False),
    ]  # fmt: skip
    assert not found.verdict.may_rise
    assert found.verdict.why.startswith("wait until Sat 4 Apr: Renew carbon")


def test_paling_holds_the_rise() -> None:
    pale = record("note", None, NOW - 2 * DAY, system="reef", station="racks", note="tips pale", words=("pale",))
    other = record("note", None, NOW - DAY, system="larval", note="pale", words=("pale",))
    passed_on = record("handover", None, NOW - DAY, system="reef", note="pale", words=("pale",))
    verdict = state(PAR, LOOK, pale, other, passed_on).verdict
    assert (verdict.may_rise, verdict.until, verdict.records) == (False, NOW + 12 * DAY, (pale.id,))


def test_a_step_taken_back_names_the_step() -> None:
    made = step(5)
    (found,) = steps(History([made]), LIGHTS.id, NOW)
    back = kept(draft_light_taken_back(LIGHTS, found, NOW - DAY, "pale on racks 2 and 4"), "back")
    assert (back.ref, back.note) == (made.id, "light step taken back, 5.50 to 5.00 mol/m2 a day: pale on racks 2 and 4")
    assert [each.outcome for each in steps(History([made, back]), LIGHTS.id, NOW)] == ["made", "taken back"]


def test_a_hold_says_until_when() -> None:
    until: datetime = NOW + 14 * DAY
    held = kept(draft_light_held(LIGHTS, 5.5, until, NOW, "pale"), "held")
    assert (held.until, held.note) == (until, "light held at 5.50 mol/m2 a day: pale")
    assert [each.outcome for each in steps(History([held]), LIGHTS.id, NOW)] == ["held"]


def test_what_is_done_every_fortnight_is_a_routine_step() -> None:
    """On the list all the same; new carbon once a month is none."""
    found = state(done("reef/carbon", NOW - 9 * DAY), done("reef/wipe", NOW - 3 * DAY), LOOK, PAR)
    assert [(step.what, step.routine) for step in found.steps] == [("Renew carbon", False), ("Wipe lenses", True)]
    assert found.verdict.may_rise


def test_a_hold_keeps_the_light_from_rising_until_its_time_or_a_later_step() -> None:
    """Looked over and measured, it might rise; what a keeper said comes first."""
    made = kept(draft_light_held(LIGHTS, 5.76, NOW + 2 * DAY, NOW - 3 * DAY, "new frags"), "held")
    verdict = state(PAR, LOOK, made).verdict
    assert (verdict.may_rise, verdict.until, verdict.records) == (False, NOW + 2 * DAY, (made.id,))
    assert verdict.why == "held until Thu 2 Apr by TV: light held at 5.76 mol/m2 a day: new frags"
    past = kept(draft_light_held(LIGHTS, 5.76, NOW, NOW - 3 * DAY, "new frags"), "past")
    assert state(PAR, LOOK, past).verdict.may_rise
    lowered = kept(draft_light_step(LIGHTS, 5.76, 5.2, NOW - 2 * DAY), "lowered")
    assert state(PAR, LOOK, made, lowered).verdict.may_rise


@pytest.mark.parametrize(("days", "until"), [(2, 12), (12, 12), (20, 20)])
def test_a_hold_by_a_keeper_and_one_after_paling_last_as_long_as_the_longer(days: int, until: int) -> None:
    pale = record("note", None, NOW - 2 * DAY, system="reef", station="racks", note="tips pale", words=("pale",))
    made = kept(draft_light_held(LIGHTS, 5.76, NOW + days * DAY, NOW - DAY, "new frags"), "held")
    verdict = state(PAR, LOOK, pale, made).verdict
    assert (verdict.may_rise, verdict.until) == (False, NOW + until * DAY)


def test_the_step_to_take_back_is_the_last_one_that_stands() -> None:
    first, second = step(12), step(5, 5.5, 6.0)
    found = state(first, second)
    assert found.staged is not None
    assert found.staged.record.id == second.id
    back = kept(draft_light_taken_back(LIGHTS, found.staged, NOW - DAY, "pale"), "back")
    again = state(first, second, back).staged
    assert again is not None
    assert again.record.id == first.id


@pytest.mark.parametrize(("typed", "wanted"), [("6.3", 6.3), ("6,34", 6.34), (" 2 ", 2.0), ("0", 0.0)])
def test_light_after_a_step_is_taken_within_its_bound(typed: str, wanted: float) -> None:
    assert wanted_integral(state(PAR, LOOK), typed) == wanted


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("6.35", "6.35 mol/m2 a day is more than 10 % above 5.76; write at most 6.34"),
        ("-0.1", "'-0.1' is no amount of light"),
        ("inf", "'inf' is no amount of light"),
        ("", "'' is no amount of light"),
    ],
)
def test_light_beyond_its_bound_is_refused(typed: str, said: str) -> None:
    with pytest.raises(RoundsError, match=said):
        wanted_integral(state(PAR, LOOK), typed)


def test_without_a_reading_nothing_is_known() -> None:
    found = state(LOOK)
    assert (found.integral, found.highest) == (None, None)
    assert found.verdict.why == "a PAR reading is missing: do that first"
    assert any("no PAR reading" in line for line in light_lines(ROOM, found))


def test_lines() -> None:
    found = state(step(20), PAR, LOOK)
    lines = light_lines(ROOM, found)
    assert lines[0] == "lights, 11:00: ramping up, blue 30 %, white 15 %"
    assert lines[1].startswith("  200 µmol/m2/s read on Mon 30 Mar = 5.76 mol/m2 a day")
    assert lines[-1] == "  at most 6.34 mol/m2 a day after the next step; down at once, any amount"
