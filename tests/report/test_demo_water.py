"""Balance, light and prompts of the demo room: its invented truths are recovered from its records."""

from __future__ import annotations

from datetime import datetime, time, timedelta

import pytest

from rounds.report.balance import SystemBalance, balanced_waters, system_balance
from rounds.report.light import light_state
from rounds.report.past import Past
from rounds.report.prompts import system_prompts, timeline
from rounds.report.proposal import system_proposal
from rounds.water.programme import expected
from tests.demo.test_demo import OPENED, Opened, opened

DAY = timedelta(days=1)
NURSERY = "nursery"


@pytest.fixture(params=["a Wednesday morning", "the morning the clocks go forward", "a leap day"])
def demo(request: pytest.FixtureRequest) -> Opened:
    return opened(OPENED[request.param])


def at(demo: Opened, day: int, clock: str) -> datetime:
    return demo.room.calendar.wall(demo.today + day * DAY, time.fromisoformat(clock))


def nursery(demo: Opened, now: datetime) -> SystemBalance:
    return system_balance(demo.room, Past(demo.standing()), demo.room.system[NURSERY], now)


def rules(demo: Opened, now: datetime) -> dict[str, str]:
    return {
        each.rule: each.text
        for each in system_prompts(demo.room, Past(demo.standing()), demo.room.system[NURSERY], now)
    }


def test_supply_is_recovered(demo: Opened) -> None:
    """Limewater 239 meq, solution 70 meq: 0.902 dKH a day, by uses and conductivity."""
    found = nursery(demo, demo.now).balance
    assert {each.kind: round(each.meq_per_day / 10) for each in found.supplies} == {"dosing": 7, "limewater": 24}
    assert found.supply == pytest.approx(0.902, abs=0.012)


def test_consumption_is_recovered(demo: Opened) -> None:
    """0.905 dKH a day until day -60, 0.942 on the opening day; over the last 30 days 0.933 on average."""
    assert nursery(demo, at(demo, -60, "12:00")).balance.consumption == pytest.approx(0.905, abs=0.02)
    assert nursery(demo, demo.now).balance.consumption == pytest.approx(0.933, abs=0.015)


def test_the_week_of_salt_water_does_not_fool_it(demo: Opened) -> None:
    """On day -7 the raw tests rise; at salinity 35 they fall and the consumption is what it was."""
    assert nursery(demo, at(demo, -7, "09:45")).balance.consumption == pytest.approx(0.93, abs=0.025)


def test_what_is_proposed_holds_within_a_step(demo: Opened) -> None:
    """A few mL more of each solution, and additions for what is below the target."""
    proposal = system_proposal(demo.room, Past(demo.standing()), nursery(demo, demo.now), demo.now)
    assert proposal is not None
    assert 72 <= proposal.new <= 82
    assert proposal.calcium is not None
    assert proposal.calcium[1] == proposal.new
    assert 1 <= len(proposal.additions) <= 4
    assert not proposal.waits


def test_the_reactor_system_is_balanced_too(demo: Opened) -> None:
    assert [water.id for water in balanced_waters(demo.room, demo.history, demo.now)] == [NURSERY, "broodstock"]
    found = system_balance(demo.room, Past(demo.standing()), demo.room.system["broodstock"], demo.now)
    assert found.balance.supply == pytest.approx(0.688, abs=0.05)


def test_today_says_demand_and_feeding(demo: Opened) -> None:
    """Alkalinity leaves its band by demand, not supply; pale racks with both nutrients low."""
    found = rules(demo, demo.now)
    assert "demand has grown" in found["alkalinity"]
    assert "nitrate 0." in found["pale, low nutrients"]
    assert "phosphate 0.02" in found["pale, low nutrients"]


def test_the_morning_of_the_valve(demo: Opened) -> None:
    """52 L overnight with falling salinity."""
    text = rules(demo, at(demo, -14, "09:30"))["diluted"]
    assert "Salinity 33.2 PSU" in text
    assert "barrel gave 52.0 L" in text


def test_the_unplanned_light_step_before_the_paling(demo: Opened) -> None:
    """New carbon on day -48, wiped lenses the day after, pale on day -46: the rise is held."""
    now = at(demo, -46, "15:00")
    assert "counts as a light step" in rules(demo, now)["pale after light"]
    state = light_state(demo.room, demo.history, demo.room.lights["nursery/programme"], now)
    assert not state.verdict.may_rise
    assert state.verdict.why.startswith("held until")
    unplanned = {demo.history.find(step.record).task for step in state.steps if not step.planned}
    assert unplanned == {"nursery/carbon", "nursery/light-wipe"}
    planned = [step.rise for step in state.steps if step.planned]
    assert planned
    assert all(0.07 <= (rise or 0) < 0.08 for rise in planned)


def test_light_as_it_should_be_now(demo: Opened) -> None:
    check = demo.room.tasks["nursery/light-check"]
    assert check.light_check == "nursery/programme"
    noon = expected(demo.room.lights[check.light_check], time(12))
    assert noon == "12:00: on the plateau, blue 64 %, white 32 %"
    state = light_state(demo.room, demo.history, demo.room.lights["nursery/programme"], demo.now)
    assert state.integral == pytest.approx(213 * 8 * 3600 / 1e6, rel=0.03)


def test_feeding_and_condition_on_one_time_line(demo: Opened) -> None:
    begin = demo.now - 14 * DAY
    kinds = {
        event.kind for event in timeline(demo.room, Past(demo.standing()), demo.room.system[NURSERY], begin, demo.now)
    }
    assert {"feed", "nitrate", "phosphate", "condition", "light", "water change"} <= kinds
