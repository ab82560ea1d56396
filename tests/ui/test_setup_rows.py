"""Set-up of the room itself and of tables inside tables: steps, channels, what is drawn and used up."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from rounds.storage.room_files import load_room
from rounds.ui.screens.ask import Question
from rounds.ui.screens.form import FormScreen
from rounds.ui.screens.setup import Setup
from tests.ui.app import NARROW, WIDE, flat, shown, until, walking
from tests.ui.conftest import NURSERY, ROOM
from tests.ui.forms import (
    ODD_NAMES,
    answer,
    back,
    choose_row,
    field,
    fill,
    form,
    nursery,
    open_form,
    open_row,
    open_setup,
    pick,
    save,
    yes,
)

COURSE = """
# ---- protocols ----

[[protocols]]
id = "course"
name = "Course"

# before anything else
[[protocols.steps]]
title = "Skimmer off" # and UV
after = "10 minutes"

[[protocols.steps]]
title = "Dose"

[[lights]]
id = "lamp"
name = "Blue lamp"
begins = "09:30"
plateau = "8 hours"
channels = [
  { name = "blue", peak = "64 %" }, # the deep one
  { name = "white", peak = "32 %" },
]
"""

SIZES = pytest.mark.parametrize("size", [NARROW, WIDE])


@pytest.fixture
def deep(kept: Path) -> Path:
    """The room with a protocol and lights in its nursery."""
    (kept / "systems" / "nursery.toml").write_text(NURSERY + COURSE, encoding="utf-8")
    return kept


def titles(folder: Path) -> list[str]:
    """The steps of the course."""
    return [step.title for step in load_room(folder).protocol["nursery/course"].steps]


@SIZES
async def test_the_room_itself_is_changed_in_a_form(kept: Path, size: tuple[int, int]) -> None:
    """Units are choices of their own; time zone and first day say why they stay."""
    async with walking(kept, size=size) as pilot:
        await open_form(pilot, "room//room")
        await fill(pilot, "name", "Tern Quay [two] 🐠")
        await fill(pilot, "day begins", "5")
        assert "no time of day" in flat(pilot)
        await fill(pilot, "day begins", "05:00")
        await field(pilot, "time zone")
        await pilot.press("enter")
        await pilot.pause()
        assert "The time zone stays: every time of the rules" in flat(pilot)
        await open_row(pilot, "units")
        await pick(pilot, "volume", "US gal")
        await back(pilot)
        assert "alkalinity dKH, volume US gal" in flat(pilot)
        await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    room = load_room(kept)
    assert (room.name, f"{room.day_begins:%H:%M}") == ("Tern Quay [two] 🐠", "05:00")
    assert (kept / "room.toml").read_text(encoding="utf-8") == ROOM.replace(
        "Tern Quay reef room", "Tern Quay [two] 🐠"
    ).replace('"04:00"', '"05:00"').replace('alkalinity = "dKH"\n', 'alkalinity = "dKH"\nvolume = "US gal"\n')


@SIZES
async def test_a_step_is_added_put_right_and_moved(deep: Path, size: tuple[int, int]) -> None:
    async with walking(deep, size=size) as pilot:
        await open_form(pilot, "nursery/protocols/course")
        assert "Skimmer off, after 10 minutes" in shown(pilot)
        await field(pilot, "2")
        await pilot.press("a")
        await until(pilot, lambda: "step 3 of protocol Course" in flat(pilot) and "1 to correct" in flat(pilot))
        await fill(pilot, "title", "Look")
        await fill(pilot, "after", "soon")
        assert "▲ 'soon' is not a span of time" in flat(pilot)
        await back(pilot)
        assert "▲ 'soon' is not a span of time" in flat(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "Not saved" in flat(pilot))
        await open_row(pilot, "3")
        await fill(pilot, "after", "2 hours")
        await back(pilot)
        await pilot.press("K")
        await form(pilot)
        assert "* Look, after 2 hours" in shown(pilot)
        await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    assert titles(deep) == ["Skimmer off", "Look", "Dose"]
    assert nursery(deep) == NURSERY + COURSE.replace(
        '[[protocols.steps]]\ntitle = "Dose"',
        '[[protocols.steps]]\ntitle = "Look"\nafter = "2 hours"\n\n[[protocols.steps]]\ntitle = "Dose"',
    )


async def test_a_step_is_taken_out_with_its_comments(deep: Path) -> None:
    async with walking(deep) as pilot:
        await open_form(pilot, "nursery/protocols/course")
        await field(pilot, "steps")
        await pilot.press("x")
        await until(pilot, lambda: "press x on its line" in flat(pilot))
        await field(pilot, "1")
        await pilot.press("x")
        await save(pilot)
    assert titles(deep) == ["Dose"]
    assert "before anything else" not in nursery(deep)


async def test_a_step_in_which_nothing_was_said_is_none(deep: Path) -> None:
    async with walking(deep) as pilot:
        await open_form(pilot, "nursery/protocols/course")
        await open_row(pilot, "steps")
        await back(pilot)
        assert "as it stands in the file" in flat(pilot)
        assert isinstance(pilot.app.screen, FormScreen)
        assert pilot.app.screen.line.label.strip() == "2"


async def test_only_lists_have_rows(deep: Path) -> None:
    async with walking(deep) as pilot:
        await open_form(pilot, "nursery/protocols/course")
        await field(pilot, "name")
        await pilot.press("a")
        await until(pilot, lambda: "One more is added in a list" in flat(pilot))
        await pilot.press("J")
        await until(pilot, lambda: "Only the rows of a list change places" in flat(pilot))


@SIZES
async def test_a_channel_is_changed_and_saved_from_its_own_form(deep: Path, size: tuple[int, int]) -> None:
    """One value of one line; its comment stays."""
    async with walking(deep, size=size) as pilot:
        await open_form(pilot, "nursery/lights/lamp")
        await open_row(pilot, "1")
        await fill(pilot, "peak", "70 %")
        await pilot.press("s")
        await yes(pilot)
        assert "Blue lamp" in flat(pilot)
    assert nursery(deep) == NURSERY + COURSE.replace("64 %", "70 %")


@pytest.mark.parametrize("name", ODD_NAMES)
async def test_odd_texts_go_through_a_step_as_they_are(deep: Path, name: str) -> None:
    async with walking(deep) as pilot:
        await open_form(pilot, "nursery/protocols/course")
        await open_row(pilot, "2")
        await fill(pilot, "title", name)
        await fill(pilot, "caution", name)
        await back(pilot)
        await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    step = load_room(deep).protocol["nursery/course"].steps[1]
    assert (step.title, step.caution) == (name, name)
    written = json.dumps(name, ensure_ascii=False)
    assert nursery(deep) == NURSERY + COURSE.replace('title = "Dose"\n', f"title = {written}\ncaution = {written}\n")


async def test_what_a_task_draws_and_uses_up(deep: Path) -> None:
    """What can be drawn from, and what there is of stock, is offered."""
    async with walking(deep) as pilot:
        await open_setup(pilot)
        await pilot.press("a")
        await answer(pilot, "Add what?", "stock")
        await fill(pilot, "name", "Reef salt")
        await fill(pilot, "unit", "kg")
        await fill(pilot, "minimum", "15 kg")
        await pick(pilot, "kind", "salt")
        await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup) and "▸ Reef salt" in flat(pilot))
        await choose_row(pilot, "nursery/tasks/floss")
        await pilot.press("enter")
        await open_row(pilot, "draws")
        await pick(pilot, "from", "barrel")
        await fill(pilot, "amount", "20 L")
        await back(pilot)
        await open_row(pilot, "uses up")
        await pick(pilot, "stock", "reef")
        await fill(pilot, "amount", "2 bags")
        await back(pilot)
        assert "1 to correct" in flat(pilot)
        await pilot.press("n")
        await pilot.press("down", "enter")
        await fill(pilot, "amount", "0.7 kg")
        await back(pilot)
        await save(pilot)
    room = load_room(deep)
    assert [(draw.reservoir, draw.litres) for draw in room.tasks["nursery/floss"].draws] == [("nursery/barrel", 20.0)]
    assert [(use.by, use.stock, use.amount) for use in room.uses] == [("nursery/floss", "nursery/reef-salt", 0.7)]


async def test_a_tank_that_can_be_valved_off(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await pilot.press("a")
        await answer(pilot, "Add what?", "tank")
        await fill(pilot, "name", "Rack tank")
        await fill(pilot, "volume", "100 L")
        await pick(pilot, "stations", "racks", "that is all")
        await save(pilot)
    (tank,) = load_room(kept).system["nursery"].tanks
    assert (tank.id, tank.volume, tank.stations) == ("nursery/rack-tank", 100.0, ("racks",))


async def test_a_protocol_that_comes_with_the_program_is_changed(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await pilot.press("a")
        await answer(pilot, "Add what?", "protocol")
        await answer(pilot, "Add which protocol?", "treatment")
        await open_row(pilot, "2")
        await fill(pilot, "times", "9")
        await back(pilot)
        await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup) and "▸ A course of treatment" in flat(pilot))
    assert [step.times for step in load_room(kept).protocol["room/treatment"].steps] == [1, 9, 1]


async def test_nights_that_no_rule_expresses(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await field(pilot, "when")
        await pilot.press("enter")
        await answer(pilot, "When is it due?", "on dates")
        await answer(pilot, "On which dates?", "the full moon")
        await until(pilot, lambda: "says no dates" in flat(pilot))
        await answer(pilot, "On which dates?", "2026-12-03, 2026-12-05")
        await answer(pilot, "At what time?", "22:00")
        await form(pilot)
        assert "Thu 3 Dec 22:00" in flat(pilot)
        await save(pilot)
    assert 'on_dates = [2026-12-03, 2026-12-05]\nat = "22:00"' in nursery(kept)


async def test_a_file_changed_while_a_step_is_typed_is_not_overwritten(deep: Path) -> None:
    """What was typed into the small form stands over the file as it is now."""
    by_hand = NURSERY + COURSE.replace('name = "Course"', 'name = "Course of ours"')
    async with walking(deep) as pilot:
        await open_form(pilot, "nursery/protocols/course")
        await open_row(pilot, "2")
        await fill(pilot, "title", "Dose once")
        (deep / "systems" / "nursery.toml").write_text(by_hand, encoding="utf-8")
        await pilot.press("s")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        if "the coming two weeks" in flat(pilot):
            await pilot.press("y")
            await until(pilot, lambda: isinstance(pilot.app.screen, Question) and "changed meanwhile" in flat(pilot))
        assert nursery(deep) == by_hand
        assert "What was typed is kept." in flat(pilot)
        await pilot.press("y")
        await form(pilot)
        assert "Course of ours" in flat(pilot)
        await save(pilot)
    assert nursery(deep) == by_hand.replace('"Dose"', '"Dose once"')


async def test_leaving_the_form_asks_also_for_what_was_typed_into_a_row(deep: Path) -> None:
    async with walking(deep) as pilot:
        await open_form(pilot, "nursery/lights/lamp")
        await open_row(pilot, "2")
        await fill(pilot, "peak", "10 %")
        await back(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    assert nursery(deep) == NURSERY + COURSE
