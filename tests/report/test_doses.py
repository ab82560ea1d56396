"""How a balance and its proposal are told, and what is read before its proposal is accepted; numbers invented."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.model import Room
from rounds.core.record import CHANGE_STEP, Record, Value
from rounds.core.recording import finish
from rounds.core.staged import Setting, draft_step
from rounds.report.balance import kit_breaks
from rounds.report.doses import balance_and_proposal, dose_account, headline, to_confirm
from rounds.report.past import Past
from rounds.report.proposal import draft_dose
from tests.support import head, instant, record, room_from

NINE = instant("2026-03-30 09:00")
ALKALINITY, KIT = "reef/alkalinity", "reef/kit"
REEF = """
name = "Reef"
volume = "500 L"

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
target = "8.0 dKH"
instrument = "kit"

[[instruments]]
id = "kit"
kind = "test kit"

[[reservoirs]]
id = "solution"
kind = "dosing"
capacity = "3 L"
use = "50 mL/day"
strength = "1.0 meq/mL"
doses = "alkalinity"
"""


@pytest.fixture(scope="module")
def room() -> Room:
    return room_from(head(), reef=REEF)


def alkalinities(*dkh: float) -> list[Record]:
    """A test a day, the last of them an hour ago."""
    found = []
    for ago, each in zip(range(len(dkh) - 1, -1, -1), dkh, strict=True):
        value = Value(reading=ALKALINITY, entered=f"{each:g}", value=each / 2.8039, unit="meq/L")
        found.append(record("reading", ALKALINITY, NINE - timedelta(days=ago, hours=1), values=(value,)))
    return found


def test_a_proposal_is_told_confirmed_and_drafted_alike(room: Room) -> None:
    """0.02 dKH a day below the dose that holds: the head line, the question and the step name the same numbers."""
    past = Past(alkalinities(*(8.0 - 0.02 * n for n in range(12))))
    account = dose_account(room, past, room.system["reef"], NINE)
    assert account.proposal is not None
    (step,) = draft_dose(room, account.proposal, NINE)
    before, after = (value.entered for value in step.values)
    assert before == "50 mL/day"
    assert headline(account) == f"solution: 50 to {after}"
    asked = to_confirm(account)
    assert asked[0] == headline(account)
    assert any("test again first" in line.casefold() for line in asked)
    balance, proposal = balance_and_proposal(room, account)
    assert proposal[0].startswith("Proposal, never applied by itself")
    assert not any("Proposal" in line for line in balance)


def test_a_test_beyond_the_act_now_limit_asks_for_a_second_method() -> None:
    """The line through the tests says nothing of the one that matters; a test inside the limit brings nothing."""
    guarded = room_from(head(), reef=REEF.replace('target = "8.0 dKH"', 'target = "8.0 dKH"\nact_low = "6.5 dKH"'))
    tests = [8.0 - 0.02 * n for n in range(11)]
    alarming = dose_account(guarded, Past(alkalinities(*tests, 6.2)), guarded.system["reef"], NINE).proposal
    usual = dose_account(guarded, Past(alkalinities(*tests, 7.8)), guarded.system["reef"], NINE).proposal
    assert alarming is not None
    assert usual is not None
    assert alarming.cautions[0] == (
        "Alkalinity read 08:00: 6.2 dKH is below the act-now limit of 6.5 dKH. "
        "Test again with a second method before anything is changed"
    )
    assert not any("second method" in caution for caution in usual.cautions)


def test_a_fall_faster_than_its_rate_asks_for_a_second_method() -> None:
    """As a value beyond the limit does."""
    guarded = room_from(
        head(), reef=REEF.replace('target = "8.0 dKH"', 'target = "8.0 dKH"\nrate = "0.5 dKH in 1 day"')
    )
    past = Past(alkalinities(*(8.0 - 0.02 * n for n in range(11)), 7.2))
    proposal = dose_account(guarded, past, guarded.system["reef"], NINE).proposal
    assert proposal is not None
    assert proposal.cautions[0].startswith("Alkalinity read 08:00: fell 0.6 dKH in 1 day, more than 0.5 dKH in 1 day.")


def test_what_is_missing_is_said(room: Room) -> None:
    account = dose_account(room, Past(()), room.system["reef"], NINE)
    assert account.found is None
    assert headline(account) == account.missing != ""


def test_another_batch_of_the_kit_parts_the_tests(room: Room) -> None:
    """What the old batch read is not one line with what the new one reads; steps of other things do not count."""
    step = record(CHANGE_STEP, KIT, NINE - timedelta(days=6), reason="new batch 7")
    later = record(CHANGE_STEP, KIT, NINE + timedelta(days=1))
    other = record(CHANGE_STEP, "reef/other", NINE - timedelta(days=6))
    past = Past([step, later, other, *alkalinities(*(7.5,) * 6, *(8.0 - 0.02 * n for n in range(6)))])
    (found,) = kit_breaks(room, past, room.readings[ALKALINITY], NINE)
    assert (found.at, found.what) == (step.at, "new batch 7")
    apart = dose_account(room, past, room.system["reef"], NINE)
    assert apart.found is not None
    assert apart.found.balance.slope == pytest.approx(-0.02, abs=0.001)


def test_a_hold_stands_before_a_proposal_that_would_end_it(room: Room) -> None:
    """As long as it stands."""
    dose = Setting(0.05, "L/day", "50 mL/day")
    draft = draft_step(
        ("reef/solution", "reef", ""), dose, dose, NINE - timedelta(days=1), "retracted", until=NINE + timedelta(days=3)
    )
    hold = finish(draft, id="hold", by="TV", device="test", recorded=draft.at, room=room)
    tests = alkalinities(8.0, 7.9, 7.8, 7.7, 7.6, 7.5, 7.4)
    held = dose_account(room, Past([*tests, hold]), room.system["reef"], NINE)
    assert to_confirm(held)[0] == "TV holds it until Thu 09:00 (retracted); to accept ends that."
    free = dose_account(room, Past(tests), room.system["reef"], NINE)
    assert to_confirm(free) == to_confirm(held)[1:]
