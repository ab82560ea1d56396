"""What stands here, in the app: added, moved, split, combined, counted and closed, with its isolation."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.batches import Batches
from rounds.ui.screens.history import HistoryPage
from tests.ui.app import NARROW, WIDE, advance, answer, flat, look, records, shown, to, until, walk, walking, write
from tests.ui.conftest import QUARANTINE


@pytest.fixture
def apart(kept: Path) -> Path:
    """The small room, its quarantine with an isolation."""
    text = QUARANTINE.replace('zone = "D"', 'zone = "D"\nvolume = "300 L"\nisolation = "45 days"')
    (kept / "systems" / "quarantine.toml").write_text(text, encoding="utf-8")
    return kept


async def stand_at(pilot: Pilot[int], task: str) -> None:
    """Open what stands at the station of a task."""
    await to(pilot, task)
    await pilot.press("B")
    await until(pilot, lambda: isinstance(pilot.app.screen, Batches))


async def add(pilot: Pilot[int], label: str, origin: str = "no more to say", arrives: str = "") -> None:
    before = len(standing(pilot))
    await pilot.press("a")
    await answer(pilot, "What comes to", label)
    await answer(pilot, "From where", origin)
    if arrives:
        await answer(pilot, "Does it arrive now?", arrives)
    await until(pilot, lambda: isinstance(pilot.app.screen, Batches) and len(standing(pilot)) == before + 1)


def standing(pilot: Pilot[int]) -> list[tuple[int, str]]:
    """How many of what, as the screen lists it."""
    screen = next(each for each in pilot.app.screen_stack if isinstance(each, Batches))
    return [(row.batch.count, row.batch.what) for row in screen._rows]


def account(pilot: Pilot[int]) -> str:
    """What is told of the chosen batch."""
    screen = next(each for each in pilot.app.screen_stack if isinstance(each, Batches))
    return screen.told().plain


def kinds(folder: Path) -> list[str]:
    return [entry["kind"] for entry in records(folder)]


async def test_two_lines_add_a_batch(apart: Path) -> None:
    """How many of what, and from where with what it needs; the walk names it at its station."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        assert "Nursery raceway, Coral racks nothing stands here" in flat(pilot)
        await add(pilot, "24 Acropora frags", "another nursery, low light")
        assert "Nursery raceway, Coral racks 24 animals in 1 batch" in flat(pilot)
        assert "Needs low light" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: "Stands here 24 Acropora frags" in flat(pilot))
    (batch,) = records(apart)
    assert (batch["kind"], batch["note"], batch["reason"], batch["words"]) == (
        "batch", "Acropora frags", "another nursery", ["low light"],
    )  # fmt: skip


async def test_what_is_no_number_is_said_and_stays_typed(apart: Path) -> None:
    """The sentence stands above the line with what was typed."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await pilot.press("a")
        await answer(pilot, "What comes to", "some frags")
        await until(pilot, lambda: "'some' is no number of animals" in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == "some frags"


async def test_an_arrival_in_isolation_calls_its_protocol(apart: Path) -> None:
    """In one step with the batch, unless it stands there already; its steps are rows of the round."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 Acropora frags", arrives="it arrives now")
        assert kinds(apart) == ["batch", "protocol"]
        assert "isolation until Sat 9 Jan 2027, 45 more days (45 days, from the last arrival, 09:30)" in flat(pilot)
        await add(pilot, "2 cleaner fish", arrives="stands here already")
        assert kinds(apart) == ["batch", "protocol", "batch"]
        assert "isolation until Tue 9 Feb 2027, 76 more days (76 days, for fish were in it" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: "Match the temperature" in shown(pilot))
        assert "Apart isolation until Tue 9 Feb 2027" in flat(pilot)


async def test_a_part_leaves_before_its_day_only_with_a_reason_and_a_yes(apart: Path) -> None:
    """And no animal is lost by it."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 frags", arrives="stands here already")
        await pilot.press("m")
        await answer(pilot, "Where to?", "Coral racks")
        await answer(pilot, "How many of 24 frags?", "4")
        await answer(pilot, "say why it leaves before", "the heater failed")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert "Does it leave before?" in flat(pilot)
        await pilot.press("y")
        await until(pilot, lambda: standing(pilot) == [(20, "frags")])
        await pilot.press("tab")
        await until(pilot, lambda: sorted(standing(pilot)) == [(4, "frags"), (20, "frags")])
        assert "The whole room 24 animals in 2 batches" in flat(pilot)
    assert [(entry["kind"], entry.get("reason")) for entry in records(apart)][1:] == [("batch", "the heater failed")]


async def test_a_batch_is_split_moved_counted_and_combined(apart: Path) -> None:
    """Within the room, from its row."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "24 frags")
        await pilot.press("s")
        await answer(pilot, "How many of 24 frags?", "10")
        await answer(pilot, "Where do they stand then?", "Coral racks")
        await until(pilot, lambda: standing(pilot) == [(14, "frags"), (10, "frags")])
        await pilot.press("enter")
        await answer(pilot, "How many, how large?", "13 31 mm")
        await until(pilot, lambda: standing(pilot) == [(13, "frags"), (10, "frags")])
        assert "Fares 93% survival; 1 fewer counted" in flat(pilot)
        await pilot.press("c")
        await answer(pilot, "With which?", "10 frags")
        await until(pilot, lambda: standing(pilot) == [(23, "frags")])
        await pilot.press("m")
        await answer(pilot, "Where to?", "Sump")
        await answer(pilot, "How many of 23 frags?", "all")
        await until(pilot, lambda: standing(pilot) == [])
    assert kinds(apart) == ["batch", "batch", "batch counted", "batch closed", "batch moved"]


async def test_a_death_offers_its_protocol(apart: Path) -> None:
    """One of them; on yes it is called for the station."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "24 frags")
        await pilot.press("x")
        await answer(pilot, "How?", "died")
        await answer(pilot, "How many of 24 frags?", "1")
        await answer(pilot, "Died: why?", "stung by its neighbour")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question) and "A dead animal" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: kinds(apart) == ["batch", "batch closed", "protocol"])
        await until(pilot, lambda: standing(pilot) == [(23, "frags")])
    call = records(apart)[-1]
    assert (call["task"], call["station"], call["note"]) == ("room/dead-animal", "racks", "frags")


@pytest.mark.parametrize("way", ["died", "missing"])
async def test_what_is_lost_is_closed_only_with_a_why(apart: Path, way: str) -> None:
    """Nothing is offered in its place, and a blank line is no answer."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "24 frags")
        await pilot.press("x")
        await answer(pilot, "How?", way)
        await answer(pilot, "How many of 24 frags?", "1")
        await until(pilot, lambda: f"{way.capitalize()}: why?" in flat(pilot))
        assert "no more to say" not in flat(pilot)
        await pilot.press("enter")
        await write(pilot, " ")
        await until(pilot, lambda: f"{way.capitalize()}: why?" in flat(pilot))
        assert kinds(apart) == ["batch"]
        await answer(pilot, f"{way.capitalize()}: why?", "fell behind the rack")
        await until(pilot, lambda: kinds(apart) == ["batch", "batch closed"])
    assert records(apart)[-1]["reason"] == "fell behind the rack"


@pytest.mark.parametrize(("number", "said"), [("24", "split off fewer, or move the batch"), ("30", "split off fewer")])
async def test_more_than_there_is_is_refused_at_the_number(apart: Path, number: str, said: str) -> None:
    """Before it is asked where they stand then, with what was typed."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "24 frags")
        await pilot.press("s")
        await answer(pilot, "How many of 24 frags?", number)
        await until(pilot, lambda: f"there are only 24 of it; {said}" in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == number


async def test_a_move_or_a_loss_of_more_than_there_is_is_refused_at_the_number(apart: Path) -> None:
    """Of a move before its reason is asked."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 frags", arrives="stands here already")
        for key, asked, answered, said in (
            ("m", "Where to?", "Coral racks", "move fewer, or all"),
            ("x", "How?", "died", "write how many of them died"),
        ):
            await pilot.press(key)
            await answer(pilot, asked, answered)
            await answer(pilot, "How many of 24 frags?", "25")
            await until(pilot, lambda said=said: f"there are only 24 of it; {said}" in flat(pilot))  # type: ignore[misc]
            assert isinstance(pilot.app.focused, Input)
            assert pilot.app.focused.value == "25"
            await pilot.press("escape")
            await until(pilot, lambda: isinstance(pilot.app.screen, Batches))
    assert kinds(apart) == ["batch"]


async def test_crowded_pests_offer_a_task_too(apart: Path) -> None:
    """What was found is a note about the batch like any other."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 frags", arrives="stands here already")
        await pilot.press("p")
        await answer(pilot, "What was found?", "white specks where they stand crowded")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question) and "Crowded or stung" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: kinds(apart) == ["batch", "note", "concern"])


async def test_crowded_offers_a_task(apart: Path) -> None:
    """A concern that comes due tomorrow; what was seen stands in the account."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "24 frags")
        await pilot.press("o")
        await answer(pilot, "What is seen?", "crowded at the edge")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: kinds(apart) == ["batch", "note", "concern"])
        await until(pilot, lambda: "crowded at the edge" in account(pilot))
    concern = records(apart)[-1]
    assert concern["note"] == "Move or space 24 frags: crowded at the edge"
    assert concern["until"].startswith("2026-11-26T09:30")


async def test_pests_begin_the_isolation_anew(apart: Path) -> None:
    """The head says from when."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 frags", arrives="stands here already")
        await pilot.press("p")
        await answer(pilot, "What was found?", "white specks")
        await until(pilot, lambda: "from the last find, 09:30" in flat(pilot))


async def test_released_larvae_name_where(apart: Path) -> None:
    """And nothing arrives."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await pilot.press("a")
        await answer(pilot, "What comes to", "4000 larvae")
        await answer(pilot, "From where", "larvae that colonies released")
        await answer(pilot, "Where did colonies release them?", "Coral racks")
        await until(pilot, lambda: standing(pilot) == [(4000, "larvae")])
    assert [entry["kind"] for entry in records(apart)] == ["batch"]


async def test_nothing_is_done_with_nothing(apart: Path) -> None:
    """A key for a batch says that there is none; its history is that of the station."""
    async with walking(apart, size=NARROW) as pilot:
        await stand_at(pilot, "nursery/look")
        await pilot.press("m")
        await until(pilot, lambda: "Nothing stands here yet; a adds a batch." in flat(pilot))
        await pilot.press("h")
        await until(pilot, lambda: isinstance(pilot.app.screen, HistoryPage) and "wet foam" in shown(pilot))


async def test_a_batch_alone_cannot_be_combined(apart: Path) -> None:
    """It is said, and nothing is asked."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "24 frags")
        await pilot.press("c")
        await until(pilot, lambda: "there is no other batch to combine it with" in flat(pilot))
        assert not isinstance(pilot.app.screen, Choice)


async def test_hostile_texts_are_shown_as_typed(apart: Path) -> None:
    """Brackets are no markup in the list, the account, the questions and the walk."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "nursery/look")
        await add(pilot, "3 [bold]frags[/sump]", "[/] shop")
        assert "[bold]frags[/sump]" in shown(pilot)
        assert "From [/] shop" in flat(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "How many of 3 [bold]frags[/sump]?" in flat(pilot))
        await write(pilot, "1")
        await answer(pilot, "Where do they stand then?", "Sump")
        await until(pilot, lambda: standing(pilot) == [(2, "[bold]frags[/sump]")])
        await pilot.press("escape")
        await until(
            pilot, lambda: pilot.app.screen is walk(pilot) and "Stands here 2 [bold]frags[/sump]" in flat(pilot)
        )


async def test_moving_out_comes_due_and_enter_moves(apart: Path) -> None:
    """On the day the isolation ends; no reason is asked for, and the row is gone with the batch."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 frags", arrives="stands here already")
        await pilot.press("escape")
        advance(pilot, timedelta(days=45))
        await look(pilot)
        release = f"quarantine/release-{records(apart)[0]['id'].replace('-', '')[-12:]}"
        await to(pilot, release)
        assert "Isolation is over: move 24" in shown(pilot)
        await pilot.press("enter")
        await answer(pilot, "Where to?", "Coral racks")
        await answer(pilot, "How many of 24 frags?", "all")
        await until(pilot, lambda: kinds(apart) == ["batch", "batch moved"])
        await until(pilot, lambda: "Isolation is over" not in shown(pilot))


async def test_what_stays_after_its_isolation_is_done_with_a_note(apart: Path) -> None:
    """And its record says what it was about."""
    async with walking(apart, size=WIDE) as pilot:
        await stand_at(pilot, "quarantine/inspect")
        await add(pilot, "24 frags", arrives="stands here already")
        await pilot.press("escape")
        advance(pilot, timedelta(days=45))
        await look(pilot)
        await to(pilot, f"quarantine/release-{records(apart)[0]['id'].replace('-', '')[-12:]}")
        await pilot.press("e")
        await write(pilot, "stays for good")
        await until(pilot, lambda: kinds(apart) == ["batch", "done"])
        await pilot.press("H")
        await until(pilot, lambda: "TV done: frags after their isolation, Quarantine, Arrivals tank" in flat(pilot))
