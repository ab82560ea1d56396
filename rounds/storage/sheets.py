"""Day sheets: one small TinyDB file per device and round day of ``recorded``."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from rounds.core.errors import Refused
from rounds.core.record import Record
from rounds.storage.atomic import replace_file, sync_new

if TYPE_CHECKING:
    from tinydb import TinyDB

SHEETS = "sheets"
TABLE = "records"
LARGEST = 64 * 1024 * 1024
"""Bytes; a larger file is no sheet of ours."""


WAIT = 10.0
"""Seconds that a process waits for another one of the device to have written."""

POLL = 0.005
"""Seconds between two tries: while others write one record after another, the lock is free for milliseconds only."""


class DamagedSheet(Exception):
    """The file is not a sheet; it is left as it is."""


class SheetRead(msgspec.Struct, frozen=True, kw_only=True):
    """What one file holds."""

    records: tuple[Record, ...] = ()
    problems: tuple[str, ...] = ()
    """Sentences about what could not be read; the rest is used."""
    entries: tuple[bytes, ...] = ()
    """Every entry as JSON, also those that could not be used, in the order of the file."""


class Stamp(NamedTuple):
    """By which a file is known to be unchanged."""

    size: int
    mtime_ns: int
    inode: int


Stamped = tuple[str, Stamp]
"""A sheet by its path inside the room: plain text, for thousands of them are looked at every second."""


def sheet_stamps(room: Path) -> Iterator[Stamped]:
    """Every regular ``*.json`` under ``sheets/``, however deep and whatever its name, in no order."""
    folders = [SHEETS]
    while folders:
        yield from _regular(room, folders.pop(), deeper=folders)


def sheet_files(room: Path) -> list[tuple[Path, Stamp]]:
    """The same in order of path."""
    return sorted((room / name, stamp) for name, stamp in sheet_stamps(room))


def day_stamps(room: Path, days: Iterable[date]) -> Iterator[Stamped]:
    """The sheets that any device has named after one of the round days."""
    days = tuple(days)
    folders = {f"{SHEETS}/{day.year:04}" for day in days}
    starts = tuple(day.isoformat() for day in days)
    for folder in folders:
        yield from _regular(room, folder, starts)


def _regular(
    room: Path, folder: str, starts: tuple[str, ...] = ("",), deeper: list[str] | None = None
) -> Iterator[Stamped]:
    """The regular ``*.json`` files of one folder whose names begin so; nothing where it cannot be read.

    The folders in it, links left out, are added to `deeper`.
    """
    try:
        with os.scandir(room / folder) as entries:
            for entry in entries:
                name = entry.name
                if deeper is not None and entry.is_dir(follow_symlinks=False):
                    deeper.append(f"{folder}/{name}")
                if not name.endswith(".json") or name.startswith(".") or not name.startswith(starts):
                    continue
                status = entry.stat(follow_symlinks=False)
                if stat.S_ISREG(status.st_mode):
                    yield f"{folder}/{name}", Stamp(status.st_size, status.st_mtime_ns, status.st_ino)
    except OSError:
        return


def sheet_path(room: Path, day: date, device: str, copy: int = 1) -> Path:
    """Where a device writes what it records on a round day; further copies beside damaged ones."""
    suffix = f".{copy}" if copy > 1 else ""
    return room / SHEETS / f"{day.year:04}" / f"{day.isoformat()}.{device}{suffix}.json"


def parse_sheet(content: bytes) -> dict[str, Any]:
    """A sheet as it stands in the file, its records undecoded; raise `DamagedSheet`."""
    if len(content) > LARGEST:
        raise DamagedSheet(f"the file has {len(content):,} bytes, too many for a sheet")
    try:
        data = msgspec.json.decode(content)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        what = "the file is empty" if not content.strip() else f"it is not JSON ({error})"
        raise DamagedSheet(what) from None
    if not isinstance(data, dict) or not isinstance(data.get(TABLE), dict):
        raise DamagedSheet(f'it has no "{TABLE}" table')
    return data


def read_sheet(path: Path) -> SheetRead:
    """Read one file as far as it can be read; never raises for what the file holds."""
    try:
        content = path.read_bytes()
        return _read_whole(content) or _read_by_entry(parse_sheet(content)[TABLE])
    except OSError as error:
        return SheetRead(problems=(f"it cannot be read ({error.strerror or error})",))
    except DamagedSheet as damage:
        return SheetRead(problems=(f"{damage}; it is left as it is and its records are not used",))


class _Sheet(msgspec.Struct, frozen=True):
    records: dict[str, Record]


class _RawSheet(msgspec.Struct, frozen=True):
    records: dict[str, msgspec.Raw]


_decode_sheet = msgspec.json.Decoder(_Sheet).decode
_decode_raw = msgspec.json.Decoder(_RawSheet).decode


def _read_whole(content: bytes) -> SheetRead | None:
    """A sheet without a fault, several times as fast as entry by entry; None when it has one."""
    if len(content) > LARGEST:
        return None
    try:
        records = tuple(_decode_sheet(content).records.values())
        raw = _decode_raw(content).records
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError, OverflowError):
        return None
    if any(record.at.tzinfo is None or record.recorded.tzinfo is None for record in records):
        return None
    return SheetRead(records=records, entries=tuple(bytes(entry) for entry in raw.values()))


def _read_by_entry(sheet: dict[str, Any]) -> SheetRead:
    """What can be used of a sheet, and a sentence about each entry that cannot."""
    found, problems, entries = [], [], []
    for number, raw in sheet.items():
        entries.append(msgspec.json.encode(raw, order="sorted"))
        try:
            record = msgspec.convert(raw, Record)
            if record.at.tzinfo is None or record.recorded.tzinfo is None:
                raise msgspec.ValidationError("a time without an offset")
        except (msgspec.ValidationError, OverflowError) as error:
            problems.append(f"record {number} cannot be used ({error})")
        else:
            found.append(record)
    return SheetRead(records=tuple(found), problems=tuple(problems), entries=tuple(entries))


class SheetWriter:
    """Appends records to this device's sheets of one room."""

    def __init__(self, room: Path, device: str, lock_file: Path) -> None:
        self._room = room
        self._device = device
        self._lock_file = lock_file

    def append(self, records: Sequence[Record], day: date) -> Path:
        """Write the records in one step and return their sheet once they are safely on disk.

        One whose id stands in the sheet already is not written again. Raises `Refused` with
        what the disk said; then nothing was written.
        """
        from filelock import FileLock, Timeout

        try:
            self._lock_file.parent.mkdir(parents=True, exist_ok=True)
            with FileLock(self._lock_file, timeout=WAIT, poll_interval=POLL):
                return self._append(records, day)
        except Timeout:
            raise Refused(
                f"another Rounds on this device holds {self._lock_file} for ten seconds now; not recorded: try again"
            ) from None
        except OSError as error:
            where = error.filename or self._room
            raise Refused(
                f"not recorded: {where}: {error.strerror or error}; make room or rights there and try again"
            ) from error

    def _append(self, records: Sequence[Record], day: date) -> Path:
        for copy in range(1, 100):
            path = sheet_path(self._room, day, self._device, copy)
            database = open_sheet(path)
            try:
                table = database.table(TABLE)
                known = {document.get("id") for document in table}
                news = [record for record in records if record.id not in known]
                if news:
                    table.insert_multiple(msgspec.to_builtins(record, str_keys=True) for record in news)
                else:
                    sync_new(path)  # a first try may have failed just there
                return path
            except DamagedSheet:
                continue
            finally:
                database.close()
        raise OSError(0, "a hundred damaged sheets stand there", str(path))


def open_sheet(path: Path) -> TinyDB:
    """The sheet as a TinyDB whose storage replaces the file atomically and raises `DamagedSheet`."""
    from tinydb import TinyDB
    from tinydb.storages import Storage

    class SheetStorage(Storage):
        """Reads a damaged file as an error, never as empty: an empty answer would be written back.

        What was read is held until it is written: TinyDB asks for it three times to insert, under one lock.
        """

        def __init__(self, path: Path) -> None:
            self._path = path
            self._held: dict[str, dict[str, Any]] | None = None

        def read(self) -> dict[str, dict[str, Any]] | None:
            if self._held is None:
                self._held = self._read()
            return self._held

        def _read(self) -> dict[str, dict[str, Any]] | None:
            try:
                content = self._path.read_bytes()
            except FileNotFoundError:
                return None
            except IsADirectoryError:
                raise DamagedSheet("a folder stands in its place") from None
            sheet = parse_sheet(content)
            if not all(number.isdecimal() and isinstance(entry, dict) for number, entry in sheet[TABLE].items()):
                raise DamagedSheet("an entry of it is no record")
            return sheet

        def write(self, data: dict[str, dict[str, Any]]) -> None:
            self._held = None
            replace_file(self._path, msgspec.json.format(msgspec.json.encode(data), indent=1) + b"\n")

    return TinyDB(path, storage=SheetStorage)


def inspect_sheets(room: Path) -> Iterator[tuple[Path, SheetRead]]:
    """Every file under ``sheets/`` with what it holds; what is no sheet says so."""
    known = dict(sheet_files(room))
    for folder, folders, names in os.walk(room / SHEETS):
        folders.sort()
        for name in sorted((*names, *folders)):
            path = Path(folder) / name
            if path in known:
                yield path, read_sheet(path)
            elif name.endswith(".json") and not name.startswith("."):
                what = "a folder" if path.is_dir() and not path.is_symlink() else "a link or no regular file"
                yield path, SheetRead(problems=(f"{what} stands where a sheet should be; move it away",))
            elif name in names and not name.startswith("."):
                yield path, SheetRead(problems=("it is no sheet, whose name ends with .json; move it away",))
