"""The care catalogue: what it holds, and what it brings to a room's files."""

from __future__ import annotations

import re
from datetime import time
from functools import cache
from pathlib import Path
from typing import NamedTuple

import pytest

from rounds.core.durations import parse_elapsed, parse_span
from rounds.core.model import AgainAfter, OnDates, Room, Task
from rounds.core.rrule_text import parse_rrule
from rounds.core.units import find_unit
from rounds.storage.care import program_files, read_kinds
from rounds.storage.faults import Fault, RoomFaults
from rounds.storage.protocols import catalogue
from rounds.storage.room import RoomFolder
from rounds.storage.room_files import load_room
from tests.support import head, room_from, write_room

ROWS = """
room | first-look | FREQ=DAILY | 07:15 | lapses | 45 minutes | life support | -
room | last-look | FREQ=DAILY | 18:30 | lapses | 1 hour | life support | -
room | rcd-test | 1 month | 10:00 | - | 7 days | life support | hurts
room | cables | 1 month | - | - | 7 days | upkeep | hurts
room | leak-sensors | 1 month | - | - | 7 days | life support | -
room | alarm-call | 1 month | 11:00 | - | 7 days | life support | -
room | backup-power | 1 month | - | - | 7 days | life support | hurts
room | backup-runtime | 1 year | - | - | 14 days | life support | -
room | eyewash | 7 days | - | - | 2 days | upkeep | hurts
room | co2-alarm | 1 month | - | - | 7 days | life support | hurts
room | air | FREQ=DAILY | 08:00 | lapses | 4 hours | husbandry | -
room | cold-store | FREQ=DAILY | 08:00 | lapses | 4 hours | husbandry | -
room | spares | 1 month | - | - | 14 days | upkeep | -
room | reagents | 1 month | - | - | 14 days | upkeep | -
room | tools | 7 days | - | - | 2 days | husbandry | hurts
room | chemicals | 3 months | - | - | 14 days | upkeep | hurts
any marine system | temperature | FREQ=DAILY | 07:30 17:30 | lapses | 90 minutes | life support | -
any marine system | look | FREQ=DAILY | 11:00 | lapses | 4 hours | husbandry | -
any marine system | count | 7 days | - | - | 2 days | husbandry | -
any marine system | salinity | 2 days | 09:00 | - | 12 hours | husbandry | -
any marine system | ph | FREQ=DAILY | 08:00 | lapses | 3 hours | husbandry | -
any marine system | alkalinity | 2 days | 09:00 | - | 12 hours | husbandry | -
any marine system | calcium | 14 days | - | - | 4 days | husbandry | -
any marine system | magnesium | 1 month | - | - | 7 days | husbandry | -
any marine system | nitrate | 7 days | - | - | 2 days | husbandry | -
any marine system | phosphate | 7 days | - | - | 2 days | husbandry | -
any marine system | water-change | 7 days | 10:00 | - | 2 days | husbandry | hurts
any marine system | glass | 3 days | - | - | 18 hours | upkeep | -
any marine system | detritus | 1 month | - | - | 7 days | upkeep | -
any marine system | overflow | 7 days | - | - | 2 days | life support | -
any marine system | drain-down | 3 months | - | - | 14 days | life support | -
any marine system | valves | 6 months | - | - | 14 days | upkeep | -
skimmer | skimmer-cup | 2 days | - | - | 12 hours | husbandry | -
skimmer | skimmer-neck | 3 days | - | - | 18 hours | upkeep | -
skimmer | skimmer-air | 1 month | - | - | 7 days | upkeep | -
skimmer | skimmer-strip | 6 months | - | - | 14 days | upkeep | hurts
heater | heater-look | 1 month | - | - | 7 days | life support | hurts
heater | heater-single | 1 year | - | - | 14 days | life support | -
temperature controller | controller-check | 7 days | - | - | 2 days | life support | -
temperature controller | cut-out | 3 months | - | - | 14 days | life support | -
chiller or cooling fan | chiller | 1 month | - | - | 7 days | life support | hurts
return pump | return-clean | 6 months | - | - | 14 days | life support | hurts
return pump | return-spare | 3 months | - | - | 14 days | life support | -
circulation pump | circulation-look | 7 days | - | - | 2 days | husbandry | -
circulation pump | circulation-clean | 3 months | - | - | 14 days | upkeep | hurts
air pump | air-look | 7 days | - | - | 2 days | life support | -
air pump | air-service | 3 months | - | - | 14 days | upkeep | -
limewater reactor | lime-look | FREQ=DAILY | 08:30 | lapses | 4 hours | life support | -
limewater reactor | lime-strength | 7 days | - | - | 2 days | husbandry | hurts
limewater reactor | lime-charge | 10 days | - | - | 2 days | husbandry | hurts
limewater reactor | lime-clean | 3 months | - | - | 14 days | upkeep | hurts
CO2 reactor | co2-look | FREQ=DAILY | 08:30 | lapses | 4 hours | husbandry | -
CO2 reactor | co2-outlet | 7 days | - | - | 2 days | husbandry | -
CO2 reactor | co2-cylinder | 7 days | - | - | 2 days | life support | hurts
CO2 reactor | co2-media | 3 months | - | - | 14 days | upkeep | -
dosing pump | dose-levels | FREQ=DAILY | 09:00 | lapses | 6 hours | husbandry | -
dosing pump | dose-calibrate | 1 month | - | - | 7 days | husbandry | -
dosing pump | dose-tubing | 6 months | - | - | 14 days | upkeep | -
gravity top-off | float-level | FREQ=DAILY | 08:30 | lapses | 5 hours | life support | -
gravity top-off | float-lift | 7 days | - | - | 2 days | life support | -
gravity top-off | float-clean | 3 months | - | - | 14 days | life support | -
pumped top-off | topoff-level | FREQ=DAILY | 08:30 | lapses | 5 hours | life support | -
pumped top-off | topoff-sensors | 14 days | - | - | 3 days | life support | -
reservoir | reservoir-clean | 6 months | - | - | 14 days | upkeep | hurts
skimmate collector | collector | FREQ=DAILY | 08:30 | lapses | 8 hours | husbandry | -
filter sock or floss | socks | 3 days | - | - | 12 hours | husbandry | -
drum or roller filter | drum | 7 days | - | - | 2 days | husbandry | -
media reactor | carbon | 1 month | - | - | 7 days | husbandry | -
media reactor | phosphate-media | 1 month | - | - | 7 days | husbandry | -
UV unit | uv-look | 7 days | - | - | 2 days | upkeep | -
UV unit | uv-sleeve | 3 months | - | - | 14 days | upkeep | hurts
UV unit | uv-lamp | 1 year | - | - | 14 days | upkeep | hurts
light | light-check | FREQ=DAILY | 12:00 | lapses | 3 hours | husbandry | -
light | light-wipe | 14 days | - | - | 4 days | upkeep | hurts
light | par-map | 3 months | - | - | 14 days | husbandry | -
purified-water unit | ro-product | 7 days | - | - | 2 days | husbandry | -
purified-water unit | ro-rejection | 1 month | - | - | 7 days | husbandry | -
purified-water unit | ro-prefilters | 6 months | - | - | 14 days | upkeep | -
purified-water unit | ro-shutoff | 1 month | - | - | 7 days | life support | -
salt-water mixing | vat-clean | 3 months | - | - | 14 days | upkeep | -
pH probe | ph-cal | 1 month | - | - | 7 days | upkeep | -
conductivity probe | ec-cal | 1 month | - | - | 7 days | upkeep | -
refractometer | refractometer | 7 days | - | - | 2 days | upkeep | -
redox probe | redox | 3 months | - | - | 14 days | upkeep | -
temperature probe | temp-cal | 6 months | - | - | 14 days | life support | -
oxygen meter | oxygen | 7 days | 07:20 | - | 2 days | life support | -
coral grow-out | feed | FREQ=WEEKLY;BYDAY=MO,WE,FR | 17:00 | lapses | 90 minutes | husbandry | -
coral grow-out | torch | 7 days | 20:00 | - | 2 days | husbandry | -
coral grow-out | baste | 3 days | - | - | 18 hours | upkeep | -
coral grow-out | spacing | 14 days | - | - | 4 days | husbandry | hurts
coral grow-out | colour | 7 days | 12:30 | - | 2 days | husbandry | -
coral grow-out | measure | 1 month | - | - | 7 days | upkeep | -
low-light and soft coral | shade | 3 days | - | - | 18 hours | husbandry | -
anemone | anemone | FREQ=DAILY | 09:00 | lapses | 4 hours | husbandry | -
fish system | feed-fish | FREQ=DAILY | 08:45 16:30 | lapses | 90 minutes | husbandry | -
quarantine | q-look | FREQ=DAILY | 12:15 | lapses | 4 hours | husbandry | hurts
quarantine | q-ammonia | FREQ=DAILY | 12:20 | lapses | 6 hours | life support | -
larval rearing | l-clean | FREQ=DAILY | 08:00 17:00 | lapses | 90 minutes | life support | -
larval rearing | l-count | FREQ=DAILY | 09:00 | lapses | 4 hours | husbandry | -
live-food culture | c-feed | FREQ=DAILY | 07:45 16:00 | lapses | 2 hours | husbandry | -
live-food culture | c-harvest | FREQ=DAILY | 08:15 | lapses | 4 hours | husbandry | -
live-food culture | c-hatch | FREQ=DAILY | 08:30 | lapses | 3 hours | husbandry | -
live-food culture | c-restart | 14 days | - | - | 4 days | husbandry | hurts
"""
"""Kind, id, rule, times, whether it lapses, grace, importance, whether the work can hurt."""


class Row(NamedTuple):
    kind: str
    id: str
    rule: str
    at: str
    lapses: str
    grace: str
    importance: str
    hurts: str


CARE = [Row(*line.split(" | ")) for line in ROWS.strip().splitlines()]


@cache
def kinds():
    faults: list[Fault] = []
    found = read_kinds(program_files(faults))
    assert not faults, [str(fault) for fault in faults]
    return found


@cache
def room_with(kind: str) -> Room:
    """A room that has one kind of the catalogue, and nothing of its own."""
    (of,) = (of for of, name in kinds() if name == kind)
    if of == "room":
        return room_from(head(top=f'care = ["{kind}"]'))
    if of == "system":
        return room_from(head(), reef=f'name = "Reef"\ncare = ["{kind}"]\n')
    table = {"equipment": "equipment", "reservoir": "reservoirs"}[of]
    more = 'capacity = "80 L"\n' if of == "reservoir" else ""
    ids = ("it", "spare") if of == "equipment" else ("it",)  # some care needs a second piece
    text = "".join(f'[[{table}]]\nid = "{id}"\nstation = "sump"\nkind = "{kind}"\n{more}' for id in ids)
    return room_from(head(), reef=f'name = "Reef"\n[[stations]]\nid = "sump"\n{text}')


def brought(kind: str, id: str) -> Task:
    (found,) = (task for full, task in room_with(kind).tasks.items() if full.partition("/")[2] == id)
    return found


TASKS = [(kind, task.id.partition("/")[2]) for _, kind in kinds() for task in room_with(kind).tasks.values()]


# -- what is in it -----------------------------------------------------------------------------------


@pytest.mark.parametrize("row", CARE, ids=[f"{row.kind}, {row.id}" for row in CARE])
def test_every_row_of_the_trade_is_there(row: Row) -> None:
    """Rule, times, grace and importance are those of the table, and what can hurt says how."""
    task = brought(row.kind, row.id)
    rule = OnDates(parse_rrule(row.rule)) if row.rule.startswith("FREQ") else AgainAfter(parse_span(row.rule))
    times = () if row.at == "-" else tuple(time.fromisoformat(each) for each in row.at.split())
    assert (task.rule, task.times, task.make_up) == (rule, times, row.lapses == "-")
    assert (task.grace, task.importance) == (parse_elapsed(row.grace), row.importance)
    assert task.caution or row.hurts == "-"


def test_the_catalogue_holds_nothing_else() -> None:
    """What is brought is in the table, or is how a reservoir is refilled."""
    assert {id for _, id in TASKS if not id.startswith("it-")} == {row.id for row in CARE}


@pytest.mark.parametrize(("kind", "id"), TASKS, ids=[f"{kind}, {id}" for kind, id in TASKS])
def test_every_task_can_be_followed_by_a_new_keeper(kind: str, id: str) -> None:
    """Two to six steps, what to look for, minutes and where the interval comes from; nothing refers to other lines."""
    task = brought(kind, id)
    if task.source != "level":
        assert 2 <= len(task.steps) <= 6
        assert task.minutes
        assert task.basis
        assert task.look_for[:1] == task.look_for[:1].upper() != ""
    assert "as above" not in " ".join((*task.steps, task.look_for, task.caution)).casefold()


OFF = re.compile(
    r"\b(return|pump|pumps|skimmer|circulation|lights?|feed|flow|air|gas|dosing|heater|top-off|power) off\b|\bunplug\b"
)
ON = re.compile(r"\bon\b|\bplug in\b|\bplugged in\b|\bback\b")


@pytest.mark.parametrize(("kind", "id"), TASKS, ids=[f"{kind}, {id}" for kind, id in TASKS])
def test_what_a_step_switches_off_a_later_one_switches_on(kind: str, id: str) -> None:
    """Nothing is left off by following the steps to the end."""
    steps = [step.casefold() for step in brought(kind, id).steps]
    for number, step in enumerate(steps):
        if OFF.search(step) and not re.search(r"\bon\b", step):
            assert any(ON.search(later) for later in steps[number + 1 :]), step


DANGERS = {
    r"\bacid\b": ("acid into water", "goggles", "gloves"),
    r"\bbleach\b": ("never mix bleach with acid", "goggles", "gloves"),
    r"\bunplug(ged)?\b": ("unplug", "dry hands"),
    r"\blime\b": ("goggles", "rinse eyes"),
}
"""A word in the steps to what the caution has to say; for the plug one of the two is enough."""


@pytest.mark.parametrize("danger", DANGERS)
def test_a_danger_in_the_steps_is_in_the_caution(danger: str) -> None:
    """Whoever is told to use acid, bleach or lime, or to pull a plug, is told how not to be hurt."""
    enough = any if "unplug" in danger else all
    found = [task for kind, id in TASKS if re.search(danger, " ".join((task := brought(kind, id)).steps).casefold())]
    assert found
    for task in found:
        assert enough(word in task.caution.casefold() for word in DANGERS[danger]), task.id


def test_nothing_is_dosed_into_water_that_stands() -> None:
    """Where the return is off, what is dosed stays where it falls, and a UV lamp heats: they are off with it."""
    stopped = r"\breturn off\b"
    found = [task for kind, id in TASKS if re.search(stopped, " ".join((task := brought(kind, id)).steps).casefold())]
    assert {"feed", "water-change", "drain-down", "return-spare"} <= {task.id.partition("/")[2] for task in found}
    (watch,) = next(protocol.steps for protocol in catalogue() if protocol.id == "room/spawn-watch")
    for task in (*found, watch):
        said = " ".join(task.steps)
        assert [each for each in ("dosing", "limewater", "CO2", "UV") if each.casefold() not in said.casefold()] == []


def test_what_follows_an_arrival_a_death_and_a_treatment_hurts_nobody() -> None:
    """Ammonia reagents are toxic, bag water carries what came with it, carbon takes out a dose."""
    steps = {(protocol.id.partition("/")[2], step.title): step for protocol in catalogue() for step in protocol.steps}
    assert all("Reagents toxic" in step.caution for (_, title), step in steps.items() if "ammonia" in title)
    assert "disinfected" in steps["arrival", "Match the salinity: tank water in small parts"].caution
    (after,) = (step for (of, title), step in steps.items() if of == "treatment" and title.startswith("After"))
    assert "every dose was given" in after.look_for


def test_frags_are_handled_with_palytoxin_in_mind() -> None:
    for id in ("baste", "spacing", "measure"):
        assert "palytoxin" in brought("coral grow-out", id).caution


def test_the_readme_names_every_kind() -> None:
    """Whoever writes a room's files finds what to write there."""
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    section = text.split("## Care catalogue")[1].split("\n## ")[0]
    named = {name.strip() for name in re.split(r"[,;:|(\n]", section)}
    assert {name for _, name in kinds()} <= named


def test_the_protocols_say_where_they_come_from() -> None:
    """Cuts are looked at on seven days, a lot is dipped four times and signed out after 45 or 76 days."""
    found = {protocol.id.partition("/")[2]: protocol for protocol in catalogue()}
    assert all(protocol.basis for protocol in found.values())
    _, cuts = found["fragging"].steps
    assert (cuts.after, cuts.every, cuts.times) == (parse_elapsed("1 day"), parse_span("1 day"), 7)
    dip, coral, fish = found["quarantine-lot"].steps
    assert (dip.after, dip.every, dip.times) == (parse_elapsed("1 day") * 0, parse_span("7 days"), 4)
    assert [step.after.days for step in (coral, fish)] == [45, 76]
    assert all(step.caution for id in ("fragging", "quarantine-lot", "spawn-watch") for step in found[id].steps)


def test_a_reading_of_the_catalogue_has_its_limits() -> None:
    """Band, act-now limits, rate and first steps; those of larvae are narrower."""
    reef, larvae = room_with("coral grow-out").readings, room_with("larval rearing").readings

    def limits(reading):
        return [limit and limit.value for limit in (reading.act_low, reading.low, reading.high, reading.act_high)]

    assert limits(reef["reef/temperature"]) == [23, 24.5, 26, 27]
    assert limits(larvae["reef/temperature"]) == [25, 26, 27, 28]
    assert limits(reef["reef/nitrate"]) == [0.5, 2, 10, 30]
    assert reef["reef/nitrate"].act_low_after == 2
    assert reef["reef/alkalinity"].rate is not None
    assert reef["reef/alkalinity"].target is None
    assert all(reading.act_steps for reading in reef.values())
    assert room_with("larval rearing").tasks["reef/temperature"].rule == brought("coral grow-out", "temperature").rule


# -- what it brings ----------------------------------------------------------------------------------

STATIONS = '[[stations]]\nid = "sump"\n[[stations]]\nid = "rack"\n'
SKIMMER = '[[equipment]]\nid = "skimmer"\nkind = "skimmer"\nstation = "sump"\n'
OTHER = '[[equipment]]\nid = "second"\nkind = "skimmer"\nstation = "rack"\n'
CUPS = {"skimmer-cup", "skimmer-neck", "skimmer-air", "skimmer-strip"}
TORCH = '[[kinds]]\nname = "torch"\nof = "equipment"\n[[kinds.tasks]]\nid = "charge"\ntitle = "Charge it"\n'


def reef(text: str, top: str = "", room: str = "") -> Room:
    return room_from(head(room), reef=f'name = "Reef"\n{top}\n{STATIONS}{text}')


def ids(room: Room) -> set[str]:
    return {task.id.partition("/")[2] for task in room.tasks.values()}


def with_own(folder, care: str, text: str = SKIMMER, top: str = ""):
    """A room on disk with a care folder of its own."""
    write_room(folder, head(), reef=f'name = "Reef"\n{top}\n{STATIONS}{text}')
    (folder / "care").mkdir()
    (folder / "care" / "ours.toml").write_text(care, encoding="utf-8")
    return folder


def faults_of(folder) -> list[Fault]:
    """None where the room can be read."""
    try:
        load_room(folder)
    except RoomFaults as found:
        return found.faults
    return []


def one_fault(text: str, top: str = "") -> Fault:
    with pytest.raises(RoomFaults) as found:
        reef(text, top)
    (fault,) = found.value.faults
    return fault


def test_equipment_brings_the_tasks_of_its_kind_to_its_station() -> None:
    """A skimmer by the sump is all there is to write."""
    room = reef(SKIMMER)
    assert ids(room) == CUPS
    assert {task.station for task in room.tasks.values()} == {"sump"}


def test_equipment_of_another_kind_brings_nothing() -> None:
    """The catalogue need not know every kind."""
    assert ids(reef(SKIMMER.replace('kind = "skimmer"', 'kind = "wave board"'))) == set()


def test_the_first_piece_of_a_kind_stands_for_all() -> None:
    """Two skimmers bring each task once, to the station of the first."""
    room = reef(SKIMMER + OTHER)
    assert ids(room) == CUPS
    assert {task.station for task in room.tasks.values()} == {"sump"}


def test_what_the_first_leaves_out_the_second_brings() -> None:
    """Without is said of one piece."""
    room = reef(f'{SKIMMER}without = ["skimmer-cup"]\n{OTHER}')
    assert ids(room) == CUPS
    assert room.tasks["reef/skimmer-cup"].station == "rack"
    assert room.tasks["reef/skimmer-neck"].station == "sump"


def test_care_of_two_pieces_is_not_asked_of_one(tmp_path) -> None:
    """One heater cannot be proved to hold alone; the number is a key of the catalogue that an own one changes."""
    heater = SKIMMER.replace("skimmer", "heater")
    assert ids(reef(heater)) == {"heater-look"}
    assert ids(reef(heater + OTHER.replace('"skimmer"', '"heater"'))) == {"heater-look", "heater-single"}
    care = '[[kinds]]\nname = "heater"\nof = "equipment"\n[[kinds.tasks]]\nid = "heater-single"\npieces = 1\n'
    assert ids(load_room(with_own(tmp_path, care, heater))) == {"heater-look", "heater-single"}


def test_equipment_can_do_without() -> None:
    """Some of it, or all."""
    assert ids(reef(f'{SKIMMER}without = ["skimmer-air", "skimmer-neck"]\n')) == {"skimmer-cup", "skimmer-strip"}
    assert ids(reef(f"{SKIMMER}care = false\n")) == set()


def test_a_system_can_do_without() -> None:
    """Beside care, without leaves out what its kinds bring."""
    found = ids(reef("", 'care = ["fish system"]\nwithout = ["valves", "nitrate"]'))
    assert {"feed-fish", "glass", "phosphate"} <= found
    assert not found & {"valves", "nitrate"}


def test_a_kind_that_is_named_brings_what_it_includes() -> None:
    """Fish live in sea water; live food is kept in vessels."""
    assert {"salinity", "water-change"} <= ids(reef("", 'care = ["fish system"]'))
    assert "salinity" not in ids(reef("", 'care = ["live-food culture"]'))


def test_an_own_table_says_only_what_differs() -> None:
    """The rest is that of the catalogue."""
    own = reef(f'[[tasks]]\nid = "skimmer-cup"\nminutes = 9\n{SKIMMER}').tasks["reef/skimmer-cup"]
    usual = reef(SKIMMER).tasks["reef/skimmer-cup"]
    assert own.minutes == 9
    assert (own.rule, own.grace, own.steps, own.station) == (usual.rule, usual.grace, usual.steps, "sump")


def test_own_tables_stand_first_and_in_their_order() -> None:
    """Then what was brought, in the order of the catalogue."""
    text = (
        '[[tasks]]\nid = "skimmer-strip"\n'
        '[[tasks]]\nid = "shade"\ntitle = "Shade"\nstation = "sump"\nagain_after = "1 day"\n'
    )
    assert [id.partition("/")[2] for id in reef(text + SKIMMER).tasks] == [
        "skimmer-strip", "shade", "skimmer-cup", "skimmer-neck", "skimmer-air",
    ]  # fmt: skip


def test_an_own_rule_does_away_with_the_times_and_the_grace() -> None:
    """A monthly task made daily is not fine for a week; one by the hour takes no time of day."""
    daily = reef(f'[[tasks]]\nid = "skimmer-air"\nagain_after = "1 day"\n{SKIMMER}').tasks["reef/skimmer-air"]
    assert (daily.rule, daily.grace) == (AgainAfter(parse_span("1 day")), None)
    look = reef('[[tasks]]\nid = "look"\nagain_after = "8 hours"\n', 'care = ["any marine system"]').tasks["reef/look"]
    assert (look.rule, look.times) == (AgainAfter(parse_span("8 hours")), ())


def test_an_own_rule_has_no_basis_but_its_own() -> None:
    """The source of the catalogue's interval is none for another one."""
    text = '[[tasks]]\nid = "skimmer-air"\nagain_after = "1 day"\n'
    assert reef(text + SKIMMER).tasks["reef/skimmer-air"].basis == ""
    assert reef(f'{text}basis = "our water"\n{SKIMMER}').tasks["reef/skimmer-air"].basis == "our water"


def test_an_own_time_keeps_the_rule() -> None:
    """Feeding at another hour is still daily."""
    look = reef('[[tasks]]\nid = "look"\nat = "16:00"\n', 'care = ["any marine system"]').tasks["reef/look"]
    assert (look.rule, look.times) == (OnDates(parse_rrule("FREQ=DAILY")), (time(16),))


def test_a_band_of_ones_own_keeps_the_limits() -> None:
    """The catalogue's limits are defaults."""
    text = '[[readings]]\nid = "alkalinity"\nhigh = "9.0 dKH"\n'
    reading = reef(text, 'care = ["any marine system"]').readings["reef/alkalinity"]
    assert [limit and limit.value for limit in (reading.low, reading.high, reading.act_high)] == [7.5, 9, 10]


def test_a_task_can_be_dropped_or_paused() -> None:
    """Dropped it is not there, paused it waits."""
    room = reef(
        f'[[tasks]]\nid = "skimmer-cup"\ndropped = true\n[[tasks]]\nid = "skimmer-air"\npaused = true\n{SKIMMER}'
    )
    assert ids(room) == CUPS - {"skimmer-cup"}
    assert "reef/skimmer-air" not in [task.id for task in room.running]


def test_what_is_not_brought_cannot_be_dropped() -> None:
    """A slip of the pen in an id is found."""
    fault = one_fault('[[tasks]]\nid = "skimmer-cap"\ntitle = "x"\nagain_after = "1 day"\ndropped = true\n' + SKIMMER)
    assert (fault.key, fault.line) == ("dropped", 11)


@pytest.mark.parametrize(
    ("text", "id"),
    [
        ('[[readings]]\nid = "skimmer-cup"\nquantity = "count"\nstation = "sump"\n', "skimmer-cup"),
        ('[[lights]]\nid = "skimmer-cup"\nbegins = "09:00"\nramp_up = "1 hour"\nplateau = "6 hours"\n'
         'ramp_down = "1 hour"\nchannels = [{ name = "all", peak = "50 %" }]\n', "skimmer-cup"),
    ],
    ids=["a reading", "lights"],
)  # fmt: skip
def test_an_id_that_is_used_for_something_else_is_not_brought(text: str, id: str) -> None:
    """The file's own word stands."""
    room = reef(text + SKIMMER)
    assert f"reef/{id}" not in room.tasks
    assert CUPS - {id} <= ids(room)


@pytest.mark.parametrize(
    ("kind", "own"),
    [
        (
            "gravity top-off",
            '[[reservoirs]]\nid = "float"\nkind = "top-off"\ncapacity = "80 L"\nagain_after = "1 day"\n',
        ),
        (
            "pumped top-off",
            '[[reservoirs]]\nid = "topoff"\nkind = "top-off"\ncapacity = "80 L"\nagain_after = "1 day"\n',
        ),
    ],
)
def test_the_level_of_a_reservoir_stands_for_a_brought_one(kind: str, own: str) -> None:
    """The reservoir float has the level float-level."""
    room = reef(f'{own}[[equipment]]\nid = "it"\nkind = "{kind}"\nstation = "sump"\n')
    assert [task.source for task in room.tasks.values() if task.id.endswith("-level")] == ["level"]


def test_a_task_takes_only_the_readings_that_are_left() -> None:
    """A room without a freezer reads its fridge."""
    room = room_from(head('[[readings]]\nid = "freezer"\ndropped = true\n', top='care = ["room"]'))
    assert room.tasks["room/cold-store"].takes == ("room/fridge",)
    room = room_from(head(top='care = ["room"]\nwithout = ["humidity"]'))
    assert room.tasks["room/air"].takes == ("room/air-temperature",)


def test_a_reservoir_is_refilled_as_its_kind_says() -> None:
    """The file's own words go before those of the catalogue."""
    tank = '[[reservoirs]]\nid = "soda"\nkind = "dosing"\nstation = "sump"\ncapacity = "3 L"\n'
    usual = reef(tank).tasks["reef/soda-refill"]
    assert "other's container" in usual.caution
    assert usual.minutes == 15
    own = reef(f'{tank}[reservoirs.refill]\nsteps = ["Ask Tove"]\n').tasks["reef/soda-refill"]
    assert (own.steps, own.caution) == (("Ask Tove",), usual.caution)


def test_a_refill_that_is_no_table_is_named() -> None:
    """With the line of its key."""
    tank = '[[reservoirs]]\nid = "soda"\nkind = "dosing"\nstation = "sump"\ncapacity = "3 L"\n'
    fault = one_fault(f'{tank}refill = "soda ash"\n')
    assert (fault.line, fault.key) == (12, "refill")


# -- faults ------------------------------------------------------------------------------------------


def test_a_kind_that_is_not_in_the_catalogue_is_named() -> None:
    """With file, line and the kinds there are."""
    fault = one_fault("", 'care = ["coral growout"]')
    assert (fault.file, fault.line, fault.key) == ("systems/reef.toml", 2, "care")
    assert "coral grow-out" in fault.sentence


def test_leaving_out_what_is_not_brought_is_named() -> None:
    """Of a system and of equipment, with what is brought."""
    fault = one_fault("", 'care = ["fish system"]\nwithout = ["feed-fihs"]')
    assert (fault.line, fault.key) == (3, "without")
    assert "feed-fish" in fault.sentence
    fault = one_fault(f'{SKIMMER}without = ["cup"]\n')
    assert (fault.line, fault.table, fault.key) == (11, '[[equipment]] "skimmer"', "without")


def test_faults_in_own_tables_keep_their_lines() -> None:
    """Also after one that is left out, and in a table that says only what differs."""
    text = '[[tasks]]\nid = "skimmer-cup"\ndropped = true\n[[tasks]]\nid = "skimmer-air"\nminutes = "five"\n'
    fault = one_fault(text + SKIMMER)
    assert (fault.file, fault.line, fault.table) == ("systems/reef.toml", 12, '[[tasks]] "skimmer-air"')


def test_a_station_that_does_not_exist_is_named_once() -> None:
    """Of the equipment, and not of everything it brings."""
    fault = one_fault(SKIMMER.replace('station = "sump"', 'station = "pump room"'))
    assert fault.table == '[[equipment]] "skimmer"'


VALUES = ("[[1]]", "{}", "5", "true", '["a", []]', "[{}]", '""')


@pytest.mark.parametrize("value", VALUES)
@pytest.mark.parametrize(
    "text",
    [
        "care = {}",
        "without = {}",
        '[[equipment]]\nid = "it"\nkind = {}',
        '[[equipment]]\nid = "it"\nkind = "skimmer"\nwithout = {}',
        '[[equipment]]\nid = "it"\nkind = "skimmer"\nstation = {}',
        '[[tasks]]\nid = {}\ntitle = "x"\nagain_after = "1 day"',
        '[[reservoirs]]\nid = "it"\nkind = {}\ncapacity = "1 L"',
        '[[reservoirs]]\nid = "it"\nkind = "waste"\ncapacity = "1 L"\nrefill = {}',
        "equipment = {}",
        "stations = {}",
    ],
)
def test_a_value_of_another_type_is_a_fault_of_its_file_or_does_no_harm(tmp_path, text: str, value: str) -> None:
    """Never anything but a room or its faults."""
    write_room(tmp_path, head(), reef=f'name = "Reef"\n{text.replace("{}", value)}\n')
    assert {fault.file for fault in faults_of(tmp_path)} <= {"systems/reef.toml"}


@pytest.mark.parametrize("value", VALUES)
@pytest.mark.parametrize(
    "key", ["name", "of", "includes", "tasks", "readings", "limits", "refill", "id", "takes", "station", "pieces"]
)
def test_a_value_of_another_type_in_an_own_catalogue_likewise(tmp_path, key: str, value: str) -> None:
    """In a kind or in a task that it brings."""
    of_task = ("id", "title", "takes", "station", "pieces")
    lines = {"name": '"torch"', "of": '"equipment"', "tasks": "", "id": '"charge"', "title": '"x"', "takes": "[]"}
    lines[key] = value
    outside = "".join(f"{k} = {v}\n" for k, v in lines.items() if v and k not in of_task)
    inside = "".join(f"{k} = {v}\n" for k, v in lines.items() if v and k in of_task)
    inner = "" if key == "tasks" else f'[[kinds.tasks]]\nagain_after = "1 day"\n{inside}'
    folder = with_own(tmp_path, f"[[kinds]]\n{outside}{inner}", SKIMMER.replace('"skimmer"', '"torch"'))
    assert {fault.file for fault in faults_of(folder)} <= {"care/ours.toml"}


# -- limits of readings that a room declares itself --------------------------------------------------

NITRITE = '[[readings]]\nid = "no2"\nquantity = "nitrite"\n'


def limits_of(kind: str, reading: str, *, room: bool = False) -> tuple[float | None, ...]:
    """In the canonical unit: act_low, low, high and act_high of the reading `it` beside care of a kind."""
    care = f'care = ["{kind}"]'
    text = f'[[readings]]\nid = "it"\n{reading}\n'
    found = (
        room_from(head(text, top=care)).readings["room/it"]
        if room
        else room_from(head(), reef=f'name = "Reef"\n{care}\n{text}').readings["reef/it"]
    )
    each = (found.act_low, found.low, found.high, found.act_high)
    return tuple(limit and limit.canonical for limit in each)


@pytest.mark.parametrize(
    ("kind", "quantity", "limits"),
    [
        ("quarantine", "nitrite", (None, None, 0.66, 1.64)),
        ("larval rearing", "nitrite", (None, None, 0.66, 1.64)),
        ("coral grow-out", "nitrite", (None, None, None, None)),
        ("coral grow-out", "ammonia", (None, None, 0.16, 0.33)),
        ("larval rearing", "ammonia", (None, None, 0.08, 0.16)),
        ("fish system", "redox", (None, None, None, 450)),
        ("live-food culture", "redox", (None, None, None, None)),
    ],
)
def test_a_reading_that_says_no_limits_has_those_of_its_kind_of_system(kind: str, quantity: str, limits) -> None:
    """Whatever its id; nothing is brought where the kind says nothing of the quantity."""
    assert limits_of(kind, f'quantity = "{quantity}"') == limits


def test_nitrogen_and_nitrite_are_the_same_limits() -> None:
    """0.2 and 0.5 mg/L of nitrogen, in the milligrams of nitrite that a bare number means."""
    nitrite = [find_unit("nitrite", "mg/L N").factor * number for number in (0.2, 0.5)]
    assert [round(number, 2) for number in nitrite] == [0.66, 1.64]


def test_the_air_of_the_room_has_its_limits() -> None:
    """Carbon dioxide in it, where it is read."""
    assert limits_of("room", 'quantity = "carbon dioxide"', room=True) == (None, None, 1000, 5000)


def test_a_fall_of_redox_is_told() -> None:
    """A band of redox is each tank's own."""
    room = reef('[[readings]]\nid = "orp"\nquantity = "redox"\n', 'care = ["fish system"]')
    rate = room.readings["reef/orp"].rate
    assert (rate.change.canonical, rate.only, str(rate.within)) == (100, "fall", "1 day")


def test_a_reading_with_a_limit_of_its_own_is_left_as_it_is() -> None:
    """Two sets of limits would not go together."""
    assert limits_of("quarantine", 'quantity = "nitrite"\nhigh = "2 mg/L"') == (None, None, 2, None)


def test_such_limits_add_no_reading_and_change_no_unit() -> None:
    """What is not declared is not there, and a bare number means what it meant."""
    assert "reef/no2" not in room_with("quarantine").readings
    with_it, without = (reef(NITRITE, care).readings["reef/no2"] for care in ('care = ["quarantine"]', ""))
    assert (with_it.unit, with_it.high is not None, without.high) == (without.unit, True, None)


def test_an_own_catalogue_says_what_differs_of_the_limits(tmp_path) -> None:
    """By quantity."""
    care = '[[kinds]]\nname = "quarantine"\nof = "system"\n[[kinds.limits]]\nquantity = "nitrite"\nhigh = "0.4 mg/L"\n'
    found = load_room(with_own(tmp_path, care, "", f'care = ["quarantine"]\n{NITRITE}')).readings["reef/no2"]
    assert (found.high.value, found.act_high.value) == (0.4, 1.64)


# -- a room's own catalogue --------------------------------------------------------------------------


def test_an_own_catalogue_changes_an_interval(tmp_path) -> None:
    """For every system of the room, and only that."""
    care = '[[kinds]]\nname = "skimmer"\nof = "equipment"\n[[kinds.tasks]]\nid = "skimmer-cup"\nagain_after = "1 day"\n'
    task = load_room(with_own(tmp_path, care)).tasks["reef/skimmer-cup"]
    assert (task.rule, task.grace) == (AgainAfter(parse_span("1 day")), None)
    assert task.steps == brought("skimmer", "skimmer-cup").steps


def test_an_own_catalogue_adds_kinds(tmp_path) -> None:
    """Of equipment and of systems, which may include those of the program."""
    care = f'{TORCH}again_after = "1 week"\n[[kinds]]\nname = "ours"\nof = "system"\nincludes = ["fish system"]\n'
    room = load_room(with_own(tmp_path, care, SKIMMER.replace('"skimmer"', '"torch"'), 'care = ["ours"]'))
    assert {"charge", "feed-fish", "salinity"} <= ids(room)


def test_kinds_that_include_each_other_count_once(tmp_path) -> None:
    """A ring is no fault and has an end."""
    care = "".join(
        f'[[kinds]]\nname = "{name}"\nof = "system"\nincludes = ["{other}"]\n'
        f'[[kinds.tasks]]\nid = "{name}"\ntitle = "x"\nagain_after = "1 day"\n'
        for name, other in (("a", "b"), ("b", "a"))
    )
    assert ids(load_room(with_own(tmp_path, care, "", 'care = ["a"]'))) == {"a", "b"}


OWN_FAULTS = {
    "a rule": (f'{TORCH}again_after = "1 wek"\n', 7, "again_after"),
    "a second task": (f'{TORCH}again_after = "1 day"\n[[kinds.tasks]]\nid = "b"\ntitle = "B"\nonce = 5\n', 11, "once"),
    "a key": (f'{TORCH}again_after = "1 day"\nwatts = 5\n', 8, "watts"),
    "a number of pieces": (f'{TORCH}again_after = "1 day"\npieces = "2"\n', 8, "pieces"),
    "pieces of what is no equipment": (
        '[[kinds]]\nname = "quarantine"\nof = "system"\n[[kinds.tasks]]\nid = "b"\npieces = 2\n', 6, "pieces",
    ),
    "no kind of anything": ('[[kinds]]\nname = "torch"\nof = "tool"\n', 3, "of"),
    "a kind that is not there": ('[[kinds]]\nname = "t"\nof = "system"\nincludes = ["fish"]\n', 4, "includes"),
    "a task without an id": ('[[kinds]]\nname = "t"\nof = "system"\ntasks = [{ title = "x" }]\n', 4, "tasks"),
    "a refill of no reservoir": ('[[kinds]]\nname = "t"\nof = "room"\nrefill = { minutes = 5 }\n', 4, "refill"),
    "a refill": ('[[kinds]]\nname = "waste"\nof = "reservoir"\nrefill = { minutes = "5" }\n', 4, "refill"),
    "limits of nothing": ('[[kinds]]\nname = "t"\nof = "system"\n[[kinds.limits]]\nquantity = "gold"\n', 5, "quantity"),
    "a limit": (
        '[[kinds]]\nname = "t"\nof = "system"\n[[kinds.limits]]\nquantity = "nitrite"\nhigh = "1 %"\n', 6, "high",
    ),
    "a key of limits": (
        '[[kinds]]\nname = "t"\nof = "system"\n[[kinds.limits]]\nquantity = "redox"\nhihg = "1 mV"\n', 6, "hihg",
    ),
    "limits of equipment": ('[[kinds]]\nname = "t"\nof = "equipment"\nlimits = [{ quantity = "pH" }]\n', 4, "limits"),
    "an unknown table": ('[[kind]]\nname = "t"\n', 1, "kind"),
}  # fmt: skip


@pytest.mark.parametrize(("care", "line", "key"), OWN_FAULTS.values(), ids=OWN_FAULTS)
def test_a_fault_of_an_own_catalogue_is_named_there(tmp_path, care: str, line: int, key: str) -> None:
    """Once, with file and line, however many systems bring it."""
    folder = with_own(tmp_path, care, SKIMMER.replace('"skimmer"', '"torch"'))
    write_room(folder, head(), lab=(folder / "systems" / "reef.toml").read_text())
    (fault,) = faults_of(folder)
    assert (fault.file, fault.line, fault.key) == ("care/ours.toml", line, key)


def test_a_changed_catalogue_is_taken_up(tmp_path) -> None:
    """In the open room, and by one that is opened from the cache."""
    care = f'{TORCH}again_after = "1 week"\n'
    folder = with_own(tmp_path, care, SKIMMER.replace('"skimmer"', '"torch"'))
    room = RoomFolder(folder)
    assert room.refresh_files() is False
    (folder / "care" / "ours.toml").write_text(care.replace("1 week", "10 days"), encoding="utf-8")
    assert room.refresh_files() is True
    for model in (room.model, RoomFolder(folder).model):
        assert model.tasks["reef/charge"].rule == AgainAfter(parse_span("10 days"))
    (folder / "care" / "ours.toml").unlink()
    assert room.refresh_files() is True
    assert "reef/charge" not in room.model.tasks
