"""The demo room: whatever the moment it is opened, its story holds and its truths can be recovered."""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterable
from datetime import datetime, time, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from uuid import UUID

import pytest

from rounds.core.batches import COUNT, SIZE
from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.handovers import handovers, reviews
from rounds.core.items import MISSED, OVERDUE, POSTPONED, DueItem
from rounds.core.plan import due_items
from rounds.core.protocols import of_call, running
from rounds.core.quantities import QUANTITIES
from rounds.core.record import (
    BACK_TO_NORMAL,
    BATCH,
    BATCH_KINDS,
    CHANGE_STEP,
    COVER,
    KINDS,
    OFF_NORMAL,
    PROTOCOL,
    STOCK,
    STRIKE,
    Record,
)
from rounds.core.staged import HELD, MADE, TAKEN_BACK, steps
from rounds.demo import DEMO_ZONE, RECIPE, demo_files, write_demo
from rounds.demo.recipe import Recipe, read_recipe
from rounds.storage.room_files import load_room
from tests.demo.opened import DAY, ZONE, DemoRoom, moment

OPENED = {
    "a Wednesday morning": "2026-11-25T10:00",
    "a Saturday before the shift": "2026-11-28T06:20",
    "a Friday, the day before the container ends": "2026-12-04T13:05",
    "the evening the clocks go back": "2026-10-25T21:00",
    "the morning the clocks go forward": "2027-03-28T08:00",
    "the night after a Monday": "2027-02-16T02:30",
    "a leap day": "2028-02-29T16:00",
}
WHOLE_DAYS = (
    "a Wednesday morning",
    "the evening the clocks go back",
    "the morning the clocks go forward",
    "a leap day",
)
HOURS = ("04:05", "07:40", "08:00", "09:35", "10:00", "11:30", "13:00", "15:05", "16:00", "18:05", "21:00", "03:55")


class Opened(DemoRoom):
    """The demo room as it stands when it is opened."""

    def __init__(self, now: datetime) -> None:
        super().__init__(now)
        self._values: dict[str, list[tuple[datetime, float, Record]]] = {}
        for record in self.standing():
            for value in record.values:
                if value.value is not None and value.flag is None:
                    self._values.setdefault(value.reading, []).append((record.at, value.value, record))

    def standing(self) -> list[Record]:
        """What nobody has struck."""
        return [r for r in self.records if r.kind != STRIKE and self.history.strike_of(r.id) is None]

    def values(self, reading: str) -> list[tuple[datetime, float, Record]]:
        """Values of a reading that nothing casts doubt on, in order."""
        return self._values.get(reading, [])

    def calls(self) -> list[Record]:
        """The calls of protocols, the oldest first."""
        return [record for record in self.records if record.kind == PROTOCOL and record.ref is None]

    @property
    def look_at_stirrer(self) -> str:
        """The daily look at the new stirrer, a step of its protocol."""
        (under,) = running(self.room, self.history, self.now)
        return under.steps[-1].task

    def on(self, number: int, reading: str) -> list[float]:
        return [value for _, value, record in self.values(reading) if self.day(record) == number]

    def items(self, clock: str) -> list[DueItem]:
        """The round of the opening day at a wall time (of what was written down by the opening)."""
        now = self.room.calendar.wall(self.today, time.fromisoformat(clock))
        return [item for item in due_items(self.room, self.history, now) if item.in_round]


@cache
def opened(text: str) -> Opened:
    """The room opened at a wall time of its zone; made once."""
    return Opened(moment(text))


@cache
def whole_day(text: str) -> Opened:
    """The room at the last minute of the round day that holds the wall time."""
    calendar = load_room(demo_files()).calendar
    day = calendar.round_day(moment(text))
    return Opened(calendar.end(day) - timedelta(minutes=1))


@pytest.fixture(params=OPENED.values(), ids=OPENED.keys())
def demo(request: pytest.FixtureRequest) -> Opened:
    text: str = request.param
    return opened(text)


@pytest.fixture(params=[OPENED[name] for name in WHOLE_DAYS], ids=WHOLE_DAYS)
def full(request: pytest.FixtureRequest) -> Opened:
    text: str = request.param
    return whole_day(text)


@pytest.fixture(scope="module")
def recipe() -> Recipe:
    return read_recipe(demo_files() / RECIPE)


def of_state(items: Iterable[DueItem], state: str) -> set[str]:
    return {item.task.id for item in items if item.state == state}


def slope(points: list[tuple[float, float]]) -> float:
    """Median of the slopes between all pairs (Theil and Sen)."""
    pairs = ((y1 - y0, x1 - x0) for i, (x0, y0) in enumerate(points) for x1, y1 in points[i + 1 :] if x1 > x0)
    return statistics.median(dy / dx for dy, dx in pairs)


def used(demo: Opened, reservoir: str, first: int, last: int) -> float:
    """Litres a day by the falls from one reading to the next between refills."""
    falls, days = 0.0, 0.0
    values = [(at, v, r) for at, v, r in demo.values(f"{reservoir}-level") if first <= demo.day(r) <= last]
    for (at0, v0, _), (at1, v1, record) in pairwise(values):
        if record.kind != "refill":
            falls += v0 - v1
            days += (at1 - at0) / DAY
    return falls / days


# -- the room's files --------------------------------------------------------------------------------


def test_the_room_loads_without_a_fault() -> None:
    """Every file of the demo room is taken as it stands, in walking order."""
    room = load_room(demo_files())
    assert [system.id for system in room.systems] == [
        "room", "live-food", "larval", "nursery", "low-light", "broodstock", "quarantine",
    ]  # fmt: skip
    assert room.timezone == DEMO_ZONE
    assert next(iter(room.tasks)) == "room/first-look"
    assert sum(task.source == "task" for task in room.tasks.values()) >= 75


def test_every_station_has_something_to_do() -> None:
    """A stop on the walk without work would be a mistake of the files."""
    room = load_room(demo_files())
    assert {(task.system, task.station) for task in room.tasks.values()} == set(room.stations)


STOPS = {"dosing pump": "dosing", "limewater reactor": "limewater", "CO2 reactor": "CO2", "UV unit": "UV"}
"""What must not run on in water that stands, by the kind of the equipment."""


def test_nothing_runs_on_while_the_return_is_off() -> None:
    """Where the steps or what to look for have the return off, all that must stop with it is named."""
    room = load_room(demo_files())
    for task in room.tasks.values():
        said = " ".join((*task.steps, task.look_for))
        if re.search(r"\breturn off\b", said, re.IGNORECASE):
            kinds = {each.kind for each in room.equipment.values() if each.system == task.system}
            wanted = [word for kind, word in STOPS.items() if kind in kinds]
            assert [word for word in wanted if word.casefold() not in said.casefold()] == [], task.id


def test_nothing_refers_to_another_line() -> None:
    """A caution is read where it stands, on its own."""
    for task in load_room(demo_files()).tasks.values():
        assert "as above" not in f"{task.look_for} {task.caution}".casefold()


def test_the_recipe_names_only_what_the_room_has(recipe: Recipe) -> None:
    """Tasks, readings, reservoirs, stations and keepers of the recipe all exist."""
    room = load_room(demo_files())
    equipment = {each.id for system in room.systems for each in system.equipment}
    named = {each.name for each in recipe.events} | {each.batch for each in recipe.batches if each.does == "arrived"}
    tasks = {*recipe.anchors, *recipe.earlier, *recipe.held, *recipe.usual, *recipe.draws, *recipe.notes}
    tasks |= {each.task for each in (*recipe.remarks, *recipe.skipped)} | {e.task for e in recipe.events if e.task}
    assert tasks <= set(room.tasks)
    assert {series.reading for series in recipe.series} <= set(room.readings)
    assert {level.reservoir for level in recipe.levels} <= set(room.reservoirs)
    assert {e.ref for e in recipe.events if e.ref} <= named
    assert {e.equipment for e in recipe.events if e.equipment} <= equipment
    stations = {e.station for e in (*recipe.events, *recipe.batches) if e.station}
    assert stations <= {f"{system}/{id}" for system, id in room.stations}
    assert {*recipe.rota.early, *recipe.rota.late} <= {keeper.initials for keeper in room.keepers}
    assert recipe.rota.early.count("IK") + recipe.rota.late.count("IK") == 3


def test_a_room_that_stands_there_is_left_alone(tmp_path: Path) -> None:
    """The demo never overwrites somebody's room."""
    (tmp_path / "room.toml").write_text("mine", encoding="utf-8")
    with pytest.raises(Refused, match="holds a room already"):
        write_demo(tmp_path, datetime(2026, 11, 25, 10, tzinfo=ZONE))
    assert (tmp_path / "room.toml").read_text(encoding="utf-8") == "mine"


def test_the_copy_is_text_for_its_owner(tmp_path: Path) -> None:
    """The files can be edited and keep the keepers' comments; the recipe is not among them."""
    write_demo(tmp_path / "room", datetime(2026, 11, 25, 10, tzinfo=ZONE))
    head = tmp_path / "room" / "room.toml"
    assert "began = 2025-10-21" in head.read_text(encoding="utf-8")
    assert "# The corner with the unit" in head.read_text(encoding="utf-8")
    assert not list((tmp_path / "room").rglob(RECIPE))
    assert not any(path.stat().st_mode & 0o111 for path in (tmp_path / "room").rglob("*") if path.is_file())
    folders = [path for path in (tmp_path / "room").rglob("*") if path.is_dir()]
    assert folders
    assert all(path.stat().st_mode & 0o077 == 0 for path in [tmp_path / "room", *folders])
    assert all(path.stat().st_mode & 0o077 == 0 for path in (tmp_path / "room" / "sheets").rglob("*.json"))


# -- records ---------------------------------------------------------------------------------------


def test_every_record_can_be_read_and_refers_to_what_exists(demo: Opened) -> None:
    """Sheets have no problems; systems, stations, tasks, readings, keepers and references are the room's."""
    room = demo.room
    keepers = {keeper.initials for keeper in room.keepers}
    known = {r.id for r in demo.records}
    about = {each.id for system in room.systems for each in system.equipment}
    about |= {r.id for r in demo.records if r.kind == BATCH}
    about |= {*room.tasks, *room.readings, *room.instruments, *room.lights, *room.protocol, *room.stock}
    for call in demo.calls():
        about |= {step.task for step in of_call(room, demo.history, call, demo.now).steps}
    assert demo.head.count(f"began = {demo.today - 400 * DAY}") == 1
    assert not [problem for sheet in demo.sheets.values() for problem in sheet.problems]
    for record in demo.records:
        assert record.kind in KINDS
        assert record.by in keepers
        assert record.at <= record.recorded <= demo.now
        assert record.at.microsecond == record.recorded.microsecond == 0
        assert record.at.utcoffset() == record.at.astimezone(ZONE).utcoffset()
        assert record.task is None or record.task in about
        assert record.system is None or (record.system, record.station) in room.stations or record.station is None
        assert record.ref is None or record.ref in known
        for value in record.values:
            if record.kind == CHANGE_STEP:
                assert value.reading == record.task
                continue
            if record.kind == STOCK:
                assert (value.reading, value.unit) == (record.task, room.stock[value.reading].unit)
                continue
            if record.kind in BATCH_KINDS:
                assert value.reading in (COUNT, SIZE)
                assert value.value is not None
                assert value.value > 0
                continue
            reading = room.readings[value.reading]
            low, high = QUANTITIES[reading.quantity].possible
            assert value.unit == QUANTITIES[reading.quantity].canonical
            assert value.value is not None
            assert low <= value.value <= high
            assert reading.capacity is None or value.value <= reading.capacity


def test_each_record_stands_in_its_sheet(demo: Opened) -> None:
    """One sheet for each device and round day of writing; ids are unique and of version 7 and of that time."""
    for path, sheet in demo.sheets.items():
        for record in sheet.records:
            day = demo.room.calendar.round_day(record.recorded)
            assert path == Path("sheets") / f"{day.year}" / f"{day}.{record.device}.json"
            assert UUID(record.id).version == 7
            assert int(record.id.replace("-", "")[:12], 16) // 1000 == int(record.recorded.timestamp())
    assert len({record.id for record in demo.records}) == len(demo.records)


def test_the_same_day_tells_the_same_story() -> None:
    """Opened twice on one day, the room has the same records up to the earlier time."""
    early, late = opened("2026-11-25T10:00"), whole_day("2026-11-25T10:00")
    assert early.records == [r for r in late.records if r.recorded <= early.now]
    assert len(late.records) > len(early.records)
    again = Opened(early.now)
    assert again.records == early.records


def test_another_day_tells_it_with_other_figures() -> None:
    """The noise is drawn anew for each day."""
    one, other = opened("2026-11-25T10:00"), opened("2026-11-28T06:20")
    assert [v for _, v, _ in one.values("nursery/ph")][:20] != [v for _, v, _ in other.values("nursery/ph")][:20]


# -- today when opened -----------------------------------------------------------------------------


def test_only_the_two_are_overdue_at_any_hour(full: Opened) -> None:
    """Overdue are the float-valve lift, the residual-current test and the look at the new stirrer, postponed the
    carbon, missed one feed."""
    for hour in HOURS:
        items = full.items(hour)
        assert of_state(items, OVERDUE) == {"room/rcd-test", "low-light/float-lift", full.look_at_stirrer}, hour
        assert of_state(items, POSTPONED) == {"nursery/carbon"}, hour
        assert of_state(items, MISSED) == {"broodstock/feed-fish"}, hour


def test_the_opening_is_what_the_whole_day_shows_at_that_hour(demo: Opened) -> None:
    """What the keepers do later in the day has no part in it."""
    items = [item for item in due_items(demo.room, demo.history, demo.now) if item.in_round]
    assert of_state(items, OVERDUE) == {"room/rcd-test", "low-light/float-lift", demo.look_at_stirrer}
    assert of_state(items, MISSED) == {"broodstock/feed-fish"}


def test_the_overdue_have_their_reasons(demo: Opened) -> None:
    """The lift was postponed for the drip; the test is nine days past and twice nobody could stand by."""
    found = {item.task.id: item for item in due_items(demo.room, demo.history, demo.now)}
    test, lift = found["room/rcd-test"], found["low-light/float-lift"]
    assert test.due_at is not None
    assert (demo.today - demo.room.calendar.round_day(test.due_at)).days == 9
    assert test.could_not == "again nobody to stand by"
    assert len(demo.history.could_nots("room/rcd-test")) == 2
    postponed = demo.history.postponements("low-light/float-lift").last(demo.now)
    assert postponed is not None
    assert "drip" in postponed.reason
    assert lift.due_at is not None
    assert postponed.at > lift.due_at


def test_the_morning_is_done_as_the_hour_allows(full: Opened) -> None:
    """First look, temperatures, skimmer cup and light check are done, each at its hour; something is always open."""
    done = {item.task.id for item in full.items("08:20") if item.state == "done"}
    assert {"room/first-look", "nursery/temperature", "broodstock/temperature", "nursery/skimmer-cup"} <= done
    assert "nursery/light-check" in {item.task.id for item in full.items("14:50") if item.state == "done"}
    assert not {item.task.id for item in full.items("04:05") if item.state == "done"}
    assert sum(item.state in ("due", "later") for item in full.items("13:00")) >= 10


def test_what_is_off_normal_is_the_quarantine_uv(demo: Opened) -> None:
    """Everything else that was off has been put back."""
    off: dict[str, Record] = {}
    for record in demo.standing():
        if record.kind == OFF_NORMAL:
            assert record.until is not None
            assert record.until > record.at
            assert record.reason
            off[record.id] = record
        elif record.kind == BACK_TO_NORMAL:
            assert record.ref is not None
            assert off.pop(record.ref).task == record.task
    (uv,) = off.values()
    assert uv.task == "quarantine/uv"
    assert uv.words == ("off",)
    assert "treatment" in uv.reason
    assert uv.until is not None
    assert (demo.day(uv), uv.at.strftime("%H:%M")) == (-2, "18:10")
    assert demo.room.calendar.round_day(uv.until) == demo.today + DAY
    assert uv.until.strftime("%H:%M") == "18:00"


def test_the_open_concerns_are_the_four(demo: Opened) -> None:
    """Pale racks, no spare heater, the second float valve, resin."""
    notes = [concern.note for concern in demo.history.concerns(demo.now)]
    assert len(notes) == 4
    for note, word in zip(notes, ("pale", "spare heater", "second float valve", "resin"), strict=True):
        assert word in note
    assert demo.history.concerns(demo.now)[0].words == ("pale",)


def test_each_open_concern_says_when_to_look_again(demo: Opened) -> None:
    """In its last entry, and none of them today already."""
    for concern in demo.history.concerns(demo.now):
        until = [concern, *demo.history.followed(concern.id, demo.now)][-1].until
        assert until is not None
        assert demo.room.calendar.round_day(until) > demo.today


def test_quarantine_may_not_be_released_before_the_fourth_day(demo: Opened) -> None:
    """The count began again with the flatworm, 41 days ago."""
    (item,) = (i for i in due_items(demo.room, demo.history, demo.now) if i.task.id == "quarantine/release")
    assert item.due_at is not None
    assert demo.room.calendar.round_day(item.due_at) == demo.today + 4 * DAY


def test_the_alkalinity_container_ends_on_saturday(demo: Opened) -> None:
    """By its own readings it reaches the reserve on the coming Saturday; the other one does not."""
    tank = demo.room.reservoirs["nursery/alkalinity-solution"]
    points = [((at - demo.now) / DAY, v) for at, v, r in demo.values(f"{tank.id}-level") if demo.day(r) >= -14]
    rate = slope(points)
    level = statistics.median(v - rate * x for x, v in points)
    assert tank.reserve is not None
    ends = demo.room.calendar.round_day(demo.now + (tank.reserve - level) / rate * DAY)
    assert ends.weekday() == 5
    assert 1 <= (ends - demo.today).days <= 7
    assert demo.values("nursery/calcium-solution-level")[-1][1] > 1.5


def test_no_other_container_is_near_its_reserve(demo: Opened) -> None:
    """What was last read leaves a day at least."""
    for tank in demo.room.reservoirs.values():
        if tank.id == "nursery/alkalinity-solution" or tank.reserve is None:
            continue
        level = demo.values(f"{tank.id}-level")[-1][1]
        left = tank.reserve - level if tank.kind == "waste" else level - tank.reserve
        a_day = {"nursery/waste": 0.5, "room/store": 10, "room/vat": 8}.get(tank.id, 0.08 * tank.capacity)
        assert left > a_day, tank.id


def test_the_last_readings_are_about_as_told(full: Opened) -> None:
    """The figures of the opening day."""

    def last(reading: str) -> float:
        return full.values(reading)[-1][1]

    assert last("nursery/salinity") == pytest.approx(35.1, abs=0.25)
    assert last("nursery/alkalinity") * DKH_PER_MEQ == pytest.approx(7.5, abs=0.25)
    assert last("nursery/ph") == pytest.approx(8.05, abs=0.08)
    assert last("nursery/nitrate") == pytest.approx(0.8, abs=0.21)
    assert last("nursery/phosphate") == pytest.approx(0.02, abs=0.011)
    assert last("nursery/calcium") == pytest.approx(418, abs=14)
    assert last("nursery/magnesium") == pytest.approx(1310, abs=40)
    assert last("broodstock/alkalinity") * DKH_PER_MEQ == pytest.approx(8.2, abs=0.35)
    assert last("room/product-water") == pytest.approx(3.0, abs=0.1)
    assert last("nursery/fish") == 9
    assert last("nursery/frags") == 310
    assert last("quarantine/frags") == 37


# -- the 120 days ------------------------------------------------------------------------------------


def test_evaporation_can_be_recovered(full: Opened) -> None:
    """Fresh water that went in, each litre once, makes 3.0 mm a day."""
    litres = used(full, "nursery/barrel", -119, -16) + used(full, "nursery/lime-feed", -119, -16)
    assert litres / 3.9 == pytest.approx(3.0, abs=0.12)
    assert used(full, "nursery/lime-feed", -119, 0) == pytest.approx(6.4, abs=0.1)
    assert used(full, "broodstock/barrel", -119, 0) / 2.7 == pytest.approx(3.0, abs=0.12)


def test_the_dosing_pair_falls_in_step(full: Opened) -> None:
    """70 mL a day each."""
    for name in ("alkalinity", "calcium"):
        assert used(full, f"nursery/{name}-solution", -119, 0) == pytest.approx(0.070, abs=0.0007)


def test_consumption_can_be_recovered(full: Opened, recipe: Recipe) -> None:
    """Supply less change, water changes known: 0.905 dKH a day until day -60, more afterwards."""

    def consumption(first: int, last: int) -> float:
        points = [
            ((at - full.now) / DAY, v * DKH_PER_MEQ)
            for at, v, r in full.values("nursery/alkalinity")
            if first <= full.day(r) <= last
        ]
        nursery = recipe.nursery
        lime = nursery.limewater * nursery.lime_meq_per_litre * nursery.lime_strength
        supply = (lime + nursery.dose * nursery.dose_meq_per_ml) / nursery.volume * DKH_PER_MEQ
        level = statistics.fmean(value for _, value in points)
        changes = nursery.change / nursery.volume * (nursery.change_alkalinity - level) / 7
        return supply + changes - slope(points)

    settled, grown = consumption(-119, -61), consumption(-40, -15)
    assert settled == pytest.approx(0.905, abs=0.006)
    assert grown == pytest.approx(0.905 + 0.037 * 32.5 / 60, abs=0.012)


def test_the_stuck_valve_dilutes_and_nothing_is_lost(full: Opened) -> None:
    """62 to 10 L overnight; salinity 960 × 35 / 1012; corrected to 35 the alkalinity is as before."""
    assert full.on(-15, "nursery/barrel-level")[-1] == 62
    assert full.on(-14, "nursery/barrel-level")[0] == 10
    (salinity,) = full.on(-14, "nursery/salinity")
    assert salinity == pytest.approx(960 * 35 / 1012, abs=0.06)
    (diluted,) = full.on(-14, "nursery/alkalinity")
    (before,) = full.on(-15, "nursery/alkalinity")
    assert diluted < before * 0.97
    assert diluted * 35 / salinity * DKH_PER_MEQ == pytest.approx(before * DKH_PER_MEQ, abs=0.22)


def test_raw_alkalinity_rises_while_the_corrected_one_falls(full: Opened) -> None:
    """In the week of salt water the screen must not be fooled."""
    days = (-14, -12, -10, -8, -6)
    raw = [(float(day), full.on(day, "nursery/alkalinity")[-1]) for day in days]
    salinity = {day: full.on(day, "nursery/salinity")[-1] for day in days}
    corrected = [(day, value * 35 / salinity[int(day)]) for day, value in raw]
    assert slope(raw) > 0
    assert slope(corrected) < 0
    assert salinity[-6] == pytest.approx(35.05, abs=0.25)


def test_the_ph_step_is_the_instrument(full: Opened) -> None:
    """0.12 low before the calibration."""
    before = statistics.fmean(v for _, v, r in full.values("nursery/ph") if -116 <= full.day(r) <= -97)
    after = statistics.fmean(v for _, v, r in full.values("nursery/ph") if -95 <= full.day(r) <= -76)
    assert after - before == pytest.approx(0.12, abs=0.025)
    assert any(full.day(r) == -96 and "0.12 low" in r.note for r in full.history.closings("nursery/ph-cal"))


def test_the_power_cut_is_one_cause_over_many_tasks(full: Opened) -> None:
    """24.0 °C in the small hours, the protocol closed the same morning, what could wait put off because of it."""
    protocol = [r for r in full.records if r.kind == "protocol" and full.day(r) == -83]
    assert [r.ref for r in protocol] == [None, protocol[0].id]
    assert full.on(-83, "nursery/temperature")[0] == 24.0
    put_off = [r for r in full.records if r.kind == "postponed" and r.ref == protocol[0].id]
    assert len(put_off) >= 3
    assert any(full.day(r) == -82 and "dosing clock" in r.note for r in full.records)


def test_the_larvae_nights_were_put_back(full: Opened) -> None:
    """Three nights, skimmer and UV off and on again the same night."""
    for number in (-58, -57, -56):
        night = [r for r in full.records if full.day(r) == number and r.kind in (OFF_NORMAL, BACK_TO_NORMAL)]
        assert [(r.kind, r.task) for r in night] == [
            (OFF_NORMAL, "broodstock/skimmer"), (OFF_NORMAL, "broodstock/uv"),
            (BACK_TO_NORMAL, "broodstock/skimmer"), (BACK_TO_NORMAL, "broodstock/uv"),
        ]  # fmt: skip


def test_the_light_plan_was_held_and_taken_back(full: Opened) -> None:
    """Steps of seven to eight per cent to day -62, held three times, one taken back on day -44."""
    found = steps(full.history, "nursery/programme", full.now)
    made = [each for each in found if each.outcome == MADE]
    assert [full.day(each.record) for each in made] == [-103, -96, -89, -75, -62]
    assert all(1.07 <= each.after / each.before < 1.08 for each in made)
    assert [full.day(each.record) for each in found if each.outcome == HELD] == [-110, -82, -68, -46]
    (back,) = (each for each in found if each.outcome == TAKEN_BACK)
    assert (full.day(back.record), back.record.by, back.record.ref) == (-44, "OM", made[-1].record.id)
    assert back.after == made[-1].before
    assert all(each.record.by and each.record.note for each in found)


def test_the_racks_were_measured_after_each_step(full: Opened) -> None:
    """The PAR reading and the setting of the programme are the same light: eight hours' worth of plateau."""
    for each in steps(full.history, "nursery/programme", full.now):
        if each.outcome != HELD:
            (value,) = full.on(full.day(each.record), "nursery/par")
            assert each.after == pytest.approx(value * 8 * 3600 / 1e6)


def test_carbon_and_lenses_were_a_day_apart(full: Opened) -> None:
    """The step in light that nobody planned."""
    carbon = [full.day(r) for r in full.history.closings("nursery/carbon")]
    wiped = [full.day(r) for r in full.history.closings("nursery/light-wipe")]
    assert carbon[-1] == -48
    assert -47 in wiped


def test_the_heater_evening(full: Opened) -> None:
    """26.9 °C at last look, the spare fitted the same evening."""
    assert max(full.on(-33, "broodstock/temperature")) == 26.9
    assert [r.kind for r in full.records if r.task == "broodstock/heater-1"] == [OFF_NORMAL, BACK_TO_NORMAL]


def test_one_evening_feed_was_missed_and_not_made_up(full: Opened) -> None:
    """Day -27 in the nursery."""
    feeds = [r for r in full.history.closings("nursery/feed-fish") if full.day(r) == -27]
    assert len(feeds) == 1
    assert feeds[0].at.hour < 12


def test_corrected_entries_are_struck_not_lost(full: Opened) -> None:
    """Two slips, each with its reason; the right value stands beside."""
    strikes = [r for r in full.records if r.kind == STRIKE]
    assert len(strikes) == 2
    assert all(r.reason and full.history.strike_of(r.ref or "") == r for r in strikes)
    (right,) = full.on(-52, "nursery/salinity")
    assert right == pytest.approx(35, abs=0.3)


def test_recruits_were_moved_not_lost(full: Opened) -> None:
    """Sixty fewer in the larval tanks, sixty more on the racks."""
    larval = [(full.day(r), v) for _, v, r in full.values("larval/recruits")]
    frags = [(full.day(r), v) for _, v, r in full.values("nursery/frags")]
    assert [v for day, v in larval if day < -20][-1] - next(v for day, v in larval if day >= -20) == 60
    assert next(v for day, v in frags if day >= -20) - [v for day, v in frags if day < -20][-1] == 60


def test_the_past_was_kept(full: Opened) -> None:
    """On no noon of the 120 days was anything but a few small things late, and nothing by far."""
    for number in range(-118, 0, 9):
        day = full.today + number * DAY
        noon = full.room.calendar.wall(day, time(12))
        late = [i for i in due_items(full.room, full.history, noon) if i.state == OVERDUE]
        assert len(late) <= 5, (number, [i.task.id for i in late])
        assert all(item.late_intervals < 2 for item in late)


def test_some_entries_were_written_later_none_lately(full: Opened) -> None:
    """Late entries show as such; the last two days were written down on the spot."""
    late = [full.day(r) for r in full.records if r.recorded - r.at > timedelta(minutes=15)]
    assert 50 < len(late) < 500
    assert max(late) < -1


def test_every_shift_was_handed_over(full: Opened) -> None:
    """Signed twice a day and read back by the next keeper."""
    signed = {r.id for r in full.records if r.kind == "handover"}
    accepted = [r.ref for r in full.records if r.kind == "accepted"]
    assert len(signed) >= 2 * 119
    assert len(accepted) == len(set(accepted))
    assert len(signed - set(accepted)) <= 1


def test_the_power_return_was_worked_through(demo: Opened) -> None:
    """Called on day -83, every step the nursery asks for done the same morning, and completed."""
    call = next(each for each in demo.calls() if each.task == "room/power-return")
    ended = demo.history.ended(call.id, demo.now)
    assert ended is not None
    assert (demo.day(call), demo.day(ended), ended.words) == (-83, -83, ("completed",))
    steps = of_call(demo.room, demo.history, call, demo.now).steps
    assert len(steps) == 10
    assert all(step.done and step.closings[-1].at <= ended.at for step in steps)


def test_the_new_stirrer_is_under_watch(demo: Opened) -> None:
    """Called on day -9, looked at every day but yesterday and today: 8 of 14 looks, the next overdue."""
    (under,) = running(demo.room, demo.history, demo.now)
    assert (under.call.task, under.call.station, demo.day(under.call)) == ("room/new-equipment", "lime-shelf", -9)
    assert [step.done for step in under.steps] == [True, True, False]
    assert [demo.day(record) for record in under.steps[-1].closings] == [*range(-9, -1)]
    (look,) = (item for item in due_items(demo.room, demo.history, demo.now) if item.task.ref == under.call.id)
    assert look.state == OVERDUE


def test_the_last_handovers_hold_their_reports(full: Opened) -> None:
    """Three days back with every line, older ones with their words alone; the last evening's was questioned."""
    signed = handovers(full.records, full.now)
    assert all(bool(each.record.points) == (full.day(each.record) >= -3) for each in signed)
    evening = next(each for each in reversed(signed) if full.day(each.record) == -1)
    abouts = {point.about.partition(":")[0] for point in evening.record.points}
    assert {"room", "shift", "next", "on_call", "off_normal", "not_done", "concerns", "protocols",
            "out_of_band", "done", "systems"} <= abouts  # fmt: skip
    assert [point.about for point in evening.questions] == ["off_normal:quarantine/uv"]
    early = next(each for each in reversed(signed) if full.day(each.record) == 0 and each.record.reason == "early")
    assert any(point.about.startswith("missed:broodstock/feed-fish@") for point in early.record.points)
    accepted = evening.accepted
    assert accepted is not None
    assert (full.day(accepted), len(accepted.points)) == (0, len(evening.open))


def test_the_sitter_stood_in_for_the_evenings(demo: Opened) -> None:
    """Three days long, for each keeper whose evenings they would have been."""
    found = [record for record in demo.records if record.kind == COVER]
    assert found
    assert {demo.day(record) for record in found} == {-68}
    assert {record.keepers[1] for record in found} == {"GS"}
    assert len({record.keepers[0] for record in found}) == len(found)
    assert all(record.until == demo.room.calendar.end(demo.today - 66 * DAY) for record in found)


def test_the_month_before_was_reviewed(full: Opened) -> None:
    """On the first of this month, by its owner, a line for each of its days."""
    first = full.today.replace(day=1)
    (found,) = reviews(full.records, full.now)
    assert (found.by, full.room.calendar.round_day(found.at)) == ("OM", first)
    before = first - DAY
    assert [point.about for point in found.points] == [
        f"day:{before.replace(day=day)}" for day in range(1, before.day + 1)
    ]


def test_what_stops_with_the_return_pump(demo: Opened) -> None:
    """No flow, no dosing and limewater in the nursery, no UV and CO2 in the broodstock; feeding turns it off."""
    room = demo.room
    assert room.equipment["nursery/return-pump"].stops_with == ("nursery/lime-reactor", "nursery/dosing-pump")
    assert room.equipment["broodstock/return-pump"].stops_with == ("broodstock/uv", "broodstock/co2-reactor")
    for pump in ("nursery/return-pump", "broodstock/return-pump"):
        equipment = room.equipment[pump]
        assert equipment.put_back_order == (pump, *equipment.stops_with)
    feed = room.tasks["nursery/feed"]
    assert (feed.turns_off, feed.countdown) == (("nursery/return-pump",), timedelta(minutes=15))
    assert room.tasks["broodstock/co2-outlet"].equipment == "broodstock/co2-reactor"
    assert room.tasks["quarantine/uv-look"].equipment == "quarantine/uv"
    assert room.on_call == ("OM",)
    assert all(shift.keepers for shift in room.shifts)
