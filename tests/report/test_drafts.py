"""What forms make of the room's files: changes, renaming, order, pauses, faults, and the effect in words."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from datetime import date, time
from pathlib import Path
from typing import Any

import msgspec
import pytest

from rounds.core.errors import CannotRead, Refused
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.quantities import QUANTITIES
from rounds.report.drafts import (
    Checked,
    Draft,
    changes_of,
    checked,
    copied_system,
    copy_of,
    draft_of,
    filled,
    like,
    moved,
    new_draft,
    paused,
    renewed,
    retired,
    rows_in,
)
from rounds.report.effects import effect
from rounds.report.fields import RULE, Form, read_text
from rounds.report.forms import BY_KEY, FORMS, THE_ROOM
from rounds.report.merging import merged_rows
from rounds.report.naming import nameable
from rounds.report.rows import Inside, filled_inside, inside, inside_before, row_added, row_moved, row_removed
from rounds.report.rules import RULE_KEYS, on_dates, rule_words
from rounds.report.setup import rows_of
from rounds.storage.changes import ChangedMeanwhile, FileChange, room_with, write_changes
from rounds.storage.faults import Fault, RoomFaults
from rounds.storage.parts import Part, file_of, read_parts
from rounds.storage.protocols import catalogue, catalogue_tables
from rounds.storage.room_files import load_room
from tests.support import done, instant, measured

DEMO = Path(__file__).parents[2] / "demo"

ROOM = """# the room
name = "R"
timezone = "Europe/Dublin"
began = 2026-01-05
route = ["reef", "bay"]  # clean to dirty

[[zones]]
id = "A"
name = "clean"

[[keepers]]
initials = "TV"
name = "Tove"

[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"

[[reservoirs]]
id = "store"
kind = "purified water"
capacity = "200 L"
"""

REEF = """# the reef
name = "Reef"
volume = "960 L"
zone = "A"

[[stations]]
id = "sump"

[[stations]]
id = "racks"

# ---- sump ----

[[tasks]]
id = "cup"  # the skimmer's
station = "sump"
title = "Rinse the cup"
again_after = "2 days"
shift = "early"
takes = ["kh"]

[[tasks]]
id = "floss"
station = "sump"
title = "Change the floss"
again_after = "1 week"

# ---- racks ----

[[tasks]]
id = "look"
station = "racks"
title = "Look"
again_after = "1 day"

[[readings]]
id = "kh"
quantity = "alkalinity"
low = "7 dKH"

[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"
fed_by = "room/store"
"""

BAY = """name = "Bay"

[[tasks]]
id = "test"
title = "Test both"
again_after = "1 day"
takes = ["reef/kh", "reef/barrel-level"]
draws = [{ from = "reef/barrel", amount = "1 L" }]
"""

NOW = instant("2026-03-03 12:00")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "systems").mkdir()
    for name, text in (("room", ROOM), ("systems/reef", REEF), ("systems/bay", BAY)):
        (tmp_path / f"{name}.toml").write_text(text)
    return tmp_path


def part(folder: Path, name: str) -> Part:
    """The table of ``system/list/id``, or of a system."""
    system, _, rest = name.partition("/")
    key, _, id = rest.partition("/")
    return next(each for each in read_parts(folder) if each.key_in_room == (system, key, id or system))


def fill(draft: Draft, **typed: str) -> Draft:
    """The form with texts typed into its fields."""
    for key, text in typed.items():
        field = draft.form.field(key)
        draft = filled(draft, field, read_text(field, text), ())
    return draft


def write(folder: Path, changes: list[FileChange]) -> Room:
    return write_changes(folder, changes, folder / "lock")


def text(folder: Path, system: str = "reef") -> str:
    return (folder / "systems" / f"{system}.toml").read_text()


def ids(room: Room) -> list[str]:
    """The tasks of the reef in their order, without those of reservoirs."""
    return [task.id for task in room.system["reef"].tasks if task.source == "task"]


def check(folder: Path, draft: Draft) -> Checked:
    return checked(folder, draft, lambda changes: room_with(folder, changes))


# -- changing ------------------------------------------------------------------------------------------


def test_a_form_as_it_opens_changes_nothing(folder: Path) -> None:
    for each in read_parts(folder):
        assert changes_of(folder, draft_of(each)) == []


def test_the_forms_of_the_demo_room_as_they_open_change_nothing() -> None:
    parts = read_parts(DEMO)
    assert {part.key for part in parts} >= {"", "lights", "tanks", "stock", "protocols"}
    for each in parts:
        assert changes_of(DEMO, draft_of(each)) == [], each.key_in_room


def test_one_field_changes_one_line(folder: Path) -> None:
    write(
        folder,
        changes_of(folder, fill(draft_of(part(folder, "reef/tasks/floss")), title="Change [floss]", minutes="5")),
    )
    assert text(folder) == REEF.replace(
        'title = "Change the floss"\nagain_after = "1 week"\n',
        'title = "Change [floss]"\nagain_after = "1 week"\nminutes = 5\n',
    )


def test_another_rule_leaves_none_of_the_one_before(folder: Path) -> None:
    draft = draft_of(part(folder, "reef/tasks/floss"))
    draft = filled(draft, draft.form.field(RULE), {"rrule": "FREQ=DAILY", "at": "09:00"}, ())
    write(folder, changes_of(folder, draft))
    assert REEF.replace('again_after = "1 week"\n', 'rrule = "FREQ=DAILY"\nat = "09:00"\n') == text(folder)


def test_a_new_task_stands_with_those_of_its_station(folder: Path) -> None:
    draft = new_draft(BY_KEY["tasks"], "reef", "sump")
    draft = filled(fill(draft, title="Wipe the probe"), draft.form.field(RULE), {"again_after": "3 days"}, ())
    room = write(folder, changes_of(folder, draft))
    assert ids(room)[:3] == ["reef/cup", "reef/floss", "reef/wipe-the-probe"]
    assert text(folder).index("wipe-the-probe") < text(folder).index("# ---- racks ----")


def test_a_new_system_is_last_on_the_route(folder: Path) -> None:
    room = write(folder, changes_of(folder, fill(new_draft(BY_KEY[""], "reef"), name='Tank "two" 🐠', volume="80 L")))
    assert [system.id for system in room.systems] == ["room", "reef", "bay", "tank-two"]
    assert room.system["tank-two"].name == 'Tank "two" 🐠'
    assert (folder / "room.toml").read_text() == ROOM.replace('"bay"]', '"bay", "tank-two"]')


def test_a_new_keeper_stands_in_room_toml(folder: Path) -> None:
    room = write(folder, changes_of(folder, fill(new_draft(BY_KEY["keepers"], "reef"), initials="BC", name="Brid")))
    assert [keeper.initials for keeper in room.keepers] == ["TV", "BC"]


@pytest.mark.parametrize("key", ["tasks", "readings", "reservoirs", "stations", "keepers", "zones", "shifts"])
def test_a_new_one_with_an_id_in_use_is_refused(folder: Path, key: str) -> None:
    form = BY_KEY[key]
    known = next(each for each in read_parts(folder) if each.key == key)
    draft = new_draft(form, known.system)
    draft = fill(draft, **{draft.by: known.id})
    with pytest.raises(Refused, match="stands there already"):
        changes_of(folder, draft)


ODD_NAMES = (
    'Skimmer "old" cup',
    "back\\slash and 'quotes'",
    "[[tasks]] # no comment",
    "مضخة \u202e العودة",
    "🐠 🪸 tank",
    "x" * 200,
    "two\nlines",
    "] | [/b] ;,=",
)

NEEDED: dict[str, dict[str, Any]] = {
    "lights": {"begins": "09:00", "channels": [{"name": "blue", "peak": "64 %", "plateau": "8 hours"}]},
    "tanks": {"volume": "60 L", "stations": ["racks"]},
    "stock": {"unit": "kg"},
    "protocols": {"steps": [{"title": "Dip"}]},
    "tasks": {"again_after": "1 day"},
    "readings": {"quantity": "alkalinity"},
    "reservoirs": {"kind": "top-off", "capacity": "80 L"},
    "equipment": {"kind": "pump"},
    "instruments": {"kind": "meter"},
    "keepers": {"initials": "BC"},
    "shifts": {"begins": "14:00", "ends": "20:00"},
}


@pytest.mark.parametrize("key", BY_KEY)
@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_go_through_every_form_as_they_are(folder: Path, key: str, name: str) -> None:
    """The file says what was typed, and the form over it shows it again."""
    before = {each.key_in_room: each for each in read_parts(folder)}
    draft = new_draft(BY_KEY[key], "reef", "sump")
    named_by = "title" if key == "tasks" else "name"
    draft = filled(draft, draft.form.field(named_by), name, ())
    draft = Draft(system=draft.system, key=key, values={**draft.values, **NEEDED.get(key, {})})
    write(folder, changes_of(folder, draft))
    after = {each.key_in_room: each for each in read_parts(folder)}
    new = [each for each in after if each not in before]
    assert len(new) == 1
    assert draft_of(after[new[0]]).values == draft.values
    route = ("room", "", "room")
    assert {each: after[each] for each in before if each != route} == {
        each: before[each] for each in before if each != route
    }


@pytest.mark.parametrize("key", BY_KEY)
def test_a_form_without_a_name_says_what_it_needs(folder: Path, key: str) -> None:
    found = check(folder, new_draft(BY_KEY[key], "reef", "sump"))
    assert found.changes == ()
    form = BY_KEY[key]
    assert found.elsewhere == (f"type the {form.naming} of the {form.kind} first",)


# -- the room itself -----------------------------------------------------------------------------------

ROOM_FORM = {
    "name": "The new room 🐠",
    "day_begins": "05:00",
    "minutes_a_day": "240",
    "on_call": "TV",
    "without": "fridge | freezer",
    "care": "",
}


def test_the_room_is_changed_in_its_form(folder: Path) -> None:
    draft = fill(draft_of(part(folder, "room")), **ROOM_FORM)
    units = Inside(THE_ROOM.field("units"))
    draft = filled_inside(filled_inside(draft, units, "volume", "US gal"), units, "alkalinity", "dKH")
    room = write(folder, changes_of(folder, filled(draft, draft.form.field("without"), None, ())))
    assert (room.name, room.day_begins, room.minutes_a_day, room.on_call) == (
        "The new room 🐠",
        time(5),
        240,
        ("TV",),
    )
    assert room.units == {"volume": "US gal", "alkalinity": "dKH"}
    assert (folder / "room.toml").read_text() == ROOM.replace('"R"', '"The new room 🐠"').replace(
        'route = ["reef", "bay"]  # clean to dirty\n',
        'route = ["reef", "bay"]  # clean to dirty\nday_begins = "05:00"\nminutes_a_day = 240\non_call = ["TV"]\n\n'
        '[units]\nvolume = "US gal"\nalkalinity = "dKH"\n',
    )


def test_time_zone_and_first_day_are_shown_with_why_they_stay() -> None:
    assert "by the clock of that zone" in THE_ROOM.field("timezone").stays
    assert "counted from it" in THE_ROOM.field("began").stays


@pytest.mark.parametrize(
    ("typed", "key", "what"),
    [
        ({"name": ""}, "name", "name is missing"),
        ({"day_begins": "5"}, "day_begins", "no time of day"),
        ({"minutes_a_day": "0"}, "minutes_a_day", "whole number from 1"),
        ({"on_call": "XX"}, "on_call", "does not exist"),
    ],
)
def test_what_is_wrong_with_the_room_stands_beside_its_field(
    folder: Path, typed: dict[str, str], key: str, what: str
) -> None:
    found = check(folder, fill(draft_of(part(folder, "room")), **typed))
    assert what in found.beside[key]


def test_what_is_wrong_with_a_unit_stands_beside_it(folder: Path) -> None:
    draft = filled_inside(draft_of(part(folder, "room")), Inside(THE_ROOM.field("units")), "volume", "furlong")
    assert "furlong" in check(folder, draft).beside["units//volume"]


# -- every key has a field -----------------------------------------------------------------------------

WRITTEN_BY_SET_UP = {"formerly", "route"}
"""When an id is changed, and when a system is put somewhere else."""


OF_WHAT_IS_BROUGHT = {"reservoirs": {"dropped"}}
"""The care catalogue brings no reservoirs."""


def _known_keys(folder: Path, table: str, key: str) -> set[str]:
    """What the reader asks for where an unknown key stands."""
    _, _, text = next(
        str(fault) for fault in _faults(folder, table) if f"the key {key!r} is not known" in str(fault)
    ).partition("write one of: ")
    return {each.strip() for each in text.split(",")}


def _faults(folder: Path, table: str) -> list[Fault]:
    with pytest.raises(RoomFaults) as found:
        room_with(folder, [FileChange("systems/extra.toml", None, f'name = "X"\n{table}'.encode())])
    return found.value.faults


@pytest.mark.parametrize(
    "form", [form for form in FORMS if form.key and not form.only_room], ids=lambda form: form.kind
)
def test_every_key_of_a_table_has_a_field(folder: Path, form: Form) -> None:
    known = _known_keys(folder, f"[[{form.key}]]\nid = 'a'\nodd = 1\n", "odd")
    fields = {field.key for field in form.fields}
    assert known - fields - {*RULE_KEYS} - WRITTEN_BY_SET_UP - OF_WHAT_IS_BROUGHT.get(form.key, set()) == set()


NESTED_TABLES = {
    "protocols": ("steps", "steps = [{ odd = 1 }]"),
    "lights": ("channels", "channels = [{ odd = 1 }]"),
    "tasks": ("draws", "draws = [{ odd = 1 }]"),
    "reservoirs": ("refill", "refill = { odd = 1 }"),
}


@pytest.mark.parametrize("key", NESTED_TABLES)
def test_every_key_of_a_table_inside_a_table_has_a_field(folder: Path, key: str) -> None:
    inner, written = NESTED_TABLES[key]
    known = _known_keys(folder, f"[[{key}]]\nid = 'a'\n{written}\n", "odd")
    assert known == {field.key for field in BY_KEY[key].field(inner).fields}


@pytest.mark.parametrize("system", ["room", "reef"])
def test_every_key_of_a_file_has_a_field_or_a_form(folder: Path, system: str) -> None:
    file = file_of(system)
    text = f"odd = 1\n{(folder / file).read_text()}"
    with pytest.raises(RoomFaults) as found:
        room_with(folder, [FileChange(file, None, text.encode())])
    _, _, keys = str(found.value).partition("write one of: ")
    form = draft_of(part(folder, system)).form
    known = {each.strip() for each in keys.split(",")}
    assert known - {field.key for field in form.fields} - WRITTEN_BY_SET_UP - {*BY_KEY} == set()


def test_only_quantities_of_more_than_one_unit_ask_for_one() -> None:
    fields = {field.key: field.choices for field in THE_ROOM.field("units").fields}
    assert fields["alkalinity"][:2] == ("meq/L", "mmol/L")
    assert "pH total" not in fields
    assert fields.keys() <= QUANTITIES.keys()


# -- tables inside tables ------------------------------------------------------------------------------

COURSES = """
# ---- protocols ----

[[protocols]]
id = "course"
name = "Course" # of treatment

# the first
[[protocols.steps]]
title = "Dose" # by hand
after = "2 hours"

# looked at
[[protocols.steps]]
title = "Look"

[[lights]]
id = "lamp"
begins = "09:00"
plateau = "8 hours"
channels = [
  { name = "blue", peak = "64 %" }, # the deep one
  { name = "white", peak = "32 %" },
]
"""

DEEP = ("protocols", "lights")


@pytest.fixture
def deep(folder: Path) -> Path:
    (folder / "systems" / "reef.toml").write_text(REEF + COURSES)
    return folder


def inner(draft: Draft, key: str, row: int | None = None) -> Inside:
    return Inside(draft.form.field(key), row)


def test_one_field_of_a_step_changes_one_line(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/protocols/course"))
    write(deep, changes_of(deep, filled_inside(draft, inner(draft, "steps", 0), "after", "3 hours")))
    assert text(deep) == REEF + COURSES.replace('"2 hours"', '"3 hours"')


def test_a_channel_is_changed_and_one_added(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/lights/lamp"))
    draft = filled_inside(draft, inner(draft, "channels", 0), "peak", "50 %")
    draft = row_added(draft, draft.form.field("channels"), 2)
    for key, value in (("name", "red"), ("peak", "10 %")):
        draft = filled_inside(draft, inner(draft, "channels", 2), key, value)
    room = write(deep, changes_of(deep, draft))
    assert [channel.name for channel in room.system["reef"].lights[0].channels] == ["blue", "white", "red"]
    assert text(deep) == REEF + COURSES.replace("64 %", "50 %").replace(
        '"32 %" },\n', '"32 %" },\n  { name = "red", peak = "10 %" },\n'
    )


def test_steps_change_places_and_one_is_taken_out(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/protocols/course"))
    room = write(deep, changes_of(deep, row_moved(draft, inner(draft, "steps", 1), -1)))
    assert [step.title for step in room.protocol["reef/course"].steps] == ["Look", "Dose"]
    assert '# looked at\n[[protocols.steps]]\ntitle = "Look"\n\n# the first\n' in text(deep)
    draft = draft_of(part(deep, "reef/protocols/course"))
    room = write(deep, changes_of(deep, row_removed(draft, inner(draft, "steps", 0))))
    assert [step.title for step in room.protocol["reef/course"].steps] == ["Dose"]
    assert "# looked at" not in text(deep)
    assert "# the first" in text(deep)


def test_a_step_stays_where_there_is_no_other_place(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/protocols/course"))
    assert row_moved(draft, inner(draft, "steps", 0), -1) is draft
    assert row_moved(draft, inner(draft, "steps", 1), 1) is draft


def test_the_last_step_of_a_protocol_is_missed(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/protocols/course"))
    for _ in range(2):
        draft = row_removed(draft, inner(draft, "steps", 0))
    assert "steps are missing; add a step" in check(deep, draft).beside["steps"]


@pytest.mark.parametrize(
    ("name", "key", "row", "inside_key", "value", "what"),
    [
        ("reef/protocols/course", "steps", 1, "after", "soon", "not a span of time"),
        ("reef/protocols/course", "steps", 1, "title", None, "a step says what to do"),
        ("reef/protocols/course", "steps", 0, "task", "cup", "has a rule of its own"),
        ("reef/protocols/course", "steps", 0, "takes", ["none"], "does not exist"),
        ("reef/protocols/course", "steps", 0, "station", "tower", "does not exist"),
        ("reef/lights/lamp", "channels", 1, "peak", "much", "no share of the light"),
        ("reef/lights/lamp", "channels", 1, "name", None, "name is missing; type one"),
        ("reef/reservoirs/barrel", "refill", None, "minutes", 9999, "whole number"),
    ],
)
def test_what_is_wrong_inside_a_table_stands_beside_its_row_and_key(
    deep: Path, name: str, key: str, row: int | None, inside_key: str, value: Any, what: str
) -> None:
    draft = draft_of(part(deep, name))
    found = check(deep, filled_inside(draft, inner(draft, key, row), inside_key, value))
    assert what in found.beside[f"{key}/{'' if row is None else row}/{inside_key}"]


def test_what_a_task_uses_up_is_a_row_a_name(deep: Path) -> None:
    (deep / "systems" / "bay.toml").write_text(f'{BAY}\n[[stock]]\nid = "salt"\nunit = "kg"\n')
    draft = draft_of(part(deep, "bay/tasks/test"))
    draft = row_added(draft, draft.form.field("uses"), 0)
    draft = filled_inside(draft, inner(draft, "uses", 0), "stock", "salt")
    assert "''" in check(deep, draft).beside["uses"]
    room = write(deep, changes_of(deep, filled_inside(draft, inner(draft, "uses", 0), "amount", "7 kg")))
    assert [(use.by, use.stock, use.amount) for use in room.uses] == [("bay/test", "bay/salt", 7.0)]
    assert 'amount = "1 L" }]\nuses = { salt = "7 kg" }\n' in text(deep, "bay")
    draft = draft_of(part(deep, "bay/tasks/test"))
    assert list(rows_in(draft, draft.form.field("uses"))) == [{"stock": "salt", "amount": "7 kg"}]
    twice = row_added(draft, draft.form.field("uses"), 1)
    twice = filled_inside(twice, inner(twice, "uses", 1), "stock", "salt")
    with pytest.raises(Refused, match="'salt' stands twice"):
        changes_of(deep, twice)
    write(deep, changes_of(deep, row_removed(draft, inner(draft, "uses", 0))))
    assert "uses" not in text(deep, "bay")


def test_a_use_of_nothing_is_said(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/tasks/cup"))
    draft = row_added(draft, draft.form.field("uses"), 0)
    draft = filled_inside(draft, inner(draft, "uses", 0), "amount", "7 kg")
    assert "blank" in check(deep, draft).beside["uses"]


def test_the_refill_of_a_reservoir_has_a_header_of_its_own(deep: Path) -> None:
    draft = draft_of(part(deep, "reef/reservoirs/barrel"))
    draft = filled_inside(draft, inner(draft, "refill"), "caution", "Mind the float.")
    room = write(deep, changes_of(deep, draft))
    assert room.tasks["reef/barrel-refill"].caution == "Mind the float."
    assert 'fed_by = "room/store"\n\n[reservoirs.refill]\ncaution = "Mind the float."\n' in text(deep)
    draft = draft_of(part(deep, "reef/reservoirs/barrel"))
    write(deep, changes_of(deep, filled_inside(draft, inner(draft, "refill"), "caution", None)))
    assert text(deep) == REEF + COURSES


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_texts_go_through_tables_inside_tables_as_they_are(deep: Path, name: str) -> None:
    """Into the file and back into the form; all other lines stand as they stood."""
    draft = draft_of(part(deep, "reef/protocols/course"))
    draft = row_added(draft, draft.form.field("steps"), 1)
    said = {"title": name, "steps": [name, "then"], "caution": name}
    for key, value in said.items():
        draft = filled_inside(draft, inner(draft, "steps", 1), key, value)
    write(deep, changes_of(deep, draft))
    lamp = draft_of(part(deep, "reef/lights/lamp"))
    write(deep, changes_of(deep, filled_inside(lamp, inner(lamp, "channels", 0), "name", name)))
    again = draft_of(part(deep, "reef/protocols/course"))
    assert inside(again, inner(again, "steps", 1)) == said
    assert inside(draft_of(part(deep, "reef/lights/lamp")), inner(lamp, "channels", 0))["name"] == name
    left = [line for line in text(deep).splitlines() if line in f"{REEF}{COURSES}".splitlines()]
    assert left[: len(f"{REEF}{COURSES}".splitlines())] != []
    missing = [line for line in f"{REEF}{COURSES}".splitlines() if line not in text(deep).splitlines()]
    assert missing == ['  { name = "blue", peak = "64 %" }, # the deep one']


def test_steps_changed_by_hand_meanwhile_are_not_overwritten(deep: Path) -> None:
    """What was typed is laid over the file as it is now, each row with the comments it has there."""
    draft = draft_of(part(deep, "reef/protocols/course"))
    draft = row_moved(draft, inner(draft, "steps", 1), -1)
    by_hand = (REEF + COURSES).replace("# the first\n", "# the very first\n").replace('"2 hours"', '"4 hours"')
    (deep / "systems" / "reef.toml").write_text(by_hand)
    with pytest.raises(ChangedMeanwhile):
        changes_of(deep, draft)
    assert text(deep) == by_hand
    write(deep, changes_of(deep, renewed(draft, part(deep, "reef/protocols/course"))))
    look, dose = (
        by_hand[by_hand.index("# looked") : by_hand.index("\n[[lights]]")],
        by_hand[by_hand.index("# the very") :],
    )
    dose = dose[: dose.index("\n# looked")]
    assert f"{look}\n{dose}" in text(deep)


ROWS = [{"title": "a"}, {"title": "b"}, {"title": "c"}]


@pytest.mark.parametrize(
    ("now", "typed", "came", "rows", "there"),
    [
        (ROWS, [ROWS[1], ROWS[0], ROWS[2]], (1, 0, 2), "bac", (1, 0, 2)),
        ([ROWS[2], ROWS[0], ROWS[1]], [{"title": "A"}, *ROWS[1:]], (0, 1, 2), "Abc", (1, 2, 0)),
        ([*ROWS, {"title": "d"}], [*ROWS[:2]], (0, 1), "abd", (0, 1, 3)),
        (ROWS[:2], [*ROWS, {"title": "new"}], (0, 1, 2, None), ["a", "b", "new"], (0, 1, None)),
        (ROWS[:2], [*ROWS[:2], {"title": "C"}], (0, 1, 2), "abC", (0, 1, None)),
        ([ROWS[0], {"title": "B"}, ROWS[2]], [ROWS[2], ROWS[1]], (2, 1), "cB", (2, 1)),
        ([ROWS[0], {"title": "x"}, ROWS[2]], [ROWS[0], {"title": "y"}, ROWS[2]], (0, 1, 2), "ayc", (0, 1, 2)),
        ([ROWS[0], ROWS[0]], [ROWS[0]], (0,), "aa", (0, 1)),
    ],
    ids=[
        "moved here", "moved there", "added there", "taken out there", "typed into and taken out there",
        "changed there", "changed here and there", "doubled there",
    ],
)  # fmt: skip
def test_rows_typed_are_laid_over_those_in_the_file(
    now: list[dict[str, Any]],
    typed: list[dict[str, Any]],
    came: tuple[int | None, ...],
    rows: str | list[str],
    there: tuple[int | None, ...],
) -> None:
    found, places = merged_rows(ROWS, now, typed, came)
    assert ([row["title"] for row in found], places) == ([*rows], there)


def test_units_and_uses_changed_on_both_sides_stand_together(folder: Path) -> None:
    draft = draft_of(part(folder, "room"))
    draft = filled_inside(draft, Inside(THE_ROOM.field("units")), "volume", "US gal")
    (folder / "room.toml").write_text(ROOM + '\n[units]\nalkalinity = "dKH"\n')
    again = renewed(draft, part(folder, "room"))
    assert again.values["units"] == {"alkalinity": "dKH", "volume": "US gal"}
    draft = draft_of(part(folder, "reef/tasks/cup"))
    draft = row_added(draft, draft.form.field("uses"), 0)
    draft = filled_inside(draft, inner(draft, "uses", 0), "stock", "salt")
    (folder / "systems" / "reef.toml").write_text(REEF.replace('takes = ["kh"]', 'uses = { floss = "1 roll" }'))
    now = part(folder, "reef/tasks/cup")
    again = renewed(draft, now)
    floss = {"stock": "floss", "amount": "1 roll"}
    assert again.values["uses"] == [floss, {"stock": "salt"}]
    assert [inside_before(again, draft_of(now), inner(again, "uses", row)) for row in (0, 1)] == [floss, {}]
    assert row_removed(again, inner(again, "uses", 1)).values["uses"] == [floss]


@pytest.mark.parametrize(
    ("name", "key"), [("bay/tasks/test", "draws"), ("reef/tasks/cup", "uses"), ("reef/protocols/course", "steps")]
)
def test_a_row_that_was_not_typed_into_is_as_it_was(deep: Path, name: str, key: str) -> None:
    reef = text(deep).replace('takes = ["kh"]', 'uses = { floss = "1 roll" }')
    (deep / "systems" / "reef.toml").write_text(reef)
    draft = draft_of(part(deep, name))
    within = inner(draft, key, 0)
    assert inside(draft, within)
    assert inside_before(draft, draft, within) == inside(draft, within)


def test_a_copied_protocol_has_all_its_steps(deep: Path) -> None:
    room = write(deep, changes_of(deep, copy_of(part(deep, "reef/protocols/course"), set())))
    assert [step.title for step in room.protocol["reef/course-2"].steps] == ["Dose", "Look"]
    assert text(deep).count("[[protocols.steps]]") == 4


@pytest.mark.parametrize("table", catalogue_tables(), ids=lambda table: table["id"])
def test_a_protocol_that_comes_with_the_program_can_be_changed(folder: Path, table: dict[str, Any]) -> None:
    draft = like(new_draft(BY_KEY["protocols"], "reef"), table)
    room = write(folder, changes_of(folder, fill(draft, name="Ours")))
    (before,) = (protocol for protocol in catalogue() if protocol.id == f"room/{table['id']}")
    assert room.protocol[before.id] == msgspec.structs.replace(before, name="Ours")


def test_days_that_no_rule_expresses(folder: Path) -> None:
    draft = draft_of(part(folder, "reef/tasks/floss"))
    draft = filled(draft, draft.form.field(RULE), on_dates("2026-12-03, 2026-12-05"), ())
    write(folder, changes_of(folder, draft))
    assert text(folder) == REEF.replace('again_after = "1 week"\n', "on_dates = [2026-12-03, 2026-12-05]\n")
    draft = draft_of(part(folder, "reef/tasks/floss"))
    assert rule_words(draft.values) == "on 2026-12-03, 2026-12-05"
    write(folder, changes_of(folder, filled(draft, draft.form.field(RULE), {"again_after": "1 week"}, ())))
    assert text(folder) == REEF


@pytest.mark.parametrize("typed", ["", "soon", "2026-02-30"])
def test_dates_that_are_none_are_refused(typed: str) -> None:
    with pytest.raises(CannotRead, match="2026-12-03, 2026-12-05"):
        on_dates(typed)


# -- what a field can name -----------------------------------------------------------------------------


def test_a_field_names_what_is_its_own_first_and_the_rest_in_full(folder: Path) -> None:
    parts = read_parts(folder)
    assert [written for _, written in nameable(BY_KEY["tasks"].field("takes"), "bay", parts)] == ["reef/kh"]
    assert [written for _, written in nameable(BY_KEY["tasks"].field("takes"), "reef", parts)] == ["kh"]
    from_where = BY_KEY["tasks"].field("draws").fields[0]
    assert [written for _, written in nameable(from_where, "reef", parts)] == ["barrel", "room/store"]
    assert [written for _, written in nameable(BY_KEY["tasks"].field("keeper"), "reef", parts)] == ["TV"]


def test_a_step_of_the_room_names_what_each_system_has(deep: Path) -> None:
    """Of the tasks only those that are called."""
    (deep / "systems" / "bay.toml").write_text(f'{BAY}\n[[tasks]]\nid = "dip"\ntitle = "Dip"\ncalled = true\n')
    parts = read_parts(deep)
    fields = {field.key: field for field in BY_KEY["protocols"].field("steps").fields}
    assert [written for _, written in nameable(fields["task"], "room", parts)] == ["dip", "bay/dip"]
    assert [written for _, written in nameable(fields["task"], "bay", parts)] == ["dip"]
    assert [written for _, written in nameable(fields["takes"], "room", parts)] == ["kh", "reef/kh"]


# -- renaming ------------------------------------------------------------------------------------------


def test_a_renamed_reading_is_named_so_everywhere_and_keeps_its_past(folder: Path) -> None:
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/readings/kh")), id="alkalinity")))
    assert room.formerly == {"reef/kh": "reef/alkalinity"}
    assert room.tasks["reef/cup"].takes == ("reef/alkalinity",)
    assert room.tasks["bay/test"].takes == ("reef/alkalinity", "reef/barrel-level")
    assert text(folder, "bay") == BAY.replace("reef/kh", "reef/alkalinity")


def test_a_renamed_reservoir_with_its_level_and_what_draws_from_it(folder: Path) -> None:
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/reservoirs/barrel")), id="tub")))
    assert room.tasks["bay/test"].takes == ("reef/kh", "reef/tub-level")
    assert room.tasks["bay/test"].draws[0].reservoir == "reef/tub"


def test_a_second_renaming_keeps_both_former_ids_and_one_back_lets_it_go(folder: Path) -> None:
    for id in ("rinse", "wash", "rinse"):
        now = next(
            each for each in read_parts(folder) if each.key == "tasks" and each.values.get("title") == "Rinse the cup"
        )
        write(folder, changes_of(folder, fill(draft_of(now), id=id)))
    assert part(folder, "reef/tasks/rinse").values["formerly"] == ["cup", "wash"]
    assert 'id = "rinse"  # the skimmer\'s' in text(folder)


def test_a_renamed_system_has_another_file_and_keeps_its_past(folder: Path) -> None:
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "reef")), id="lagoon")))
    assert [system.id for system in room.systems] == ["room", "lagoon", "bay"]
    assert room.formerly == {"reef": "lagoon"}
    assert room.tasks["bay/test"].takes == ("lagoon/kh", "lagoon/barrel-level")
    assert text(folder, "lagoon") == REEF.replace('zone = "A"\n', 'zone = "A"\nformerly = ["reef"]\n')


def test_what_is_drawn_from_the_stock_of_a_renamed_system(folder: Path) -> None:
    """There the key of an inline table is the name."""
    (folder / "systems" / "reef.toml").write_text(f'{REEF}\n[[stock]]\nid = "salt"\nunit = "kg"\n')
    (folder / "systems" / "bay.toml").write_text(f'{BAY}uses = {{ "reef/salt" = "7 kg" }}\n')
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "reef")), id="lagoon")))
    assert [(use.by, use.stock, use.amount) for use in room.uses] == [("bay/test", "lagoon/salt", 7.0)]
    assert 'uses = { "lagoon/salt" = "7 kg" }' in text(folder, "bay")


COURSE = """
[[protocols]]
id = "course"
name = "Course"

# the first
[[protocols.steps]]
title = "Test"
takes = ["kh", "reef/kh"]

[[protocols.steps]]
task = "dose"  # at the sump
after = "1 day"

[[tasks]]
id = "dose"
title = "Dose"
called = true
"""


def test_what_the_steps_of_a_protocol_name_is_renamed_in_them(folder: Path) -> None:
    before = REEF + COURSE
    (folder / "systems" / "reef.toml").write_text(before)
    write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/tasks/dose")), id="medicine")))
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/readings/kh")), id="alkalinity")))
    test, dose = room.protocol["reef/course"].steps
    assert (test.takes, dose.task) == (("alkalinity", "reef/alkalinity"), "medicine")
    steps = text(folder)[text(folder).index("[[protocols]]") : text(folder).index('[[tasks]]\nid = "medicine"')]
    assert steps == COURSE[1 : COURSE.index("[[tasks]]")].replace('"dose"', '"medicine"').replace(
        '["kh", "reef/kh"]', '["alkalinity", "reef/alkalinity"]'
    )


def test_a_renamed_stock_is_drawn_from_by_its_new_name(folder: Path) -> None:
    stock = '\n[[stock]]\nid = "salt"\nunit = "kg"\n'
    (folder / "systems" / "reef.toml").write_text(REEF + stock)
    uses = 'uses = { "reef/salt" = "7 kg" } # a bag\n'
    (folder / "systems" / "bay.toml").write_text(BAY + uses)
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/stock/salt")), id="reef-salt")))
    assert room.formerly["reef/salt"] == "reef/reef-salt"
    assert text(folder, "bay") == BAY + uses.replace("reef/salt", "reef/reef-salt")


def test_a_system_does_not_take_the_id_of_another(folder: Path) -> None:
    with pytest.raises(Refused, match="choose another"):
        changes_of(folder, fill(draft_of(part(folder, "reef")), id="bay"))


def test_a_renamed_shift_is_named_so_everywhere(folder: Path) -> None:
    room = write(folder, changes_of(folder, fill(draft_of(part(folder, "room/shifts/early")), name="morning")))
    shift = room.tasks["reef/cup"].shift
    assert shift is not None
    assert shift.name == "morning"


# -- order, pauses, ends, copies -----------------------------------------------------------------------


def test_a_task_moves_among_those_of_its_station(folder: Path) -> None:
    parts, room = read_parts(folder), load_room(folder)
    write(folder, moved(folder, parts, part(folder, "reef/tasks/floss"), -1, room))
    assert ids(load_room(folder))[:2] == ["reef/floss", "reef/cup"]
    assert moved(folder, read_parts(folder), part(folder, "reef/tasks/floss"), -1, room) == []
    assert text(folder).index("# ---- sump ----") < text(folder).index("floss")


@pytest.mark.parametrize(("name", "step", "order"), [("reef", 1, ["bay", "reef"]), ("bay", -1, ["bay", "reef"])])
def test_a_system_moves_on_the_route(folder: Path, name: str, step: int, order: list[str]) -> None:
    write(folder, moved(folder, read_parts(folder), part(folder, name), step, load_room(folder)))
    assert (folder / "room.toml").read_text() == ROOM.replace('["reef", "bay"]', str(order).replace("'", '"'))


def test_the_room_itself_moves_on_the_route_and_back(folder: Path) -> None:
    """Where it comes first the route need not name it."""
    write(folder, moved(folder, read_parts(folder), part(folder, "room"), 1, load_room(folder)))
    assert '["reef", "room", "bay"]' in (folder / "room.toml").read_text()
    room = load_room(folder)
    assert [system.id for system in room.systems] == ["reef", "room", "bay"]
    write(folder, moved(folder, read_parts(folder), part(folder, "room"), -1, room))
    assert [system.id for system in load_room(folder).systems] == ["room", "reef", "bay"]


@pytest.mark.parametrize("name", ["reef/tasks/cup", "reef/readings/kh", "reef/reservoirs/barrel", "reef"])
def test_a_pause_is_taken_back_without_a_trace(folder: Path, name: str) -> None:
    write(folder, paused(folder, part(folder, name)))
    assert "paused = true" in text(folder)
    write(folder, paused(folder, part(folder, name)))
    assert text(folder) == REEF


def test_a_retired_task_has_a_last_day(folder: Path) -> None:
    room = write(folder, retired(folder, part(folder, "reef/tasks/cup"), date(2026, 3, 3)))
    assert room.tasks["reef/cup"].last_day == date(2026, 3, 3)


def test_a_retired_task_that_has_an_end_has_its_last_day_in_its_place(folder: Path) -> None:
    write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/tasks/cup")), until="2026-03-05 20:00")))
    assert "until = 2026-03-05T20:00:00" in text(folder)
    task = write(folder, retired(folder, part(folder, "reef/tasks/cup"), date(2026, 3, 3))).tasks["reef/cup"]
    assert (task.last_day, task.until) == (date(2026, 3, 3), None)


def test_a_retired_system_is_drained_and_off_the_route(folder: Path) -> None:
    room = write(folder, retired(folder, part(folder, "bay"), date(2026, 3, 3)))
    assert room.system["bay"].drained
    assert tomllib.loads((folder / "room.toml").read_text())["route"] == ["reef"]


def test_what_is_still_named_cannot_be_taken_out(folder: Path) -> None:
    changes = retired(folder, part(folder, "room/shifts/early"), date(2026, 3, 3))
    with pytest.raises(Exception, match="the shift 'early' does not exist"):
        write(folder, changes)


def test_a_copy_has_an_id_and_a_past_of_its_own(folder: Path) -> None:
    write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/tasks/cup")), id="rinse")))
    room = write(folder, changes_of(folder, copy_of(part(folder, "reef/tasks/rinse"), {"rinse"})))
    assert ids(room)[:2] == ["reef/rinse", "reef/rinse-2"]
    assert room.formerly == {"reef/cup": "reef/rinse"}


def test_a_copied_system_has_everything_but_the_past(folder: Path) -> None:
    write(folder, changes_of(folder, fill(draft_of(part(folder, "reef/tasks/cup")), id="rinse")))
    room = write(folder, copied_system(folder, part(folder, "reef"), "Second reef", "second-reef"))
    assert room.system["second-reef"].name == "Second reef"
    assert len(room.system["second-reef"].tasks) == len(room.system["reef"].tasks)
    assert room.formerly == {"reef/cup": "reef/rinse"}
    assert room.tasks["second-reef/rinse"].takes == ("second-reef/kh",)


# -- what the care catalogue brings --------------------------------------------------------------------

CARE = """
[[kinds]]
name = "skimmer"
of = "equipment"

[[kinds.tasks]]
id = "skimmer-cup"
title = "Empty the cup"
again_after = "2 days"
minutes = 5
"""


@pytest.fixture
def cared(folder: Path) -> Path:
    (folder / "care").mkdir()
    (folder / "care" / "own.toml").write_text(CARE)
    (folder / "systems" / "bay.toml").write_text(BAY + '\n[[equipment]]\nid = "skimmer"\nkind = "skimmer"\n')
    return folder


def test_what_is_brought_is_written_only_as_far_as_it_differs(cared: Path) -> None:
    brought = part(cared, "bay/tasks/skimmer-cup")
    assert brought.own is None
    assert changes_of(cared, draft_of(brought)) == []
    room = write(cared, changes_of(cared, fill(draft_of(brought), minutes="8")))
    assert room.tasks["bay/skimmer-cup"].minutes == 8
    assert '[[tasks]]\nid = "skimmer-cup"\nminutes = 8\n' in text(cared, "bay")
    room = write(cared, changes_of(cared, fill(draft_of(part(cared, "bay/tasks/skimmer-cup")), minutes="5")))
    assert room.tasks["bay/skimmer-cup"].minutes == 5
    assert "minutes" not in text(cared, "bay")


def test_what_the_file_says_of_a_brought_task_stays_until_it_is_changed(cared: Path) -> None:
    """Also where the catalogue says the same, and a time of day alone beside the rule that is brought."""
    own = '\n[[tasks]]\nid = "skimmer-cup"\nminutes = 5 # as ever\nat = "09:00"\n'
    (cared / "systems" / "bay.toml").write_text(text(cared, "bay") + own)
    draft = draft_of(part(cared, "bay/tasks/skimmer-cup"))
    assert changes_of(cared, draft) == []
    write(cared, changes_of(cared, fill(draft, look_for="Clear glass.")))
    assert text(cared, "bay").endswith(f'{own}look_for = "Clear glass."\n')


def test_what_is_brought_can_be_paused_and_keeps_its_id(cared: Path) -> None:
    brought = part(cared, "bay/tasks/skimmer-cup")
    assert write(cared, paused(cared, brought)).tasks["bay/skimmer-cup"].paused
    with pytest.raises(Refused, match="its id cannot be changed"):
        changes_of(cared, fill(draft_of(part(cared, "bay/tasks/skimmer-cup")), id="other"))


# -- faults and what others change -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "typed", "key", "what"),
    [
        ("reef/tasks/cup", {"title": ""}, "title", "title is missing; type one"),
        ("reef/tasks/cup", {"grace": "soon"}, "grace", "not a span of time"),
        ("reef/tasks/cup", {"takes": "nothing"}, "takes", "does not exist"),
        ("reef/tasks/cup", {"id": "Cup!"}, "id", "is no id"),
        ("reef/readings/kh", {"low": "7 miles"}, "low", "miles"),
        ("reef/readings/kh", {"high": "6 dKH"}, "high", "high lies below low"),
        ("reef/reservoirs/barrel", {"capacity": ""}, "capacity", "capacity is missing; type one, such as 80 L"),
        ("reef", {"volume": "much"}, "volume", "much"),
        ("room/shifts/early", {"begins": "7"}, "begins", "no time of day"),
    ],
)
def test_what_the_reader_refuses_stands_beside_its_field(
    folder: Path, name: str, typed: dict[str, str], key: str, what: str
) -> None:
    found = check(folder, fill(draft_of(part(folder, name)), **typed))
    assert found.room is None
    assert what in found.beside[key]


def test_a_missing_rule_stands_beside_the_rule(folder: Path) -> None:
    found = check(folder, fill(new_draft(BY_KEY["tasks"], "reef", "sump"), title="Wipe"))
    assert found.beside == {"rule": "a rule is missing; choose when it is due"}


def test_what_is_wrong_elsewhere_is_said_too(folder: Path) -> None:
    (folder / "systems" / "bay.toml").write_text("name = ")
    found = check(folder, fill(draft_of(part(folder, "reef/tasks/cup")), title="Rinse"))
    assert found.room is None
    assert found.beside == {}
    assert "systems/bay.toml" in found.elsewhere[0]


def test_a_table_changed_meanwhile_is_not_overwritten_and_what_was_typed_is_kept(folder: Path) -> None:
    draft = fill(draft_of(part(folder, "reef/tasks/cup")), title="Rinse it well")
    (folder / "systems" / "reef.toml").write_text(REEF.replace('again_after = "2 days"', 'again_after = "4 days"'))
    with pytest.raises(ChangedMeanwhile):
        changes_of(folder, draft)
    assert check(folder, draft).meanwhile
    room = write(folder, changes_of(folder, renewed(draft, part(folder, "reef/tasks/cup"))))
    assert room.tasks["reef/cup"].title == "Rinse it well"
    assert 'again_after = "4 days"' in text(folder)


# -- the effect -------------------------------------------------------------------------------------------


def effect_of(folder: Path, changes: list[FileChange], records: History) -> list[str]:
    return effect(load_room(folder), room_with(folder, changes), records, NOW, lambda room, history: ())


RECORDS = History(
    [
        done("reef/cup", "2026-03-02 12:00"),
        done("reef/floss", "2026-03-02 12:00"),
        measured("reef/kh", "2026-03-02 12:00"),
    ]
)


def _rule(**keys: Any) -> Callable[[Draft], Draft]:
    return lambda draft: filled(draft, draft.form.field(RULE), keys, ())


@pytest.mark.parametrize(
    ("name", "change", "lines"),
    [
        (
            "reef/tasks/floss",
            _rule(again_after="10 days"),
            [
                "Moved: Change the floss: now 1 time: Thu 12 Mar 04:00; "
                "before 2 times: Mon 9 Mar 04:00, Mon 16 Mar 04:00"
            ],
        ),
        (
            "reef/tasks/floss",
            lambda draft: fill(draft, paused="yes"),
            ["Gone: Change the floss, 2 times: Mon 9 Mar 04:00, Mon 16 Mar 04:00"],
        ),
        ("reef/tasks/floss", lambda draft: fill(draft, title="Floss"), ["Nothing changes in the coming 14 days."]),
        ("reef/tasks/floss", lambda draft: fill(draft, id="wool"), ["Nothing changes in the coming 14 days."]),
        ("reef", lambda draft: fill(draft, id="lagoon"), ["Nothing changes in the coming 14 days."]),
        (
            "reef/readings/kh",
            _rule(rrule="FREQ=WEEKLY;BYDAY=TU", at="15:00"),
            ["Added: Test kh, 2 times: Tue 3 Mar 15:00, Tue 10 Mar 15:00"],
        ),
    ],
)
def test_the_effect_is_said_in_words(
    folder: Path, name: str, change: Callable[[Draft], Draft], lines: list[str]
) -> None:
    assert effect_of(folder, changes_of(folder, change(draft_of(part(folder, name)))), RECORDS) == lines


# -- the list ---------------------------------------------------------------------------------------------


def test_the_list_is_in_walking_order(folder: Path) -> None:
    rows = rows_of(load_room(folder), read_parts(folder))
    assert [(row.depth, row.kind, row.part.id) for row in rows] == [
        (0, "room", "room"), (1, "reservoir", "store"),
        (0, "system", "reef"), (1, "reading", "kh"), (1, "reservoir", "barrel"),
        (1, "station", "sump"), (2, "task", "cup"), (2, "task", "floss"),
        (1, "station", "racks"), (2, "task", "look"),
        (0, "system", "bay"), (1, "task", "test"),
        (1, "keeper", "TV"), (1, "shift", "early"), (1, "zone", "A"),
    ]  # fmt: skip
    assert next(row.note for row in rows if row.part.id == "cup") == "again after 2 days"
