"""Concerns, what is off normal and protocols in the app: opened, counted down, followed to their end."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Input
from uuid6 import uuid7

from rounds.core.following import draft_off_normal
from rounds.core.recording import finish
from rounds.storage.room_files import load_room
from rounds.storage.sheets import SheetWriter
from rounds.ui import alerts
from rounds.ui.screens.ask import Question
from rounds.ui.screens.concerns import Concerns
from tests.ui.app import (
    DISK_FULL,
    NOW,
    WIDE,
    advance,
    answer,
    at,
    current,
    fill_disk_once,
    flat,
    look,
    records,
    row_text,
    set_clock,
    shown,
    state,
    to,
    until,
    walking,
    when,
    write,
)
from tests.ui.conftest import NURSERY

EQUIPPED = (
    NURSERY.replace(
        'title = "Target-feed the colonies"',
        'title = "Target-feed the colonies"\nturns_off = ["return-pump"]\ncountdown = "15 minutes"',
    )
    + """
[[equipment]]
id = "return-pump"
kind = "return pump"
station = "sump"
stops_with = ["uv", "doser"]
put_back_order = ["return-pump", "uv", "doser"]

[[equipment]]
id = "uv"
kind = "UV unit"
station = "sump"

[[equipment]]
id = "doser"
kind = "dosing pump"
station = "sump"
"""
)


@pytest.fixture
def equipped(kept: Path) -> Path:
    """The small room with a return pump that others stop with, turned off for feeding."""
    (kept / "systems" / "nursery.toml").write_text(EQUIPPED, encoding="utf-8")
    return kept


async def leave_pump_off(pilot: Pilot[int], span: str = "20 minutes") -> None:
    set_clock(pilot, NOW)
    await to(pilot, "nursery/cup")
    await pilot.press("O")
    await answer(pilot, "What is left off normal?", "return pump")
    await answer(pilot, "How is it left?", "off")
    await answer(pilot, "Put back by when?", span)
    await answer(pilot, "Why?", "cleaning the intake")
    await until(pilot, lambda: isinstance(pilot.app.screen, Question))


async def pump_off_among_concerns(pilot: Pilot[int], folder: Path, *, with_it: bool) -> None:
    """Left off, `with_it` what has to stop with it too, and looked at among what is off normal."""
    await leave_pump_off(pilot)
    await pilot.press("y" if with_it else "n")
    await until(pilot, lambda: len(records(folder)) == (3 if with_it else 1))
    await pilot.press("x")
    await until(pilot, lambda: isinstance(pilot.app.screen, Concerns))


def kinds(folder: Path) -> list[str]:
    return [entry["kind"] for entry in records(folder)]


async def test_off_normal_asks_what_stops_with_it(equipped: Path) -> None:
    """On yes all three are recorded with the same time, in one step."""
    async with walking(equipped) as pilot:
        await leave_pump_off(pilot)
        assert "uv, doser" in flat(pilot)
        await pilot.press("y")
        await until(pilot, lambda: len(records(equipped)) == 3)
    found = records(equipped)
    assert [(entry["kind"], entry["task"]) for entry in found] == [
        ("off normal", f"nursery/{id}") for id in ("return-pump", "uv", "doser")
    ]
    assert {when(entry, "until") for entry in found} == {"2026-11-25T09:50"}
    assert found[0]["reason"] == "cleaning the intake"


async def test_off_normal_of_the_pump_alone(equipped: Path) -> None:
    """On no only the pump is recorded."""
    async with walking(equipped) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: len(records(equipped)) == 1)


async def test_a_countdown_stands_at_the_top_and_passes(equipped: Path) -> None:
    """Minutes left, then seconds, then that it has to be put back now, as life support in the round."""
    async with walking(equipped, size=WIDE) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: "return pump off (Nursery raceway, Sump): 20 minutes left" in shown(pilot))
        advance(pilot, timedelta(minutes=18))
        await until(pilot, lambda: "2:00 min left" in shown(pilot))
        advance(pilot, timedelta(minutes=5))
        await until(pilot, lambda: "PUT BACK: return pump off (Nursery raceway, Sump), 3 minutes past" in shown(pilot))
        await look(pilot)
        assert state(pilot, "nursery/return-pump-put-back") == "overdue"
        assert "life support" in row_text(pilot, "Put back: return pump")


async def test_what_stops_with_the_pump_is_put_back_after_it(equipped: Path) -> None:
    """Dosing before there is flow asks a second time; Enter leaves it off."""
    async with walking(equipped, size=WIDE) as pilot:
        await pump_off_among_concerns(pilot, equipped, with_it=True)
        await until(pilot, lambda: "3 off normal" in shown(pilot))
        await pilot.press("down", "down", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question) and "doser" in shown(pilot))
        await pilot.press("y")
        await until(pilot, lambda: "the return pump is still off, and the doser has to stop with it" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns))
        assert len(records(equipped)) == 3


async def test_what_stopped_with_it_is_extended_with_it(equipped: Path) -> None:
    """Asked for what would have to be put back before it; on yes all three have the same time."""
    async with walking(equipped, size=WIDE) as pilot:
        await pump_off_among_concerns(pilot, equipped, with_it=True)
        await pilot.press("e")
        await answer(pilot, "return pump off: put back by when?", "10:30")
        await answer(pilot, "Why longer?", "gasket")
        await until(pilot, lambda: "To be put back sooner, though it cannot be: uv, doser." in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: len(records(equipped)) == 6)
    extended = records(equipped)[3:]
    assert {when(entry, "until") for entry in extended} == {"2026-11-25T10:30"}
    assert [entry["reason"] for entry in extended] == ["gasket", *["with the return pump"] * 2]


async def test_the_list_counts_the_seconds_with_the_alert(equipped: Path) -> None:
    """In the row and beside it, and within a minute too; when it has passed it stands first."""
    async with walking(equipped, size=WIDE) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: len(records(equipped)) == 1)
        advance(pilot, timedelta(minutes=18, seconds=10))
        await pilot.press("x")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns) and shown(pilot).count("1:50 min left") == 3)
        advance(pilot, timedelta(seconds=20))
        await until(pilot, lambda: shown(pilot).count("1:30 min left") == 3)
        advance(pilot, timedelta(seconds=91))
        await until(pilot, lambda: "▲ 1 now" in shown(pilot) and "min left" not in shown(pilot))


async def test_a_countdown_survives_leaving_the_app(equipped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another start shows it, whatever became of the first."""
    async with walking(equipped) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: len(records(equipped)) == 1)
    monkeypatch.setenv("ROUNDS_NOW", "2026-11-25T10:05")
    async with walking(equipped) as pilot:
        await until(pilot, lambda: "PUT BACK: return pump" in shown(pilot))


async def test_put_back_from_the_row_of_the_round(equipped: Path) -> None:
    """Enter on its row; the alert is gone."""
    async with walking(equipped, size=WIDE) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: "20 minutes left" in shown(pilot))
        await to(pilot, "nursery/return-pump-put-back")
        await pilot.press("enter")
        await until(pilot, lambda: kinds(equipped) == ["off normal", "back to normal"])
        await until(pilot, lambda: "minutes left" not in shown(pilot))


async def test_putting_back_among_the_concerns_asks(equipped: Path) -> None:
    """Enter pressed twice by mistake puts nothing back; only yes does."""
    async with walking(equipped, size=WIDE) as pilot:
        await pump_off_among_concerns(pilot, equipped, with_it=False)
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns))
        assert kinds(equipped) == ["off normal"]
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: kinds(equipped) == ["off normal", "back to normal"])


async def test_the_pointer_stays_at_its_place_after_something_is_put_back(equipped: Path) -> None:
    """On the row that comes to stand there, not on the first one."""
    async with walking(equipped, size=WIDE) as pilot:
        await pump_off_among_concerns(pilot, equipped, with_it=True)
        await pilot.press("down", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        second, third = among_concerns(pilot).ids[1:]
        await pilot.press("y")
        await until(pilot, lambda: "the return pump is still off" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns) and second not in among_concerns(pilot).ids)
        chosen = among_concerns(pilot).chosen
        assert chosen is not None
        assert (among_concerns(pilot).place, chosen.id) == (1, third)


def among_concerns(pilot: Pilot[int]) -> Concerns:
    return next(screen for screen in pilot.app.screen_stack if isinstance(screen, Concerns))


async def test_done_with_a_note_turns_the_pump_off_first_too(equipped: Path) -> None:
    """The countdown begins with the first key, whichever of the two it is."""
    async with walking(equipped, size=WIDE) as pilot:
        await to(pilot, "nursery/feed")
        await pilot.press("e")
        await until(pilot, lambda: kinds(equipped) == ["off normal"])
        await pilot.press("e")
        await write(pilot, "eaten at once")
        await until(pilot, lambda: kinds(equipped) == ["off normal", "done"])


async def test_the_bell_rings_once_where_it_is_wanted(equipped: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Not before the time has passed, and not again for the same."""
    rung: list[str] = []
    async with walking(equipped, size=WIDE) as pilot:
        monkeypatch.setattr(alerts, "bell_wanted", lambda: True)
        monkeypatch.setattr(pilot.app, "bell", lambda: rung.append("bell"))
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: "20 minutes left" in shown(pilot))
        assert rung == []
        advance(pilot, timedelta(minutes=21))
        await until(pilot, lambda: rung)
        advance(pilot, timedelta(minutes=1))
        await until(pilot, lambda: "2 minutes past" in shown(pilot))
        assert rung == ["bell"]


async def test_feeding_turns_the_pump_off_first_and_asks_for_it_afterwards(equipped: Path) -> None:
    """Enter begins the countdown, a second Enter is the feed, and yes puts the pump back."""
    async with walking(equipped, size=WIDE) as pilot:
        await to(pilot, "nursery/feed")
        await pilot.press("enter")
        await until(pilot, lambda: "return pump off, put back by 09:45" in flat(pilot))
        assert "Stop with it: uv, doser. Enter again when it is done." in flat(pilot)
        assert (kinds(equipped), current(pilot)) == (["off normal"], "nursery/feed")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert kinds(equipped) == ["off normal", "done"]
        assert "Is this running again: return pump?" in flat(pilot)
        await pilot.press("y")
        await until(pilot, lambda: kinds(equipped) == ["off normal", "done", "back to normal"])


async def test_feeding_with_values_turns_the_pump_off_first_too(equipped: Path) -> None:
    """A task that takes values begins its countdown before they are typed, as one that takes none."""
    nursery = equipped / "systems" / "nursery.toml"
    fed = 'title = "Target-feed the colonies"'
    nursery.write_text(EQUIPPED.replace(fed, f'{fed}\ntakes = ["skimmate"]'), encoding="utf-8")
    async with walking(equipped, size=WIDE) as pilot:
        await to(pilot, "nursery/feed")
        await pilot.press("enter")
        await until(pilot, lambda: "return pump off, put back by 09:45" in flat(pilot))
        assert (kinds(equipped), current(pilot)) == (["off normal"], "nursery/feed")
        await pilot.press("enter", *"40", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert kinds(equipped) == ["off normal", "done"]
        assert "Is this running again: return pump?" in flat(pilot)


async def test_leaving_with_something_off_normal_asks(equipped: Path) -> None:
    """Enter stays; only yes leaves."""
    async with walking(equipped) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: len(records(equipped)) == 1)
        await pilot.press("q")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question) and "Still off normal" in shown(pilot))
        await pilot.press("enter")
        await pilot.pause()
        assert pilot.app.return_code is None


async def test_keys_after_leaving_do_nothing(equipped: Path) -> None:
    """Typed faster than the app closes, they neither open a screen nor record."""
    async with walking(equipped) as pilot:
        await leave_pump_off(pilot)
        await pilot.press("n")
        await until(pilot, lambda: len(records(equipped)) == 1)
        await pilot.press("q")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        for key in ("y", "b", "space", "escape", "enter"):
            pilot.app.simulate_key(key)
        await until(pilot, lambda: pilot.app.return_code is not None)
        await pilot.pause(0.2)
        assert pilot.app.return_code == 0
    assert len(records(equipped)) == 1


async def test_leaving_from_another_screen_asks_too(equipped: Path) -> None:
    """Ctrl+Q on any screen, with nothing off normal it leaves at once."""
    async with walking(equipped) as pilot:
        await pump_off_among_concerns(pilot, equipped, with_it=False)
        await pilot.press("ctrl+q")
        await until(pilot, lambda: "Still off normal" in shown(pilot))
        await pilot.press("y")
        await until(pilot, lambda: pilot.app.return_code == 0)


async def test_a_concern_is_opened_seen_and_closed(kept: Path) -> None:
    """From the walk, then on the screen of concerns."""
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("C")
        await answer(pilot, "what is seen?", "pale tips on rack 2")
        await answer(pilot, "What to look for?", "paler than the card")
        await answer(pilot, "Look again when?", "2 hours")
        await until(pilot, lambda: kinds(kept) == ["concern"])
        opened = records(kept)[0]
        assert (opened["station"], opened["reason"], opened["words"]) == ("racks", "paler than the card", ["pale"])
        assert when(opened, "until") == "2026-11-25T11:30"
        await until(pilot, lambda: "Look again: pale tips on rack 2" in shown(pilot))
        await pilot.press("x")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns) and "1 concern" in shown(pilot))
        await pilot.press("enter")
        await answer(pilot, "pale tips on rack 2", "as before, polyps out")
        await answer(pilot, "Look again when?", "as before")
        await until(pilot, lambda: kinds(kept) == ["concern", "concern update"])
        await pilot.press("c")
        await answer(pilot, "Why is it closed?", "coloured again")
        await until(pilot, lambda: "nothing is open" in shown(pilot))
    assert kinds(kept) == ["concern", "concern update", "concern closed"]


async def test_a_time_that_cannot_be_read_is_said_and_stays_typed(kept: Path) -> None:
    """The sentence stands above the line with what was typed."""
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("C")
        await answer(pilot, "what is seen?", "noise")
        await answer(pilot, "What to look for?", "heat")
        await answer(pilot, "Look again when?", "soonish")
        await until(pilot, lambda: "'soonish' is no time" in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == "soonish"


async def test_a_time_that_has_passed_is_said_at_once_and_stays_typed(equipped: Path) -> None:
    """Before anything else is asked: of what is left off, and of a concern."""
    async with walking(equipped, size=WIDE) as pilot:
        set_clock(pilot, NOW)
        await pilot.press("O")
        await answer(pilot, "What is left off normal?", "return pump")
        await answer(pilot, "How is it left?", "off")
        await answer(pilot, "Put back by when?", "07:00")
        await until(pilot, lambda: "07:00 is not later than 09:30" in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == "07:00"
        await pilot.press("escape", "C")
        await answer(pilot, "what is seen?", "noise")
        await answer(pilot, "What to look for?", "heat")
        await answer(pilot, "Look again when?", "07:00")
        await until(pilot, lambda: "07:00 is not later than 09:30" in flat(pilot))


async def test_what_the_disk_refused_is_tried_again_with_the_same_record(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The question stays until it is written, or the keeper leaves it."""
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("C")
        await answer(pilot, "what is seen?", "noise")
        await answer(pilot, "What to look for?", "heat")
        tried = fill_disk_once(monkeypatch)
        await answer(pilot, "Look again when?", "1 day")
        await until(pilot, lambda: DISK_FULL in flat(pilot))
        assert records(kept) == []
        await pilot.press("y")
        await until(pilot, lambda: kinds(kept) == ["concern"])
    assert tried == [[records(kept)[0]["id"]]] * 2


async def test_a_protocol_is_called_for_the_system_and_its_steps_are_done_in_the_walk(kept: Path) -> None:
    """Each step is a row of the round; the last one done ends it."""
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/cup")
        await pilot.press("P")
        await answer(pilot, "Call which protocol?", "dead animal")
        await answer(pilot, "for which?", "sump")
        await answer(pilot, "What for?", "one snail")
        await until(pilot, lambda: kinds(kept) == ["protocol"])
        call = records(kept)[0]
        assert (call["task"], call["station"], call["note"]) == ("room/dead-animal", "sump", "one snail")
        await until(pilot, lambda: "Take it out and note what it was" in shown(pilot))
        await pilot.press("x")
        await until(pilot, lambda: "0 of 5 steps done" in shown(pilot))
        await pilot.press("s")
        await answer(pilot, "Why is it stopped?", "not dead after all")
        await until(pilot, lambda: "nothing is open" in shown(pilot))


async def test_hostile_texts_are_shown_as_typed(kept: Path) -> None:
    """Brackets are no markup, in the list, the alert and the row of the round."""
    async with walking(kept, size=WIDE) as pilot:
        await pilot.press("O")
        await answer(pilot, "What is left off normal?", "something else")
        await answer(pilot, "What is it?", "[bold]hose[/sump]")
        await answer(pilot, "How is it left?", "running")
        await answer(pilot, "Put back by when?", "10 minutes")
        await answer(pilot, "Why?", "[/] filling")
        await until(pilot, lambda: "[bold]hose[/sump] running" in shown(pilot))
        await pilot.press("x")
        await until(pilot, lambda: isinstance(pilot.app.screen, Concerns) and "[/] filling" in shown(pilot))


async def test_another_device_sees_the_countdown(equipped: Path) -> None:
    """What one records stands at the top of the other's screen."""
    async with walking(equipped, size=WIDE) as pilot:
        room = load_room(equipped)
        draft = draft_off_normal(room.equipment["nursery/uv"], "off", at("2026-11-25T12:00"), "bulb", at(NOW))
        written = finish(draft, id=str(uuid7()), by="BC", device="tablet", recorded=at(NOW), room=room)
        SheetWriter(equipped, "tablet", equipped.parent / "tablet.lock").append([written], at(NOW).date())
        await until(pilot, lambda: "uv off (Nursery raceway, Sump): 2 hours left" in shown(pilot))
