"""The files of a new room: they load, they are tidy, and they are put where nothing stands."""

from __future__ import annotations

import os
import stat
import tomllib
from collections import Counter
from datetime import date, time, timedelta
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from rounds.core.ahead import coming
from rounds.core.errors import Refused
from rounds.core.founding import Answers, ReservoirAnswers, SystemAnswers
from rounds.core.history import History
from rounds.core.layout import FITTINGS
from rounds.core.model import RESERVOIR_KINDS, AgainAfter, Keeper, Shift
from rounds.storage import device
from rounds.storage.faults import RoomFaults
from rounds.storage.founding import (
    drop_answers,
    keep_answers,
    kept_answers,
    new_room,
    program_kinds,
    write_room,
)
from rounds.storage.room_files import load_room

TODAY = date(2026, 11, 25)
NURSERY = SystemAnswers(
    name="Nursery raceway",
    kinds=("coral grow-out", "fish system"),
    volume="960 L",
    surface="3.9 m2",
    equipment=("skimmer", "heater", "return pump", "dosing pump", "gravity top-off"),
    reservoirs=(
        ReservoirAnswers(name="barrel", kind="top-off", capacity="80 L"),
        ReservoirAnswers(name="alkalinity", kind="dosing", capacity="3 L"),
    ),
)
QUARANTINE = SystemAnswers(name="Quarantine", kinds=("quarantine",), volume="100 L", equipment=("heater",))
ANSWERS = Answers(
    folder="/nowhere/room",
    name="Tern Quay reef room",
    timezone="Europe/Dublin",
    keepers=(Keeper("TV", "Tove Vik"),),
    shifts=(Shift("early", time(7), time(13)),),
    room=SystemAnswers(
        name="The room",
        kinds=("room",),
        equipment=("purified-water unit",),
        reservoirs=(ReservoirAnswers(name="store", kind="purified water", capacity="400 L"),),
    ),
    systems=(QUARANTINE, NURSERY),
)


def tables(text: str, key: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = tomllib.loads(text).get(key, [])
    return found


SHIFTS = (Shift("early", time(8), time(12)), Shift("late", time(16), time(19)))


def times_of(answers: Answers, id: str) -> tuple[time, ...]:
    return new_room(answers, TODAY).room.tasks[id].times


# -- what is written ---------------------------------------------------------------------------------


def test_the_room_is_what_was_answered() -> None:
    room = new_room(ANSWERS, TODAY).room
    assert (room.name, room.timezone, room.day_begins, room.began) == (
        "Tern Quay reef room", "Europe/Dublin", time(4), TODAY
    )  # fmt: skip
    assert room.units == {"temperature": "°C", "salinity": "PSU", "alkalinity": "dKH", "volume": "L"}
    assert [system.id for system in room.systems] == ["room", "nursery-raceway", "quarantine"]
    assert [(zone.id, zone.name) for zone in room.zones] == [("A", "growing on"), ("B", "quarantine")]
    assert room.system["nursery-raceway"].volume == 960


def test_the_care_of_kinds_and_equipment_comes_with_them() -> None:
    room = new_room(ANSWERS, TODAY).room
    assert {"room/first-look", "nursery-raceway/skimmer-cup", "quarantine/q-look"} <= set(room.tasks)
    assert room.tasks["nursery-raceway/skimmer-cup"].station == "sump"


def test_a_system_without_return_has_no_sump() -> None:
    assert new_room(ANSWERS, TODAY).room.tasks["quarantine/heater-look"].station == "tank"


def test_a_system_without_return_has_no_overflow_to_clear() -> None:
    tasks = new_room(ANSWERS, TODAY).room.tasks
    assert {"quarantine/overflow", "quarantine/drain-down", "quarantine/valves"}.isdisjoint(tasks)
    assert {"nursery-raceway/overflow", "nursery-raceway/drain-down", "nursery-raceway/valves"} <= set(tasks)


def test_what_arrives_in_a_quarantine_is_isolated() -> None:
    room = new_room(ANSWERS, TODAY).room
    assert (room.system["quarantine"].isolation, room.system["quarantine"].isolation_fish) == (45, 76)
    assert room.system["nursery-raceway"].isolation is None


def test_the_files_show_only_what_differs() -> None:
    text = new_room(replace(ANSWERS, spread=False), TODAY).files["systems/nursery-raceway.toml"]
    assert tables(text, "tasks") == []
    assert tables(text, "readings") == []
    assert "care = [" in text


def test_what_the_room_does_not_have_is_left_out() -> None:
    room = new_room(replace(ANSWERS, fittings=("eyewash",)), TODAY).room
    assert "room/eyewash" in room.tasks
    assert "room/co2-alarm" not in room.tasks


def test_every_fitting_is_care_of_the_room() -> None:
    brought = program_kinds()["room", "room"]
    assert {id for ids in FITTINGS.values() for id in ids} <= {*brought.tasks, *brought.readings}


def test_a_level_is_read_once() -> None:
    """By the reservoir, and not by the equipment as well."""
    room = new_room(ANSWERS, TODAY).room
    assert "nursery-raceway/barrel-level" in room.tasks
    assert "nursery-raceway/float-level" not in room.tasks
    assert "nursery-raceway/dose-levels" not in room.tasks


def test_reservoirs_are_filled_from_the_store() -> None:
    barrel = new_room(ANSWERS, TODAY).room.reservoirs["nursery-raceway/barrel"]
    assert (barrel.fed_by, barrel.reserve, barrel.delivery) == ("room/store", 20, "float valve")


def test_a_reservoir_does_not_take_the_place_of_a_task() -> None:
    """A container named as a task of the catalogue would leave that task out."""
    carbon = ReservoirAnswers(name="count", kind="dosing", capacity="3 L")
    room = new_room(replace(ANSWERS, systems=(replace(NURSERY, reservoirs=(carbon,)),)), TODAY).room
    assert "nursery-raceway/count" in room.tasks
    assert "nursery-raceway/count-2" in room.reservoirs


def test_systems_of_one_name_have_files_of_their_own() -> None:
    same = replace(QUARANTINE, name="\N{ARABIC LETTER MEEM}\N{FISH}")
    files = new_room(replace(ANSWERS, systems=(same, same, replace(same, name="ROOM"))), TODAY).files
    assert list(files) == ["room.toml", "systems/system.toml", "systems/system-2.toml", "systems/room-2.toml"]


def test_the_files_have_no_blank_lines_in_a_row() -> None:
    for text in new_room(ANSWERS, TODAY).files.values():
        assert "\n\n\n" not in text
        assert text.endswith("\n")
        assert not text.endswith("\n\n")


def test_a_comment_over_tables_stands_apart() -> None:
    """Also where no table comes before it."""
    jars = SystemAnswers(name="Jars", kinds=("live-food culture",))
    text = new_room(replace(ANSWERS, systems=(jars,)), TODAY).files["systems/jars.toml"]
    assert "\n\n# First times" in text


def test_a_room_without_a_name_has_a_fault() -> None:
    with pytest.raises(RoomFaults, match="name"):
        new_room(replace(ANSWERS, name=""), TODAY)


# -- first times -------------------------------------------------------------------------------------


def test_first_times_lie_within_the_interval_and_four_weeks() -> None:
    room = new_room(ANSWERS, TODAY).room
    moved = [task for task in room.tasks.values() if task.first_day is not None]
    assert len(moved) > 20
    for task in moved:
        assert isinstance(task.rule, AgainAfter)
        assert TODAY < task.first_day < TODAY + min(task.rule.span.nominal, timedelta(days=28))


def test_what_protects_people_and_animals_comes_within_a_week() -> None:
    for task in new_room(ANSWERS, TODAY).room.tasks.values():
        if task.importance in ("people", "life support") and task.first_day is not None:
            assert task.first_day < TODAY + timedelta(days=7)


def minutes_a_day(answers: Answers) -> list[int]:
    """What the plan of the new room asks for in its first four weeks."""
    room = new_room(answers, TODAY).room
    found: Counter[date] = Counter()
    for each in coming(room, History(), room.calendar.start(TODAY), 28):
        found[each.day] += each.minutes or 0
    return list(found.values())


def test_no_day_asks_for_much_more_than_the_others() -> None:
    """While without spreading the first day would ask for many times as much as a usual one."""
    spread, at_once = minutes_a_day(ANSWERS), minutes_a_day(replace(ANSWERS, spread=False))
    assert max(spread) <= 1.5 * median(spread)
    assert at_once[0] > 5 * median(at_once)


def test_all_can_be_due_on_the_first_day() -> None:
    room = new_room(replace(ANSWERS, spread=False), TODAY).room
    assert all(task.first_day is None for task in room.tasks.values())


# -- any answers -------------------------------------------------------------------------------------

texts = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=200)
names = st.one_of(
    texts.filter(str.strip),
    st.sampled_from(['say "coral" ]', "'''", '"""', "\\", "[[tasks]]", "# no", "\u202eeert", "🐠", "x" * 200, "room"]),
)
amounts = st.builds(
    "{:g} {}".format,
    st.integers(1, 9000) | st.floats(0.5, 9000).map(lambda x: round(x, 2)),
    st.sampled_from(["L", "US gal", "mL"]),
)
reservoirs = st.builds(ReservoirAnswers, name=names, kind=st.sampled_from(RESERVOIR_KINDS), capacity=amounts)


def kinds_of(sort: str) -> st.SearchStrategy[tuple[str, ...]]:
    found = [name for of, name in program_kinds() if of == sort]
    return st.lists(st.sampled_from(found), unique=True, min_size=1, max_size=6).map(tuple)


def doubled(kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Two pieces of every second kind."""
    return tuple(kind for place, kind in enumerate(kinds) for _ in range(1 + place % 2))


def some(strategy: st.SearchStrategy[Any], **how: Any) -> st.SearchStrategy[tuple[Any, ...]]:
    return st.lists(strategy, max_size=3, **how).map(tuple)


systems = st.builds(
    SystemAnswers,
    name=names,
    kinds=kinds_of("system"),
    volume=st.just("") | amounts,
    surface=st.sampled_from(["", "1.2 m2"]),
    zone=st.just("") | names,
    equipment=kinds_of("equipment").map(doubled) | st.just(()),
    reservoirs=some(reservoirs),
)
any_answers = st.builds(
    Answers,
    folder=st.just("/nowhere/room"),
    name=names,
    timezone=st.sampled_from(["Europe/Dublin", "Pacific/Chatham", "UTC"]),
    day_begins=st.sampled_from([time(0), time(4), time(23, 59)]),
    spread=st.booleans(),
    keepers=some(
        st.builds(Keeper, st.text("ABCÅß1", min_size=1, max_size=8), st.just("") | texts),
        unique_by=lambda k: k.initials,
    ),
    shifts=some(st.builds(Shift, names, st.times(), st.times()), unique_by=lambda shift: shift.name),
    room=st.builds(
        SystemAnswers,
        name=names,
        kinds=st.just(("room",)),
        equipment=kinds_of("equipment").map(doubled),
        reservoirs=some(reservoirs),
    ),
    fittings=some(st.sampled_from(list(FITTINGS)), unique=True),
    systems=some(systems),
)


@settings(max_examples=60)
@given(any_answers)
def test_any_answers_make_a_room_that_loads(answers: Answers) -> None:
    """With the names as they were typed."""
    room = new_room(answers, TODAY).room
    assert room.name == answers.name
    assert sorted(system.name for system in room.systems[1:]) == sorted(system.name for system in answers.systems)
    for place in answers.places:
        held = [each.name for system in room.systems for each in system.reservoirs]
        assert all(each.name in held for each in place.reservoirs)
    assert [keeper.name for keeper in room.keepers] == [keeper.name for keeper in answers.keepers]


def test_several_pieces_of_a_kind_are_numbered() -> None:
    """A single one has the name of its kind alone; the care of the kind comes once."""
    answers = replace(ANSWERS, systems=(replace(QUARANTINE, equipment=("skimmer", "heater", "heater")),))
    room = new_room(answers, TODAY).room
    assert [each.id for each in room.systems[1].equipment] == [
        f"quarantine/{id}" for id in ("skimmer", "heater-1", "heater-2")
    ]
    assert [id for id in room.tasks if "heater" in id] == ["quarantine/heater-look", "quarantine/heater-single"]


# -- shifts ------------------------------------------------------------------------------------------


def test_what_would_be_late_before_anybody_comes_is_due_when_the_next_shift_begins() -> None:
    """The first look at 07:15 is fine until 08:00, when the early shift begins: it would be late every day."""
    answers = replace(ANSWERS, shifts=SHIFTS, systems=(replace(NURSERY, equipment=("light",)),))
    assert times_of(answers, "room/first-look") == (time(8),)
    assert times_of(answers, "nursery-raceway/light-check") == (time(16),)


def test_what_a_shift_can_do_in_time_keeps_its_time() -> None:
    answers = replace(ANSWERS, shifts=SHIFTS)
    assert times_of(answers, "nursery-raceway/temperature") == (time(7, 30), time(17, 30))
    assert times_of(answers, "room/last-look") == (time(18, 30),)
    assert times_of(replace(ANSWERS, shifts=()), "room/first-look") == (time(7, 15),)


def test_two_times_of_a_task_do_not_fall_into_one_shift() -> None:
    answers = replace(ANSWERS, shifts=(Shift("evening", time(17), time(20)),))
    assert times_of(answers, "nursery-raceway/temperature") == (time(7, 30), time(17, 30))


def test_a_time_after_the_last_shift_stays() -> None:
    answers = replace(ANSWERS, shifts=(Shift("morning", time(7), time(12)),))
    assert times_of(answers, "room/last-look") == (time(18, 30),)


# -- on disk -----------------------------------------------------------------------------------------


def test_a_new_room_is_its_owners_alone(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "room"
    before = os.umask(0o022)
    try:
        write_room(folder, new_room(ANSWERS, TODAY).files)
    finally:
        os.umask(before)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in folder.rglob("*.toml")} == {0o600}
    assert load_room(folder).name == "Tern Quay reef room"


def test_nothing_is_written_where_something_stands(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    with pytest.raises(Refused, match=r"not empty \(thesis\.txt"):
        write_room(tmp_path, {"room.toml": ""})
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]


def test_a_room_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "room.toml").write_text("mine")
    with pytest.raises(Refused, match="holds a room already"):
        write_room(tmp_path, {"room.toml": ""})
    assert (tmp_path / "room.toml").read_text() == "mine"


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(Refused, match="no folder"):
        write_room(tmp_path / "file", {"room.toml": ""})


def test_a_folder_that_cannot_be_written_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device", os.fspath(path))

    monkeypatch.setattr("rounds.storage.founding.replace_file", full)
    with pytest.raises(Refused, match="No space left on device"):
        write_room(tmp_path / "room", {"room.toml": ""})


def test_the_room_file_is_written_last(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that a part of a room is no room."""
    written: list[str] = []
    monkeypatch.setattr("rounds.storage.founding.replace_file", lambda path, content: written.append(path.name))
    write_room(tmp_path / "room", new_room(ANSWERS, TODAY).files)
    assert written[-1] == "room.toml"


def test_the_user_data_folder_may_hold_the_demo_and_the_answers() -> None:
    keep_answers(ANSWERS)
    (device.user_data() / "demo").mkdir()
    write_room(device.user_data(), new_room(ANSWERS, TODAY).files)
    assert load_room(device.user_data()).name == "Tern Quay reef room"


def test_answers_are_kept_and_dropped() -> None:
    assert kept_answers() is None
    keep_answers(ANSWERS)
    assert kept_answers() == ANSWERS
    drop_answers()
    drop_answers()
    assert kept_answers() is None


def test_answers_that_cannot_be_read_are_none() -> None:
    keep_answers(ANSWERS)
    (device.user_data() / "new-room.json").write_text("{")
    assert kept_answers() is None
