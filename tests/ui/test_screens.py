"""What every screen of the room has in common: alerts, what failed, what others record, the command palette."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from rounds.core.history import History
from rounds.core.items import Forecast
from rounds.core.model import Room
from rounds.ui.app import RoundsApp
from rounds.ui.keymap import DOSES, HISTORY, LEVELS, PROMPTS, READINGS, WALK, Action
from rounds.ui.screens import walk as walk_module
from rounds.ui.screens.doses import Doses
from rounds.ui.screens.history import HistoryPage
from rounds.ui.screens.levels import Levels
from rounds.ui.screens.prompts import Prompts
from rounds.ui.screens.reading import FirstReading
from rounds.ui.screens.readings import Readings
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.screens.walk import Walk
from tests.ui.app import at_the_levels, flat, look, record, records, set_clock, shown, to, until, walk, walking, write

SCREENS: tuple[tuple[type[RoomScreen], tuple[Action, ...], tuple[str, ...]], ...] = (
    (Walk, WALK, ()),
    (Readings, READINGS, ("v",)),
    (Levels, LEVELS, ("l",)),
    (Doses, DOSES, ("l", "d")),
    (Prompts, PROMPTS, ("l", "p")),
    (HistoryPage, HISTORY, ("h",)),
)
"""Every screen of the room, what its keys do, and the keys that lead there."""

each_screen = pytest.mark.parametrize(("kind", "actions", "keys"), SCREENS, ids=[kind.__name__ for kind, *_ in SCREENS])


@each_screen
def test_every_action_is_a_method_of_its_screen(
    kind: type[RoomScreen], actions: tuple[Action, ...], keys: tuple[str, ...]
) -> None:
    """No key is bound to nothing, none to two actions, and no two stand in one place at the foot."""
    assert actions == kind.ACTIONS
    assert [action.name for action in actions if not callable(getattr(kind, f"action_{action.method}", None))] == []
    pressed = [key for action in actions for key in action.keys]
    assert len(pressed) == len(set(pressed))
    places = [action.foot for action in actions if action.foot]
    assert len(places) == len(set(places))


@each_screen
async def test_what_is_wrong_with_the_room_is_said_on_every_screen(
    kept: Path, kind: type[RoomScreen], actions: tuple[Action, ...], keys: tuple[str, ...]
) -> None:
    """Broken by hand while the screen is open, and repaired; its own keys stand at the foot all the while."""
    path = kept / "systems/nursery.toml"
    whole = path.read_text()
    async with walking(kept) as pilot:
        for key in keys:
            await pilot.press(key)
            await pilot.pause()
        await until(pilot, lambda: isinstance(pilot.app.screen, kind))
        path.write_text(whole + "\n[[nonsense]]\n")
        await until(pilot, lambda: "1 fault in room files, last good version in use" in flat(pilot), seconds=5)
        assert (
            shown(pilot).splitlines()[-1].split()[0]
            == min((action for action in actions if action.foot), key=lambda action: action.foot).shown
        )
        path.write_text(whole)
        await until(pilot, lambda: "fault in room files" not in flat(pilot), seconds=5)


async def test_what_is_recorded_on_another_screen_is_taken_up_when_the_walk_is_seen_again(kept: Path) -> None:
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))
        record(kept, "done", "nursery/look", "2026-11-25T09:00")
        pilot.app.screen._look()
        await pilot.app.workers.wait_for_complete()
        await pilot.pause()
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        states = {item.task.id: item.state for stop in walk(pilot).position.stops for item in stop.items}
        assert states["nursery/look"] == "done"


async def test_only_the_screen_in_front_looks_at_the_disk(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    async with walking(kept) as pilot:
        await pilot.press("l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))
        await pilot.app.workers.wait_for_complete()
        looked: list[str] = []
        monkeypatch.setattr(walk(pilot).room, "look", lambda: looked.append(threading.current_thread().name))
        walk(pilot)._look()
        await pilot.pause()
        assert looked == []


async def test_a_disk_that_cannot_be_read_is_said_until_it_can(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And the round stays as it was."""
    async with walking(kept) as pilot:
        room = walk(pilot).room
        real, rows = room.look, len(walk(pilot).position.rows)

        def gone() -> Any:
            raise OSError("the share is gone")

        monkeypatch.setattr(room, "look", gone)
        await until(pilot, lambda: "the room's folder cannot be read: the share is gone" in flat(pilot), seconds=5)
        assert len(walk(pilot).position.rows) == rows
        monkeypatch.setattr(room, "look", real)
        await until(pilot, lambda: "cannot be read" not in flat(pilot), seconds=5)


# -- what failed -----------------------------------------------------------------------------------------


async def test_a_history_that_cannot_be_read_says_so(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Instead of standing there as if it were still being read."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")

        def gone(**_: Any) -> Any:
            raise OSError("the share is gone")

        monkeypatch.setattr(walk(pilot).room, "records_about", gone)
        await pilot.press("h")
        await until(pilot, lambda: "What was recorded cannot be read: the share is gone" in flat(pilot))
        assert "Reading what was recorded" not in flat(pilot)


async def test_a_history_keeps_what_it_shows_when_it_cannot_be_read_again(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record(kept, "done", "nursery/look", "2026-11-24T09:00", note="tips pale")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("h")
        await until(pilot, lambda: "tips pale" in flat(pilot))

        def gone(**_: Any) -> Any:
            raise OSError("the share is gone")

        monkeypatch.setattr(walk(pilot).room, "records_about", gone)
        record(kept, "done", "nursery/look", "2026-11-25T09:00")
        await until(pilot, lambda: "What was recorded cannot be read: the share is gone" in flat(pilot), seconds=5)
        assert "tips pale" in flat(pilot)


async def test_a_minute_alone_has_no_past_read_again(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new round day has."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("h")
        await until(pilot, lambda: "BC done" in flat(pilot))
        read: list[str] = []
        real = walk(pilot).room.records_about

        def counted(**about: Any) -> Any:
            read.append(about["task"])
            return real(**about)

        monkeypatch.setattr(walk(pilot).room, "records_about", counted)
        set_clock(pilot, "2026-11-25T09:31")
        await until(pilot, lambda: "Wed 25 Nov 09:31" in flat(pilot), seconds=5)
        assert read == []
        set_clock(pilot, "2026-11-26T04:00")
        await until(pilot, lambda: read, seconds=5)


async def test_a_history_follows_what_others_record_and_keeps_its_place(kept: Path) -> None:
    record(kept, "done", "nursery/look", "2026-11-24T08:50", note="first")
    record(kept, "done", "nursery/look", "2026-11-24T09:00", note="second")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("h")
        await until(pilot, lambda: "second" in flat(pilot))
        await pilot.press("down")
        record(kept, "note", "nursery/look", "2026-11-25T09:00", note="third")
        await until(pilot, lambda: "third" in flat(pilot), seconds=5)
        await pilot.press("x")
        await until(pilot, lambda: "Why?" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        struck = [line for line in shown(pilot).splitlines() if "STRUCK" in line]
        assert [line.split()[1] for line in struck] == ["08:50"]


async def test_a_first_reading_that_fails_says_why(kept: Path) -> None:
    def gone(_: Callable[[float], object]) -> Any:
        raise OSError("the share is gone")

    app = RoundsApp(kept, "TV")
    async with app.run_test(size=(80, 24)) as pilot:
        await app.push_screen(FirstReading(gone, lambda room: Walk(room, "TV")))
        await until(pilot, lambda: "The room cannot be read: the share is gone" in flat(pilot))
        assert "q leaves" in flat(pilot)


# -- the command palette ---------------------------------------------------------------------------------


async def test_the_palette_offers_what_works_on_the_screen_that_is_seen(kept: Path) -> None:
    """In the levels a refill, not the postponing of the walk; choosing it does it."""
    async with at_the_levels(kept) as pilot:
        await pilot.press("ctrl+p", *"postpone")
        await until(pilot, lambda: "No matches found" in flat(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels))
        await pilot.press("ctrl+p", *"it was filled")
        await until(pilot, lambda: "Refill" in shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels) and "Enter alone for full" in flat(pilot))


async def test_the_palette_offers_one_of_several_windows(kept: Path) -> None:
    async with walking(kept) as pilot:
        await pilot.press("v")
        await until(pilot, lambda: isinstance(pilot.app.screen, Readings))
        await pilot.press("ctrl+p", *"plot of 90")
        await until(pilot, lambda: "Plot of 90 days." in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Readings) and "90 days, since" in flat(pilot))


async def test_while_something_is_typed_the_palette_offers_none_of_the_letters(kept: Path) -> None:
    async with at_the_levels(kept) as pilot:
        await pilot.press("enter")
        await write(pilot, "4", enter=False)
        await pilot.press("ctrl+p", *"refill")
        await until(pilot, lambda: "No matches found" in flat(pilot))


# -- after the first paint -------------------------------------------------------------------------------


async def test_what_foresees_refills_is_loaded_in_a_thread_and_before_it_is_asked(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The keys do not wait for the arithmetic to be imported."""
    loaded: dict[str, bool] = {}
    asked: list[bool] = []
    real = walk_module.import_module

    def watched(name: str) -> Any:
        loaded[name] = threading.current_thread() is threading.main_thread()
        return real(name)

    def forecast(room: Room, history: History, now: datetime) -> Sequence[Forecast]:
        asked.append("rounds.water.refills" in loaded)
        return ()

    monkeypatch.setattr(walk_module, "import_module", watched)
    app = RoundsApp(kept, "TV", forecaster=forecast)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: asked)
        assert loaded["rounds.water.refills"] is False
        assert all(asked)
        await look(pilot)
