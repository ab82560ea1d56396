"""Changing a room's files from inside: comments, order and formatting of what is not touched stay byte for byte."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from rounds.core.errors import Refused
from rounds.storage.changes import FileChange, content_of
from rounds.storage.toml_text import Block, Document, differences, new_table

_BOM = b"\xef\xbb\xbf"


def change_file(folder: Path, file: str, edit: Callable[[Document], object]) -> FileChange:
    """What `edit` makes of a file of the room; writes nothing. A file that is missing begins empty.

    Raises `Refused` when the file cannot be read, is not TOML, or is written so that the functions below would alter
    more than was asked.
    """
    before = content_of(folder / file)
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


# -- what an edit does -------------------------------------------------------------------------------


class Rows(msgspec.Struct, frozen=True):
    """What a key that holds a list of tables is to say."""

    tables: Sequence[Mapping[str, Any]]
    came: tuple[int | None, ...]
    """For each of them which one of those in the file it was; None: it is new."""
    headers: bool = False
    """Whether tables get headers of their own, as ``[[protocols.steps]]``, where there are none yet."""


class Keys(msgspec.Struct, frozen=True):
    """What a key that holds one table is to say."""

    table: Mapping[str, Any]
    headers: bool = False
    """Whether it gets a header of its own, as ``[units]``, where there is none yet."""


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

    @property
    def block(self) -> Block | None:
        """Its text; None where the whole list is one value."""
        blocks = self.document.listed(self.key)
        return blocks[self.place] if blocks else None

    @property
    def inner(self) -> list[Block]:
        """The tables inside it."""
        return self.block.inner if self.block is not None else []

    def put_inside(self, old: Sequence[Block], new: Sequence[Block]) -> None:
        """Put tables inside it where others stood."""
        if self.block is not None:
            self.block.put_inside(old, new)


class Whole:
    """The keys of a file itself."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.data = document.data
        self.block: Block | None = document.head

    @property
    def inner(self) -> list[Block]:
        """The tables of the file."""
        return self.document.blocks

    def put_inside(self, old: Sequence[Block], new: Sequence[Block]) -> None:
        """Put a table where another stood, else directly behind the keys of the file."""
        for block in new:
            if block not in old:
                self.document.insert_after(block, self.document.head)
        for block in old:
            if block not in new:
                self.document.take_out(block)


def named(document: Document, key: str, id: str, by: str = "id") -> Entry | None:
    """The table of the list ``[[key]]`` whose `by` is `id`."""
    tables = _list(document, key)
    return next((Entry(document, key, place) for place, table in enumerate(tables) if table.get(by) == id), None)


def set_keys(table: Document | Entry, values: Mapping[str, Any]) -> None:
    """Set keys of a table or of the file itself; None takes one out. What is the same already is not touched.

    Of a list of tables and of a table (`Rows`, `Keys`) only what differs is touched.
    """
    target = Whole(table) if isinstance(table, Document) else table
    for key, value in values.items():
        value = _as_held(value)
        plain = _plain(value)
        old = target.data.get(key)
        if old == plain and type(old) is type(plain):
            continue
        if target.block is not None:
            _set_text(target, target.block, key, old, value)
        if plain is None:
            target.data.pop(key, None)
        else:
            target.data[key] = plain
        if isinstance(target, Entry) and target.block is None:
            target.document.head.set(target.key, target.document.data[target.key])


def _as_held(value: Any) -> Any:
    """Tables, and lists of them, as what says that they are such."""
    if isinstance(value, list) and value and all(isinstance(each, Mapping) for each in value):
        return Rows(value, tuple(range(len(value))))
    return Keys(value) if isinstance(value, Mapping) else value


def _plain(value: Any) -> Any:
    """What the file says of it; None: nothing."""
    if isinstance(value, Rows):
        return [_without_none(table) for table in value.tables] or None
    if isinstance(value, Keys):
        return _without_none(value.table) or None
    return list(value) if isinstance(value, tuple) else value


def _without_none(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if value is not None}


def _set_text(target: Whole | Entry, block: Block, key: str, old: Any, value: Any) -> None:
    path = (*block.path, key)
    inside = [each for each in target.inner if each.path == path]
    if isinstance(value, Rows):
        _set_rows(target, block, key, _tables(old), value, inside)
    elif isinstance(value, Keys):
        _set_part(target, block, key, old if isinstance(old, dict) else {}, value, inside)
    elif inside and value is None:
        target.put_inside(inside, [])
    else:
        block.set(key, value)


def _set_rows(
    target: Whole | Entry, block: Block, key: str, old: Sequence[Any], rows: Rows, inside: list[Block]
) -> None:
    """`inside`: the tables with headers of their own that are its list."""
    tables = [_without_none(table) for table in rows.tables]
    came = [was if was is not None and was < len(old) else None for was in rows.came]
    if inside or (rows.headers and not old):
        target.put_inside(inside, [
            new_table((*block.path, key), table) if was is None else _changed(inside[was], old[was], table)
            for table, was in zip(tables, came, strict=True)
        ])  # fmt: skip
    elif old and tables:
        block.set_rows(key, old, tables, came)
    else:
        block.set(key, tables or None)


def _set_part(
    target: Whole | Entry, block: Block, key: str, old: Mapping[str, Any], keys: Keys, inside: list[Block]
) -> None:
    table = _without_none(keys.table)
    if inside and table:
        _changed(inside[0], old, table)
    elif inside:
        target.put_inside(inside, [])
    elif old and table:
        block.set_part(key, old, table)
    elif keys.headers and table:
        target.put_inside([], [new_table((*block.path, key), table, listed=False)])
    else:
        block.set(key, table or None)


def _changed(block: Block, old: Mapping[str, Any], new: Mapping[str, Any]) -> Block:
    for key, value in differences(old, new).items():
        block.set(key, value)
    return block


def put(document: Document, key: str, values: Mapping[str, Any], by: str = "id", after: str | None = None) -> None:
    """Set the keys of the table whose `by` is that of `values`; where there is none, add one.

    It comes after the one whose `by` is `after`, else after the others.
    """
    table = named(document, key, values[by], by)
    if table is not None:
        set_keys(table, values)
        return
    tables, blocks = _list(document, key), document.listed(key)
    known = named(document, key, after, by) if after is not None else None
    place = known.place + 1 if known is not None else len(tables)
    headed = {name: value for name, value in values.items() if isinstance(value, Rows | Keys) and value.headers}
    data = {n: plain for n, value in values.items() if n not in headed and (plain := _plain(value)) is not None}
    document.data.setdefault(key, []).insert(place, data)
    if blocks:
        document.insert_after(new_table((key,), data), blocks[place - 1])
    elif tables:
        document.head.set(key, document.data[key])
    else:
        document.append(new_table((key,), data))
    set_keys(Entry(document, key, place), headed)


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
    return _tables(document.data.get(key))


def _tables(found: Any) -> list[dict[str, Any]]:
    """A list of tables; empty where it is none."""
    return found if isinstance(found, list) and all(isinstance(each, dict) for each in found) else []
