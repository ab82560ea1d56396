"""What once went wrong below the app, and must not again."""

from __future__ import annotations

import contextlib
import json

import pytest

from rounds.core.entry import read_entry
from rounds.core.errors import CannotRead, Refused
from rounds.core.history import History
from rounds.core.log import Incomplete
from rounds.core.plan import due_items
from rounds.core.record import CONCERN_CLOSED
from rounds.storage.device import Clock
from rounds.storage.room import RoomFolder
from rounds.water.seawater import practical_salinity
from tests.core.test_history import NOON, concern, kept, open_at, update
from tests.storage.test_loader import REEF, ROOM, faults_of, one_fault
from tests.storage.test_sheets import SHEET, all_of, record
from tests.support import TASK, Bench, could_not, done, head, instant, measured, room_from, strike, write_room
from tests.support import record as entry


@pytest.mark.parametrize(
    ("old", "new"), [("[[equipment]]", "[[pumps]]"), ("[[equipment]]", "[equipment]")], ids=["[[pumps]]", "[equipment]"]
)
def test_a_table_that_is_wrong_has_its_line(tmp_path, old, new):
    """Not only a key, a whole table that is not known here is named with its line."""
    fault = one_fault(tmp_path, reef=REEF.replace(old, new))
    assert fault.line == REEF.splitlines().index(old) + 1


def test_one_mistake_is_one_fault(tmp_path):
    """`called` as text is named once."""
    one_fault(tmp_path, reef=REEF.replace('again_after = "2 days"', 'called = "yes"', 1))


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv("ROUNDS_DEVICE", "tablet")
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00")
    return write_room(tmp_path / "room", ROOM, reef=REEF)


GOOD = {
    "id": "good",
    "kind": "done",
    "task": "reef/cup",
    "at": "2026-03-04T11:00:00Z",
    "recorded": "2026-03-04T11:00:00Z",
}


@pytest.mark.parametrize(
    "records",
    [{"1": 5, "2": GOOD}, {"1": None, "2": GOOD}, {"one": GOOD}, {"1.5": GOOD}],
    ids=["a number", "null", "a word as number", "a fraction"],
)
def test_a_bad_entry_in_its_own_sheet_does_not_stop_recording(folder, records):
    """What is only skipped when it is read must not keep the device from writing that day."""
    (folder / "sheets" / "2026").mkdir(parents=True)
    (folder / SHEET).write_text(json.dumps({"records": records}))
    made = record(RoomFolder(folder))
    assert {each.id for each in all_of(RoomFolder(folder))} >= {made.id, "good"}


def test_what_stands_beside_the_records_survives_an_append(folder):
    """A key that a newer version wrote at the top of the sheet is still there."""
    record(RoomFolder(folder))
    sheet = json.loads((folder / SHEET).read_text())
    (folder / SHEET).write_text(json.dumps({**sheet, "written_by": "coral-rounds 9"}))
    record(RoomFolder(folder), at="2026-03-04 09:00")
    assert json.loads((folder / SHEET).read_text())["written_by"] == "coral-rounds 9"


def test_sheets_in_deeper_folders_are_read(folder):
    """Every regular *.json under sheets/ is read."""
    record(RoomFolder(folder))
    deeper = folder / "sheets" / "2026" / "march"
    deeper.mkdir()
    (folder / SHEET).rename(deeper / "x.json")
    assert len(all_of(RoomFolder(folder))) == 1


def test_a_fault_in_the_units_names_its_table(tmp_path):
    """The table is [units], not a list of tables."""
    faults = faults_of(tmp_path, ROOM.replace('salinity = "PSU"', 'salinity = "dKH"'), reef=REEF)
    assert [fault.table for fault in faults] == ["[units]"]


def test_a_line_separator_in_a_comment_does_not_move_the_line(tmp_path):
    """TOML ends lines at line feeds only."""
    fault = one_fault(tmp_path, reef="# a\u2028b\n" + REEF.replace("minutes = 5", "minutes = -5"))
    assert fault.line == REEF.split("\n").index("minutes = 5") + 2


def test_a_meal_with_a_long_lapse_is_shown_as_missed_when_it_lapses():
    """Monday's, lapsed on Wednesday, is missed in Wednesday's round and in the next."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO"\nat = "10:00"\nmake_up = false\nlapse = "2 days"')
    records = [done(TASK, "2026-02-23 10:00")]
    assert [bench.shown(i) for i in bench.round("2026-03-04 12:00", records)] == [("missed", "2026-03-02 10:00")]


def test_a_single_occurrence_keeps_the_early_it_was_given():
    """There is no gap before it to which early could be cut."""
    bench = Bench('rrule = "FREQ=DAILY;COUNT=1"\nat = "10:00"\nearly = "3 days"\nfirst_day = 2026-03-10')
    assert bench.none_open("2026-03-08 12:00", [done(TASK, "2026-03-08 10:00")])


@pytest.mark.parametrize("text", ["0001-01-01T00:00", "9999-12-31T23:59"])
def test_an_extreme_time_set_by_hand_is_refused(text, monkeypatch):
    """ROUNDS_NOW beyond the years there are is a time that cannot be read, with the remedy."""
    monkeypatch.setenv("ROUNDS_NOW", text)
    bench = Bench('again_after = "1 day"')
    with pytest.raises(CannotRead):
        due_items(bench.room, History(), Clock(bench.room.calendar.zone).now())


def test_a_reading_without_a_rule_can_be_recorded(folder):
    """It is asked for by no one; a value of it can be given at any time under its own id."""
    reef = folder / "systems" / "reef.toml"
    reef.write_text(REEF + '[[readings]]\nid = "temperature"\nquantity = "temperature"\n')
    assert RoomFolder(folder).task("reef/temperature").id == "reef/temperature"


def test_an_unknown_reference_pair_is_refused():
    """SG 17.5/17.5 is another scale than the room's; it is not read as the room's with a note "17.5/17.5"."""
    room = room_from(head(), reef='name = "R"\n[[readings]]\nid = "s"\nquantity = "salinity"\n')
    with pytest.raises(Refused):
        read_entry(
            "1.0255 SG 17.5/17.5", [room.readings["reef/s"]], salinity_unit="SG 25/25", seawater=practical_salinity
        )


def right_or_incomplete(history, now, wanted):
    with contextlib.suppress(Incomplete):
        assert open_at(history, now) == wanted


@pytest.mark.parametrize("closed_at", ["2026-02-02 12:00", "2026-03-03 12:00"], ids=["long ago", "yesterday"])
def test_a_cut_history_reopens_a_concern_whose_closing_is_struck(closed_at):
    """The strike comes from another device after the cache was written: the concern is open again, or all is read."""
    opened = concern()
    closed = update(opened, closed_at, CONCERN_CLOSED)
    history = kept(opened, closed, concern("2026-03-03 13:00", id="other"))
    history.add(strike(closed, "2026-03-04 11:00"))
    right_or_incomplete(history, NOON, [opened.id, "other"])


def test_a_cut_history_knows_what_was_open_before_it_was_closed_today():
    """Closed at 11:00; asked about 05:00 of the same day it was open."""
    opened = concern()
    history = kept(opened, update(opened, "2026-03-04 11:00", CONCERN_CLOSED))
    right_or_incomplete(history, instant("2026-03-04 05:00"), [opened.id])


def test_a_lapse_that_ends_with_yesterdays_start_of_day_is_shown_as_missed():
    """Also where windows touch, so that the lapse falls into the next one."""
    keys = 'rrule = "FREQ=DAILY"\nat = "01:45"\nmake_up = false\nlapse = "1 hour"\nearly = "36 hours"'
    bench = Bench(keys, room="", zone="UTC", day_begins="02:45")
    missed = [bench.wall(i.due_at) for i in bench.round("2026-03-25 14:44") if i.state == "missed"]
    assert "2026-03-24 01:45" in missed


def test_a_later_could_not_does_not_hide_an_earlier_one():
    """What is recorded for after now does not count."""
    bench = Bench('rrule = "FREQ=WEEKLY"\nmake_up = false')
    tried = [could_not(TASK, "2026-01-05 10:00", "a"), could_not(TASK, "2026-01-08 10:00", "b")]
    missed = next(item for item in bench.round("2026-01-06 12:00", tried) if item.state == "missed")
    assert missed.could_not == "a"


def test_a_skipped_date_leaves_one_open_item():
    """Samoa had no 30 December 2011: two dates fall on one instant."""
    keys = 'rrule = "FREQ=DAILY"\nat = "00:30"\nmake_up = false'
    bench = Bench(keys, room="", zone="Pacific/Apia", began="2011-12-20")
    assert [bench.shown(i) for i in bench.round("2011-12-31 18:22") if i.state != "missed"] == [
        ("later", "2012-01-01 00:30")
    ]


def test_a_refill_does_not_close_an_ordinary_task():
    """A closing record is done or not needed."""
    bench = Bench('again_after = "1 day"')
    assert bench.open("2026-03-01 12:00", [entry("refill", TASK, "2026-03-01 10:00")]).state == "overdue"


@pytest.mark.parametrize("kind", ["could not", "postponed"])
def test_a_record_that_closes_does_not_also_hold_open(kind):
    """A value closes the reading whatever the kind; the same record is not after itself."""
    room = room_from(
        head(), reef='name = "R"\n[[readings]]\nid = "alk"\nquantity = "alkalinity"\nagain_after = "1 day"\n'
    )
    closing = measured("reef/alk", "2026-03-01 10:00", kind=kind, reason="x", until="2026-03-02 20:00")
    item = next(i for i in due_items(room, History([closing]), instant("2026-03-02 05:00")) if i.closed_at is None)
    assert (item.state, item.could_not) == ("due", None)
