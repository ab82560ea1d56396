"""Changing a room's files from inside: comments, order and formatting of what is not touched stay byte for byte."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Room
from rounds.core.units import Seawater
from rounds.storage.atomic import replace_file
from rounds.storage.room_files import load_room

if TYPE_CHECKING:
    from tomlkit import TOMLDocument
    from tomlkit.items import AoT, Table

_BOM = b"\xef\xbb\xbf"


class FileChange(msgspec.Struct, frozen=True):
    """One file of a room as it was read and as it is to be."""

    file: str
    """Path inside the room."""
    before: bytes | None
    """None: there was no such file."""
    after: bytes

    def __bool__(self) -> bool:
        return self.before != self.after


def change_file(folder: Path, file: str, edit: Callable[[TOMLDocument], object]) -> FileChange:
    """What `edit` makes of a file of the room; writes nothing. A file that is missing begins empty.

    Raises `Refused` when the file cannot be read or is not TOML; a change that would alter more than was asked
    cannot come of the functions below.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    before = _content(folder / file)
    content = before or b""
    mark = _BOM if content.startswith(_BOM) else b""
    windows = b"\r\n" in content and b"\n" not in content.replace(b"\r\n", b"")
    try:
        text = content.removeprefix(_BOM).decode("utf-8")
        document = tomlkit.parse(text.replace("\r\n", "\n") if windows else text)
    except (UnicodeDecodeError, TOMLKitError) as error:
        raise Refused(f"{file} cannot be changed from here ({error}); correct it by hand first") from None
    edit(document)
    after = tomlkit.dumps(document)
    return FileChange(file, before, mark + (after.replace("\n", "\r\n") if windows else after).encode("utf-8"))


def room_with(folder: Path, changes: Iterable[FileChange], seawater: Seawater | None = None) -> Room:
    """The room as it would be; raises `RoomFaults` with every fault, and `NoRoom`."""
    return load_room(folder, seawater, {change.file: change.after for change in changes})


def write_changes(folder: Path, changes: Sequence[FileChange], lock: Path, seawater: Seawater | None = None) -> Room:
    """Put the changes on disk and return the room as it is then.

    Raises `Refused`, and writes nothing, when a file is no longer as it was read; `RoomFaults` when the room would
    have faults.
    """
    from filelock import FileLock

    lock.parent.mkdir(parents=True, exist_ok=True)
    with FileLock(lock):
        for change in changes:
            if _content(folder / change.file) != change.before:
                raise Refused(
                    f"{change.file} was changed meanwhile by hand or by another device; look at it and change it again"
                )
        room = room_with(folder, changes, seawater)
        for change in changes:
            if change:
                _replace(folder / change.file, change)
    return room


def _content(path: Path) -> bytes | None:
    with suppress(FileNotFoundError):
        try:
            return path.read_bytes()
        except OSError as error:
            raise Refused(f"{path.name} cannot be read ({error.strerror or error}); make it readable") from None
    return None


def _replace(path: Path, change: FileChange) -> None:
    try:
        replace_file(path, change.after)
    except OSError as error:
        raise Refused(f"{change.file} cannot be written ({error.strerror or error}); nothing was changed") from None


# -- what an edit does -------------------------------------------------------------------------------


def named(document: TOMLDocument, key: str, id: str, by: str = "id") -> Table | None:
    """The table of the list ``[[key]]`` whose `by` is `id`."""
    return next((table for table in _list(document, key) if table.get(by) == id), None)


def set_keys(table: Any, values: Mapping[str, Any]) -> None:
    """Set keys of a table or of the file itself; None takes one out. What is the same already is not touched."""
    for key, value in values.items():
        if value is None:
            table.pop(key, None)
        elif key not in table or _plain(table[key]) != value:
            comment = _comment(table, key)
            table[key] = value
            if comment:
                table[key].comment(comment)


def put(document: TOMLDocument, key: str, values: Mapping[str, Any], by: str = "id") -> None:
    """Set the keys of the table whose `by` is that of `values`; where there is none, add one after the others."""
    table = named(document, key, values[by], by)
    if table is not None:
        set_keys(table, values)
        return
    import tomlkit

    new = tomlkit.table()
    for name, value in values.items():
        if value is not None:
            new.append(name, value)
    if key not in document:
        listed = tomlkit.aot()
        listed.append(new)
        if document.as_string().strip():
            document.add(tomlkit.nl())
        document.append(key, listed)
        return
    last = _list(document, key)[-1]
    if not last.as_string().endswith("\n\n"):
        last.add(tomlkit.nl())
    if not document.as_string().endswith(last.as_string()):
        new.add(tomlkit.nl())
    document[key].append(new)


def remove(document: TOMLDocument, key: str, id: str, by: str = "id") -> None:
    """Take the table whose `by` is `id` out of the list; its own comments go with it."""
    listed = document.get(key)
    for place, table in enumerate(_list(document, key)):
        if table.get(by) == id:
            del listed[place]  # type: ignore[union-attr]  # a list of tables
            break
    if key in document and not _list(document, key):
        del document[key]


def move(document: TOMLDocument, key: str, id: str, place: int, by: str = "id") -> None:
    """Put the table whose `by` is `id` at a place of its list, with the comments inside it."""
    tables = _list(document, key)
    order = [table for table in tables if table.get(by) != id]
    moved = [table for table in tables if table.get(by) == id]
    order[place:place] = moved
    listed: AoT = document[key]
    for each, table in enumerate(order):
        if listed[each] is not table:
            listed[each] = table


def _list(document: TOMLDocument, key: str) -> list[Table]:
    found = document.get(key, [])
    return list(found) if isinstance(found, list) else []


def _plain(item: Any) -> Any:
    return item.unwrap() if hasattr(item, "unwrap") else item


def _comment(table: Any, key: str) -> str:
    """The comment behind the value of a key."""
    item = table.item(key) if key in table else None
    return item.trivia.comment.lstrip("# ") if item is not None and item.trivia.comment else ""
