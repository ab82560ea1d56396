"""The app under a pilot: start it, press keys, wait for what is shown, look at what was written."""

from __future__ import annotations

import json
import time
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from textual import events
from textual.pilot import Pilot
from textual.widgets import Input
from uuid6 import uuid7

from rounds.core.errors import Refused
from rounds.core.quantities import QUANTITIES
from rounds.core.record import Record, Value
from rounds.core.recording import Draft, finish
from rounds.storage.room_files import load_room
from rounds.storage.sheets import SheetWriter
from rounds.ui.app import RoundsApp
from rounds.ui.screens.ask import Choice
from rounds.ui.screens.levels import Levels
from rounds.ui.screens.walk import Walk
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.rows import ItemRow

NOW = "2026-11-25T09:30"
LATER = "2026-11-25T09:50"
"""When the app is started again: after everything that a test recorded."""

ZONE = ZoneInfo("Europe/Dublin")
DISK_FULL = "the disk is full; make room"
NARROW, WIDE, TALL = (80, 24), (120, 40), (120, 90)


def write_room(folder: Path, texts: dict[str, str]) -> Path:
    """The room's files; the name of each text but `room` is a system's id."""
    (folder / "systems").mkdir(parents=True)
    for name, text in texts.items():
        path = folder / ("room.toml" if name == "room" else f"systems/{name}.toml")
        path.write_text(text, encoding="utf-8")
    return folder


def at(text: str) -> datetime:
    """Local time of the room."""
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def record(
    folder: Path,
    kind: str,
    task: str,
    when: str,
    by: str = "BC",
    *,
    values: dict[str, float] | None = None,
    device: str = "tablet",
    **fields: Any,
) -> Record:
    """A record of another device, written down when it happened."""
    room = load_room(folder, _seawater)
    found = room.tasks[task]
    draft = Draft(
        kind=kind,
        at=at(when),
        system=found.system,
        station=found.station,
        task=task,
        values=tuple(
            Value(
                reading=reading,
                entered=f"{value:g}",
                value=value,
                unit=QUANTITIES[room.readings[reading].quantity].canonical,
            )
            for reading, value in (values or {}).items()
        ),
        **fields,
    )
    written = finish(draft, id=str(uuid7()), by=by, device=device, recorded=at(when), room=room)
    day = room.calendar.round_day(written.recorded)
    SheetWriter(folder, device, folder.parent / f"{device}.lock").append([written], day)
    return written


def records(folder: Path, device: str = "laptop") -> list[dict[str, Any]]:
    """What stands in the sheets of a device, oldest first, read without the program."""
    found: dict[str, dict[str, Any]] = {}
    for path in sorted((folder / "sheets").rglob(f"*.{device}*.json")):
        for entry in json.loads(path.read_text(encoding="utf-8"))["records"].values():
            assert entry["id"] not in found, f"{entry['id']} stands twice"
            found[entry["id"]] = entry
    return list(found.values())


@asynccontextmanager
async def walking(folder: Path, by: str | None = "TV", size: tuple[int, int] = NARROW) -> AsyncIterator[Pilot[int]]:
    """The app over a room, when the walk is painted and takes keys."""
    app = RoundsApp(folder, by, seawater=_seawater)
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: any(isinstance(s, Walk) and s.entry_line for s in app.screen_stack))
        await pilot.pause()
        yield pilot


@asynccontextmanager
async def at_the_levels(
    folder: Path, by: str | None = "TV", size: tuple[int, int] = NARROW
) -> AsyncIterator[Pilot[int]]:
    """The app with the levels worked out."""
    async with walking(folder, by, size) as pilot:
        await pilot.press("l")
        await until(pilot, lambda: isinstance(pilot.app.screen, Levels) and "being worked out" not in flat(pilot))
        yield pilot


def _seawater(conductivity: float, temperature: float) -> float:
    from rounds.water.seawater import practical_salinity

    return practical_salinity(conductivity, temperature)


async def until(pilot: Pilot[Any], condition: Callable[[], object], seconds: float = 10.0) -> None:
    """Wait until the condition holds; fails with what is on screen when it does not in time."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, f"waited {seconds:g} s in vain; on screen:\n{shown(pilot)}"
        await pilot.pause(0.01)


def fill_disk_once(patch: pytest.MonkeyPatch) -> list[list[str]]:
    """The next write is refused with `DISK_FULL`; the ids of the records of each try from then on."""
    write_down, tried = SheetWriter.append, []

    def append(writer: SheetWriter, found: Sequence[Record], day: date) -> Path:
        tried.append([each.id for each in found])
        if len(tried) == 1:
            raise Refused(DISK_FULL)
        return write_down(writer, found, day)

    patch.setattr(SheetWriter, "append", append)
    return tried


def walk(pilot: Pilot[Any]) -> Walk:
    """The walk, also when something stands above it."""
    return next(screen for screen in pilot.app.screen_stack if isinstance(screen, Walk))


def when(entry: dict[str, Any], field: str = "at") -> str:
    """A time of a record as the room's clocks showed it, to the minute."""
    return datetime.fromisoformat(entry[field]).astimezone(ZONE).strftime("%Y-%m-%dT%H:%M")


def shown(pilot: Pilot[Any]) -> str:
    """The text that is painted, line by line."""
    screen = pilot.app.screen
    return "\n".join(strip.text.rstrip() for strip in screen._compositor.render_strips(screen.size))


def flat(pilot: Pilot[Any]) -> str:
    """The painted text with line breaks and runs of blanks as one blank."""
    return " ".join(shown(pilot).translate({ord(line): " " for line in "│█"}).split())


def row_text(pilot: Pilot[Any], title: str) -> str:
    """The painted row that holds the title, with its second line where there is one."""
    rows = [row for row in walk(pilot).query(ItemRow) if row.display and title in row.render().plain]
    assert len(rows) == 1, f"{title!r} stands in {len(rows)} rows:\n{shown(pilot)}"
    return rows[0].render().plain


def line(pilot: Pilot[Any]) -> EntryLine:
    found = walk(pilot).entry_line
    assert found is not None
    return found


def typed(pilot: Pilot[Any]) -> str:
    """What stands in the entry line."""
    return line(pilot).text


def current(pilot: Pilot[Any]) -> str:
    """The id of the task the pointer is on."""
    item = walk(pilot).current
    assert item is not None, f"the pointer is on nothing:\n{shown(pilot)}"
    return item.task.id


def state(pilot: Pilot[Any], task: str) -> str:
    """The state of the task's first item in the round that is not closed, else of its last."""
    items = [item for stop in walk(pilot).position.stops for item in stop.items if item.task.id == task]
    return next((item for item in items if item.closed_at is None), items[-1]).state


async def to(pilot: Pilot[Any], task: str) -> None:
    """Put the pointer on a task with the arrow keys and no notice of it."""
    stops = walk(pilot).position.stops
    for index, stop in enumerate(stops):
        for place, item in enumerate(stop.items):
            if item.task.id == task and item.closed_at is None:
                walk(pilot).position.stop, walk(pilot).position.row = index, place
                walk(pilot).draw()
                await pilot.pause()
                assert current(pilot) == task
                return
    raise AssertionError(f"{task} is not in the round")


async def write(pilot: Pilot[Any], text: str, *, enter: bool = True) -> None:
    """Type a text at once, as a terminal pastes it, and press Enter."""
    focused = pilot.app.focused
    assert isinstance(focused, Input), f"no line takes keys but {focused}:\n{shown(pilot)}"
    focused.post_message(events.Paste(text))
    await until(pilot, lambda: focused.value.endswith(text))
    if enter:
        await pilot.press("enter")
        await pilot.pause()


async def choose(pilot: Pilot[Any], key: str, text: str) -> None:
    """Open a list with a key and type a part of a name into it."""
    await until(pilot, lambda: pilot.app.screen is walk(pilot))
    await pilot.press(key)
    await until(pilot, lambda: isinstance(pilot.app.focused, Input))
    focused = pilot.app.focused
    assert isinstance(focused, Input)
    focused.post_message(events.Paste(text))
    await until(pilot, lambda: focused.value == text)
    await pilot.pause()


async def answer(pilot: Pilot[Any], title: str, text: str) -> None:
    """Type into the list of choices that has this title, and take what is typed or found."""
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot))
    pilot.app.screen.query_one(Input).value = ""
    await write(pilot, text)


async def look(pilot: Pilot[Any]) -> None:
    """Have the walk look at clock, sheets and files now, and wait until it has taken in what it found."""
    await pilot.app.workers.wait_for_complete()
    walk(pilot)._look()
    await pilot.app.workers.wait_for_complete()
    await pilot.pause()


def set_clock(pilot: Pilot[Any], when: str) -> None:
    """Let the clock of the open room stand at a time."""
    walk(pilot).room.clock.now = lambda: at(when).astimezone(UTC)


def advance(pilot: Pilot[Any], by: timedelta) -> None:
    now = walk(pilot).room.now() + by
    walk(pilot).room.clock.now = lambda: now
