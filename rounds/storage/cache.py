"""What can be worked out again at any time: kept in the user's cache folder, never in the room.

A cache that is missing, damaged or of another version is as good as none. Nothing here is synced:
losing it loses nothing.
"""

from __future__ import annotations

import contextlib
from datetime import date
from hashlib import blake2b
from pathlib import Path
from typing import TypeVar
from zlib import crc32

import msgspec

from rounds import __version__
from rounds.core.fold import Kept
from rounds.core.model import Room
from rounds.storage.atomic import replace_file
from rounds.storage.sheets import Stamp

FORMAT = 9
"""Raised whenever what is kept changes its meaning."""

_VERSION = f"{__version__} {FORMAT}"

T = TypeVar("T", bound="KeptRoom | Fold")


class SheetState(msgspec.Struct, frozen=True, array_like=True):
    """How far one sheet was read."""

    size: int
    mtime_ns: int
    inode: int
    count: int
    """Entries in it."""
    digest: bytes
    """Of these entries: a sheet whose first `count` entries have the same digest has only grown."""
    problems: tuple[str, ...] = ()

    def is_of(self, stamp: Stamp) -> bool:
        """Whether the sheet is unchanged."""
        return (self.size, self.mtime_ns, self.inode) == stamp


class KeptRoom(msgspec.Struct, frozen=True, kw_only=True):
    """The structs of the room's files."""

    version: str
    digest: bytes
    """Of the files' names and contents."""
    room: Room


class Fold(msgspec.Struct, frozen=True, kw_only=True):
    """What the sheets come down to for the present."""

    version: str
    kept: Kept
    sheets: dict[str, SheetState]
    """By path inside the room."""
    day: date
    """The round day as of which it answers."""
    formerly: dict[str, str]
    """Former ids, under whose present ones the records are kept."""


def digest(*parts: bytes) -> bytes:
    """A short digest of byte strings, their borders included."""
    total = blake2b(digest_size=16)
    for part in parts:
        total.update(len(part).to_bytes(8, "little"))
        total.update(part)
    return total.digest()


class Cache:
    """The cache folder of one room."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def room(self, files: bytes) -> Room | None:
        """The room whose files have the digest `files`; None when it is not kept."""
        kept = self._read("room.msgpack", KeptRoom)
        return kept.room if kept is not None and kept.digest == files else None

    def keep_room(self, files: bytes, room: Room) -> None:
        self._write("room.msgpack", KeptRoom(version=_VERSION, digest=files, room=room))

    def fold(self) -> Fold | None:
        return self._read("fold.msgpack", Fold)

    def keep_fold(
        self, kept: Kept, sheets: dict[str, SheetState], day: date, formerly: dict[str, str] | None = None
    ) -> None:
        fold = Fold(version=_VERSION, kept=kept, sheets=sheets, day=day, formerly=formerly or {})
        self._write("fold.msgpack", fold)

    def _read(self, name: str, kind: type[T]) -> T | None:
        try:
            content = (self.folder / name).read_bytes()
            if crc32(memoryview(content)[4:]) != int.from_bytes(content[:4], "big"):
                return None
            found = msgspec.msgpack.decode(memoryview(content)[4:], type=kind)
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError, ValueError):
            return None
        return found if found.version == _VERSION else None

    def _write(self, name: str, content: KeptRoom | Fold) -> None:
        """Keep it; where the cache folder cannot be written, do without."""
        packed = msgspec.msgpack.encode(content)
        with contextlib.suppress(OSError):
            replace_file(self.folder / name, crc32(packed).to_bytes(4, "big") + packed, durable=False)
