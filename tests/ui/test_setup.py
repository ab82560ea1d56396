"""Set-up in the app: the list, forms with their checks, the effect before saving, files as they were."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.widgets import Input

from rounds.storage import changes
from rounds.storage.atomic import replace_file
from rounds.storage.room_files import load_room
from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.form import FormScreen
from rounds.ui.screens.setup import Setup
from tests.ui.app import NARROW, WIDE, flat, record, shown, until, walking
from tests.ui.conftest import NURSERY
from tests.ui.forms import ODD_NAMES, answer, choose_row, field, fill, form, nursery, open_form, open_setup, save, yes


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_the_list_stands_where_the_keeper_stands(kept: Path, size: tuple[int, int]) -> None:
    """In walking order, with kind and rule of each; Esc goes back to the walk."""
    async with walking(kept, size=size) as pilot:
        await open_setup(pilot)
        assert "▸ Sump" in flat(pilot)
        assert "Empty the skimmer cup" in shown(pilot)
        assert "again after 2 days" in shown(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: not isinstance(pilot.app.screen, Setup))


@pytest.mark.parametrize("size", [NARROW, WIDE])
async def test_a_field_is_changed_and_saved_with_its_effect(kept: Path, size: tuple[int, int]) -> None:
    """One line of the file is another; the walk shows it."""
    async with walking(kept, size=size) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await field(pilot, "when")
        await pilot.press("enter")
        await answer(pilot, "When is it due?", "again")
        await answer(pilot, "Again after how long?", "4 days")
        await answer(pilot, "At what time?", "at no set time")
        await form(pilot)
        assert "Again 4 days after the last time." in shown(pilot)
        assert "Fri 27 Nov 04:00, fine until Sat 28 Nov 04:00" in shown(pilot)
        said = await save(pilot)
        assert "Moved: Empty the skimmer cup" in said
        assert "systems/nursery.toml" in said
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
        assert "again after 4 days" in shown(pilot)
    assert nursery(kept) == NURSERY.replace(
        'title = "Empty the skimmer cup"\nagain_after = "2 days"',
        'title = "Empty the skimmer cup"\nagain_after = "4 days"',
    )


async def test_days_are_said_in_words(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await field(pilot, "when")
        await pilot.press("enter")
        await answer(pilot, "When is it due?", "on these")
        await answer(pilot, "On which days?", "Mon, often")
        await until(pilot, lambda: "says no days" in flat(pilot))
        await answer(pilot, "On which days?", "last Friday")
        await answer(pilot, "At what time?", "17:00")
        await form(pilot)
        assert "Every month on the last Fri at 17:00. Fri 27 Nov 17:00" in flat(pilot)
        await save(pilot)
    assert 'rrule = "FREQ=MONTHLY;BYDAY=-1FR"\nat = "17:00"' in nursery(kept)
    assert nursery(kept).count("again_after") == NURSERY.count("again_after") - 1


async def test_what_the_reader_refuses_stands_beside_the_field(kept: Path) -> None:
    """It is not saved, and stays typed until it is right."""
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await fill(pilot, "grace", "soon")
        assert "▲ 'soon' is not a span of time" in flat(pilot)
        assert "1 to correct" in flat(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "Not saved" in flat(pilot))
        assert nursery(kept) == NURSERY
        await fill(pilot, "grace", "12 hours")
        assert "s saves it" in flat(pilot)
        await save(pilot)
    assert 'grace = "12 hours"' in nursery(kept)


async def test_a_typed_value_of_the_wrong_sort_stays_in_the_line(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await field(pilot, "minutes")
        await pilot.press("enter")
        await answer(pilot, ": minutes", "five")
        await until(pilot, lambda: "is no whole number" in flat(pilot))
        assert pilot.app.screen.query_one(Input).value == "five"


@pytest.mark.parametrize("name", ODD_NAMES)
async def test_odd_names_go_through_a_new_task_as_they_are(kept: Path, name: str) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await pilot.press("a")
        await answer(pilot, "Add what?", "task")
        await fill(pilot, "title", name)
        await field(pilot, "when")
        await pilot.press("enter")
        await answer(pilot, "When is it due?", "again")
        await answer(pilot, "Again after how long?", "1 day")
        await answer(pilot, "At what time?", "at no set time")
        assert "Added:" in await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    added = [task for task in load_room(kept).system["nursery"].tasks if task.title == name]
    assert [(task.station, str(task.rule.span)) for task in added] == [("sump", "1 day")]  # type: ignore[union-attr]
    kept_text = nursery(kept)
    start = kept_text.index('\n[[tasks]]\nid = "' + added[0].id.partition("/")[2])
    end = kept_text.index("\n[[", start + 5)
    assert kept_text[:start] + kept_text[end:] == NURSERY


async def test_a_renamed_task_keeps_its_past(kept: Path) -> None:
    record(kept, "done", "nursery/cup", "2026-11-25T08:00")
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await fill(pilot, "id", "skimmer")
        assert "Nothing changes in the coming 14 days." in await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
        assert isinstance(pilot.app.screen, Setup)
        room = pilot.app.screen.room
        items = [item for item in room.items(room.now()) if item.task.id == "nursery/skimmer"]
        assert [item.closed_by for item in items if item.state == "done"] == ["BC"]


async def test_leaving_asks_when_something_was_changed(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
        await pilot.press("enter")
        await fill(pilot, "title", "Rinse it")
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("n")
        await form(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    assert nursery(kept) == NURSERY


async def test_a_file_changed_meanwhile_is_looked_at_again(kept: Path) -> None:
    """What was changed by hand and what was typed both stand in the file in the end."""
    path = kept / "systems" / "nursery.toml"
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await fill(pilot, "title", "Rinse it")
        path.write_text(
            NURSERY.replace('again_after = "2 days"\ntakes', 'again_after = "5 days"\ntakes'), encoding="utf-8"
        )
        await pilot.press("s")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        if "the coming two weeks" in flat(pilot):
            await pilot.press("y")
            await until(pilot, lambda: isinstance(pilot.app.screen, Question) and "changed meanwhile" in flat(pilot))
        assert "What was typed is kept." in flat(pilot)
        await pilot.press("y")
        await until(pilot, lambda: isinstance(pilot.app.screen, FormScreen))
        await form(pilot)
        assert "again after 5 days" in flat(pilot)
        assert "Rinse it" in flat(pilot)
        await save(pilot)
    assert 'title = "Rinse it"\nagain_after = "5 days"' in nursery(kept)


async def test_order_pause_and_end_from_the_list(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await choose_row(pilot, "nursery/tasks/return")
        await pilot.press("K")
        await yes(pilot)
        assert [task.id for task in load_room(kept).system["nursery"].tasks if task.station == "sump"][:2] == [
            "nursery/return", "nursery/cup",
        ]  # fmt: skip
        await pilot.press("p")
        await yes(pilot)
        assert load_room(kept).tasks["nursery/return"].paused
        await pilot.press("r")
        await yes(pilot)
        assert str(load_room(kept).tasks["nursery/return"].last_day) == "2026-11-25"


async def test_a_system_moves_on_the_route_and_is_copied(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await choose_row(pilot, "nursery//nursery")
        await pilot.press("shift+up")
        await yes(pilot)
        assert [system.id for system in load_room(kept).systems][1:3] == ["nursery", "live-food"]
        await pilot.press("c")
        await answer(pilot, "what is it called?", "Second raceway")
        await yes(pilot)
        await until(pilot, lambda: "▸ Second raceway" in shown(pilot))
    assert len(load_room(kept).system["second-raceway"].tasks) == len(load_room(kept).system["nursery"].tasks)


async def test_a_new_system_and_a_station_in_it(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await pilot.press("a")
        await answer(pilot, "Add what?", "system")
        await fill(pilot, "name", "Frag tank")
        await fill(pilot, "volume", "120 L")
        await field(pilot, "care")
        await pilot.press("enter")
        await answer(pilot, ": care: none", "frag tray")
        await answer(pilot, ": care: frag tray", "that is all")
        await fill(pilot, "isolation", "45 days")
        assert "more tasks in the same way" in await save(pilot)
        await until(pilot, lambda: isinstance(pilot.app.screen, Setup) and "▸ Frag tank" in shown(pilot))
        await pilot.press("a")
        await answer(pilot, "Add what?", "station")
        await fill(pilot, "name", "Rack")
        await save(pilot)
    room = load_room(kept)
    assert (room.system["frag-tank"].volume, [s.id for s in room.system["frag-tank"].stations if s.id]) == (
        120.0,
        ["rack"],
    )
    assert room.system["frag-tank"].isolation == 45
    assert {"frag-tank/look", "frag-tank/temperature"} <= set(room.tasks)


async def test_the_kinds_of_equipment_are_offered(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_setup(pilot)
        await pilot.press("a")
        await answer(pilot, "Add what?", "equipment")
        await field(pilot, "kind")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        await pilot.press(*"oxyg")
        await until(pilot, lambda: "oxygen meter" in flat(pilot))


async def test_a_text_over_several_lines_stays_so_until_it_is_changed(kept: Path) -> None:
    lines = 'look_for = """\nPolyps out,\ntissue up to the edge."""'
    text = NURSERY.replace('look_for = "Polyps out, tissue up to the edge, no slime."', lines)
    (kept / "systems" / "nursery.toml").write_text(text, encoding="utf-8")
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/look")
        await field(pilot, "look for")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        assert pilot.app.screen.query_one(Input).value == "Polyps out, tissue up to the edge."
        await pilot.press("enter")
        await form(pilot)
        assert "as it stands in the file" in flat(pilot)
        await fill(pilot, "look for", "Polyps out.")
        await save(pilot)
    assert nursery(kept) == text.replace(lines, 'look_for = "Polyps out."')


async def test_some_of_many_are_ticked(kept: Path) -> None:
    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/look")
        await field(pilot, "takes")
        await pilot.press("enter")
        await answer(pilot, ": takes: none", "salinity")
        await answer(pilot, ": takes: salinity", "temperature")
        await answer(pilot, ": takes: salinity, temperature", "that is all")
        await save(pilot)
    assert load_room(kept).tasks["nursery/look"].takes == ("nursery/salinity", "nursery/temperature")


async def test_a_disk_that_refuses_keeps_what_was_typed(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(path: Path, content: bytes) -> None:
        raise OSError(28, "No space left on device")

    async with walking(kept) as pilot:
        await open_form(pilot, "nursery/tasks/cup")
        await fill(pilot, "title", "Rinse it")
        monkeypatch.setattr(changes, "replace_file", full)
        await pilot.press("s")
        await yes(pilot, "(No space left on")
        assert nursery(kept) == NURSERY
        monkeypatch.setattr(changes, "replace_file", replace_file)
        await yes(pilot, "the coming two weeks")
        await yes(pilot)
    assert 'title = "Rinse it"' in nursery(kept)
