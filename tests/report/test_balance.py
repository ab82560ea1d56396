"""The balance gathered from a room and its records, and accepting what it proposes."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import Record, Value
from rounds.core.recording import finish
from rounds.core.staged import steps
from rounds.report.balance import (
    SystemBalance,
    balance_lines,
    balanced_waters,
    system_balance,
)
from rounds.report.past import Past
from rounds.report.proposal import draft_dose, proposal_lines, system_proposal
from rounds.report.series import tank_reading
from rounds.water.balance import Break
from rounds.water.proposal import Proposal
from tests.support import done, head, instant, measured, record, room_from
from tests.water.tanks import level, refill

REEF = """name = "Reef"
volume = "1000 L"

[[tasks]]
id = "change"
title = "Change water"
again_after = "7 days"
water_change = "100 L"
new_alkalinity = "9.0 dKH"
takes = ["changed"]

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
target = "8.0 dKH"
low = "7.5 dKH"
high = "8.6 dKH"

[[readings]]
id = "changed"
quantity = "volume"

[[readings]]
id = "conductivity"
quantity = "conductivity"

[[readings]]
id = "salinity"
quantity = "salinity"
target = "35 PSU"

[[readings]]
id = "ph"
quantity = "pH"

[[reservoirs]]
id = "solution"
kind = "dosing"
capacity = "5 L"
use = "100 mL/day"
doses = "alkalinity"
strength = "1.0 meq/mL"

[[reservoirs]]
id = "calcium"
kind = "dosing"
capacity = "5 L"
use = "100 mL/day"
doses = "calcium"
strength = "1.0 meq/mL"

[[reservoirs]]
id = "lime"
kind = "limewater"
capacity = "45 L"
use = "5 L/day"
strength_reading = "conductivity"
"""

NOW = instant("2026-03-31T12:00")
DAY = timedelta(days=1)
DOSED = 0.1 * DKH_PER_MEQ
"""100 mL of 1 meq/mL in 1000 L, dKH."""
LIME = 5 * 40.6 / 1000 * DKH_PER_MEQ
"""5 L of saturated limewater in 1000 L, dKH."""


@pytest.fixture(scope="module")
def room() -> Room:
    return room_from(head(), reef=REEF)


def on(day: float) -> datetime:
    """Noon of a day of March."""
    return instant("2026-03-01T12:00") + (day - 1) * DAY


def steady(slope: float, level: float = 8.0, days: range = range(2, 31, 2)) -> list[Record]:
    """One every other day, standing at `level` on the 30th."""
    return [measured("reef/alkalinity", on(day), (level + slope * (day - 30)) / DKH_PER_MEQ) for day in days]


def found(room: Room, *records: Record, now: datetime = NOW) -> SystemBalance:
    return system_balance(room, Past(records), room.system["reef"], now)


def proposed(room: Room, *records: Record, now: datetime = NOW) -> Proposal:
    past = Past(records)
    proposal = system_proposal(room, past, system_balance(room, past, room.system["reef"], now), now)
    assert proposal is not None
    return proposal


def levels(litres_a_day: float, days: range = range(10, 31), tank: str = "solution", full: float = 4.0) -> list[Record]:
    """A level a day of March, read now a little early and now a little late."""
    return [level(f"reef/{tank}", on(day) + day % 3 * DAY / 24, full - litres_a_day * (day - days[0])) for day in days]


def conductivity(day: float, shown: float) -> Record:
    return measured("reef/conductivity", on(day), shown)


def test_supply_and_consumption_from_records(room: Room) -> None:
    """100 meq of solution and 203 × 0.9 meq of limewater; falling 0.05 dKH a day."""
    result = found(room, *steady(-0.05), conductivity(20, 7740)).balance
    assert [each.kind for each in result.supplies] == ["dosing", "limewater"]
    assert result.supply == pytest.approx(DOSED + 0.9 * LIME)
    assert result.consumption == pytest.approx(DOSED + 0.9 * LIME + 0.05)
    assert result.meq(result.supply) == pytest.approx(100 + 203 * 0.9)


def test_unmeasured_limewater_is_taken_as_saturated_and_says_so(room: Room) -> None:
    result = found(room, *steady(0))
    assert result.balance.supply == pytest.approx(DOSED + LIME)
    assert any("not measured" in note for note in result.assumed)


def test_levels_stand_before_what_is_written(room: Room) -> None:
    """Where these agree with what is written, that is left to stand: a pump is set finer than an eye reads."""
    assert found(room, *steady(0), *levels(0.08)).balance.supply == pytest.approx(0.8 * DOSED + LIME)
    assert found(room, *steady(0), *levels(0.1001)).balance.supply == pytest.approx(DOSED + LIME)


def test_water_changes_come_from_their_task(room: Room) -> None:
    """Three tenths with 9.0 into 8.0; a record that says how much counts with that."""
    half = (Value(reading="reef/changed", entered="50 L", value=50.0, unit="L"),)
    records = [done("reef/change", on(5)), done("reef/change", on(12)), done("reef/change", on(19), values=half)]
    result = found(room, *steady(0), *records).balance
    assert [change.share for change in result.changes] == [0.1, 0.1, 0.05]
    assert result.changed == pytest.approx(0.25, abs=0.03)
    assert result.consumption == pytest.approx(DOSED + LIME + 0.25 / 28, abs=0.004)


def test_bounds_and_doubtful_values_are_no_numbers(room: Room) -> None:
    odd = [
        record(
            "reading", "reef/alkalinity", on(day),
            values=(Value(reading="reef/alkalinity", entered="x", value=1.0, unit="meq/L", **doubt),),
        )
        for day, doubt in ((11, {"bound": "<"}), (13, {"flag": "reads high"}))
    ]  # fmt: skip
    assert len(found(room, *steady(0), *odd).balance.stretch.tests) == 15


def test_dilution_is_told_from_demand(room: Room) -> None:
    """From the 20th a tenth of fresh water is in the system: tests and salinity are down by as much."""
    share = {day: 1.0 if day < 20 else 1 / 1.1 for day in range(2, 31, 2)}
    records = [measured("reef/alkalinity", on(day), 8.0 * part / DKH_PER_MEQ) for day, part in share.items()]
    records += [measured("reef/salinity", on(day), 35 * part) for day, part in share.items()]
    assert found(room, *records).balance.slope == pytest.approx(0)


# -- breaks --------------------------------------------------------------------------------------------


def test_a_new_solution_breaks_the_tests(room: Room) -> None:
    """Where the note of the refill says so; a filling up of the same does not."""
    again = record("refill", "reef/solution-refill", on(11), note="filled up")
    new = record("refill", "reef/solution-refill", on(15), note="new batch, 1.0 meq/mL")
    stretch = found(room, *steady(0), again, new).balance.stretch
    assert (stretch.begin, stretch.since) == (on(16), Break(on(15), "new solution"))


def test_another_strength_of_limewater_breaks_the_tests(room: Room) -> None:
    stretch = found(room, *steady(0), conductivity(3, 8600), conductivity(10, 8000), conductivity(17, 6000)).balance
    assert stretch.stretch.since == Break(on(17), "strength of lime -25 %")


KIT = """
[[instruments]]
id = "kit"
kind = "test kit"
"""


def with_kit() -> Room:
    old = 'quantity = "alkalinity"\ntarget'
    assert old in REEF
    return room_from(head(KIT), reef=REEF.replace(old, 'quantity = "alkalinity"\ninstrument = "room/kit"\ntarget'))


def batch(day: float, *sides: float) -> Record:
    """A new batch of the test kit, with what the old and the new one read in dKH."""
    values = tuple(
        Value(reading="room/kit", entered=f"{side:g}", value=side / DKH_PER_MEQ, unit="meq/L") for side in sides
    )
    return record("change step", "room/kit", on(day), system="room", values=values, reason="new batch 7")


def test_a_new_batch_of_the_kit_is_no_consumption() -> None:
    """It reads 0.6 dKH less from the 17th on: without old and new value the tests before it do not count."""
    lower = [*steady(0, 8.0, range(2, 17, 2)), *steady(0, 7.4, range(18, 31, 2))]
    apart = found(with_kit(), *lower, batch(17)).balance
    assert apart.stretch.since == Break(on(17), "new batch 7")
    assert apart.slope == pytest.approx(0)


def test_a_new_batch_with_old_and_new_value_is_taken_out() -> None:
    """All tests count, the older ones as the new batch would have read them."""
    lower = [*steady(0, 8.0, range(2, 17, 2)), *steady(0, 7.4, range(18, 31, 2))]
    result = found(with_kit(), *lower, batch(17, 8.0, 7.4)).balance
    assert (len(result.stretch.tests), result.stretch.since) == (15, None)
    assert (result.slope, result.level) == (pytest.approx(0), pytest.approx(7.4))


# -- a head that fails -----------------------------------------------------------------------------------


def test_a_failed_head_is_a_change_of_supply_and_not_of_demand(room: Room) -> None:
    """100 mL a day until the 20th, nothing since; the tests fall by what is no longer given."""
    flat, falling = steady(0, 8.0, range(2, 21, 2)), steady(-DOSED, 8.0 - 10 * DOSED, range(21, 31))
    given = levels(0.1, range(5, 21))
    stuck = [*given, *(level("reef/solution", on(day), 2.5) for day in range(21, 31))]
    result = found(room, *flat, *falling, *stuck)
    assert result.balance.stretch.since == Break(given[-1].at, "solution gives 0 mL a day instead of 100 mL")
    assert result.balance.consumption == pytest.approx(DOSED + LIME, abs=0.002)
    assert "Look at its head" in result.failing[0].said
    assert proposed(room, *flat, *falling, *stuck).waits.startswith("solution gives 0 mL a day")


def test_one_of_a_pair_that_falls_alone_names_the_head() -> None:
    pair = room_from(
        head(), reef=REEF.replace('id = "calcium"\nkind', 'id = "calcium"\npaired_with = "solution"\nkind')
    )
    stuck = [*levels(0.1, range(5, 26)), *(level("reef/solution", on(day), 2.0) for day in range(26, 31))]
    alone = found(pair, *steady(0), *stuck, *levels(0.1, range(5, 31), tank="calcium"))
    assert "the head of this one has failed" in alone.failing[0].said
    both = found(pair, *steady(0), *levels(0.1), *levels(0.1, tank="calcium"))
    assert both.failing == ()


@pytest.mark.parametrize("refilled", [21.5, 25.5])
@pytest.mark.parametrize("until", [26, 27, 28, 29, 30])
def test_a_refill_does_not_make_a_head_fail_anew(room: Room, refilled: float, until: int) -> None:
    """Nothing is given since the 20th; a keeper fills the container up meanwhile, and it stands still as before."""
    given = levels(0.1, range(5, 21))
    stuck = [level("reef/solution", on(day), 2.5 if day < refilled else 4.5) for day in range(21, until + 1)]
    records = [*steady(0), *given, *stuck, refill("reef/solution", on(refilled), 4.5)]
    (failing,) = found(room, *records, now=on(until + 0.5)).failing
    assert failing.since == given[-1].at
    assert failing.what.startswith("solution gives 0 mL a day")


def test_a_head_that_fails_after_a_refill_fails_from_then_on(room: Room) -> None:
    """It gave its dose to the last before it."""
    stuck = [level("reef/solution", on(day), 4.5) for day in range(21, 26)]
    records = [*steady(0), *levels(0.1, range(5, 21)), refill("reef/solution", on(20.5), 4.5), *stuck]
    (failing,) = found(room, *records, now=on(25.5)).failing
    assert failing.since == on(20.5)


def test_a_failed_head_of_the_calcium_holds_every_dose(room: Room) -> None:
    """What is given in step with the alkalinity is not given at all: first that is put right."""
    stuck = [*levels(0.1, range(5, 26), "calcium"), *(level("reef/calcium", on(day), 2.0) for day in range(26, 31))]
    result = found(room, *steady(-0.05), *levels(0.1), *stuck)
    assert [each.what for each in result.failing_beside] == ["calcium gives 0 mL a day instead of 100 mL"]
    assert (result.failing, result.balance.supply) == ((), pytest.approx(DOSED + LIME)), "it gives no alkalinity"
    proposal = proposed(room, *steady(-0.05), *levels(0.1), *stuck)
    assert proposal.waits.startswith("calcium gives 0 mL a day instead of 100 mL.")
    assert (proposal.changes, proposal.additions) == (False, ())


def test_the_balance_of_a_time_before_has_the_uses_of_that_time(room: Room) -> None:
    """60 mL a day by the levels of today, 100 mL by those of three weeks ago."""
    before, since = levels(0.1, range(-30, 1)), levels(0.06, range(1, 31))
    tests = steady(0, days=range(-30, 31, 2))
    assert found(room, *tests, *before, *since).balance.supply == pytest.approx(0.6 * DOSED + LIME, abs=0.01)
    earlier = found(room, *tests, *before, *since, now=on(0.5)).balance
    assert earlier.supply == pytest.approx(DOSED + LIME)


# -- proposal ------------------------------------------------------------------------------------------


def test_accepting_a_proposal_is_a_step_of_each_solution(room: Room) -> None:
    """0.05 dKH a day are 17.8 mL: 100 to 117 mL of each, kept as records with both doses."""
    proposal = proposed(room, *steady(-0.05), conductivity(20, 8600))
    assert proposal.new == 117
    drafts = draft_dose(room, proposal, NOW)
    assert [(draft.kind, draft.task, draft.note) for draft in drafts] == [
        ("change step", "reef/solution", "solution from 100 to 117 mL/day, for 1000 L"),
        ("change step", "reef/calcium", "calcium from 100 to 117 mL/day, for 1000 L"),
    ]
    kept = [
        finish(draft, id=f"step-{number}", by="TV", device="test", recorded=NOW, room=room)
        for number, draft in enumerate(drafts)
    ]
    (step,) = steps(History(kept), "reef/solution", NOW)
    assert (step.before, step.after) == pytest.approx((0.100, 0.117))


def test_after_a_step_its_dose_counts_and_the_next_one_waits(room: Room) -> None:
    """The tests before it tell the consumption, what is given now is the new dose."""
    before = [*steady(-0.05), conductivity(20, 8600)]
    proposal = proposed(room, *before)
    kept = [
        finish(d, id=f"s{n}", by="TV", device="t", recorded=NOW, room=room)
        for n, d in enumerate(draft_dose(room, proposal, NOW))
    ]
    records = [*before, *kept, measured("reef/alkalinity", NOW + DAY, 8.0 / DKH_PER_MEQ)]
    later = found(room, *records, now=NOW + 2 * DAY)
    assert later.balance.stretch.waiting is not None
    assert later.balance.consumption == pytest.approx(DOSED + LIME + 0.05)
    waiting = proposed(room, *records, now=NOW + 2 * DAY)
    assert waiting.dial.present == pytest.approx(117)
    assert waiting.waits.startswith("The last step is 2 days and 1 test old")
    with pytest.raises(Refused, match="wait for 3 tests"):
        draft_dose(room, waiting, NOW + 2 * DAY)
    settled = [measured("reef/alkalinity", NOW + day * DAY, 8.0 / DKH_PER_MEQ) for day in (1, 3, 5, 7)]
    after = (*before, *kept, *settled)
    assert found(room, *after, now=NOW + 8 * DAY).balance.supply == pytest.approx(1.17 * DOSED + LIME)
    assert not proposed(room, *after, now=NOW + 8 * DAY).waits


def test_ph_over_the_limit_raises_nothing(room: Room) -> None:
    proposal = proposed(room, *steady(-0.05, 7.4), measured("reef/ph", NOW - DAY, 8.5))
    assert not proposal.changes
    assert not proposal.additions


def test_calcium_of_unknown_use_refuses_nothing_but_its_own_step() -> None:
    old = 'use = "100 mL/day"\ndoses = "calcium"'
    assert old in REEF
    room = room_from(head(), reef=REEF.replace(old, 'doses = "calcium"'))
    proposal = proposed(room, *steady(-0.05), conductivity(20, 8600))
    assert (proposal.new, proposal.calcium) == (117, None)
    assert "how much the calcium gives is not known; add use" in proposal.cautions[-1]


# -- what is missing -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ('use = "100 mL/day"\ndoses = "alk', 'doses = "alk', "how much the solution gives is not known; add use"),
        ('alkalinity"\nstrength = "1.0 meq/mL"', 'alkalinity"', "the strength of the solution is not known"),
        ('volume = "1000 L"', "", "has no alkalinity reading or no volume"),
    ],
)  # fmt: skip
def test_what_is_missing_is_named(old: str, new: str, sentence: str) -> None:
    assert old in REEF
    text = REEF.replace(old, new)
    if "volume" not in text.split("[[")[0]:
        text = text.replace('water_change = "100 L"\nnew_alkalinity = "9.0 dKH"\n', "")
    with pytest.raises(Refused, match=sentence):
        found(room_from(head(), reef=text), *steady(0))


def test_too_few_tests_say_how_many(room: Room) -> None:
    with pytest.raises(Refused, match=r"^2 usable tests in the last 30 days"):
        found(room, *steady(0, days=range(2, 6, 2)))


def test_new_water_of_unknown_alkalinity_is_left_out_and_said() -> None:
    room = room_from(head(), reef=REEF.replace('new_alkalinity = "9.0 dKH"\n', ""))
    result = found(room, *steady(0), done("reef/change", on(5)))
    assert result.balance.changes == ()
    assert any("1 water change left out" in note for note in result.assumed)


# -- reactor -------------------------------------------------------------------------------------------

REACTOR = """name = "Colonies"
volume = "1300 L"

[[readings]]
id = "outlet"
quantity = "alkalinity"

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
target = "8.2 dKH"

[[equipment]]
id = "reactor"
kind = "CO2 reactor"
flow = "45 mL/min"
outlet = "outlet"
"""


def test_a_reactor_is_balanced_by_flow_and_outlet() -> None:
    """64.8 L a day from 8.2 to 22 dKH in 1300 L are 0.688 dKH a day; the tank is the reading with a target."""
    room = room_from(head(), colonies=REACTOR)
    records = [measured("colonies/alkalinity", on(day), 8.2 / DKH_PER_MEQ) for day in range(2, 31, 2)]
    records += [measured("colonies/outlet", on(day), 22 / DKH_PER_MEQ) for day in (3, 10, 17)]
    result = system_balance(room, Past(records), room.system["colonies"], NOW)
    assert result.reading.id == "colonies/alkalinity"
    assert result.balance.consumption == pytest.approx(0.688, abs=0.0005)
    with pytest.raises(Refused, match="reactor was not tested"):
        system_balance(room, Past(records[:15]), room.system["colonies"], NOW)


# -- as text and values --------------------------------------------------------------------------------


def test_lines_can_be_checked_by_hand(room: Room) -> None:
    records = [*steady(-0.05), conductivity(20, 8600)]
    lines = [*balance_lines(room, found(room, *records)), *proposal_lines(proposed(room, *records))]
    text = "\n".join(lines)
    assert "100 mL a day × 1 meq/mL = 100.0 meq a day = 0.280 dKH a day" in text
    assert (
        "change: -0.050 dKH a day (-0.050 to -0.050, 95 %), Theil–Sen over 15 tests from Mon 2 Mar to Mon 30 Mar"
        in text
    )
    assert "consumption = supply − change = 0.900 dKH a day" in text
    assert "Proposal, never applied by itself:" in lines
    assert any("Test again first" in line for line in lines)


def test_only_systems_that_are_supplied_are_balanced(room: Room) -> None:
    assert [water.id for water in balanced_waters(room, History(), on(30))] == ["reef"]
    assert balanced_waters(room_from(head(), reef='name = "Reef"\nvolume = "100 L"'), History(), on(30)) == []


def test_the_ph_of_a_reactor_is_not_that_of_the_tank() -> None:
    """Read beside it, or with a band that no tank has."""
    acid = """
[[stations]]
id = "sump"

[[readings]]
id = "outlet-ph"
quantity = "pH"
station = "sump"
low = "6.4"
high = "6.8"
"""
    tank = """
[[readings]]
id = "ph"
quantity = "pH"
station = "sump"
low = "7.9"
high = "8.2"
"""
    text = REACTOR.replace('kind = "CO2 reactor"', 'kind = "CO2 reactor"\nstation = "sump"')
    alone, both = (room_from(head(), colonies=text + more).system["colonies"] for more in (acid, acid + tank))
    assert tank_reading(alone, "pH") is None
    found = tank_reading(both, "pH")
    assert found is not None
    assert found.id == "colonies/ph"
