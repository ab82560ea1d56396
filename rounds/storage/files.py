"""Which TOML files make up a room, and whether they have changed."""

from __future__ import annotations

import contextlib
from pathlib import Path

ROOM_FILE = "room.toml"
SYSTEMS = "systems"
CARE = "care"


def room_files(folder: Path) -> list[Path]:
    """The TOML files that say what the room is, `room.toml` first, then the systems by id."""
    return [folder / ROOM_FILE, *_toml(folder / SYSTEMS)]


def care_files(folder: Path) -> list[Path]:
    """The TOML files of the room's own care catalogue, by name."""
    return _toml(folder / CARE)


def _toml(folder: Path) -> list[Path]:
    return sorted(p for p in folder.glob("*.toml") if not p.name.startswith(".")) if folder.is_dir() else []


def read_files(folder: Path) -> dict[str, bytes]:
    """The contents of the room's files by path inside the room; those that cannot be read are left out."""
    found = {}
    for path in (*room_files(folder), *care_files(folder)):
        with contextlib.suppress(OSError):
            found[path.relative_to(folder).as_posix()] = path.read_bytes()
    return found


FileStamps = dict[Path, tuple[int, int]]


def file_stamps(folder: Path) -> FileStamps:
    """By which the room's files are known to be unchanged: time of change and size."""
    stamps = {}
    for path in (*room_files(folder), *care_files(folder)):
        with contextlib.suppress(OSError):
            status = path.stat()
            stamps[path] = (status.st_mtime_ns, status.st_size)
    return stamps
