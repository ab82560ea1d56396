"""What has another id now: what was recorded under the former one counts on."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.following import draft_done
from rounds.core.history import History
from rounds.core.plan import DueItem, due_items
from rounds.core.record import OFF_NORMAL, STOCK, Record, Value
from rounds.core.recording import Draft
from rounds.core.renamed import present
from rounds.storage.faults import RoomFaults
from rounds.storage.room import RoomFolder
from rounds.storage.room_files import load_room
from tests.support import could_not, done, head, instant, measured, not_needed, postponed, record, room_from

REEF = """name = "Reef"
FORMERLY
[[stations]]
id = "sump"

[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "3 days"

[[tasks]]
id = "feed"
title = "Feed"
rrule = "FREQ=DAILY"
at = ["09:00", "17:00"]
make_up = false

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
name = "the alkalinity"
again_after = "2 days"

[[reservoirs]]
id = "barrel"
kind = "top-off"
name = "the barrel"
capacity = "80 L"
again_after = "1 day"

[[equipment]]
id = "pump"
kind = "return pump"
name = "the pump"

[[stock]]
id = "socks"
name = "the socks"
unit = "piece"
minimum = "2 piece"
"""

NEW_IDS = {"cup": "skimmer", "feed": "meal", "alkalinity": "kh", "barrel": "tub", "pump": "return", "socks": "floss"}


def renamed(text: str) -> str:
    """The system's file with every id another one, and the former one beside it."""
    for old, new in NEW_IDS.items():
        text = text.replace(f'id = "{old}"', f'id = "{new}"\nformerly = ["{old}"]')
    return text


BEFORE = room_from(head(), reef=REEF.replace("FORMERLY", ""))
AFTER = room_from(head(), lagoon=renamed(REEF.replace("FORMERLY", 'formerly = ["reef"]')))
NOW = instant("2026-03-10 12:00")


def told(item: DueItem) -> tuple[object, ...]:
    """An item without its ids."""
    task = item.task
    return (task.title, item.state, item.due_at, item.fine_until, item.closed_at, item.missed, item.postponed_until,
            item.could_not, item.in_round, item.late_by, bool(item.last_done))  # fmt: skip


def _hours(number: int) -> timedelta:
    return timedelta(hours=number)


def _counted(at: datetime, amount: float) -> Record:
    value = Value(reading="reef/socks", entered=f"{amount:g}", value=amount, unit="")
    return record(STOCK, "reef/socks", at, words=("counted",), values=(value,))


TIMES = st.integers(0, 40 * 24).map(lambda hours: instant("2026-01-30 00:00") + _hours(hours))
TASKS = st.sampled_from(["reef/cup", "reef/feed"])
RECORDS = st.one_of(
    st.builds(done, TASKS, TIMES),
    st.builds(not_needed, TASKS, TIMES),
    st.builds(could_not, TASKS, TIMES),
    st.builds(lambda task, at: postponed(task, at, at + _hours(30)), TASKS, TIMES),
    st.builds(measured, st.just("reef/alkalinity"), TIMES),
    st.builds(measured, st.just("reef/barrel-level"), TIMES),
    st.builds(lambda at: record("refill", "reef/barrel-refill", at), TIMES),
    st.builds(lambda at: _counted(at, at.day % 5), TIMES),
    st.builds(lambda at: postponed("reef/socks-order", at, at + _hours(30)), TIMES),
    st.builds(lambda at: record(OFF_NORMAL, "reef/pump", at, until=at + _hours(1), reason="off: x"), TIMES),
)


@given(st.lists(RECORDS, max_size=12))
def test_the_round_is_the_same_as_before(records: list[Record]) -> None:
    """Whatever was recorded under the former ids, each item stands as it stood."""
    before = due_items(BEFORE, History(records), NOW)
    after = due_items(AFTER, History(present(each, AFTER.formerly) for each in records), NOW)
    assert [told(item) for item in after] == [told(item) for item in before]


def test_without_the_former_ids_the_past_is_lost() -> None:
    """Or else the test above could not fail."""
    records = [done("reef/cup", "2026-03-09 12:00")]
    assert told(due_items(AFTER, History(records), NOW)[-1]) != told(due_items(BEFORE, History(records), NOW)[-1])


def test_an_id_changed_within_a_renamed_system_is_found_under_each() -> None:
    records = [
        done("reef/cup", "2026-03-01 12:00"),
        done("lagoon/cup", "2026-03-02 12:00"),
        done("lagoon/skimmer", NOW),
    ]
    assert {present(each, AFTER.formerly).task for each in records} == {"lagoon/skimmer"}
    assert {present(each, AFTER.formerly).system for each in records} == {"lagoon"}


@pytest.mark.parametrize(
    ("key", "what"),
    [
        ('formerly = ["feed"]', "the id 'feed' is in use"),
        ('formerly = ["Old Cup"]', "'Old Cup' is no id"),
        ('formerly = ["a", "a"]', "'a' is named as a former id twice"),
        ('formerly = "a"', "is not a list of texts"),
        ('formerly = ["barrel-level"]', "the id 'barrel-level' is in use"),
    ],
)
def test_a_former_id_that_is_in_use_is_a_fault(key: str, what: str) -> None:
    text = REEF.replace("FORMERLY", "").replace('id = "cup"', f'id = "cup"\n{key}')
    with pytest.raises(RoomFaults, match=what):
        room_from(head(), reef=text)


def test_a_former_system_that_is_still_there_is_a_fault() -> None:
    with pytest.raises(RoomFaults, match="the id 'reef' is in use"):
        room_from(head(), lagoon='name = "L"\nformerly = ["reef"]\n', reef='name = "R"\n')


# -- in the folder -------------------------------------------------------------------------------------


def states(room: RoomFolder) -> list[tuple[object, ...]]:
    return [told(item) for item in room.items(room.now())]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A room with work recorded, its cache and archive written."""
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-10T12:00:00")
    (tmp_path / "room" / "systems").mkdir(parents=True)
    (tmp_path / "room" / "room.toml").write_text(head())
    (tmp_path / "room" / "systems" / "reef.toml").write_text(REEF.replace("FORMERLY", ""))
    room = RoomFolder(tmp_path / "room")
    for task, text in (("reef/cup", ""), ("reef/alkalinity", "8.1 dKH")):
        room.record(_done(room, task, text), "TV")
    room.keep()
    assert len(room.standing_of("reef")) == 2
    return tmp_path / "room"


def _done(room: RoomFolder, task: str, text: str) -> Draft:
    return draft_done(room.model, room.history, room.task(task), text, room.now())


def rename(folder: Path) -> None:
    (folder / "systems" / "reef.toml").unlink()
    (folder / "systems" / "lagoon.toml").write_text(renamed(REEF.replace("FORMERLY", 'formerly = ["reef"]')))


@pytest.mark.parametrize("how", ["fully", "quickly", "while open"])
def test_a_renamed_system_has_its_round_and_its_past(folder: Path, how: str) -> None:
    """Also where cache and archive were written under the former ids."""
    room = RoomFolder(folder)
    before = states(room)
    rename(folder)
    if how == "while open":
        assert room.refresh_files() is True
    else:
        room = RoomFolder(folder, quickly=how == "quickly")
    assert states(room) == before
    assert len(room.records_about(task="lagoon/skimmer")) == 1
    assert len(room.standing_records(["lagoon/kh"])) == 1
    last = room.last_of_device(room.now())
    assert last is not None
    assert last.task == "lagoon/kh"


def test_what_was_recorded_can_be_struck_after_the_renaming(folder: Path) -> None:
    rename(folder)
    room = RoomFolder(folder)
    strike = room.strike(room.records_about(task="lagoon/skimmer")[0].id, "wrong tank", "TV")
    assert strike.task == "lagoon/skimmer"
    again = RoomFolder(folder)
    assert again.history.strike_of(strike.ref or "") is not None


def test_the_names_can_be_given_back(folder: Path) -> None:
    before = states(RoomFolder(folder))
    old = (folder / "systems" / "reef.toml").read_text()
    rename(folder)
    RoomFolder(folder).keep()
    (folder / "systems" / "lagoon.toml").unlink()
    (folder / "systems" / "reef.toml").write_text(old)
    assert states(RoomFolder(folder)) == before


def test_a_room_without_former_ids_reads_as_before(tmp_path: Path) -> None:
    (tmp_path / "systems").mkdir()
    (tmp_path / "room.toml").write_text(head())
    assert load_room(tmp_path).formerly == {}
