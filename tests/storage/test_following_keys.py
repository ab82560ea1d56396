"""Keys of protocols, of what stops with equipment, of what a task turns off, and of who is on: read, or refused."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.following import draft_done, draft_protocol
from rounds.core.model import ROOM as WHOLE
from rounds.core.protocols import running, step_id
from rounds.storage.protocols import catalogue
from rounds.storage.room import RoomFolder
from rounds.storage.room_files import load_room
from tests.storage.test_loader import REEF, ROOM, one_fault
from tests.support import room_from, write_room

FOLLOWED = (
    REEF.replace('caution = "wet floor"', 'caution = "wet floor"\nturns_off = ["pump"]\ncountdown = "15 minutes"')
    + """
stops_with = ["pump"]
put_back_order = ["skimmer", "reef/pump"]

[[equipment]]
id = "pump"
kind = "pump"

[[tasks]]
id = "look"
title = "Look"
called = true
equipment = "pump"

[[protocols]]
id = "course"
name = "Course"
place = "station"
basis = "common practice"

[[protocols.steps]]
title = "Dose"
after = "2 hours"
grace = "6 hours"
every = "1 day"
times = 7
station = "sump"
if_kind = "pump"
importance = "life support"
minutes = 5
takes = ["alkalinity"]
steps = ["one"]
look_for = "foam"
caution = "gloves"

[[protocols.steps]]
task = "look"
after = "8 hours"
"""
)
STAFFED = 'on_call = ["TV"]\n' + ROOM.replace('ends = "13:00"', 'ends = "13:00"\nkeepers = ["TV"]')


@pytest.fixture(scope="module")
def room():
    return room_from(STAFFED, reef=FOLLOWED)


def test_a_protocol_is_read_whole(room):
    """Every key of a step arrives where it belongs."""
    course = room.protocol["reef/course"]
    dose = course.steps[0]
    assert (course.name, course.place, course.basis) == ("Course", "station", "common practice")
    assert (
        dose.title, dose.after, dose.grace, str(dose.every), dose.times, dose.station, dose.if_kind, dose.importance,
        dose.minutes, dose.takes, dose.steps, dose.look_for, dose.caution,
    ) == (
        "Dose", timedelta(hours=2), timedelta(hours=6), "1 day", 7, "sump", "pump", "life support",
        5, ("alkalinity",), ("one",), "foam", "gloves",
    )  # fmt: skip


def test_the_grace_of_a_step_is_a_quarter_of_its_time(room):
    """Since the call or the last time; a quarter of an hour at least."""
    assert room.protocol["reef/course"].steps[1].grace == timedelta(hours=2)
    assert room.protocol["room/power-return"].steps[0].grace == timedelta(minutes=15)


def test_equipment_and_tasks_name_equipment_by_full_id(room):
    """Whatever the file wrote."""
    skimmer, look, cup = room.equipment["reef/skimmer"], room.tasks["reef/look"], room.tasks["reef/cup"]
    assert (skimmer.stops_with, skimmer.put_back_order) == (("reef/pump",), ("reef/skimmer", "reef/pump"))
    assert look.equipment == "reef/pump"
    assert (cup.turns_off, cup.countdown) == (("reef/pump",), timedelta(minutes=15))


def test_who_is_on_and_who_is_on_call(room):
    """By initials."""
    assert (room.shifts[0].keepers, room.on_call) == (("TV",), ("TV",))


def test_every_room_has_the_protocols_of_the_catalogue(room):
    """After its own."""
    assert [each.id for each in room.protocols][:1] == ["reef/course"]
    assert {each.id.removeprefix("room/") for each in catalogue()} >= {
        "power-return", "new-equipment", "dead-animal", "treatment",
    }  # fmt: skip


def test_a_protocol_of_the_room_stands_instead_of_that_of_the_catalogue():
    """When it has the same id."""
    own = '[[protocols]]\nid = "treatment"\nname = "Our treatment"\n[[protocols.steps]]\ntitle = "Dose"\n'
    found = room_from(f"{ROOM}\n{own}", reef=REEF)
    assert [each.name for each in found.protocols if each.id == "room/treatment"] == ["Our treatment"]


def test_the_catalogue_suits_a_room_with_nothing_in_it():
    """Each of its protocols has at least one step for any system, each step a title and time to be done in."""
    for each in catalogue():
        assert any(not step.if_kind for step in each.steps), each.id
        assert each.basis
        for step in each.steps:
            assert step.title
            assert step.task is None
            assert step.grace >= timedelta(minutes=15)


IN_REEF = {
    "an unknown key of a step": ('if_kind = "pump"', 'if_sort = "pump"', "steps", "if_kind"),
    "an unknown key of a protocol": ('place = "station"', 'where = "station"', "where", "place"),
    "no name": ('name = "Course"\n', "", "", "name is missing"),
    "a blank name": ('name = "Course"\n', 'name = " "\n', "name", "blank"),
    "no id": ('id = "course"\n', "", "", "id is missing"),
    "a bad id": ('id = "course"\n', 'id = "Course 1"\n', "id", "lower-case"),
    "a place there is not": ('place = "station"', 'place = "tank"', "place", "system, station, room"),
    "a step without a title or a task": ('title = "Dose"\n', "", "steps", "title"),
    "a time that is none": ('after = "2 hours"', 'after = "soon"', "steps", "minutes, hours, days or weeks"),
    "a grace that is none": ('grace = "6 hours"', 'grace = "1 month"', "steps", "minutes, hours, days or weeks"),
    "a span that is none": ('every = "1 day"', 'every = "daily"', "steps", "3 days"),
    "every without times": ("times = 7\n", "", "steps", "go together"),
    "times without every": ('every = "1 day"\n', "", "steps", "go together"),
    "times of nothing": ("times = 7", "times = 0", "steps", "from 1 to 1000"),
    "no such importance": ('importance = "life support"\nminutes = 5\ntakes = ["alkalinity"]\nsteps = ["one"]',
                           'importance = "high"', "steps", "life support"),
    "no such station": ('station = "sump"\nif_kind', 'station = "tower"\nif_kind', "steps", "'tower' does not exist"),
    "no such reading": ('takes = ["alkalinity"]\nsteps = ["one"]', 'takes = ["colour"]', "steps",
                        "'colour' does not exist"),
    "no such task": ('task = "look"', 'task = "luck"', "steps", "'luck' does not exist"),
    "a task with a rule of its own": ('task = "look"', 'task = "cup"', "steps", "called = true"),
    "steps as text": ('[[protocols.steps]]\ntask = "look"\nafter = "8 hours"\n',
                      '[[protocols]]\nid = "b"\nname = "B"\nsteps = "x"\n', "steps", "list of tables"),
    "no steps": ('[[protocols.steps]]\ntask = "look"\nafter = "8 hours"\n',
                 '[[protocols]]\nid = "b"\nname = "B"\n', "", "steps are missing"),
    "a protocol twice": ('[[protocols.steps]]\ntask = "look"\nafter = "8 hours"\n',
                         '[[protocols]]\nid = "course"\nname = "B"\n[[protocols.steps]]\ntitle = "A"\n',
                         "id", "stands twice"),
    "stops with nothing known": ('stops_with = ["pump"]', 'stops_with = ["plump"]', "stops_with", "does not exist"),
    "stops with what is no list": ('stops_with = ["pump"]', 'stops_with = "pump"', "stops_with", "list of texts"),
    "an order of nothing known": ('"reef/pump"]\n\n', '"lab/pump"]\n\n', "put_back_order", "does not exist"),
    "work with nothing known": ('called = true\nequipment = "pump"', 'called = true\nequipment = "plump"', "equipment",
                                "does not exist"),
    "turns off nothing known": ('turns_off = ["pump"]', 'turns_off = ["plump"]', "turns_off", "does not exist"),
    "turned off without end": ('countdown = "15 minutes"\n', "", "turns_off", "go together"),
    "a countdown of nothing": ('turns_off = ["pump"]\n', "", "turns_off", "go together"),
    "a countdown in months": ('countdown = "15 minutes"', 'countdown = "1 month"', "countdown", "weeks"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "key", "remedy"), IN_REEF.values(), ids=IN_REEF)
def test_a_fault_names_its_key_and_the_remedy(tmp_path, old, new, key, remedy):
    """One sentence, at the table it stands in."""
    assert old in FOLLOWED
    fault = one_fault(tmp_path, STAFFED, reef=FOLLOWED.replace(old, new, 1))
    assert (fault.file, fault.key) == ("systems/reef.toml", key)
    assert remedy in fault.sentence
    assert fault.line is not None
    assert fault.table


@pytest.mark.parametrize(("old", "new"), [('on_call = ["TV"]', 'on_call = ["XX"]'),
                                          ('keepers = ["TV"]', 'keepers = ["XX"]')])  # fmt: skip
def test_a_keeper_there_is_not_is_named(tmp_path, old, new):
    """Of a shift as of those on call."""
    fault = one_fault(tmp_path, STAFFED.replace(old, new), reef=FOLLOWED)
    assert "'XX' does not exist; add [[keepers]]" in fault.sentence


def test_a_step_of_the_room_names_the_task_of_each_system_it_is_called_for(tmp_path):
    """So it cannot be looked up; a full id can."""
    own = '\n[[protocols]]\nid = "a"\nname = "A"\n[[protocols.steps]]\ntask = "{}"\n'
    assert load_room(write_room(tmp_path, ROOM + own.format("look"), reef=FOLLOWED)).protocol[f"{WHOLE}/a"]
    assert one_fault(tmp_path, ROOM + own.format("reef/luck"), reef=FOLLOWED).file == "room.toml"


def test_a_fault_of_a_step_is_told_at_its_protocol(tmp_path):
    """With its name, so that it is found among many."""
    fault = one_fault(tmp_path, STAFFED, reef=FOLLOWED.replace('after = "2 hours"', 'after = "soon"'))
    assert fault.table == '[[protocols]] "course"'


def test_undone_is_the_step_not_what_says_that_it_was_the_last(tmp_path, monkeypatch):
    """Both are written in one go; the strike of the step takes the other with it."""
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00+00:00")
    room = RoomFolder(write_room(tmp_path, STAFFED, reef=FOLLOWED.replace('every = "1 day"\ntimes = 7\n', "")))
    call = room.record(draft_protocol(room.model, room.model.protocol["reef/course"], "reef", "", "", room.now()), "TV")
    for task in (room.task(step_id(call, 1)), room.task("reef/look")):
        made = room.record(draft_done(room.model, room.history, task, "", room.now()), "TV")
    assert running(room.model, room.history, room.now()) == []
    last = room.last_of_device(room.now())
    assert last == made
    room.strike(last.id, "wrong tank", "TV")
    assert [each.done for each in running(room.model, room.history, room.now())] == [1]
