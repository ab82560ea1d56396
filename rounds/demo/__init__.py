"""The demo room: an invented nursery with 120 days behind it, made fresh for the moment it is opened."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from pathlib import Path

from rounds.core.errors import Refused
from rounds.demo.recipe import read_recipe
from rounds.demo.sheets import write_sheets
from rounds.demo.story import tell
from rounds.storage.atomic import make_folder, make_own_folder
from rounds.storage.files import ROOM_FILE, room_files
from rounds.storage.room_files import load_room

DEMO_ZONE = "Europe/Dublin"
"""The demo room's time zone, before its files are read."""

RECIPE = "history.toml"
_DATE = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def demo_files() -> Path:
    """The folder with the demo room's files and the recipe of its past: in the wheel, else in the source tree."""
    packaged = Path(__file__).resolve().parents[1] / "demo_room"
    return packaged if packaged.is_dir() else Path(__file__).resolve().parents[2] / "demo"


def write_demo(into: Path, now: datetime) -> None:
    """Write the demo room to the folder `into`, with records up to the instant `now`.

    The past depends on the round day of `now` alone: opened twice on one day, the room has the same
    records up to the earlier time. Raises `Refused` when a room stands there already.
    """
    if (into / ROOM_FILE).exists():
        raise Refused(f"{into} holds a room already; name another folder with --into")
    make_own_folder(into)
    source = demo_files()
    recipe = read_recipe(source / RECIPE)
    written = load_room(source)
    opened = written.calendar.round_day(now)
    later = opened - timedelta(days=recipe.began) - written.began
    for path in room_files(source):
        target = into / path.relative_to(source)
        make_folder(target.parent)
        target.write_bytes(_moved(path.read_bytes().decode(), later).encode())
    room = load_room(into)
    write_sheets(into, room, (r for r in tell(room, recipe, opened) if r.at <= now and r.recorded <= now))


def _moved(text: str, later: timedelta) -> str:
    """A room's file with all its dates so much later: they were written for the day on which it says it began."""
    return _DATE.sub(lambda found: (date.fromisoformat(found[0]) + later).isoformat(), text)
