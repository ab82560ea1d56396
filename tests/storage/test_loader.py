"""The room's TOML files: what is read, and every fault with its place and its remedy."""

from __future__ import annotations

from datetime import date, time, timedelta

import pytest

from rounds.core.errors import NoRoom
from rounds.core.model import AgainAfter, Called, Once, OnDates
from rounds.storage.faults import RoomFaults
from rounds.storage.room_files import load_room
from rounds.water.seawater import practical_salinity
from tests.support import head, room_from, write_room

ROOM = """name = "Test room"
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-01-05
route = ["reef"]

[units]
alkalinity = "dKH"
salinity = "PSU"

[[zones]]
id = "A"
name = "clean"
tools = "white"

[[keepers]]
initials = "TV"
name = "Tove"

[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"
"""

REEF = """name = "Reef"
volume = "960 L"
surface = "3.9 m2"
zone = "A"

[[stations]]
id = "sump"
name = "Sump"

[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "2 days"
grace = "12 hours"
importance = "life support"
shift = "early"
keeper = "TV"
minutes = 5
takes = ["alkalinity"]
steps = ["one", "two"]
look_for = "foam"
caution = "wet floor"

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "sump"
target = "8.0 dKH"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_high = "10.0 dKH"
act_steps = ["test again"]
again_after = "2 days"

[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
dead = "8 L"
reserve = "25 L"
level_unit = "%"
use = "70 mL/day"
fed_by = "reef/store"
again_after = "1 day"

[[reservoirs]]
id = "store"
kind = "purified water"
station = "sump"
capacity = "300 L"

[[equipment]]
id = "skimmer"
kind = "skimmer"
station = "sump"
care = false
"""


def faults_of(folder, room=ROOM, **systems):
    with pytest.raises(RoomFaults) as found:
        load_room(write_room(folder, room, **systems))
    return found.value.faults


def one_fault(folder, room=ROOM, **systems):
    faults = faults_of(folder, room, **systems)
    assert len(faults) == 1, [str(fault) for fault in faults]
    return faults[0]


# -- what is read ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def room():
    return room_from(ROOM, reef=REEF)


def test_the_room_is_read(room):
    """Name, zone, hour at which the day begins and the first day."""
    assert (room.name, room.timezone, room.day_begins, room.began) == (
        "Test room", "Europe/Dublin", time(4), date(2026, 1, 5),
    )  # fmt: skip


def test_a_task_is_read_whole(room):
    """Every key of a task arrives where it belongs."""
    task = room.tasks["reef/cup"]
    assert (
        task.title, task.station, str(task.rule.span), task.grace, task.importance, task.shift.name, task.keeper,
        task.minutes, task.takes, task.steps, task.look_for, task.caution,
    ) == (
        "Rinse the cup", "sump", "2 days", timedelta(hours=12), "life support", "early", "TV",
        5, ("reef/alkalinity",), ("one", "two"), "foam", "wet floor",
    )  # fmt: skip


def test_a_reading_is_read_with_its_limits(room):
    """Limits keep what was written and a canonical value (2.8039 dKH per meq/L)."""
    reading = room.readings["reef/alkalinity"]
    assert (reading.unit, reading.low.value, reading.low.unit) == ("dKH", 7.5, "dKH")
    assert reading.low.canonical == pytest.approx(7.5 / 2.8039)


def test_a_reading_declares_its_own_task(room):
    """The reading's rule makes a task of the same id that takes the reading."""
    task = room.tasks["reef/alkalinity"]
    assert (task.source, task.title, task.takes) == ("reading", "Test alkalinity", ("reef/alkalinity",))


def test_a_reservoir_declares_level_and_refill(room):
    """The level has the reservoir's rule; the refill comes only by forecast."""
    assert isinstance(room.tasks["reef/barrel-level"].rule, AgainAfter)
    assert isinstance(room.tasks["reef/barrel-refill"].rule, Called)
    assert room.readings["reef/barrel-level"].capacity == 80


def test_a_reservoir_without_a_rule_has_no_level_task(room):
    """Its level can be recorded and is not asked for."""
    assert "reef/store-level" not in room.tasks
    assert "reef/store-level" in room.readings
    assert "reef/store-refill" in room.tasks


@pytest.mark.parametrize(
    ("keys", "kind"),
    [
        ('again_after = "3 days"', AgainAfter),
        ('rrule = "FREQ=WEEKLY;BYDAY=MO"', OnDates),
        ("once = 2026-12-01", Once),
        ("once = 2026-12-01T09:30:00", Once),
        ("called = true", Called),
        ("on_dates = [2026-12-03, 2026-11-03]", OnDates),
    ],
)
def test_each_rule_is_read(keys, kind):
    """A task has exactly one of five rules."""
    room = room_from(head(), reef=f'name = "R"\n[[tasks]]\nid = "a"\ntitle = "A"\n{keys}\n')
    assert isinstance(room.tasks["reef/a"].rule, kind)


@pytest.mark.parametrize("minutes", ["0", "14401", "true", '"6 hours"', "360.0"])
def test_minutes_a_day_are_a_whole_number_of_them(minutes):
    """Up to ten times those of a whole day, for ten pairs of hands; without the key None."""
    assert room_from(head()).minutes_a_day is None
    assert room_from(head(top="minutes_a_day = 360")).minutes_a_day == 360
    with pytest.raises(RoomFaults, match="minutes_a_day"):
        room_from(head(top=f"minutes_a_day = {minutes}"))


@pytest.mark.parametrize(
    ("keys", "days"),
    [
        ("", (None, 0)),
        ('isolation = "45 days"', (45, 76)),
        ('isolation = "8 weeks"\nisolation_fish = "90 days"', (56, 90)),
        ('isolation = "100 days"', (100, 100)),
    ],
)
def test_the_isolation_is_read_in_days(keys, days):
    """76 where fish were, unless the file says otherwise or all take longer."""
    system = room_from(head(), reef=f'name = "R"\n{keys}\n').system["reef"]
    assert (system.isolation, system.isolation_fish) == days


def test_the_day_begins_at_four_unless_said():
    """Without day_begins the round day begins at 04:00."""
    assert room_from('name = "R"\ntimezone = "UTC"\nbegan = 2026-01-05\n').day_begins == time(4)


def test_the_room_holds_tasks_of_its_own():
    """Tables in room.toml belong to the system "room"."""
    room = room_from(head('[[tasks]]\nid = "lock"\ntitle = "Lock up"\nagain_after = "1 day"\n'))
    assert list(room.tasks) == ["room/lock"]


@pytest.mark.parametrize(
    ("prefix", "newline"), [("\ufeff", "\n"), ("", "\r\n"), ("\ufeff", "\r\n")], ids=["BOM", "CRLF", "both"]
)
def test_files_of_other_editors_are_read(tmp_path, prefix, newline):
    """A byte order mark and Windows line ends do no harm."""
    write_room(tmp_path, "", reef="")
    (tmp_path / "room.toml").write_bytes((prefix + ROOM.replace("\n", newline)).encode())
    (tmp_path / "systems" / "reef.toml").write_bytes((prefix + REEF.replace("\n", newline)).encode())
    assert load_room(tmp_path).tasks["reef/cup"].steps == ("one", "two")


@pytest.mark.parametrize("text", ["1.0255 SG 25/25", "1.0270 SG 20/20", "53 mS/cm"])
def test_a_band_in_specific_gravity_is_salinity(tmp_path, text):
    """Limits in specific gravity or conductivity are converted by sea water."""
    reef = f'name = "R"\n[[readings]]\nid = "s"\nquantity = "salinity"\nlow = "{text}"\n'
    room = load_room(write_room(tmp_path, head(), reef=reef), practical_salinity)
    assert 30 < room.readings["reef/s"].low.canonical < 40


@pytest.mark.parametrize("name", [".hidden.toml", "notes.txt", "reef.toml~"])
def test_other_files_beside_the_systems_are_passed_over(tmp_path, name):
    """Editors' leftovers are no systems."""
    write_room(tmp_path, ROOM, reef=REEF)
    (tmp_path / "systems" / name).write_text("not toml [")
    assert list(load_room(tmp_path).system) == ["room", "reef"]


# -- faults ------------------------------------------------------------------------------------------


def test_no_room_names_the_folder_and_the_option(tmp_path):
    """A folder without room.toml is no room."""
    with pytest.raises(NoRoom, match=r"has no room\.toml.*--room") as told:
        load_room(tmp_path)
    assert str(tmp_path) in str(told.value)


def test_all_faults_of_all_files_come_in_one_go(tmp_path):
    """Nobody has to mend one fault to see the next."""
    reef = REEF.replace('zone = "A"', 'zone = "Z"').replace('again_after = "2 days"', 'again_after = "2 fortnights"')
    lab = 'name = "Lab"\nvolume = "much"\n'
    faults = faults_of(tmp_path, ROOM.replace("Europe/Dublin", "Europe/Cork"), reef=reef, lab=lab, broken="[")
    assert {(fault.file, fault.key) for fault in faults} == {
        ("room.toml", "timezone"),
        ("systems/reef.toml", "zone"),
        ("systems/reef.toml", "again_after"),
        ("systems/lab.toml", "volume"),
        ("systems/broken.toml", ""),
    }


def test_a_fault_names_file_line_table_key_and_remedy(tmp_path):
    """As a keeper needs it to find the place."""
    fault = one_fault(tmp_path, reef=REEF.replace('grace = "12 hours"', 'grace = "12 months"'))
    line = REEF.splitlines().index('grace = "12 hours"') + 1
    assert (fault.file, fault.line, fault.table, fault.key) == ("systems/reef.toml", line, '[[tasks]] "cup"', "grace")
    assert "minutes, hours, days or weeks" in fault.sentence
    assert str(fault).startswith(f'systems/reef.toml, line {line}, [[tasks]] "cup", grace: ')


IN_REEF = {
    # doubled ids
    "a task twice": ('id = "cup"', 'id = "alkalinity"', "id", "stands twice"),
    "a task named like a refill": ('id = "cup"', 'id = "barrel-refill"', "id", "stands twice"),
    # what does not exist
    "no such station": ('station = "sump"\ntitle', 'station = "pump"\ntitle', "station", "sump"),
    "no such reading": ('takes = ["alkalinity"]', 'takes = ["alk"]', "takes", "[[readings]]"),
    "no such reading elsewhere": ('takes = ["alkalinity"]', 'takes = ["lab/alk"]', "takes", "[[readings]]"),
    "no such shift": ('shift = "early"', 'shift = "late"', "shift", "early"),
    "no such keeper": ('keeper = "TV"', 'keeper = "XX"', "keeper", "[[keepers]]"),
    "no such zone": ('zone = "A"', 'zone = "B"', "zone", "[[zones]]"),
    "no such reservoir": ('fed_by = "reef/store"', 'fed_by = "shop"', "fed_by", "room/store"),
    "no such quantity": (
        'quantity = "alkalinity"\nstation = "sump"\ntarget = "8.0 dKH"\nlow = "7.5 dKH"\nhigh = "8.6 dKH"\n'
        'act_low = "6.5 dKH"\nact_high = "10.0 dKH"',
        'quantity = "hardness"',
        "quantity",
        "alkalinity",
    ),
    # isolation
    "an isolation in hours": ('zone = "A"', 'isolation = "45 hours"', "isolation", "days or weeks"),
    "an isolation of years": ('zone = "A"', 'isolation = "30 weeks"', "isolation", "180 days"),
    "fish without an isolation": ('zone = "A"', 'isolation_fish = "76 days"', "isolation_fish", "add isolation"),
    "fish stay shorter": (
        'zone = "A"',
        'isolation = "45 days"\nisolation_fish = "40 days"',
        "isolation_fish",
        "shorter",
    ),
    # unknown keys
    "unknown key of a task": ("minutes = 5", "duration = 5", "duration", "minutes"),
    "unknown key of a system": ('surface = "3.9 m2"', 'area = "3.9 m2"', "area", "surface"),
    "unknown key of a station": ('name = "Sump"', 'title = "Sump"', "title", "name"),
    "unknown key of equipment": ('kind = "skimmer"', 'kind = "skimmer"\nwatts = 5', "watts", "kind"),
    # units and quantities
    "a unit of something else": ('target = "8.0 dKH"', 'target = "8.0 PSU"', "target", "dKH"),
    "no unit": ('target = "8.0 dKH"', 'target = "8.0"', "target", "dKH"),
    "no number": ('target = "8.0 dKH"', 'target = "dKH"', "target", "number"),
    "a number instead of text": ('target = "8.0 dKH"', "target = 8.0", "target", "as text"),
    "what cannot be": ('target = "8.0 dKH"', 'target = "-8.0 dKH"', "target", "from 0"),
    "limits the wrong way round": ('low = "7.5 dKH"', 'low = "9.5 dKH"', "high", "below low"),
    "act-now limit inside the band": ('act_high = "10.0 dKH"', 'act_high = "8.0 dKH"', "act_high", "below high"),
    "a volume in kilos": ('volume = "960 L"', 'volume = "960 kg"', "volume", "US gal"),
    "a surface in litres": ('surface = "3.9 m2"', 'surface = "3.9 L"', "surface", "m2"),
    "no surface at all": ('surface = "3.9 m2"', 'surface = "0 m2"', "surface", "m2"),
    "nothing fits in": ('capacity = "300 L"', 'capacity = "0 L"', "capacity", "holds"),
    "more dead than it holds": ('dead = "8 L"', 'dead = "81 L"', "dead", "capacity"),
    "more reserve than it holds": ('reserve = "25 L"', 'reserve = "81 L"', "reserve", "capacity"),
    "a use without a day": ('use = "70 mL/day"', 'use = "70 mL"', "use", "mL/day"),
    "a level unit": ('level_unit = "%"', 'level_unit = "inch"', "level_unit", "cm"),
    "a level in cm without its scale": ('level_unit = "%"', 'level_unit = "cm"', "level_unit", "litres_per_cm"),
    "litres per cm as text": ('level_unit = "%"', 'litres_per_cm = "2"', "litres_per_cm", "2.4"),
    "litres per cm of nothing": ('level_unit = "%"', "litres_per_cm = 0", "litres_per_cm", "2.4"),
    "litres per cm not a number": ('level_unit = "%"', "litres_per_cm = nan", "litres_per_cm", "2.4"),
    "kind of reservoir": ('kind = "top-off"', 'kind = "beer"', "kind", "limewater"),
    # rules
    "no rule": ('again_after = "2 days"\ngrace', "grace", "", "again_after, rrule, once, called"),
    "two rules": (
        'again_after = "2 days"\ngrace',
        'again_after = "2 days"\ncalled = true\ngrace',
        "called",
        "exactly one",
    ),
    "a bad span": ('again_after = "2 days"\ngrace', 'again_after = "two days"\ngrace', "again_after", "3 days"),
    "no span": ('again_after = "2 days"\ngrace', 'again_after = ""\ngrace', "again_after", "3 days"),
    "a span of nothing": ('again_after = "2 days"\ngrace', 'again_after = "0 days"\ngrace', "again_after", "from 1 up"),
    "a span of two units": (
        'again_after = "2 days"\ngrace',
        'again_after = "1 day 2 hours"\ngrace',
        "again_after",
        "one unit",
    ),
    "a span of a century and more": (
        'again_after = "2 days"\ngrace',
        'again_after = "101 years"\ngrace',
        "again_after",
        "100 years",
    ),
    "a span in halves": (
        'again_after = "2 days"\ngrace',
        'again_after = "1.5 days"\ngrace',
        "again_after",
        "whole number",
    ),
    "a span as a number": ('again_after = "2 days"\ngrace', "again_after = 2\ngrace", "again_after", "quotes"),
    "a bad rrule": ('again_after = "2 days"\ngrace', 'rrule = "FREQ=HOURLY"\ngrace', "rrule", "WEEKLY"),
    "an rrule that never comes": (
        'again_after = "2 days"\ngrace',
        'rrule = "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30"\ngrace',
        "rrule",
        "five years",
    ),
    "once as text": ('again_after = "2 days"\ngrace', 'once = "2026-12-01"\ngrace', "once", "2026-12-01"),
    "once with an offset": (
        'again_after = "2 days"\ngrace',
        "once = 2026-12-01T09:00:00Z\ngrace",
        "once",
        "without quotes",
    ),
    "once long ago": ('again_after = "2 days"\ngrace', "once = 0026-12-01\ngrace", "once", "1900"),
    "a listed date as text": (
        'again_after = "2 days"\ngrace',
        'on_dates = ["2026-12-03"]\ngrace',
        "on_dates",
        "without quotes: on_dates = [2026-12-03]",
    ),
    "one date without a list": ('again_after = "2 days"\ngrace', "on_dates = 2026-12-03\ngrace", "on_dates", "list"),
    "a list of no dates": ('again_after = "2 days"\ngrace', "on_dates = []\ngrace", "on_dates", "[2026-12-03"),
    "a listed date twice": (
        'again_after = "2 days"\ngrace',
        "on_dates = [2026-12-03, 2026-12-03]\ngrace",
        "on_dates",
        "keep it once",
    ),
    "listed dates that are past": (
        'again_after = "2 days"\ngrace',
        "on_dates = [2019-12-03]\ngrace",
        "on_dates",
        "still to come",
    ),
    "called false": ('again_after = "2 days"\ngrace', "called = false\ngrace", "called", "called = true"),
    "a list of times with a span": ("minutes = 5", 'at = ["09:00", "17:00"]', "at", "rrule only"),
    "a time with hours": (
        'again_after = "2 days"\ngrace',
        'again_after = "8 hours"\nat = "09:00"\ngrace',
        "at",
        "take at away",
    ),
    "a time twice": (
        'again_after = "2 days"\ngrace',
        'rrule = "FREQ=DAILY"\nat = ["09:00", "09:00"]\ngrace',
        "at",
        "once",
    ),
    "no time in the list": ('again_after = "2 days"\ngrace', 'rrule = "FREQ=DAILY"\nat = []\ngrace', "at", "09:00"),
    "a time that is none": ("minutes = 5", 'at = "24:00"', "at", "23:59"),
    "a time without a zero": ("minutes = 5", 'at = "9:00"', "at", "23:59"),
    "a TOML time": ("minutes = 5", "at = 09:00:00", "at", "as text"),
    "last day before first": (
        "minutes = 5",
        "first_day = 2026-03-02\nlast_day = 2026-03-01",
        "last_day",
        "before first_day",
    ),
    "a day as text": ("minutes = 5", 'first_day = "2026-03-02"', "first_day", "without quotes"),
    "a day with a time": ("minutes = 5", "first_day = 2026-03-02T10:00:00", "first_day", "without quotes"),
    "a day long ago": ("minutes = 5", "first_day = 1066-10-14", "first_day", "1900"),
    "a grace in months": ('grace = "12 hours"', 'grace = "1 month"', "grace", "weeks"),
    "an early in years": ('grace = "12 hours"', 'early = "1 year"', "early", "weeks"),
    "a lapse of nothing": ('grace = "12 hours"', 'lapse = "0 hours"', "lapse", "from 1 up"),
    "a grace as a number": ('grace = "12 hours"', "grace = 12", "grace", "quotes"),
    # plain values
    "an importance": ('importance = "life support"', 'importance = "high"', "importance", "life support"),
    "minutes as text": ("minutes = 5", 'minutes = "5"', "minutes", "whole number"),
    "minutes below zero": ("minutes = 5", "minutes = -5", "minutes", "from 0"),
    "minutes as a truth": ("minutes = 5", "minutes = true", "minutes", "whole number"),
    "steps as one text": ('steps = ["one", "two"]', 'steps = "one"', "steps", 'steps = ["'),
    "steps of numbers": ('steps = ["one", "two"]', "steps = [1, 2]", "steps", 'steps = ["'),
    "paused as text": ("minutes = 5", 'paused = "no"', "paused", "true or false"),
    "make_up as a number": ("minutes = 5", "make_up = 0", "make_up", "true or false"),
    "no title": ('title = "Rinse the cup"\n', "", "", 'title = "'),
    "a blank title": ('title = "Rinse the cup"', 'title = "  "', "title", "blank"),
    "a title that is no text": ('title = "Rinse the cup"', "title = 7", "title", "quotes"),
    "no name of the system": ('name = "Reef"\n', "", "", 'name = "'),
    "an id in capitals": ('id = "cup"', 'id = "Cup"', "id", "lower-case"),
    "an id with a slash": ('id = "cup"', 'id = "reef/cup"', "id", "lower-case"),
    "an id with a space": ('id = "cup"', 'id = "the cup"', "id", "lower-case"),
    "an id beginning with a hyphen": ('id = "cup"', 'id = "-cup"', "id", "lower-case"),
    "an id that is no text": ('id = "cup"', "id = 1", "id", "quotes"),
    "no id": ('id = "cup"\n', "", "", 'id = "'),
    "text instead of tables": ('name = "Reef"\n', 'name = "Reef"\ntasks2 = 1\n', "tasks2", "tasks"),
}


@pytest.mark.parametrize(("old", "new", "key", "remedy"), IN_REEF.values(), ids=IN_REEF)
def test_a_fault_in_a_system_is_named_with_its_remedy(tmp_path, old, new, key, remedy):
    """One mistake in a system's file is one fault: its file, a line, the key and what to write instead."""
    assert REEF.count(old) >= 1
    fault = one_fault(tmp_path, reef=REEF.replace(old, new, 1))
    assert (fault.file, fault.key) == ("systems/reef.toml", key)
    assert remedy in fault.sentence
    assert fault.line is not None or key == ""


IN_ROOM = {
    "no name": ('name = "Test room"\n', "", "", 'name = "'),
    "no time zone": ('timezone = "Europe/Dublin"\n', "", "", "timezone"),
    "an unknown time zone": ("Europe/Dublin", "Europe/Cork", "timezone", "Europe/Dublin"),
    "a time zone that is a folder": ("Europe/Dublin", "Europe", "timezone", "Europe/Dublin"),
    "a time zone outside": ("Europe/Dublin", "../../etc/passwd", "timezone", "Europe/Dublin"),
    "a time zone that is a path": ("Europe/Dublin", "/etc/localtime", "timezone", "Europe/Dublin"),
    "a time zone with a null": ("Europe/Dublin", "Europe\\u0000Dublin", "timezone", "Europe/Dublin"),
    "a very long time zone": ("Europe/Dublin", "x" * 5000, "timezone", "Europe/Dublin"),
    "no first day": ("began = 2026-01-05\n", "", "", "began"),
    "a first day as text": ("began = 2026-01-05", 'began = "2026-01-05"', "began", "without quotes"),
    "a day that begins at no time": ('day_begins = "04:00"', 'day_begins = "4 am"', "day_begins", "00:00"),
    "a day that begins at a number": ('day_begins = "04:00"', "day_begins = 4", "day_begins", "as text"),
    "a route to nowhere": ('route = ["reef"]', 'route = ["reef", "lagoon"]', "route", "systems/lagoon.toml"),
    "a route twice": ('route = ["reef"]', 'route = ["reef", "reef"]', "route", "twice"),
    "a route as text": ('route = ["reef"]', 'route = "reef"', "route", "list"),
    "an unknown key": ('route = ["reef"]', 'path = ["reef"]', "path", "route"),
    "an unknown quantity": ('salinity = "PSU"', 'saltiness = "PSU"', "saltiness", "salinity"),
    "a unit of something else": ('salinity = "PSU"', 'salinity = "dKH"', "salinity", "PSU"),
    "a zone twice": ('[[zones]]\nid = "A"', '[[zones]]\nid = "A"\n[[zones]]\nid = "A"', "id", "twice"),
    "a keeper twice": ("[[keepers]]\n", '[[keepers]]\ninitials = "TV"\n[[keepers]]\n', "initials", "twice"),
    "initials with a space": ('initials = "TV"', 'initials = "T V"', "initials", "letters"),
    "a shift twice": (
        "[[shifts]]\n",
        '[[shifts]]\nname = "early"\nbegins = "06:00"\nends = "07:00"\n[[shifts]]\n',
        "name",
        "twice",
    ),
    "a shift without its end": ('ends = "13:00"\n', "", "", "ends"),
    "a shift that begins at no time": ('begins = "07:00"', 'begins = "dawn"', "begins", "00:00"),
}


@pytest.mark.parametrize(("old", "new", "key", "remedy"), IN_ROOM.values(), ids=IN_ROOM)
def test_a_fault_in_the_room_is_named_with_its_remedy(tmp_path, old, new, key, remedy):
    """One mistake in room.toml is named there; what follows from it elsewhere may be named too."""
    assert ROOM.count(old) >= 1
    reef = REEF.replace('keeper = "TV"\n', "")
    faults = [f for f in faults_of(tmp_path, ROOM.replace(old, new, 1), reef=reef) if f.file == "room.toml"]
    assert [fault.key for fault in faults] == [key]
    assert remedy in faults[0].sentence


NO_TOML = {
    "an open bracket": b"[",
    "a key twice": b'name = "a"\nname = "b"',
    "no value": b"name =",
    "a control character": b'name = "\x00"',
    "not UTF-8": b'name = "caf\xe9"',
    "UTF-16": 'name = "a"'.encode("utf-16"),
    "binary": bytes(range(256)),
    "nested without end": b"a = " + b"[" * 5000,
}


@pytest.mark.parametrize("content", NO_TOML.values(), ids=NO_TOML)
@pytest.mark.parametrize("file", ["room.toml", "systems/reef.toml"])
def test_a_file_that_is_no_toml_is_named(tmp_path, file, content):
    """The file, the line where the reader knows it, and what to do."""
    write_room(tmp_path, ROOM, reef=REEF)
    (tmp_path / file).write_bytes(content)
    with pytest.raises(RoomFaults) as told:
        load_room(tmp_path)
    assert [fault.file for fault in told.value.faults] == [file]
    assert "correct it" in str(told.value) or "save it as UTF-8" in str(told.value)


def test_a_folder_in_place_of_a_system_is_named(tmp_path):
    """A folder whose name ends with .toml cannot be read."""
    write_room(tmp_path, ROOM.replace('route = ["reef"]\n', ""))
    (tmp_path / "systems" / "reef.toml").mkdir()
    with pytest.raises(RoomFaults, match=r"systems/reef\.toml: the file cannot be read"):
        load_room(tmp_path)


@pytest.mark.parametrize("name", ["Reef", "the reef", "room", "-x", "riff_1"])
def test_the_name_of_a_system_file_is_its_id(tmp_path, name):
    """A name that is no id asks for another file name."""
    write_room(tmp_path, ROOM.replace('route = ["reef"]\n', ""))
    (tmp_path / "systems" / f"{name}.toml").write_text('name = "R"\n')
    with pytest.raises(RoomFaults, match="rename the file"):
        load_room(tmp_path)


@pytest.mark.parametrize("taken", ["barrel", "barrel-level", "barrel-refill", "alkalinity"])
@pytest.mark.parametrize("table", ["tasks", "readings"])
def test_readings_and_reservoirs_share_the_ids_of_tasks(tmp_path, table, taken):
    """Also a reservoir's level and refill are ids that nothing else may have."""
    more = f'[[{table}]]\nid = "{taken}"\ntitle = "x"\nquantity = "pH"\nagain_after = "1 day"\n'
    if table == "tasks":
        more = more.replace('quantity = "pH"\n', "")
    faults = faults_of(tmp_path, reef=REEF + more)
    assert {fault.key for fault in faults} == {"id"}
    assert all("stands twice" in fault.sentence for fault in faults)


def test_two_reservoirs_of_one_id_are_refused(tmp_path):
    """The second is named with its table."""
    faults = faults_of(
        tmp_path, reef=REEF.replace('fed_by = "reef/store"\n', "").replace('id = "store"', 'id = "barrel"')
    )
    assert {(fault.table, fault.key) for fault in faults} == {('[[reservoirs]] "barrel"', "id")}


def test_the_same_id_in_two_systems_is_no_fault(tmp_path):
    """An id is unique within its system."""
    assert (
        len(load_room(write_room(tmp_path, ROOM, reef=REEF, lab=REEF.replace("reef/store", "lab/store"))).tasks) == 10
    )


def test_an_unreadable_system_is_still_known_to_the_route(tmp_path):
    """A syntax error in reef.toml is not also "the system does not exist"."""
    assert one_fault(tmp_path, reef="name =").file == "systems/reef.toml"


def test_the_sentence_holds_no_raw_error(tmp_path):
    """Neither a type's name nor a traceback reaches the keeper."""
    text = "\n".join(
        str(fault) for fault in faults_of(tmp_path, "name = [", reef='name = "R"\ntasks = 5\nvolume = 1979-05-27')
    )
    assert not any(word in text for word in ("Error", "Traceback", "<class", "NoneType"))
