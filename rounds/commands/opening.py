"""Finding and opening the room a command is about, and what all commands print alike."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

from rounds.core.errors import CannotRead, NoRoom, Refused
from rounds.core.words import quoted

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from rounds.core.history import History
    from rounds.core.items import Forecast
    from rounds.core.model import Room
    from rounds.report.printable import Document
    from rounds.storage.room import Forecaster, RoomFolder

FORMATS = ("text", "markdown", "html", "json")
"""What a document can be printed as."""


class NowhereARoom(NoRoom):
    """None was named, and there is none where one is looked for."""


def find_room(given: Path | None) -> Path:
    """The room's folder; raise `NoRoom` when there is none."""
    from rounds.storage.device import user_data
    from rounds.storage.files import ROOM_FILE

    named = given or (Path(os.environ["ROUNDS_ROOM"]) if os.environ.get("ROUNDS_ROOM") else None)
    if named is not None:
        if not named.is_dir():
            raise NoRoom(f"{named} is no folder; name the room's folder with --room")
        return named
    here = Path.cwd()
    for folder in (here, *here.parents, user_data()):
        if (folder / ROOM_FILE).is_file():
            return folder
    raise NowhereARoom(
        f"there is no room here ({ROOM_FILE} is missing); name its folder with --room, or try: rounds demo"
    )


def open_room(options: argparse.Namespace, *, runs_on: bool = False) -> RoomFolder:
    from rounds.core.words import plain
    from rounds.storage.room import RoomFolder

    room = RoomFolder(
        find_room(options.room),
        seawater=seawater,
        forecaster=forecaster(),
        runs_on=runs_on,
        progress=_progress(),
    )
    if not runs_on:
        for problem in room.problems:
            print(f"warning: {plain(str(problem))}", file=sys.stderr)
    return room


def _progress() -> Callable[[float], object] | None:
    """Says on a terminal how far the sheets are read, once that has taken a second."""
    if not sys.stderr.isatty():
        return None
    begun = monotonic()

    def tell(share: float) -> None:
        if monotonic() - begun > 1:
            text = f"\rEvery sheet is read once on this device: {share:.0%}"
            print(text if share < 1 else f"\r{'':{len(text)}}\r", end="", file=sys.stderr, flush=True)

    return tell


def seawater(conductivity: float, temperature: float) -> float:
    from rounds.water.seawater import practical_salinity

    return practical_salinity(conductivity, temperature)


def forecaster() -> Forecaster:
    """What makes refills come due; remembers what it knows of the levels of one room."""
    refills = None

    def forecast(room: Room, history: History, now: datetime) -> Sequence[Forecast]:
        nonlocal refills
        if refills is None:
            from rounds.water.refills import Refills

            refills = Refills()
        return refills.forecasts(room, history, now)

    return forecast


def print_json(data: object) -> None:
    import json

    print(json.dumps(data, ensure_ascii=False, indent=2))


def print_document(document: Document, form: str) -> None:
    """As text, Markdown or HTML."""
    from rounds.report.printable import WRITERS

    print(WRITERS[form](document), end="")


def instant_of(room: RoomFolder, options: argparse.Namespace) -> datetime:
    """The time that ``--at`` names, else the present."""
    from rounds.core.moments import parse_moment

    now = room.now()
    return now if options.at is None else parse_moment(options.at, room.model.calendar, now)


def system_of(room: RoomFolder, options: argparse.Namespace) -> str | None:
    """The id that ``--system`` names, None for all; raises `Refused` for one that is not there."""
    if options.system is not None and options.system not in room.model.system:
        raise Refused(
            f"the system {quoted(options.system)} does not exist; write one of {', '.join(room.model.system)}"
        )
    id: str | None = options.system
    return id


def recorded_as(name: str, id: str) -> bool:
    """Whether `name` is this id of a record, or its end as the lists show it."""
    from rounds.core.record import short

    return name.casefold() in (id, short(id))


def keeper_of(room: RoomFolder, options: argparse.Namespace) -> str:
    """The initials that what is recorded gets."""
    return room.keeper(options.by or os.environ.get("ROUNDS_BY"))


def run_app(options: argparse.Namespace) -> int:
    """The app over the room, or over the set-up of one where none was named and none is found."""
    from rounds.storage.device import user_data

    need_terminal()
    try:
        return start_app(options, find_room(options.room))
    except NowhereARoom:
        return start_app(options, user_data(), new=True)


def need_terminal() -> None:
    """Raise `CannotRead` where the app cannot be shown."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise CannotRead("the app needs a terminal; without one use rounds sheet, record or history")


def start_app(options: argparse.Namespace, folder: Path, *, new: bool = False) -> int:
    """Run the app over the room in the folder, or, `new`, over the set-up of one there."""
    from zoneinfo import ZoneInfo

    from rounds.storage.device import Clock

    Clock(ZoneInfo("UTC"))  # a clock that cannot be read is said before the screen is taken
    gc.disable()  # nothing is worth collecting before the first paint; the app collects again after it
    from rounds.ui.app import run

    status = run(folder, options.by, seawater=seawater, forecaster=forecaster(), new=new)
    if new:
        from rounds.storage.founding import kept_answers

        if kept_answers() is not None:
            print("There is no room yet; the answers are kept and taken up when you start again.")
    return status
