"""Changes in steps: what a step keeps, and what it says about how things were set."""

from __future__ import annotations

from datetime import datetime

from rounds.core.history import History
from rounds.core.record import Record
from rounds.core.recording import finish
from rounds.core.staged import HELD, MADE, TAKEN_BACK, Setting, draft_step, setting_at, steps
from tests.support import Bench, instant, strike

ROOM = Bench('again_after = "1 day"').room
DOSE = ("reef/alkalinity", "reef", "sump")


def at(day: int) -> datetime:
    return instant(f"2026-03-{day:02}T09:00")


def step(day: int, before: float, after: float, ref: str | None = None) -> Record:
    was, will_be = (Setting(dose / 1000, "L/day", f"{dose:g} mL/day") for dose in (before, after))
    draft = draft_step(DOSE, was, will_be, at(day), "solution", ref=ref)
    return finish(draft, id=f"step-{day:02}", by="TV", device="test", recorded=at(day), room=ROOM)


FIRST, HOLD, BACK = step(2, 70, 77), step(9, 77, 77), step(12, 77, 70, ref="step-02")
HISTORY = History([BACK, FIRST, HOLD])


def test_a_step_is_a_record_with_both_settings() -> None:
    assert (FIRST.kind, FIRST.task, FIRST.station) == ("change step", "reef/alkalinity", "sump")
    assert [(value.entered, value.value) for value in FIRST.values] == [("70 mL/day", 0.07), ("77 mL/day", 0.077)]


def test_made_held_and_taken_back() -> None:
    found = steps(HISTORY, "reef/alkalinity", at(20))
    assert [step.outcome for step in found] == [MADE, HELD, TAKEN_BACK]


def test_later_and_struck_steps_do_not_count() -> None:
    assert [step.record for step in steps(HISTORY, "reef/alkalinity", at(10))] == [FIRST, HOLD]
    struck = History([FIRST, HOLD, strike(HOLD, at(10))])
    assert [step.record for step in steps(struck, "reef/alkalinity", at(10))] == [FIRST]


def test_how_it_was_set_at_any_time() -> None:
    """Before the first step as that step found it; without any step nobody knows."""
    days = [(1, 0.07), (5, 0.077), (10, 0.077), (13, 0.07)]
    assert [(day, setting_at(HISTORY, "reef/alkalinity", at(day), at(20))) for day, _ in days] == days
    assert setting_at(HISTORY, "reef/calcium", at(5), at(20)) is None
