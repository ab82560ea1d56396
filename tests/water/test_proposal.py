"""What dose would hold the target: by hand, and never beyond the limits of a step whatever is asked.

The limits (a tenth of the supply a step, 0.5 dKH a day and 0.2 at once, limewater never above evaporation
nor 1 per cent a day, nothing raised above pH 8.45) are common practice, without a source.
"""

from __future__ import annotations

from itertools import groupby

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.constants import DKH_PER_MEQ
from rounds.water.proposal import Dial, Proposal, Water, propose

SOLUTION = Dial(source="reef/alk", name="solution", kind="dosing", present=70, unit="mL/day", meq=1.0, step=1.0)
CALCIUM = Dial(source="reef/ca", name="calcium", kind="dosing", present=70, unit="mL/day", meq=0.5, step=1.0)
LIME = Dial(source="reef/lime", name="limewater", kind="limewater", present=6.4, unit="L/day", meq=37.35, step=0.1)
PER_ML = DKH_PER_MEQ / 960
WATER = Water(volume=960, supply=0.902, consumption=0.942, level=8.0, target=8.0)


def water(**known: object) -> Water:
    return msgspec.structs.replace(WATER, **known)


def test_the_dose_that_holds() -> None:
    """(0.942 − 0.902) dKH × 960 L ÷ 2.8039 ÷ 1 meq/mL = 13.70 mL more than 70; set to whole mL towards 70."""
    found = propose(WATER, SOLUTION)
    assert found.wanted == pytest.approx(83.70, abs=0.005)
    assert found.new == 83
    assert found.supply_after == pytest.approx(0.902 + 13 * PER_ML)
    assert (found.additions, found.waits) == ((), "")
    assert any("= 83.70 mL/day" in line for line in found.lines)
    assert any("70 to 83 mL/day" in line for line in found.lines)
    assert found.first.startswith("Test again first")


def test_water_changes_are_part_of_what_holds() -> None:
    """0.006 dKH a day from changes are 2.05 mL a day less."""
    assert propose(water(changes=0.006), SOLUTION).wanted == pytest.approx(83.70 - 2.05, abs=0.01)


def test_one_step_is_a_tenth_of_the_supply() -> None:
    """0.0902 dKH a day are 30.88 mL; more has to wait for the next step, and that is said."""
    found = propose(water(consumption=1.3), SOLUTION)
    assert found.wanted == pytest.approx(70 + 0.398 / PER_ML, abs=0.01)
    assert found.new == 100
    assert any("does not reach" in caution for caution in found.cautions)
    assert propose(water(consumption=0.3), SOLUTION).new == 40


def test_calcium_goes_in_step() -> None:
    """13 mL of 1 meq/mL need 26 mL of a calcium solution half as strong; 0.038 dKH are 0.27 mg/L."""
    found = propose(WATER, SOLUTION, CALCIUM)
    assert found.calcium == (CALCIUM, 96)
    assert any("+0.27 mg/L a day" in line for line in found.lines)


def test_additions_bring_it_back() -> None:
    """0.6 dKH below: 0.2 (68 mL) twice and the rest of 0.5 on the first day, what is left on the next."""
    found = propose(water(level=7.4, consumption=0.902), SOLUTION, CALCIUM)
    assert [(each.day, each.amount, each.calcium) for each in found.additions] == [
        (1, 68, 136), (1, 68, 136), (1, 35, 70), (2, 34, 68),
    ]  # fmt: skip
    assert found.days_to_target == 2.0
    assert any("68 mL and 68 mL and 35 mL of solution" in line for line in found.lines)


def test_too_much_alkalinity_falls_by_a_lower_dose() -> None:
    """0.7 dKH above is taken back over 14 days: 0.05 dKH a day less, 17 mL; nothing is added."""
    found = propose(water(level=8.7, consumption=0.902), SOLUTION)
    assert found.new == 53
    assert found.additions == ()
    assert found.days_to_target == pytest.approx(0.7 / (17 * PER_ML))


def test_what_the_tests_cannot_tell_is_left_alone() -> None:
    """A supply inside the interval of the consumption stays as it is."""
    found = propose(water(consumption_low=0.90, consumption_high=0.98), SOLUTION)
    assert not found.changes
    assert any("the dose stays" in line for line in found.lines)


@pytest.mark.parametrize(("tests", "days", "waits"), [(2, 9.0, True), (5, 3.0, True), (3, 4.0, False)])
def test_a_step_waits_for_three_tests_over_four_days(tests: int, days: float, waits: bool) -> None:
    found = propose(water(level=7.4, tests_since_step=tests, days_since_step=days), SOLUTION, CALCIUM)
    assert bool(found.waits) is waits
    assert found.changes is not waits
    assert bool(found.additions) is not waits


def test_high_ph_raises_nothing() -> None:
    found = propose(water(level=7.4, ph=8.46), SOLUTION)
    assert (found.new, found.additions) == (70, ())
    assert any("stop limewater" in caution for caution in found.cautions)
    assert propose(water(level=7.4, ph=8.45), SOLUTION).additions


def test_limewater_never_rises_above_evaporation() -> None:
    """Wanted are 6.77 L; 6.55 evaporate, set to 0.1 L."""
    found = propose(water(evaporation=6.55, limewater=6.4), LIME)
    assert found.wanted == pytest.approx(6.4 + 0.04 * 960 / DKH_PER_MEQ / 37.35)
    assert found.new == pytest.approx(6.5)
    assert any("0.96 L an hour" in line for line in found.lines)


def test_limewater_above_evaporation_is_lowered_at_once() -> None:
    """Even where a step would have to wait."""
    found = propose(water(evaporation=5.0, limewater=6.4, tests_since_step=0, days_since_step=0.0), LIME)
    assert found.new == pytest.approx(5.0)
    assert any("more than what evaporates" in caution for caution in found.cautions)


def test_limewater_is_not_raised_while_evaporation_is_unknown() -> None:
    found = propose(WATER, LIME)
    assert not found.changes
    assert any("evaporation not known, so no more than now" in line for line in found.lines)


def test_an_unknown_ph_is_read_before_anything_is_raised() -> None:
    def asked(found: Proposal) -> bool:
        return any("pH was not read" in caution for caution in found.cautions)

    assert asked(propose(WATER, SOLUTION))
    assert not asked(propose(water(ph=8.0), SOLUTION))
    assert not asked(propose(water(consumption=0.8), SOLUTION))


def test_salinity_comes_first() -> None:
    assert any("Salinity is 33.2" in caution for caution in propose(water(salinity=33.2), SOLUTION).cautions)


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


WATERS = st.builds(
    Water,
    volume=numbers(20, 20_000),
    supply=numbers(0, 5),
    consumption=numbers(-0.5, 5),
    level=numbers(1, 20),
    target=numbers(5, 12),
    changes=numbers(-0.2, 0.2),
    ph=st.none() | numbers(7, 9),
    evaporation=st.none() | numbers(0, 200),
    tests_since_step=st.none() | st.integers(0, 9),
    days_since_step=st.none() | numbers(0, 30),
)
SHARES = numbers(0, 1)
STRENGTHS = numbers(0.05, 5)


def dial(kind: str, water: Water, share: float, strength: float) -> Dial:
    """A source that gives a share of the supply."""
    meq, unit, step = {"dosing": (strength, "mL/day", 1.0), "limewater": (strength * 8.1, "L/day", 0.1)}.get(
        kind, (strength * 10, "mL/min", 1.0)
    )
    present = share * water.supply * water.volume / DKH_PER_MEQ / meq
    return Dial(source="x", name="x", kind=kind, present=present, unit=unit, meq=meq, step=step)


@given(WATERS, st.sampled_from(["dosing", "limewater", "CO2 reactor"]), SHARES, STRENGTHS, st.booleans())
def test_no_proposal_leaves_its_limits(water: Water, kind: str, share: float, strength: float, pair: bool) -> None:
    turned = dial(kind, water, share, strength)
    calcium = msgspec.structs.replace(CALCIUM, present=turned.present) if pair else None
    found = propose(water, turned, calcium)
    tiny = 1e-6
    per_unit = turned.meq / water.volume * DKH_PER_MEQ
    most = turned.present
    if kind == "limewater":
        most = min(0.01 * water.volume, water.evaporation if water.evaporation is not None else 0.01 * water.volume)
        assert found.new <= most + tiny
    assert found.new >= 0
    base = water.supply or max(0.0, water.consumption)
    forced = turned.present > most + tiny
    if not forced:
        assert abs(found.new - turned.present) * per_unit <= 0.1 * base + tiny
        if found.waits:
            assert found.new == turned.present
    if water.ph is not None and water.ph > 8.45:
        assert found.new <= turned.present + tiny
        assert not found.additions
    drift = found.supply_after + water.changes - water.consumption
    if found.new > turned.present:
        assert drift <= 0.5 + tiny
    check_additions(water, found, drift)


def check_additions(water: Water, found: Proposal, drift: float) -> None:
    level = water.level
    for _, given_then in groupby(found.additions, key=lambda each: each.day):
        rises = [each.rise for each in given_then]
        assert max(rises) <= 0.2 + 1e-6
        assert sum(rises) + max(0.0, drift) <= 0.5 + 1e-6
        level += sum(rises)
    if found.additions:
        assert found.dial.kind == "dosing"
        assert not found.waits
        assert level + drift * found.additions[-1].day <= water.target + 1e-6
        if found.calcium is not None:
            assert found.calcium[1] >= 0
