"""The demo room: an invented nursery with 120 days behind it, made fresh for the moment it is opened."""

from __future__ import annotations

import re
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import msgspec

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
_BEGAN = re.compile(r"^began = \d{4}-\d{2}-\d{2}", re.MULTILINE)


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
    room = load_room(source)
    opened = room.calendar.round_day(now)
    began = opened - timedelta(days=recipe.began)
    for path in room_files(source):
        target = into / path.relative_to(source)
        make_folder(target.parent)
        shutil.copyfile(path, target)
    head = into / ROOM_FILE
    text = head.read_bytes().decode()
    head.write_bytes(_BEGAN.sub(f"began = {began.isoformat()}", text, count=1).encode())
    room = msgspec.structs.replace(room, began=began)
    write_sheets(into, room, (r for r in tell(room, recipe, opened) if r.at <= now and r.recorded <= now))
