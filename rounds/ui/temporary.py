"""Conversations that add a task for once, for some days, or for as long as a concern is open."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import Any

from rounds.core.concerns import Concern, open_concerns
from rounds.core.durations import parse_span
from rounds.core.errors import RoundsError
from rounds.core.following import draft_concern_update
from rounds.core.model import IMPORTANCES, Room
from rounds.core.moments import parse_until
from rounds.core.walk import place_name
from rounds.core.words import plain
from rounds.report import temporary
from rounds.report.rules import read_back
from rounds.storage.changes import FileChange
from rounds.storage.editing import change_file, put
from rounds.storage.parts import file_of
from rounds.ui.asking import Left, choose, record, sure, write_in
from rounds.ui.following import Place, open_concern
from rounds.ui.screens.room_screen import RoomScreen

_WORDS = "a few words"
_SPANS = ("2 hours", "4 hours", "30 minutes", "1 day")
_USUAL = (IMPORTANCES[2], IMPORTANCES[1], IMPORTANCES[3], IMPORTANCES[0])
"""What most is of stands first."""
_FIRST = 3
"""So many of its times are read back."""


async def add_task(screen: RoomScreen, place: Place) -> None:
    """Something to be done here that no rule says yet."""
    where = place_name(screen.room.model, *place)
    kinds = [
        ("once", _once),
        ("every so often, until a time", _repeated),
        ("looked at again and again, until a concern is closed", _watched),
    ]
    asking = await choose(screen, f"Add at {where}", kinds)
    await asking(screen, place)


async def _once(screen: RoomScreen, place: Place) -> None:
    room, title, added = screen.room, "", False
    while not added:
        title = await _title(screen, title)
        when = await write_in(
            screen, "When?", ("today", "tomorrow", "2 hours", "1 week"), "a day, a time, or 2 hours",
            lambda text: temporary.read_when(room.model, text, room.now()),
        )  # fmt: skip
        importance = await _importance(screen)
        added = await _write(screen, place, temporary.once(room.model, place, title, when, importance, room.now()))


async def _repeated(screen: RoomScreen, place: Place) -> None:
    room, title, added = screen.room, "", False
    while not added:
        title = await _title(screen, title)
        every = await write_in(screen, "Every how long?", _SPANS, "2 hours, 1 day", lambda text: str(parse_span(text)))
        until = await write_in(
            screen, "Until when?", ("tomorrow 20:00", "3 days", "1 week", "20:00"), "a time, a day, or 3 days",
            lambda text: temporary.read_end(room.model, text, room.now()),
        )  # fmt: skip
        importance = await _importance(screen)
        table = temporary.repeated(room.model, place, title, every, until, importance, room.now())
        added = await _write(screen, place, table)


async def _watched(screen: RoomScreen, place: Place) -> None:
    """A concern asks for a look until it is closed: after each look again after the span that was set last."""
    room = screen.room
    found = room.ask(lambda history: open_concerns(history, room.now()), room.now(), room.now())
    here = sorted(found, key=lambda each: (each.record.system, each.record.station or "") != place)
    known: list[tuple[str, Concern | None]] = [
        (f"{plain(each.record.note)}  ({place_name(room.model, each.record.system, each.record.station)})", each)
        for each in here
    ]
    chosen = await choose(screen, "Until which concern is closed?", [*_indexed(known), ("a new concern here", -1)])
    about = known[chosen][1] if chosen >= 0 else None
    if about is None:
        await open_concern(screen, place)
        return

    def read(text: str) -> tuple[str, datetime]:
        return parse_span(text).every, parse_until(text, room.model.calendar, room.now(), room.now())

    every, again = await write_in(screen, "Look again every how long?", _SPANS, "2 hours, 1 day", read)
    words = f"looked at {every} from now on"
    await record(screen, "Concern", [draft_concern_update(room.model, about, words, room.now(), look_at=again)])


def _indexed(known: Sequence[tuple[str, object]]) -> list[tuple[str, int]]:
    return [(label, place) for place, (label, _) in enumerate(known)]


async def _title(screen: RoomScreen, typed: str) -> str:
    return await write_in(screen, "What is to be done?", (), _WORDS, str.strip, typed)


async def _importance(screen: RoomScreen) -> str:
    return await choose(screen, "How important is it?", [(each, each) for each in _USUAL])


async def _write(screen: RoomScreen, place: Place, table: dict[str, Any]) -> bool:
    """Read it back as it would be, then write it; False: it is not as it was meant.

    When the disk refuses, it can be tried again.
    """
    room = screen.room
    id = f"{place[0]}/{table['id']}"
    change = partial(_change, screen, place[0], table)
    lines = _read_back(screen, room.room_with([change()]), id)
    if not await sure(screen, plain(table["title"]), lines, "yes, add it"):
        return False
    while refusal := _refusal(screen, change()):
        if not await sure(screen, "Not written", [refusal], "try again", "leave it"):
            raise Left
    screen.changed()
    screen.draw()
    screen.say(f"Added: {plain(table['title'])}. {lines[0]}")
    return True


def _change(screen: RoomScreen, system: str, table: dict[str, Any]) -> FileChange:
    return change_file(screen.room.folder, file_of(system), lambda document: put(document, "tasks", table))


def _refusal(screen: RoomScreen, change: FileChange) -> str:
    try:
        screen.room.change_files([change])
    except RoundsError as refused:
        return plain(str(refused))
    return ""


def _read_back(screen: RoomScreen, model: Room, id: str) -> list[str]:
    """Its rule in a sentence, when it is due the first times, and where it stands."""
    room, task = screen.room, model.tasks[id]
    said = room.ask(lambda history: read_back(model, history, task, room.now(), _FIRST), room.now(), room.now())
    return [*said, f"At {place_name(model, task.system, task.station)}, {task.importance}; written to its file."]
