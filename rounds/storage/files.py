"""Which TOML files make up a room, and whether they have changed."""

from __future__ import annotations

import contextlib
from pathlib import Path

ROOM_FILE = "room.toml"
SYSTEMS = "systems"


def room_files(folder: Path) -> list[Path]:
    """The TOML files that make up the room, `room.toml` first, then the systems by id."""
    systems = folder / SYSTEMS
    found = sorted(p for p in systems.glob("*.toml") if not p.name.startswith(".")) if systems.is_dir() else []
    return [folder / ROOM_FILE, *found]


def read_files(folder: Path) -> dict[str, bytes]:
    """The contents of the room's files by path inside the room; those that cannot be read are left out."""
    found = {}
    for path in room_files(folder):
        with contextlib.suppress(OSError):
            found[path.relative_to(folder).as_posix()] = path.read_bytes()
    return found


FileStamps = dict[Path, tuple[int, int]]


def file_stamps(folder: Path) -> FileStamps:
    """By which the room's files are known to be unchanged: time of change and size."""
    stamps = {}
    for path in room_files(folder):
        with contextlib.suppress(OSError):
            status = path.stat()
            stamps[path] = (status.st_mtime_ns, status.st_size)
    return stamps
