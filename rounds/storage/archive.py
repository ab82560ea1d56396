"""Every record of a room in the cache, one file per system, so that a question about years reads one file.

Like all of the cache it can be made again from the sheets at any time and is never synced. A file
grows by blocks; what stands beyond the length that the index tells is left over from a write that
was cut short and counts as nothing.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from shutil import rmtree
from types import MappingProxyType
from zlib import crc32

import msgspec

from rounds import __version__
from rounds.core.record import Record
from rounds.storage.atomic import replace_file
from rounds.storage.cache import SheetState

FORMAT = 2
"""Raised whenever what is kept changes its meaning."""

_VERSION = f"{__version__} {FORMAT}"
_INDEX = "archive.msgpack"
_HEAD = 8
"""Bytes before each block: its length and its CRC-32."""

BUFFERED = 20_000
"""So many records are held before they are written to their files."""

ELSEWHERE = ""
"""The system of records that name none."""


class Part(msgspec.Struct, array_like=True):
    """One file: the records of one system."""

    number: int
    length: int = 0
    """Bytes that count."""


class Index(msgspec.Struct, kw_only=True):
    """What the files hold."""

    version: str
    folder: str
    """The folder in the cache in which they stand; another one whenever all are written anew."""
    sheets: dict[str, SheetState]
    """The sheets whose records are in them, by path inside the room, and how far."""
    parts: dict[str, Part]
    """By system."""
    formerly: dict[str, str]
    """Former ids, under whose present ones the records are kept."""


class Damaged(OSError):
    """A file of the archive is missing or not what was written."""


_encode = msgspec.json.Encoder().encode  # not msgpack, which loses a time's offset
_decode = msgspec.json.Decoder(list[Record]).decode


def systems_of(record: Record) -> set[str]:
    """The systems among whose records this one is to be found."""
    found = {id.partition("/")[0] for id in (record.task, *(value.reading for value in record.values)) if id}
    found.add(record.system or ELSEWHERE)
    return found


class Archive:
    """The files of one room's archive."""

    def __init__(self, cache: Path, formerly: Mapping[str, str] = MappingProxyType({})) -> None:
        """`formerly` as in `Room.formerly`: an archive under other ids is as good as none."""
        self._cache = cache
        self._formerly = dict(formerly)

    def index(self) -> Index | None:
        """What there is; None when there is nothing that can be used."""
        try:
            found = msgspec.msgpack.decode((self._cache / _INDEX).read_bytes(), type=Index)
        except (OSError, msgspec.MsgspecError, UnicodeDecodeError):
            return None
        return found if found.version == _VERSION and found.formerly == self._formerly else None

    def forget(self) -> None:
        """Let nothing of it count any more; raises `OSError` where the cache folder cannot be written."""
        (self._cache / _INDEX).unlink(missing_ok=True)

    def begin(self) -> Writer:
        """Write all anew; raises `OSError` where the cache folder cannot be written."""
        folder = f"archive-{os.urandom(6).hex()}"
        (self._cache / folder).mkdir(parents=True)
        index = Index(version=_VERSION, folder=folder, sheets={}, parts={}, formerly=self._formerly)
        return Writer(self._cache, index)

    def extend(self, index: Index) -> Writer:
        """Add to what there is."""
        return Writer(self._cache, index)

    def read(self, index: Index, system: str) -> list[Record]:
        """The records of one system in no order, some of them twice; raises `Damaged`."""
        part = index.parts.get(system)
        return [record for block in self._blocks(index, part) for record in _decode_block(block)] if part else []

    def find(self, index: Index, id: str) -> Record | None:
        """The record with this id; raises `Damaged`."""
        wanted = _encode(id)
        for part in index.parts.values():
            for block in self._blocks(index, part):
                if wanted in block:
                    for record in _decode_block(block):
                        if record.id == id:
                            return record
        return None

    def _blocks(self, index: Index, part: Part) -> Iterator[bytes]:
        path = self._cache / index.folder / f"{part.number}.records"
        try:
            with path.open("rb") as file:
                content = file.read(part.length)
        except OSError as error:
            raise Damaged from error
        if len(content) != part.length:
            raise Damaged
        place = 0
        while place < len(content):
            length = int.from_bytes(content[place : place + 4], "big")
            check = int.from_bytes(content[place + 4 : place + _HEAD], "big")
            block = content[place + _HEAD : place + _HEAD + length]
            if len(block) != length or crc32(block) != check:
                raise Damaged
            yield block
            place += _HEAD + length


def _decode_block(block: bytes) -> list[Record]:
    try:
        return _decode(block)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise Damaged from error


class Writer:
    """Puts the records of sheets into the files; nothing counts before `close`."""

    def __init__(self, cache: Path, index: Index) -> None:
        self._cache = cache
        self._index = index
        self._waiting: dict[str, list[Record]] = {}
        self._count = 0

    def add(self, sheet: str, state: SheetState, records: Iterable[Record]) -> None:
        """Take in what a sheet holds."""
        self._index.sheets[sheet] = state
        for record in records:
            for system in systems_of(record):
                self._waiting.setdefault(system, []).append(record)
                self._count += 1
        if self._count > BUFFERED:
            self._flush()

    def close(self) -> Index:
        """Make what was added count, and remove what an earlier archive left; raises `OSError` when it cannot."""
        self._flush()
        replace_file(self._cache / _INDEX, msgspec.msgpack.encode(self._index), durable=False)
        for old in self._cache.glob("archive-*"):
            if old.name != self._index.folder:
                rmtree(old, ignore_errors=True)
        return self._index

    def _flush(self) -> None:
        parts = self._index.parts
        for system, records in self._waiting.items():
            part = parts.setdefault(system, Part(len(parts)))
            block = _encode(records)
            path = self._cache / self._index.folder / f"{part.number}.records"
            with path.open("r+b" if part.length else "wb") as file:
                file.seek(part.length)
                file.write(len(block).to_bytes(4, "big") + crc32(block).to_bytes(4, "big") + block)
            part.length += _HEAD + len(block)
        self._waiting, self._count = {}, 0
