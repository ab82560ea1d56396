"""Which uses a balance is worked out with, and what is read before its proposal is accepted; numbers invented."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import CHANGE_STEP, Record, Value
from rounds.report.balance import draft_dose
from rounds.report.doses import balance_and_proposal, dose_account, headline, kit_breaks, litres_a_day, to_confirm
from rounds.report.reservoirs import level_accounts
from tests.support import head, instant, record, room_from
from tests.water.tanks import level

NINE = instant("2026-03-30 09:00")
ALKALINITY, KIT, SOLUTION = "reef/alkalinity", "reef/kit", "reef/solution"
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


def falling(litres_a_day: float) -> list[Record]:
    """Levels of the solution over nine days."""
    first = NINE - timedelta(days=9)
    return [level(SOLUTION, first + timedelta(days=n), 2.5 - litres_a_day * n) for n in range(9)]


def uses(room: Room, *records: Record) -> dict[str, float]:
    return litres_a_day(level_accounts(room, History(records), NINE))


def test_levels_that_agree_leave_the_set_dose(room: Room) -> None:
    """The pump is turned from 50 mL a day, not from what the eye read off a container."""
    assert uses(room) == {SOLUTION: 0.05}
    assert uses(room, *falling(0.05)) == {SOLUTION: 0.05}


def test_levels_that_disagree_count(room: Room) -> None:
    assert uses(room, *falling(0.0401234)) == {SOLUTION: pytest.approx(0.0401, abs=1e-9)}


def test_a_proposal_is_told_confirmed_and_drafted_alike(room: Room) -> None:
    """0.02 dKH a day below the dose that holds: the head line, the question and the step name the same numbers."""
    history = History(alkalinities(*(8.0 - 0.02 * n for n in range(12))))
    account = dose_account(room, history, room.system["reef"], NINE, uses=uses(room))
    assert account.proposal is not None
    (step,) = draft_dose(room, account.proposal, NINE)
    before, after = (value.entered for value in step.values)
    assert before == "50 mL/day"
    assert headline(account) == f"solution: 50 to {after}"
    asked = to_confirm(account.proposal)
    assert asked[0] == headline(account)
    assert any("test again first" in line.casefold() for line in asked)
    balance, proposal = balance_and_proposal(room, account)
    assert proposal[0].startswith("Proposal, never applied by itself")
    assert not any("Proposal" in line for line in balance)


def test_what_is_missing_is_said(room: Room) -> None:
    account = dose_account(room, History(), room.system["reef"], NINE, uses={})
    assert account.found is None
    assert headline(account) == account.missing != ""


def test_another_batch_of_the_kit_parts_the_tests(room: Room) -> None:
    """What the old batch read is not one line with what the new one reads; steps of other things do not count."""
    step = record(CHANGE_STEP, KIT, NINE - timedelta(days=6), reason="new batch 7")
    later = record(CHANGE_STEP, KIT, NINE + timedelta(days=1))
    other = record(CHANGE_STEP, "reef/other", NINE - timedelta(days=6))
    (found,) = kit_breaks(room.readings[ALKALINITY], [step, later, other], NINE)
    assert (found.at, found.what) == (step.at, "new batch 7")
    history = History(alkalinities(*(7.5,) * 6, *(8.0 - 0.02 * n for n in range(6))))
    apart = dose_account(room, history, room.system["reef"], NINE, uses=uses(room), instruments=[step])
    assert apart.found is not None
    assert apart.found.balance.slope == pytest.approx(-0.02, abs=0.001)
