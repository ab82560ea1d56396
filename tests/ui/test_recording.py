"""What a keeper types and what is written down."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.core.items import DONE, DUE, LATER, OVERDUE, POSTPONED
from rounds.core.record import NOT_NEEDED
from rounds.core.walk import counts
from rounds.ui.screens.ask import Notice, Question
from rounds.ui.widgets.rows import ItemRow
from tests.ui.app import (
    LATER as NEXT_START,
)
from tests.ui.app import (
    NARROW,
    WIDE,
    current,
    flat,
    line,
    look,
    record,
    records,
    row_text,
    set_clock,
    shown,
    state,
    to,
    typed,
    until,
    walk,
    walking,
    when,
    write,
)


def hint(pilot: Pilot[Any]) -> str:
    """What is said below the entry line."""
    return line(pilot).query_one("#entry-hint").render().plain


async def enter(pilot: Pilot[Any], task: str, text: str) -> None:
    """Go to a task that takes values and type them."""
    await to(pilot, task)
    await pilot.press("enter")
    await write(pilot, text)


async def test_enter_records_a_task_without_values_at_once(kept: Path) -> None:
    """One key, one record: who, when, what, on which device."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/return")
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/return") != OVERDUE)
        (entry,) = records(kept)
    wanted = {"kind": "done", "task": "nursery/return", "system": "nursery", "station": "sump", "by": "TV"}
    assert {key: entry[key] for key in wanted} == wanted
    assert entry["device"] == "laptop"
    assert when(entry).startswith("2026-11-25T09:3")
    assert "values" not in entry


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_enter_opens_the_line_right_under_the_row_of_a_task_with_values(
    kept: Path, size: tuple[int, int]
) -> None:
    """The line stands below its row, names what it takes and the usual band, and has the keys."""
    async with walking(kept, size=size) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter")
        await pilot.pause()
        row = next(row for row in walk(pilot).query(ItemRow) if row.has_class("-current"))
        children = list(row.parent.children)
        assert children[children.index(row) + 1] is line(pilot)
        assert pilot.app.focused in line(pilot).walk_children()
        assert records(kept) == []
        painted = shown(pilot).splitlines()
        titled = next(number for number, text in enumerate(painted) if "▸ ○ Test alkalinity" in text)
        assert "alkalinity (dKH), then a note:" in " ".join(painted[titled + 1 : titled + 4])
        assert "usual 7.5 to 8.6 dKH" in flat(pilot)


@pytest.mark.parametrize("task", ["nursery/cup", "nursery/barrel-level"])
async def test_the_line_is_painted_whole_below_the_last_row_too(kept: Path, task: str) -> None:
    """At 80 × 24, under the last row of a station, question, line and hint are on screen."""
    async with walking(kept) as pilot:
        await to(pilot, task)
        await pilot.press("enter")
        await until(pilot, lambda: line(pilot).region.height >= 3)
        for part in line(pilot).children:
            assert walk(pilot).query_one("#rows").region.contains_region(part.region), shown(pilot)


ENTERED = {
    "a value": ("nursery/alkalinity", "8.1", [("8.1", 8.1 / 2.8039, None)], ""),
    "a comma": ("nursery/alkalinity", "8,1 cloudy vial", [("8,1", 8.1 / 2.8039, None)], "cloudy vial"),
    "a unit": ("nursery/alkalinity", "2.9 meq/L", [("2.9 meq/L", 2.9, None)], ""),
    "a unit close up": ("nursery/probe", "77.4F 35", [("77.4F", (77.4 - 32) / 1.8, None), ("35", 35.0, None)], ""),
    "one left out": ("nursery/probe", "- 35.2", [("35.2", 35.2, None)], ""),
    "one missing": ("nursery/probe", "25.1 swollen cable", [("25.1", 25.1, None)], "swollen cable"),
    "none at all": ("nursery/probe", "", [], ""),
    "only a note": ("nursery/probe", "reference is used up", [], "reference is used up"),
    "below the kit": ("nursery/phosphate", "<0.02", [("<0.02", 0.02, "<")], ""),
    "above the kit": ("nursery/phosphate", ">2.5 ppm", [(">2.5 ppm", 2.5, ">")], ""),
    "per cent": ("nursery/barrel-level", "70", [("70", 56.0, None)], ""),
    "litres": ("nursery/barrel-level", "50 L", [("50 L", 50.0, None)], ""),
    "a number no value": ("nursery/cup", "- 2 dead under rack", [], "2 dead under rack"),
}


async def test_what_is_typed_reaches_the_record(kept: Path) -> None:
    """Value as typed, its canonical number, its bound and the note stand in the sheet, for all of the entry syntax."""
    async with walking(kept) as pilot:
        for name, (task, text, values, note) in ENTERED.items():
            before = len(records(kept))
            await to(pilot, task)
            await pilot.press("enter")
            if text:
                await write(pilot, text)
            else:
                await pilot.press("enter")
            await until(pilot, lambda before=before: len(records(kept)) == before + 1)
            entry = records(kept)[-1]
            found = [(v["entered"], pytest.approx(v["value"]), v.get("bound")) for v in entry.get("values", [])]
            assert values == found, name
            assert entry.get("note", "") == note, name
            await pilot.press("u")
            await until(pilot, lambda before=before: len(records(kept)) == before + 2)


async def test_a_specific_gravity_is_kept_as_salinity(kept: Path) -> None:
    """With its reference named, a specific gravity is converted by the seawater equations."""
    async with walking(kept) as pilot:
        await enter(pilot, "nursery/probe", "25 1.0264 SG 25/25")
        await until(pilot, lambda: records(kept))
    salinity = records(kept)[0]["values"][1]
    assert salinity["entered"] == "1.0264 SG 25/25"
    assert salinity["unit"] == "PSU"
    assert 34.5 < salinity["value"] < 35.5


async def test_what_is_understood_is_shown_while_typing(kept: Path) -> None:
    """Value, note and band are said below the line before Enter."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter", *"7.2 pale")
        await until(pilot, lambda: "note: pale" in hint(pilot))
        assert "below the usual 7.5 to 8.6 dKH" in hint(pilot)
        assert records(kept) == []


REFUSED = {
    "negative": ("nursery/alkalinity", "-3 dKH typo", "cannot be right"),
    "boiling": ("nursery/probe", "95 35", "cannot be right"),
    "a unit of something else": ("nursery/alkalinity", "8.1 PSU", "is no unit of alkalinity"),
    "no value": ("nursery/alkalinity", "cloudy", "needs a value"),
    "nothing": ("nursery/alkalinity", "", "needs a value"),
    "conductivity without temperature": ("nursery/probe", "- 53 mS/cm", "needs a temperature"),
}


async def test_a_value_that_cannot_be_is_refused_and_the_line_kept(folder: Path) -> None:
    """One sentence says why; nothing is recorded, what was typed stays and can be changed."""
    async with walking(folder) as pilot:
        for name, (task, text, why) in REFUSED.items():
            await to(pilot, task)
            await pilot.press("enter", "end", "ctrl+u")
            if text:
                await write(pilot, text)
            else:
                await pilot.press("enter")
            await until(pilot, lambda why=why: why in hint(pilot))
            assert records(folder) == [], name
            assert typed(pilot) == text, name
            assert line(pilot).display, name
            assert pilot.app.focused in line(pilot).walk_children(), name
            await pilot.press("escape")
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter", "end", "ctrl+u")
        await write(pilot, "8.1")
        await until(pilot, lambda: records(folder))


@pytest.mark.parametrize(
    ("task", "text", "asked", "flags"),
    [
        ("nursery/alkalinity", "81", "unusual for alkalinity", ["implausible"]),
        ("nursery/alkalinity", "8.1 8.3", "a repeat of alkalinity", [None, None]),
    ],
    ids=["implausible", "repeat"],
)
async def test_an_odd_value_is_asked_and_only_y_records(
    kept: Path, task: str, text: str, asked: str, flags: list[str | None]
) -> None:
    """Enter pressed twice by mistake, n and Escape go back to the line; y keeps the value with its flag."""
    async with walking(kept) as pilot:
        await enter(pilot, task, text)
        for answer in ("enter", "n", "escape"):
            await until(pilot, lambda: isinstance(pilot.app.screen, Question))
            assert asked in flat(pilot)
            await pilot.press(answer)
            await until(pilot, lambda: not isinstance(pilot.app.screen, Question))
            assert records(kept) == []
            assert typed(pilot) == text
            await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: records(kept))
        assert [value.get("flag") for value in records(kept)[0]["values"]] == flags


async def test_a_task_done_twice_is_asked_and_only_y_records(kept: Path) -> None:
    """A second feed says when the first was and by whom."""
    async with walking(kept) as pilot:
        record(kept, "done", "nursery/feed", "2026-11-25T09:18")
        await look(pilot)
        await to(pilot, "nursery/look")
        await pilot.press("up")
        assert current(pilot) == "nursery/feed"
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert "was done 12 minutes ago by BC; again?" in flat(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: not isinstance(pilot.app.screen, Question))
        assert records(kept) == []
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: records(kept))
        assert len(records(kept)) == 1


async def test_a_value_outside_its_band_is_shown_with_band_and_last_values_and_offers_a_concern(kept: Path) -> None:
    """The o key opens a concern under the row with the sentence in it; Enter keeps it."""
    async with walking(kept) as pilot:
        await enter(pilot, "nursery/alkalinity", "7.2")
        await until(pilot, lambda: isinstance(pilot.app.screen, Notice))
        assert "7.2 dKH is below the usual 7.5 to 8.6 dKH." in flat(pilot)
        assert "last 7.2 dKH" in flat(pilot)
        assert "8.0 dKH Mon" in flat(pilot) or "8.0 dKH Mon 23 Nov" in flat(pilot)
        assert "Stop the doser" not in flat(pilot)
        await pilot.press("o")
        await until(pilot, lambda: line(pilot).display)
        assert "below the usual" in typed(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 2)
    assert [entry["kind"] for entry in records(kept)] == ["reading", "concern"]
    assert records(kept)[1]["station"] == "racks"


async def test_a_value_beyond_an_act_now_limit_shows_its_steps(kept: Path) -> None:
    """What to do stands on screen; Enter goes on to the next thing to do."""
    async with walking(kept) as pilot:
        await enter(pilot, "nursery/alkalinity", "10.6")
        await until(pilot, lambda: isinstance(pilot.app.screen, Notice))
        assert "Act now" in flat(pilot)
        assert "above the act-now limit of 10.0 dKH" in flat(pilot)
        assert "• Test again with a fresh vial." in flat(pilot)
        assert "• Stop the doser at its plug." in flat(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: not isinstance(pilot.app.screen, Notice))
        assert current(pilot) != "nursery/alkalinity"


async def test_the_pointer_goes_on_at_the_station_and_then_to_the_next(kept: Path) -> None:
    """After a record the next thing to do here is current; after the last, the first of the next station."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/cup")
        await pilot.press("down")
        assert current(pilot) == "nursery/return"
        await pilot.press("enter")
        await until(pilot, lambda: current(pilot) == "nursery/cup")
        await pilot.press("enter")
        await write(pilot, "30")
        await until(pilot, lambda: current(pilot) == "nursery/barrel-level")
        assert "Top-off barrel" in flat(pilot)


@pytest.mark.parametrize(
    ("key", "kind", "question"),
    [("n", "not needed", "Why is it not needed?"), ("c", "could not", "Why could it not be done?")],
)
async def test_a_reason_is_typed(kept: Path, key: str, kind: str, question: str) -> None:
    """It asks why; the reason stands in the record."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press(key)
        await until(pilot, lambda: question in flat(pilot))
        await write(pilot, "lamp is out")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["kind"] == kind
        assert records(kept)[0]["reason"] == "lamp is out"
        assert state(pilot, "nursery/look") == (NOT_NEEDED if kind == "not needed" else DUE)
        if kind == "could not":
            assert "could not; fine until 13:00" in row_text(pilot, "Look over the colonies")


@pytest.mark.parametrize("key", ["n", "c"])
async def test_a_reason_used_lately_is_chosen_with_the_arrow_keys(kept: Path, key: str) -> None:
    """Up goes through the reasons, those of this task first; down goes back to an empty line."""
    kind = {"n": "not needed", "c": "could not"}[key]
    record(kept, kind, "quarantine/siphon", "2026-11-21T09:00", reason="net is wet")
    record(kept, kind, "nursery/look", "2026-11-20T09:00", reason="lamp is out")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press(key)
        await until(pilot, lambda: "lamp is out" in hint(pilot))
        await pilot.press("up")
        assert typed(pilot) == "lamp is out"
        await pilot.press("up")
        assert typed(pilot) == "net is wet"
        await pilot.press("down", "down")
        assert typed(pilot) == ""
        await pilot.press("up", "enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["reason"] == "lamp is out"


@pytest.mark.parametrize("key", ["n", "c"])
async def test_a_reason_cannot_be_empty(kept: Path, key: str) -> None:
    """Enter on an empty line records nothing and says what is wanted."""
    async with walking(kept) as pilot:
        await pilot.press(key, "enter")
        await until(pilot, lambda: "say why" in hint(pilot))
        assert records(kept) == []
        assert line(pilot).display


async def test_postponing_takes_a_time_or_a_span(kept: Path) -> None:
    """The record says until when; the row too; the latest postponement counts."""
    async with walking(kept) as pilot:
        for number, (text, until_when, row) in enumerate(
            (
                ("2 hours", "2026-11-25T11:3", "11:3"),
                ("10:45", "2026-11-25T10:45", "10:45"),
                ("tomorrow", "2026-11-26T04:00", "tomorrow 04:00"),
            ),
            1,
        ):
            await to(pilot, "nursery/look")
            set_clock(pilot, f"2026-11-25T09:3{number}")
            await pilot.press("p")
            await write(pilot, text)
            await until(pilot, lambda number=number: len(records(kept)) == number)
            assert records(kept)[-1]["kind"] == "postponed"
            assert when(records(kept)[-1], "until").startswith(until_when)
            assert state(pilot, "nursery/look") == POSTPONED
            assert f"postponed to {row}" in row_text(pilot, "Look over the colonies")


async def test_postponing_offers_times_with_the_arrow_keys(kept: Path) -> None:
    """Spans and the shifts still to come."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("p", "up")
        assert typed(pilot) == "2 hours"
        await pilot.press("up", "up")
        assert typed(pilot) == "14:00"


async def test_postponing_to_a_time_that_has_passed_is_refused(kept: Path) -> None:
    """The line stays with what was typed."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("p")
        await write(pilot, "08:00")
        await until(pilot, lambda: "not later than" in hint(pilot))
        assert typed(pilot) == "08:00"
        assert records(kept) == []


async def test_a_postponed_task_that_is_late_stays_late(folder: Path) -> None:
    """Postponing never resets lateness."""
    async with walking(folder) as pilot:
        await to(pilot, "nursery/look")
        before = counts(walk(pilot).position.items)
        await pilot.press("p")
        await write(pilot, "2 hours")
        await until(pilot, lambda: records(folder))
        assert counts(walk(pilot).position.items) == before
        assert state(pilot, "nursery/look") == OVERDUE


async def test_a_note_is_kept_with_its_condition_words_and_leaves_the_task_open(kept: Path) -> None:
    """An observation at the station, without a task; the pointer stays."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("o")
        await until(pilot, lambda: "Observation at this station:" in flat(pilot))
        await write(pilot, "two plugs pale, one Bleached at the rim")
        await until(pilot, lambda: records(kept))
        (entry,) = records(kept)
        assert (entry["kind"], entry["system"], entry["station"]) == ("note", "nursery", "racks")
        assert entry["note"] == "two plugs pale, one Bleached at the rim"
        assert entry["words"] == ["pale", "bleached"]
        assert current(pilot) == "nursery/look"
        assert state(pilot, "nursery/look") == DUE


async def test_done_with_a_note(kept: Path) -> None:
    """The e key opens the line on a task without values; all of it is the note."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("e")
        await write(pilot, "2 dead under rack")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["kind"] == "done"
        assert records(kept)[0]["note"] == "2 dead under rack"
        assert "values" not in records(kept)[0]


async def test_undo_says_what_was_undone_and_the_item_is_due_again(kept: Path) -> None:
    """The record stays in the sheet and a strike beside it; the pointer is on the item again."""
    async with walking(kept) as pilot:
        before = counts(walk(pilot).position.items)
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: state(pilot, "nursery/look") == DONE)
        await pilot.press("u")
        await until(pilot, lambda: state(pilot, "nursery/look") == DUE)
        assert "Undone: Look over the colonies, done, 09:3" in flat(pilot)
        assert "by TV." in flat(pilot)
        assert current(pilot) == "nursery/look"
        assert counts(walk(pilot).position.items) == before
    done, strike = records(kept)
    assert (done["kind"], strike["kind"], strike["ref"]) == ("done", "strike", done["id"])


async def test_undo_goes_back_one_record_at_a_time_and_then_says_there_is_nothing(kept: Path) -> None:
    """Two records, two strikes, then a sentence; the records of other devices are left alone."""
    record(kept, "done", "quarantine/inspect", "2026-11-25T08:00")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/feed")
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 1)
        await pilot.press("enter")
        await until(pilot, lambda: len(records(kept)) == 2)
        await pilot.press("u")
        await until(pilot, lambda: len(records(kept)) == 3)
        assert "Undone: Look over the colonies" in flat(pilot)
        await pilot.press("u")
        await until(pilot, lambda: len(records(kept)) == 4)
        assert "Undone: Target-feed the colonies" in flat(pilot)
        await pilot.press("u")
        await pilot.pause()
        assert "Nothing of this round was recorded on this device." in flat(pilot)
        assert len(records(kept)) == 4
        assert state(pilot, "quarantine/inspect") == DONE


async def test_done_at_another_time_by_another_keeper_is_a_late_entry(kept: Path) -> None:
    """Time, then who, then values; history says that it was written late."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/cup")
        await pilot.press("t")
        await until(pilot, lambda: "When was it done?" in flat(pilot))
        await write(pilot, "08:10")
        await until(pilot, lambda: "Who did it?" in flat(pilot))
        await write(pilot, "bc")
        await until(pilot, lambda: "at 08:10 by BC:" in flat(pilot))
        await write(pilot, "35 wet")
        await until(pilot, lambda: records(kept))
        (entry,) = records(kept)
        assert (when(entry), entry["by"], entry["note"]) == ("2026-11-25T08:10", "BC", "wet")
        assert when(entry, "recorded").startswith("2026-11-25T09:3")
        assert "done 08:10 BC" in row_text(pilot, "Empty the skimmer cup")
        await to_any(pilot, "nursery/cup")
        await pilot.press("h")
        await until(pilot, lambda: "History: Empty the skimmer cup" in flat(pilot))
        assert "BC done: Empty the skimmer cup; skimmate 35 mL; wet (late entry, written Wed 25 Nov 09:3" in flat(pilot)


async def to_any(pilot: Pilot[Any], task: str) -> None:
    """The pointer on a task, closed or not, by the arrow keys."""
    await pilot.press("up", "up", "up", "up", "up", "up", "up", "up", "up", "up")
    for _ in range(30):
        if (item := walk(pilot).current) is not None and item.task.id == task:
            return
        await pilot.press("down")
    raise AssertionError(f"{task} is not reached")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("30 minutes ago", "2026-11-25T09:0"),
        ("yesterday 18:00", "2026-11-24T18:00"),
        ("2026-11-25T08:45", "2026-11-25T08:45"),
    ],
)
async def test_another_time_is_said_in_the_usual_ways(kept: Path, text: str, wanted: str) -> None:
    """An empty answer to who is the keeper of this device."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/return")
        await pilot.press("t")
        await write(pilot, text)
        await pilot.press("enter", "enter")
        await until(pilot, lambda: records(kept))
        assert when(records(kept)[0]).startswith(wanted)
        assert records(kept)[0]["by"] == "TV"


async def test_another_time_that_cannot_be_is_refused(kept: Path) -> None:
    """The question stays open with what was typed."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/return")
        await pilot.press("t", "enter")
        await until(pilot, lambda: "is no time" in hint(pilot))
        await write(pilot, "11:30 soon")
        await until(pilot, lambda: "'11:30 soon' is no time" in hint(pilot))
        assert records(kept) == []


async def test_a_time_in_the_future_is_asked_once(kept: Path) -> None:
    """Only y records it; until then it counts for nothing."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/return")
        await pilot.press("t")
        await write(pilot, "11:30")
        await pilot.press("enter", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert "11:30 lies in the future" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: not isinstance(pilot.app.screen, Question))
        assert records(kept) == []
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: records(kept))
        assert when(records(kept)[0]).startswith("2026-11-25T11:30")
        still = [
            item.state for stop in walk(pilot).position.stops for item in stop.items if item.task.id == "nursery/return"
        ]
        assert still == ["overdue"]


async def test_a_keeper_nobody_knows_is_refused(kept: Path) -> None:
    """Who did it has to be a keeper of the room."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/return")
        await pilot.press("t")
        await write(pilot, "08:10")
        await write(pilot, "ZZ")
        await until(pilot, lambda: "is no keeper of this room" in hint(pilot))
        assert typed(pilot) == "ZZ"
        assert records(kept) == []


async def test_escape_keeps_what_was_typed_for_its_row(kept: Path) -> None:
    """Coming back to the row later, the text stands there; another row has a line of its own."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.press("enter")
        await write(pilot, "8.1 cloudy", enter=False)
        await pilot.press("escape")
        assert not line(pilot).display
        await pilot.press("up", "enter")
        assert typed(pilot) == ""
        await pilot.press("escape", "down", "enter")
        assert typed(pilot) == "8.1 cloudy"
        assert records(kept) == []


async def test_letters_belong_to_the_line_while_it_is_open(kept: Path) -> None:
    """q, u and n are text there; F1 still helps and the line is there again afterwards."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("o", *"quench u n")
        assert typed(pilot) == "quench u n"
        await pilot.press("f1")
        await until(pilot, lambda: "Keys" in flat(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert typed(pilot) == "quench u n"
        assert pilot.app.focused in line(pilot).walk_children()
        assert records(kept) == []


async def test_history_shows_what_was_struck_as_struck(kept: Path) -> None:
    """Nothing is erased: the struck record stands there with who struck it."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        await pilot.press("u")
        await until(pilot, lambda: state(pilot, "nursery/look") == DUE)
        await pilot.press("h")
        await until(pilot, lambda: "History: Look over the colonies" in flat(pilot))
        assert "STRUCK by TV (undone): TV done: Look over the colonies" in flat(pilot)
        assert "BC done: Look over the colonies; wet foam" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))


async def test_station_history_shows_the_whole_station(kept: Path) -> None:
    """H shows readings, work and notes of the station, and nothing of another."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("o")
        await write(pilot, "slime on two")
        await until(pilot, lambda: records(kept))
        await pilot.press("H")
        await until(pilot, lambda: "History: Nursery raceway, Coral racks" in flat(pilot))
        assert "slime on two" in flat(pilot)
        assert "Test alkalinity; 8.0 dKH" in flat(pilot)
        assert "skimmer" not in flat(pilot)


async def test_history_of_a_task_never_done_says_so(folder: Path) -> None:
    """An empty page says that it is empty."""
    async with walking(folder) as pilot:
        await pilot.press("h")
        await until(pilot, lambda: "Nothing is recorded yet." in flat(pilot))


async def test_the_record_has_the_time_of_the_key_not_of_the_last_look(kept: Path) -> None:
    """The clock is read when Enter is pressed."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        set_clock(pilot, "2026-11-25T09:41")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert when(records(kept)[0]) == "2026-11-25T09:41"


async def test_an_early_occurrence_can_be_done_before_its_time(kept: Path) -> None:
    """What is due later today is closed by Enter and stays closed when its time comes."""
    async with walking(kept) as pilot:
        assert state(pilot, "nursery/floss") == LATER
        await to(pilot, "nursery/floss")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        set_clock(pilot, "2026-11-25T12:00")
        await look(pilot)
        items = [item for item in walk(pilot).position.items if item.task.id == "nursery/floss" and item.in_round]
        assert [item.state for item in items] == [DONE]


async def test_two_keepers_records_come_together_after_a_restart(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What another device wrote and what this one wrote are both there."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
    record(kept, "done", "nursery/feed", "2026-11-25T09:40")
    monkeypatch.setenv("ROUNDS_NOW", NEXT_START)
    async with walking(kept) as pilot:
        assert state(pilot, "nursery/look") == DONE
        assert state(pilot, "nursery/feed") == DONE


async def test_lines_that_are_pasted_are_all_kept(kept: Path) -> None:
    """In the line of a row and in a question, whatever stood there before."""
    async with walking(kept) as pilot:
        await pilot.press("o", *"seen ")
        await paste(pilot, "two tips pale\r\n\nall others open\n")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["note"] == "seen two tips pale all others open"
        await pilot.press("C")
        await until(pilot, lambda: "what is seen?" in shown(pilot))
        await paste(pilot, "pale\nslimy")
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == "pale slimy"


async def test_pasting_nothing_takes_nothing_away(kept: Path) -> None:
    """Not what is marked either."""
    async with walking(kept) as pilot:
        await pilot.press("o", *"seen", "shift+home")
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.selected_text == "seen"
        pilot.app.focused.post_message(events.Paste("\n"))
        await pilot.pause()
        assert pilot.app.focused.value == "seen"


async def test_signs_of_several_characters_are_kept_as_they_are_typed(kept: Path) -> None:
    """A terminal sends each character as a key of its own, the joiner between them too."""
    keeper, heart = "👩\u200d🔬", "❤\ufe0f"
    async with walking(kept) as pilot:
        await pilot.press("o")
        await type_in(pilot, f"{keeper}{heart} sn")
        await pilot.press("left")
        await type_in(pilot, "\u200dee")
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["note"] == f"{keeper}{heart} s\u200deen"
        await pilot.press("C")
        await until(pilot, lambda: "what is seen?" in shown(pilot))
        await type_in(pilot, keeper)
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == keeper


async def type_in(pilot: Pilot[Any], text: str) -> None:
    """As a terminal sends it."""
    focused = pilot.app.focused
    assert isinstance(focused, Input)
    for character in text:
        focused.post_message(events.Key("typed", character))
    await pilot.pause()


async def paste(pilot: Pilot[Any], text: str) -> None:
    """As a terminal does, of what it was given."""
    focused = pilot.app.focused
    assert isinstance(focused, Input)
    before = focused.value
    focused.post_message(events.Paste(text))
    await until(pilot, lambda: focused.value != before)
