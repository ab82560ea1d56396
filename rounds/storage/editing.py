"""Changing a room's files from inside: comments, order and formatting of what is not touched stay byte for byte."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Room
from rounds.core.units import Seawater
from rounds.storage.atomic import replace_file, sync_folder
from rounds.storage.room_files import load_room
from rounds.storage.sheets import POLL, WAIT
from rounds.storage.toml_text import Document, new_table

_BOM = b"\xef\xbb\xbf"


class ChangedMeanwhile(Refused):
    """A file is no longer as it was when the change of it was begun."""

    def __init__(self, file: str) -> None:
        super().__init__(f"{file} was changed meanwhile by hand or by another device; look at it and change it again")


class FileChange(msgspec.Struct, frozen=True):
    """One file of a room as it was read and as it is to be."""

    file: str
    """Path inside the room."""
    before: bytes | None
    """None: there was no such file."""
    after: bytes | None
    """None: it is to be no more."""

    def __bool__(self) -> bool:
        return self.before != self.after


def change_file(folder: Path, file: str, edit: Callable[[Document], object]) -> FileChange:
    """What `edit` makes of a file of the room; writes nothing. A file that is missing begins empty.

    Raises `Refused` when the file cannot be read, is not TOML, or is written so that the functions below would alter
    more than was asked.
    """
    before = _content(folder / file)
    content = before or b""
    mark = _BOM if content.startswith(_BOM) else b""
    windows = b"\r\n" in content and b"\n" not in content.replace(b"\r\n", b"")
    try:
        text = content.removeprefix(_BOM).decode("utf-8")
        document = Document(text.replace("\r\n", "\n") if windows else text)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as error:
        raise Refused(f"{file} cannot be changed from here ({error}); correct it by hand first") from None
    edit(document)
    after = document.text
    if not _says(after, document.data):
        raise Refused(f"{file} is written in a way that cannot be changed from here; change it by hand")
    return FileChange(file, before, mark + (after.replace("\n", "\r\n") if windows else after).encode("utf-8"))


def _says(text: str, data: Mapping[str, Any]) -> bool:
    """Whether the text says what was asked, and nothing else."""
    try:
        return tomllib.loads(text) == data
    except tomllib.TOMLDecodeError:
        return False


def moved_file(folder: Path, change: FileChange, file: str) -> tuple[FileChange, FileChange]:
    """The change of one file as that of another, which is new; then the first is to be no more.

    Raises `Refused` where there is a file of the new name.
    """
    if (folder / file).exists():
        raise Refused(f"there is {file} already; choose another name")
    return FileChange(file, None, change.after), FileChange(change.file, change.before, None)


def room_with(folder: Path, changes: Iterable[FileChange], seawater: Seawater | None = None) -> Room:
    """The room as it would be; raises `RoomFaults` with every fault, and `NoRoom`."""
    return load_room(folder, seawater, {change.file: change.after for change in changes})


def write_changes(folder: Path, changes: Sequence[FileChange], lock: Path, seawater: Seawater | None = None) -> Room:
    """Put the changes on disk and return the room as it is then.

    Raises `Refused`, and writes nothing, when a file is no longer as it was read; `RoomFaults` when the room would
    have faults.
    """
    from filelock import FileLock, Timeout

    try:
        lock.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(lock, timeout=WAIT, poll_interval=POLL):
            for change in changes:
                if _content(folder / change.file) != change.before:
                    raise ChangedMeanwhile(change.file)
            room = room_with(folder, changes, seawater)
            _write_all(folder, [change for change in changes if change])
            return room
    except Timeout:
        raise Refused(f"another Rounds on this device holds {lock}; nothing was changed: try again") from None
    except OSError as error:
        raise Refused(f"{lock} cannot be written ({error.strerror or error}); nothing was changed") from None


def _write_all(folder: Path, changes: Sequence[FileChange]) -> None:
    """All of them or none: what was written is put back when the disk refuses a later one."""
    written: list[FileChange] = []
    try:
        for change in changes:
            written.append(change)
            _put(folder / change.file, change.after)
    except OSError as error:
        for change in written:
            with suppress(OSError):
                _put(folder / change.file, change.before)
        raise Refused(
            f"{written[-1].file} cannot be written ({error.strerror or error}); nothing was changed"
        ) from None


def _put(path: Path, content: bytes | None) -> None:
    """Make the file hold this; None: make it be no more."""
    if content is None:
        path.unlink(missing_ok=True)
        sync_folder(path.parent)
    else:
        replace_file(path, content)


def _content(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise Refused(f"{path.name} cannot be read ({error.strerror or error}); make it readable") from None


# -- what an edit does -------------------------------------------------------------------------------


class Entry:
    """One table of a list in a file that is changed."""

    def __init__(self, document: Document, key: str, place: int) -> None:
        self.document = document
        self.key = key
        self.place = place

    @property
    def data(self) -> dict[str, Any]:
        """What it says."""
        found: dict[str, Any] = self.document.data[self.key][self.place]
        return found

    def set(self, key: str, value: Any) -> None:
        """Give a key a value; None takes it out."""
        if value is None:
            self.data.pop(key, None)
        else:
            self.data[key] = value
        blocks = self.document.listed(self.key)
        if blocks:
            blocks[self.place].set(key, value)
        else:
            self.document.head.set(self.key, self.document.data[self.key])


def named(document: Document, key: str, id: str, by: str = "id") -> Entry | None:
    """The table of the list ``[[key]]`` whose `by` is `id`."""
    tables = _list(document, key)
    return next((Entry(document, key, place) for place, table in enumerate(tables) if table.get(by) == id), None)


def set_keys(table: Document | Entry, values: Mapping[str, Any]) -> None:
    """Set keys of a table or of the file itself; None takes one out. What is the same already is not touched."""
    for key, value in values.items():
        value = list(value) if isinstance(value, tuple) else value
        if table.data.get(key) == value and type(table.data.get(key)) is type(value):
            continue
        if isinstance(table, Entry):
            table.set(key, value)
            continue
        table.head.set(key, value)
        if value is None:
            table.data.pop(key, None)
        else:
            table.data[key] = value


def put(document: Document, key: str, values: Mapping[str, Any], by: str = "id", after: str | None = None) -> None:
    """Set the keys of the table whose `by` is that of `values`; where there is none, add one.

    It comes after the one whose `by` is `after`, else after the others.
    """
    table = named(document, key, values[by], by)
    if table is not None:
        set_keys(table, values)
        return
    tables, blocks = _list(document, key), document.listed(key)
    data = {name: list(v) if isinstance(v, tuple) else v for name, v in values.items() if v is not None}
    known = named(document, key, after, by) if after is not None else None
    place = known.place + 1 if known is not None else len(tables)
    document.data.setdefault(key, []).insert(place, data)
    if blocks:
        document.insert_after(new_table(key, data), blocks[place - 1])
    elif tables:
        document.head.set(key, document.data[key])
    else:
        document.append(new_table(key, data))


def remove(document: Document, key: str, id: str, by: str = "id") -> None:
    """Take the table whose `by` is `id` out of the list; its own comments go with it."""
    table = named(document, key, id, by)
    if table is None:
        return
    blocks = document.listed(key)
    del document.data[key][table.place]
    if blocks:
        document.take_out(blocks[table.place])
    else:
        document.head.set(key, document.data[key] or None)
    if not document.data[key]:
        del document.data[key]


def move(document: Document, key: str, id: str, place: int, by: str = "id") -> None:
    """Put the table whose `by` is `id` at a place of its list, with its comments."""
    table = named(document, key, id, by)
    if table is None or table.place == place:
        return
    blocks, tables = document.listed(key), document.data[key]
    tables.insert(place, tables.pop(table.place))
    if not blocks:
        document.head.set(key, tables)
        return
    block = blocks.pop(table.place)
    document.take_out(block)
    if place > table.place:
        document.insert_after(block, blocks[place - 1])
    else:
        document.insert_before(block, blocks[place])


def _list(document: Document, key: str) -> list[dict[str, Any]]:
    found = document.data.get(key, [])
    return found if isinstance(found, list) and all(isinstance(each, dict) for each in found) else []
