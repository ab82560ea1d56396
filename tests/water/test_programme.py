"""Light by the wall clock, the day's integral, and rises bounded by it."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.calendar import Calendar
from rounds.core.model import Channel, Lights
from rounds.water.light import daily_light_integral
from rounds.water.programme import (
    LightStep,
    Verdict,
    daily_integral,
    expected,
    may_rise,
    output,
    phase,
)

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
CALENDAR = Calendar(ZoneInfo("Europe/Dublin"), time(4))


def channel(
    name: str = "blue", peak: float = 90, begins: str = "09:30", up: float = 2, plateau: float = 6, down: float = 2
) -> Channel:
    return Channel(
        name=name, peak=peak, begins=time.fromisoformat(begins), ramp_up=up * HOUR, plateau=plateau * HOUR,
        ramp_down=down * HOUR,
    )  # fmt: skip


def lights(*channels: Channel, measured_at: float = 100.0) -> Lights:
    return Lights(
        id="reef/lights", system="reef", station="racks", name="lights", channels=channels or (channel(),),
        measured_at=measured_at,
    )  # fmt: skip


# -- output ------------------------------------------------------------------------------------------


def test_expected_output_in_words() -> None:
    """50 minutes into a ramp of two hours: 90 × 50/120 = 37.5 per cent (by hand)."""
    programme = lights(channel(), channel("white", 48))
    assert expected(programme, time(10, 20)) == "10:20: ramping up, blue 38 %, white 20 %"
    assert expected(programme, time(12)) == "12:00: on the plateau, blue 90 %, white 48 %"
    assert expected(programme, time(18, 30)) == "18:30: ramping down, blue 45 %, white 24 %"
    assert expected(programme, time(3)) == "03:00: off"


def test_a_channel_with_hours_of_its_own() -> None:
    """White an hour later: at 10:00 only blue shines."""
    programme = lights(channel(), channel("white", 48, "10:30"))
    assert expected(programme, time(10)) == "10:00: ramping up, blue 22 %, white 0 %"


def test_a_programme_past_midnight() -> None:
    late = channel(begins="20:00")
    assert output(late, time(1)) == 90
    assert output(late, time(5)) == pytest.approx(45)
    assert phase(lights(late), time(5)) == "ramping down"
    assert output(late, time(19, 59)) == 0


def test_no_ramp_is_a_switch() -> None:
    plain = channel(up=0, down=0)
    assert [output(plain, each) for each in (time(9, 29), time(9, 30), time(15, 29), time(15, 30))] == [0, 90, 90, 0]


# -- integral ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("ppfd", "up", "plateau", "down", "integral"), [(200, 0, 12, 0, 8.64), (1, 0, 24, 0, 0.0864), (300, 0, 8, 4, 10.8)]
)
def test_published_integrals(ppfd: float, up: float, plateau: float, down: float, integral: float) -> None:
    """By the definition in Korczynski, Logan and Faust 2002, HortTechnology 12, 12–16."""
    assert daily_light_integral(ppfd, up, plateau, down) == pytest.approx(integral, abs=1e-9)


@given(
    st.floats(0, 500),
    st.lists(
        st.tuples(st.floats(1, 100), st.integers(0, 1439), *[st.floats(0, 8)] * 3).filter(lambda c: sum(c[2:]) > 0.1),
        min_size=1, max_size=3,
    ),
)  # fmt: skip
def test_the_integral_is_the_sum_of_the_output(
    measured: float, given_channels: list[tuple[float, int, float, float, float]]
) -> None:
    """Against the output of every minute of the day, summed: Σ PPFD × 60 s."""
    programme = lights(
        *(
            channel(str(number), peak, f"{begins // 60:02}:{begins % 60:02}", up, plateau, down)
            for number, (peak, begins, up, plateau, down) in enumerate(given_channels)
        )
    )
    full = sum(each.peak for each in programme.channels)
    minutes = [time(minute // 60, minute % 60, 30) for minute in range(1440)]
    summed = sum(output(each, clock) for each in programme.channels for clock in minutes) / full * measured * 60 / 1e6
    assert daily_integral(programme, measured) == pytest.approx(summed, abs=measured * 3 * 60 / 1e6 + 1e-9)


def test_measured_at_a_part_of_the_peaks() -> None:
    """150 read at three quarters are 200 at the peaks: 200 × 8 h × 3600 = 5.76 mol (by hand)."""
    assert daily_integral(lights(measured_at=75), 150) == pytest.approx(5.76)


# -- rises -------------------------------------------------------------------------------------------


NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)


def step(days: float, rise: float | None = 0.08, planned: bool = True) -> LightStep:
    what = "light step" if planned else "Renew carbon"
    return LightStep(at=NOW - days * DAY, what=what, record=f"step-{days}", planned=planned, rise=rise)


def ask(*steps: LightStep, paling: float | None = None, looked: float | None = 1, read: float | None = 1) -> Verdict:
    return may_rise(
        CALENDAR, NOW, steps=steps,
        palings=[] if paling is None else [(NOW - paling * DAY, "pale")],
        looked=None if looked is None else (NOW - looked * DAY, "look"),
        measured=None if read is None else (NOW - read * DAY, "par"),
    )  # fmt: skip


def test_a_rise_after_a_week_a_look_and_a_reading() -> None:
    found = ask(step(8))
    assert found.may_rise
    assert found.records == ("step-8", "look", "par")
    assert "looked over on Tue 31 Mar" in found.why


def test_a_week_lies_between_steps_also_unplanned_ones() -> None:
    found = ask(step(12), step(3, None, planned=False))
    assert (found.may_rise, found.until) == (False, NOW + 4 * DAY)
    assert found.why == "wait until Sun 5 Apr: Renew carbon (counts as a light step) on Sun 29 Mar"


def test_routine_wiping_holds_nothing_but_is_measured_before_a_rise() -> None:
    """A PAR reading from before it says less than there is."""
    wiped = msgspec.structs.replace(step(3, None, planned=False), routine=True)
    assert ask(step(12), wiped).may_rise
    assert ask(step(12), wiped, read=5).why.startswith("a PAR reading is missing since Renew carbon")


def test_a_step_down_does_not_count() -> None:
    assert ask(step(8), step(2, -0.1)).may_rise


def test_paling_holds_for_fourteen_days() -> None:
    found = ask(step(20), paling=13)
    assert (found.may_rise, found.until, found.records) == (False, NOW + 1 * DAY, ("pale",))
    assert ask(step(20), paling=14).may_rise


@pytest.mark.parametrize(
    ("looked", "read", "missing"),
    [(None, 1, "a look"), (9, 1, "a look"), (1, None, "a PAR reading"), (1, 8, "a PAR reading")],
)
def test_a_look_and_a_reading_since_the_last_step(looked: float | None, read: float | None, missing: str) -> None:
    found = ask(step(8), looked=looked, read=read)
    assert not found.may_rise
    assert found.why.startswith(missing)
