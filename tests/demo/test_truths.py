"""What the demo room was made from can be found again in its records, by the program's own arithmetic."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, time, timedelta
from functools import cache
from pathlib import Path
from statistics import fmean
from typing import Any

import pytest

from rounds.cli import main
from rounds.core.bands import retest, standing
from rounds.core.constants import DKH_PER_MEQ
from rounds.core.due import interval_of
from rounds.core.model import Instrument
from rounds.core.record import CHANGE_STEP, REFILL, Record
from rounds.core.series import Point, bearing_on, points_of
from rounds.core.staged import MADE, steps
from rounds.demo import write_demo
from rounds.report.balance import SystemBalance
from rounds.report.doses import dose_account
from rounds.report.light import light_state
from rounds.report.past import Past, past_of
from rounds.report.prompts import system_prompts
from rounds.report.reservoirs import LevelAccount, bearing_on_levels, level_accounts
from rounds.storage.room import RoomFolder
from rounds.water.ammonia import unionised
from rounds.water.balance import Balance
from rounds.water.robust import theil_sen
from rounds.water.trend import Trend, TrendValue, trend_of
from tests.demo.opened import DAY, moment

OPENED = {
    "a Wednesday": "2026-11-25T21:00",
    "the evening the clocks go back": "2026-10-25T21:00",
    "the day the clocks go forward": "2027-03-28T21:00",
    "a leap day": "2028-02-29T21:00",
}
WEEK = ("2026-11-23", "2026-11-24", "2026-11-25", "2026-11-26", "2026-11-27", "2026-11-28", "2026-11-29")
HOURS = ("04:05", "07:40", "10:00", "13:00", "16:30", "21:00")

SETTLED = 0.905
"""dKH a day until day -60."""
GROWN = 0.942
"""dKH a day on the opening day; straight from the one to the other."""
SUPPLY = 0.902
"""dKH a day."""


class Told:
    """The demo room in a folder, asked as the program asks it."""

    def __init__(self, folder: Path, now: datetime) -> None:
        self.folder = folder
        write_demo(folder, now)
        self.opened = now
        self.room = RoomFolder(folder)
        self.model = self.room.model
        self.today = self.model.calendar.round_day(now)

    def at(self, number: int, clock: str) -> datetime:
        """A wall time on a day counted from the opening day."""
        return self.model.calendar.wall(self.today + number * DAY, time.fromisoformat(clock))

    def days(self, at: datetime) -> float:
        """Days from noon of the opening day."""
        return (at - self.at(0, "12:00")) / DAY

    def records(self, reading: str) -> list[Record]:
        return self.room.standing_records(bearing_on(self.model, self.model.readings[reading]))

    def points(self, reading: str) -> list[Point]:
        return points_of(self.model.readings[reading], self.records(reading), self.opened)

    def last(self, reading: str, now: datetime) -> float:
        """The last usable value, canonical."""
        return [each.value for each in self.points(reading) if each.usable and each.at <= now][-1]

    def trend(self, reading: str, now: datetime, window: timedelta | None = None) -> Trend:
        return trend_of(self.model, self.model.readings[reading], self.records(reading), now, window)

    def levels(self, now: datetime) -> list[LevelAccount]:
        """What runs out first at the head."""
        return self.room.ask(lambda history: level_accounts(self.model, history, now))

    def level(self, reservoir: str, now: datetime) -> LevelAccount:
        return next(each for each in self.levels(now) if each.tank.id == reservoir)

    def past(self) -> Past:
        """Of the nursery."""
        return past_of(self.room, self.model.system["nursery"])

    def account(self, now: datetime) -> SystemBalance:
        """Of the nursery, as the screen of doses has it."""
        account = dose_account(self.model, self.past(), self.model.system["nursery"], now)
        assert account.found is not None, account.missing
        return account.found

    def balance(self, now: datetime) -> Balance:
        return self.account(now).balance

    def instrument(self, reading: str) -> Instrument:
        return self.model.instruments[self.model.readings[reading].instrument or ""]


@pytest.fixture(scope="session")
def told(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Told]:
    """The room opened at a wall time of its zone; made once."""

    @cache
    def opened(text: str) -> Told:
        now = moment(text)
        with pytest.MonkeyPatch.context() as clock:
            clock.setenv("ROUNDS_NOW", now.isoformat())
            return Told(tmp_path_factory.mktemp("demo") / "room", now)

    return opened


@pytest.fixture(params=OPENED.values(), ids=OPENED.keys())
def demo(request: pytest.FixtureRequest, told: Callable[[str], Told]) -> Told:
    text: str = request.param
    return told(text)


@pytest.fixture
def shown(demo: Told, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """What a command says with ``--json``, asked when the room is opened."""
    monkeypatch.setenv("ROUNDS_NOW", demo.opened.isoformat())

    def run(*arguments: str) -> Any:
        assert main(["--room", str(demo.folder), *arguments, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return run


def mean(values: list[TrendValue], *, raw: bool = False) -> float:
    """Of the values as measured, or as the trend calculates with them."""
    return fmean(value.value if raw else value.corrected or 0.0 for value in values)


def used_by(account: LevelAccount, litres: float) -> bool:
    """Whether so many litres a day lie in the interval of what its levels say."""
    low, high = account.level.use_interval or (0.0, 0.0)
    return low <= litres <= high


# -- supply and demand -----------------------------------------------------------------------------


def test_what_was_taken_in_while_all_was_settled(demo: Told) -> None:
    """0.905 dKH a day, out of 0.902 supplied and 10 per cent of the water changed each week."""
    found = demo.balance(demo.at(-76, "12:00"))
    assert found.supply == pytest.approx(SUPPLY, abs=0.002)
    assert found.low <= SETTLED <= found.high
    assert found.high - found.low < 0.02
    assert found.changes


def test_what_is_taken_in_now(demo: Told) -> None:
    """It has risen on the way to 0.942: the interval holds what it was in the middle of the tests."""
    found = demo.balance(demo.opened)
    assert found.supply == pytest.approx(SUPPLY, abs=0.002)
    middle = demo.days(found.stretch.begin + (found.stretch.end - found.stretch.begin) / 2)
    truth = SETTLED + (GROWN - SETTLED) * (1 + middle / 60)
    assert found.low <= truth <= found.high
    assert found.low > SETTLED


def test_the_cause_is_demand_not_supply(demo: Told) -> None:
    """The prompt says so, and that alkalinity leaves its band."""
    found = system_prompts(demo.model, demo.past(), demo.model.system["nursery"], demo.opened)
    (alkalinity,) = (each.text for each in found if each.rule == "alkalinity")
    assert "leaves the usual band in about" in alkalinity
    assert "demand has grown" in alkalinity
    assert "supply is as before" in alkalinity


def test_a_new_kit_batch_is_no_consumption(demo: Told) -> None:
    """Once its offset is noted its tests stand in the balance among the others, and it says what it always said."""
    account = demo.account(demo.at(-66, "12:00"))
    batch, noted = (r.at for r in demo.records("nursery/alkalinity") if r.kind == CHANGE_STEP)
    during = [test.value for test in account.tests if batch < test.at < noted]
    before = [test.value for test in account.tests if test.at < batch]
    assert len(during) >= 3
    assert fmean(during) - fmean(before) == pytest.approx(0, abs=0.1)
    assert account.balance.consumption == pytest.approx(SETTLED, abs=0.012)


def test_alkalinity_is_leaving_its_band(shown: Callable[..., Any], demo: Told) -> None:
    """About 7.5 dKH and falling for certain, out of the band within days."""
    found = shown("trend", "nursery/alkalinity")
    assert found["latest"] == pytest.approx(7.5, abs=0.15)
    assert found["corrected_to_salinity"] == 35
    assert found["slope_low"] < found["slope_per_day"] < found["slope_high"] < 0
    assert found["slope_per_day"] == pytest.approx(-0.02, abs=0.006)
    assert datetime.fromisoformat(found["leaves_band_at"]) < demo.at(8, "12:00")


def test_it_lay_flat_while_all_was_settled(demo: Told) -> None:
    """Until day -61 it moved by less than 0.006 dKH a day, known to 0.01."""
    found = demo.trend("nursery/alkalinity", demo.at(-61, "12:00"), 50 * DAY)
    assert found.line is not None
    assert abs(found.line.slope) < 0.006
    assert found.line.high - found.line.low < 0.01
    assert found.line.middle == pytest.approx(8.25, abs=0.15)


# -- levels ------------------------------------------------------------------------------------------


def test_what_the_containers_lose(demo: Told) -> None:
    """Barrel 5.3 L a day, limewater 6.4, each solution 70 mL; the waste container fills by half a litre."""
    before = demo.at(-15, "12:00")
    for reservoir, litres in (
        ("nursery/barrel", 5.3),
        ("nursery/lime-feed", 6.4),
        ("nursery/alkalinity-solution", 0.070),
        ("nursery/calcium-solution", 0.070),
        ("nursery/waste", 0.5),
        ("broodstock/barrel", 8.1),
        ("low-light/can", 2.4),
        ("quarantine/can", 2.7),
    ):
        account = demo.level(reservoir, before)
        assert used_by(account, litres), reservoir
        assert account.level.use_per_day == pytest.approx(litres, rel=0.05), reservoir


def test_evaporation(shown: Callable[..., Any]) -> None:
    """3.0 mm a day off every surface, limewater and top-off each counted once."""
    for each in shown("levels"):
        if each["evaporation_mm_per_day"] is not None:
            assert each["evaporation_mm_per_day"] == pytest.approx(3.0, abs=0.1), each["id"]
        assert (each["evaporation_mm_per_day"] is not None) == (each["kind"] in ("top-off", "limewater"))


def test_the_stuck_valve_is_called_by_its_name(demo: Told) -> None:
    """62 to 10 L overnight with falling salinity: stuck open; the evening before nothing was odd."""
    found = demo.level("nursery/barrel", demo.at(-14, "08:00")).level
    assert found.abnormal is not None
    assert found.abnormal.startswith("High use: 62.0 L yesterday 18:36 to 10.0 L")
    assert "Salinity is falling" in found.abnormal
    assert "a valve stuck open" in found.abnormal
    assert demo.level("nursery/barrel", demo.at(-15, "20:00")).level.abnormal is None


def test_diluted_alkalinity_is_as_usual_at_salinity_35(demo: Told) -> None:
    """Raw it fell by a twentieth in a night; corrected it lies on its line."""
    found = demo.trend("nursery/alkalinity", demo.at(-14, "12:00"))
    before, diluted = found.used[-2:]
    assert found.line is not None
    assert diluted.salinity == pytest.approx(960 * 35 / 1012, abs=0.1)
    assert diluted.value < before.value * 0.97
    assert diluted.corrected == pytest.approx(found.line.at(diluted.at), abs=0.15)
    assert not diluted.flagged


def test_raw_alkalinity_rises_while_the_corrected_one_falls(demo: Told) -> None:
    """In the week of salt water; no water change lies in it."""
    found = demo.trend("nursery/alkalinity", demo.at(-7, "22:00"), timedelta(days=6, hours=1))
    assert len(found.used) == 7
    raw = theil_sen([demo.days(value.at) for value in found.used], [value.value for value in found.used])
    assert raw.slope > 0
    assert found.line is not None
    assert found.line.slope < 0
    whole = demo.trend("nursery/alkalinity", demo.at(-7, "22:00"))
    assert whole.line is not None
    assert whole.line.direction == -1


@pytest.mark.parametrize("day", WEEK)
def test_the_alkalinity_container_leads_whatever_the_weekday(told: Callable[[str], Told], day: str) -> None:
    """At any hour it runs out first, on the coming Saturday, and nothing else is out of the ordinary."""
    demo = told(f"{day}T21:00")
    for hour in HOURS:
        first, *others = demo.levels(demo.at(0, hour))
        assert first.tank.id == "nursery/alkalinity-solution", hour
        assert first.level.reserve_at is not None
        ends = demo.model.calendar.round_day(first.level.reserve_at)
        assert ends.weekday() == 5
        assert 1 <= (ends - demo.today).days <= 7
        assert [each.tank.id for each in (first, *others) if each.level.abnormal] == []


def test_everything_else_was_filled_yesterday(demo: Told) -> None:
    """Cans, barrels, limewater feed and vat; the waste container was emptied. The pair of solutions was not."""
    records = demo.room.standing_records(bearing_on_levels(demo.model))
    lately = {r.task for r in records if r.kind == REFILL and demo.at(-1, "15:00") < r.at < demo.at(0, "04:00")}
    assert lately == {
        "nursery/barrel-refill", "nursery/lime-feed-refill", "nursery/waste-refill", "broodstock/barrel-refill",
        "low-light/can-refill", "quarantine/can-refill", "room/vat-refill",
    }  # fmt: skip


# -- instruments -------------------------------------------------------------------------------------


def test_the_calibration_is_a_step_of_the_instrument(demo: Told) -> None:
    """The probe had read 0.12 low: as measured pH jumped, as calculated with it did not."""
    found = demo.trend("nursery/ph", demo.at(-76, "12:00"), 60 * DAY)
    (step,) = found.taken_out
    assert (round(demo.days(step.at)), step.offset) == (-96, pytest.approx(0.12))
    before = [value for value in found.used if value.at < step.at]
    after = [value for value in found.used if value.at > step.at]
    assert min(len(before), len(after)) >= 19
    assert mean(after, raw=True) - mean(before, raw=True) == pytest.approx(0.12, abs=0.02)
    assert mean(after) - mean(before) == pytest.approx(0, abs=0.02)
    assert found.begins_with is None


def test_the_kit_batch_reads_high_until_its_offset_is_noted(demo: Told) -> None:
    """A quarter of a dKH from day -75 to -68, and nothing of it in what is calculated with."""
    found = demo.trend("nursery/alkalinity", demo.at(-61, "12:00"), 45 * DAY)
    assert [round(demo.days(step.at)) for step in found.taken_out] == [-75, -68]
    high, low = ((step.offset or 0) * DKH_PER_MEQ for step in found.taken_out)
    assert high == pytest.approx(0.25, abs=0.002)
    assert low == pytest.approx(-0.25, abs=0.002)
    began, ended = (step.at for step in found.taken_out)
    during = [value for value in found.used if began < value.at < ended]
    others = [value for value in found.used if not began < value.at < ended]
    assert len(during) >= 3
    assert mean(during, raw=True) - mean(others, raw=True) == pytest.approx(0.25, abs=0.1)
    assert mean(during) - mean(others) == pytest.approx(0, abs=0.1)


def test_one_kit_serves_every_system(demo: Told) -> None:
    """So the flat alkalinity of the broodstock has no bump either."""
    assert demo.instrument("nursery/alkalinity") is demo.instrument("broodstock/alkalinity")
    found = demo.trend("broodstock/alkalinity", demo.at(-60, "12:00"), 40 * DAY)
    assert len(found.taken_out) == 2
    began, ended = (step.at for step in found.taken_out)
    during = [value for value in found.used if began < value.at < ended]
    others = [value for value in found.used if not began < value.at < ended]
    assert mean(during, raw=True) - mean(others, raw=True) == pytest.approx(0.25, abs=0.15)
    assert mean(during) - mean(others) == pytest.approx(0, abs=0.15)


# -- tests, light, feed ------------------------------------------------------------------------------


def test_values_beside_their_band_are_tested_again_in_time(demo: Told) -> None:
    """By half of the interval, at most three days later, unless that is still to come."""
    for id in ("nursery/nitrate", "nursery/phosphate", "nursery/salinity", "room/product-water"):
        reading = demo.model.readings[id]
        interval = interval_of(demo.model, demo.model.tasks[id], demo.opened)
        found = [record for record in demo.records(id) if any(value.reading == id for value in record.values)]
        beside = 0
        for record, following in zip(found, [*found[1:], None], strict=True):
            (value,) = (value for value in record.values if value.reading == id)
            if standing(reading, value) is None:
                continue
            beside += 1
            again = demo.model.calendar.end(demo.model.calendar.round_day(retest(record.at, interval)))
            assert again > demo.opened if following is None else following.at < again, (id, record.at)
        assert beside >= 2, id


@pytest.mark.parametrize("hour", ["05:00", "21:00"])
def test_no_nitrate_is_flagged_when_the_room_is_opened(demo: Told, hour: str) -> None:
    """It has fallen to 0.8 mg/L along its line: every value of it is believed."""
    found = demo.trend("nursery/nitrate", demo.at(0, hour))
    assert found.flagged == ()
    assert found.line is not None
    assert found.line.direction == -1
    assert found.leaves is not None
    assert found.leaves.below
    assert found.leaves.outside


def test_no_settled_nitrate_was_flagged(demo: Told) -> None:
    """Until it began to fall, about 6 mg/L, no test stood out on any day."""
    for number in range(-110, -41, 3):
        assert demo.trend("nursery/nitrate", demo.at(number, "21:00")).flagged == (), number


def test_ammonia_in_quarantine(demo: Told) -> None:
    """Un-ionised 0.004 mg/L now, more after each arrival, never beyond 0.01."""

    def free(now: datetime) -> float:
        ph, salinity, temperature = (demo.last(f"quarantine/{id}", now) for id in ("ph", "salinity", "temperature"))
        return demo.last("quarantine/ammonia", now) * unionised(ph, salinity, temperature).fraction

    today = free(demo.opened)
    assert today == pytest.approx(0.004, abs=0.001)
    peaks = [free(demo.at(number, "21:00")) for number in (-60, -48)]
    assert all(today < peak <= 0.01 for peak in peaks)


def test_the_light_stays_held(demo: Told) -> None:
    """213 µmol/m2/s since the step was taken back; carbon and lenses are on the time line; paling holds the rise."""
    lights = demo.model.lights["nursery/programme"]
    state = demo.room.ask(lambda history: light_state(demo.model, history, lights, demo.opened))
    assert state.measured is not None
    assert (round(demo.days(state.measured[0])), state.measured[1]) == (-44, 213)
    told_days = [(round(demo.days(step.at)), step.planned, (step.rise or 0) < 0) for step in state.steps]
    assert (-44, True, True) in told_days
    assert {(-48, False, False), (-47, False, False)} <= set(told_days)
    assert not state.verdict.may_rise
    assert "paling" in state.verdict.why


def test_the_feed_was_raised_one_step(demo: Told) -> None:
    """From 20 to 30 mL on day -6, and so it is given since."""
    found = demo.room.ask(lambda history: steps(history, "nursery/feed", demo.opened))
    assert [(round(demo.days(step.record.at)), step.before, step.after, step.outcome) for step in found] == [
        (-6, 0.020, 0.030, MADE)
    ]
    given = demo.points("nursery/feed-amount")
    assert {round(each.value, 3) for each in given if each.at < found[0].record.at} == {0.020}
    assert {round(each.value, 3) for each in given if each.at > found[0].record.at} == {0.030}
