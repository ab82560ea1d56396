"""What is changed in steps: listed with what it may affect, and a hold proposed where something turned worse."""

from __future__ import annotations

from datetime import datetime

import pytest

from rounds.core.history import History
from rounds.core.record import NOTE, Record
from rounds.core.recording import Draft, finish
from rounds.core.staged import (
    HELD,
    MADE,
    TAKEN_BACK,
    Setting,
    draft_hold,
    draft_step,
    draft_taken_back,
    last_made,
    steps,
)
from rounds.report.light import draft_light_held, draft_light_step
from rounds.report.past import Past
from rounds.report.staged import DOSE, LIGHT, Staged, account, staged_changes, staged_json, staged_text, state_text
from tests.support import head, instant, measured, record, room_from

ROOM = room_from(
    head(),
    reef="""name = "Reef"
volume = "500 L"
[[stations]]
id = "racks"
name = "Racks [1]"
[[readings]]
id = "par"
quantity = "light"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
target = "2.9 meq/L"
low = "2.7 meq/L"
high = "3.1 meq/L"
[[lights]]
id = "lights"
station = "racks"
begins = "10:00"
ramp_up = "2 hours"
plateau = "6 hours"
ramp_down = "2 hours"
measured = "par"
channels = [{ name = "blue", peak = "60 %" }]
[[reservoirs]]
id = "solution"
kind = "dosing"
doses = "alkalinity"
strength = "1.0 meq/mL"
capacity = "5 L"
""",
)
SOLUTION = ("reef/solution", "reef", "")


def at(day: int, month: int = 3) -> datetime:
    return instant(f"2026-{month:02}-{day:02}T09:00")


def kept(draft: Draft, id: str) -> Record:
    return finish(draft, id=id, by="TV", device="test", recorded=draft.at, room=ROOM)


def dosed(day: int, before: float, after: float) -> Record:
    was, will_be = (Setting(dose / 1000, "L/day", f"{dose:g} mL/day") for dose in (before, after))
    return kept(draft_step(SOLUTION, was, will_be, at(day), f"{before:g} to {after:g} mL/day"), f"dose-{day:02}")


def lit(day: int, before: float, after: float) -> Record:
    return kept(draft_light_step(ROOM.lights["reef/lights"], before, after, at(day)), f"light-{day:02}")


def alk(day: int, meq: float) -> Record:
    return measured("reef/alkalinity", at(day), meq)


def seen(day: int, word: str, station: str = "racks") -> Record:
    return record(NOTE, None, at(day), system="reef", station=station, note=f"{word} tips", words=(word,))


def changes(now: datetime, *records: Record) -> dict[str, Staged]:
    found = staged_changes(ROOM, Past(records), ROOM.system["reef"], now)
    return {change.id: change for change in found}


def against(now: datetime, *records: Record, id: str = "reef/solution") -> list[str]:
    return [each.text for each in changes(now, *records)[id].against]


STEP = dosed(9, 70, 77)


def test_lights_are_listed_always_and_doses_once_they_were_changed() -> None:
    assert [each.kind for each in changes(at(12)).values()] == [LIGHT]
    found = changes(at(12), STEP, lit(2, 5, 5.4))
    assert [(each.kind, len(each.steps)) for each in found.values()] == [(LIGHT, 1), (DOSE, 1)]
    assert found["reef/solution"].present == "77 mL/day"


def test_a_reading_that_leaves_its_band_after_a_step_asks_for_a_hold() -> None:
    """Inside before, above after; with no step made for three weeks nothing is said."""
    records = (alk(8, 2.9), STEP, alk(11, 3.2))
    assert against(at(12), *records) == [
        "Alkalinity 3.20 meq/L (Wed 11 Mar) is above its band since the step of Mon 9 Mar"
    ]
    assert against(at(31), *records, alk(30, 3.2)) == []


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [(2.5, 2.6, 0), (2.5, 3.2, 1), (2.9, 2.9, 0), (3.2, 3.3, 0), (2.9, 2.6, 1)],
    ids=["still below", "below to above", "inside", "above already", "fell out"],
)
def test_only_what_left_its_band_speaks_against_it(before: float, after: float, expected: int) -> None:
    """What was out that way before is what the step is for."""
    assert len(against(at(12), alk(8, before), STEP, alk(11, after))) == expected


def test_the_last_test_counts() -> None:
    """Back inside, nothing speaks against going on."""
    assert against(at(13), alk(8, 2.9), STEP, alk(11, 3.2), alk(12, 3.0)) == []


def test_a_bad_word_after_a_step_asks_for_a_hold() -> None:
    assert against(at(12), STEP, seen(11, "retracted")) == [
        "Retracted seen since the step of Mon 9 Mar: Reef, Racks [1] (Wed 11 Mar)"
    ]
    assert against(at(12), STEP, seen(11, "growing")) == []
    assert against(at(12), seen(7, "retracted"), STEP, seen(11, "retracted")) == []


def test_paling_after_a_step_of_the_light() -> None:
    """After a step down nothing is proposed."""
    assert len(against(at(12), lit(9, 5, 5.4), seen(11, "pale"), id="reef/lights")) == 1
    assert against(at(12), lit(9, 5.4, 5), seen(11, "pale"), id="reef/lights") == []


def test_what_is_held_is_not_proposed_to_be_held() -> None:
    """Until its time has passed."""
    last = last_made(steps(History([STEP]), "reef/solution", at(12)))
    assert last is not None
    hold = kept(draft_hold(last, at(16), at(12), "retracted"), "hold")
    records = (STEP, seen(11, "retracted"), hold)
    found = changes(at(13), *records)["reef/solution"]
    assert (found.against, state_text(found)) == ((), "held")
    assert found.next == "held until Mon 16 Mar by TV: held at 77 mL/day: retracted"
    assert [step.outcome for step in found.steps] == [MADE, HELD]
    assert len(against(at(17), *records)) == 1


def test_a_dose_taken_back_is_as_it_was_before() -> None:
    last = last_made(steps(History([STEP]), "reef/solution", at(12)))
    assert last is not None
    back = kept(draft_taken_back(last, at(12), "retracted"), "back")
    assert [value.entered for value in back.values] == ["77 mL/day", "70 mL/day"]
    assert back.note == "step taken back, 77 mL/day to 70 mL/day: retracted"
    found = changes(at(13), STEP, back)["reef/solution"]
    assert (found.present, found.last, found.steps[-1].outcome) == ("70 mL/day", None, TAKEN_BACK)


def test_a_light_held_without_an_end_stays_held() -> None:
    lights = ROOM.lights["reef/lights"]
    hold = kept(draft_light_held(lights, 5.4, None, at(12), "new animals"), "hold")
    found = changes(at(30, 4), lit(9, 5, 5.4), hold)["reef/lights"]
    assert found.held is not None


def test_as_text_and_values() -> None:
    change = changes(at(12), alk(8, 2.9), STEP, alk(11, 3.2))["reef/solution"]
    headings = [heading for heading, _ in account(ROOM, change)]
    assert headings == ["▲ Hold?", "Now", "Next", "May affect", "·"]
    text = staged_text(ROOM, [change])
    assert "alkalinity 3.20 meq/L (Wed 11 Mar), above its band" in text
    found = staged_json(ROOM, change)
    assert (found["present"], found["steps"][0]["outcome"], found["watched"][0]["band"]) == ("77 mL/day", MADE, "above")
    assert len(found["hold"]) == 1
    assert staged_text(ROOM, []) == "Nothing is changed in steps in this room yet.\n"
