"""A TOML file as stretches of text, so that changing one table leaves every other byte as it was.

A file is cut at its headers. Between two tables stands a gap: blank lines, and comments that stand for themselves, such
as a divider between the tasks of two stations. Comments directly on top of a header, or directly under the last key,
belong to their table and go where it goes. Only the table that is changed is handed to tomlkit: a whole file it would
reorder where a list is written in several places.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from itertools import takewhile
from typing import Any

from rounds.core.errors import Refused

LONGEST_LINE = 110
"""Columns; a longer list gets a line for each of its values."""

_LINE = re.compile(r"[^\n]*\n|[^\n]+")
_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


class Block:
    """One table of a file with its comments and the tables inside it; of the file itself what stands before them."""

    def __init__(self, path: tuple[str, ...], listed: bool, own: str, gap: str = "", lead: str = "") -> None:
        self.path = path
        """The parts of its name; empty for the file itself."""
        self.listed = listed
        """Whether it is one of a list."""
        self.own = own
        """Header, keys and the comments directly under them."""
        self.gap = gap
        """What stands before it for itself."""
        self.lead = lead
        """Comments directly on top of it."""
        self.within = ""
        """The tables inside it."""

    @property
    def text(self) -> str:
        return f"{self.gap}{self.lead}{self.own}{self.within}"

    def end_line(self) -> None:
        """What comes next begins on a line of its own."""
        if self.within:
            self.within = _ended(self.within)
        else:
            self.own = _ended(self.own)

    def set(self, key: str, value: Any) -> None:
        """Give a key a value, with the comment that stands behind it; None takes the key out."""
        import tomlkit

        document = tomlkit.parse(_ended(self.own))
        table: Any = document
        for part in self.path:
            table = table[part]
        if self.listed:
            table = table[0]
        if value is None:
            table.pop(key, None)
        else:
            table[key] = tomlkit.value(value_text(value, len(key) + 3))
        self.own = document.as_string()


class Document:
    """A file of tables, changed table by table."""

    def __init__(self, text: str) -> None:
        """Raises `tomllib.TOMLDecodeError`."""
        self.data: dict[str, Any] = tomllib.loads(text)
        """What the file says; whoever changes the text changes this too, so that one can be held against the other."""
        self.blocks: list[Block] = []
        """In the order of the file, the keys of the file itself first."""
        self.tail = ""
        """Blank lines and comments behind the last table."""
        self._cut(text)

    @property
    def text(self) -> str:
        return "".join(block.text for block in self.blocks) + self.tail

    @property
    def head(self) -> Block:
        """The keys of the file itself."""
        return self.blocks[0]

    def listed(self, key: str) -> list[Block]:
        """The tables of the list ``[[key]]`` in their order."""
        return [block for block in self.blocks if block.path == (key,) and block.listed]

    def append(self, block: Block) -> None:
        """Put a table at the end of the file."""
        block.gap = _ended(self.tail.rstrip("\r\n")) + "\n" if self.text.strip() else self.tail
        self.blocks[-1].end_line()
        self.blocks.append(block)
        self.tail = ""

    def insert_after(self, block: Block, before: Block) -> None:
        """Put a table directly behind another: in front of a divider that belongs to what follows."""
        before.end_line()
        block.end_line()
        block.gap = "\n"
        self.blocks.insert(self.blocks.index(before) + 1, block)

    def insert_before(self, block: Block, following: Block) -> None:
        """Put a table directly in front of another: behind a divider that both stand under."""
        block.end_line()
        block.gap, following.gap = following.gap, "\n"
        self.blocks.insert(self.blocks.index(following), block)

    def take_out(self, block: Block) -> None:
        """Take a table out; a divider before it stays."""
        place = self.blocks.index(block)
        del self.blocks[place]
        if not block.gap.strip():
            return
        if place < len(self.blocks):
            following = self.blocks[place]
            following.gap = block.gap + following.gap.removeprefix("\n")
        else:
            self.tail = block.gap + self.tail.removeprefix("\n")

    def _cut(self, text: str) -> None:
        gap, lead = "", ""
        parts = list(_tables(text))
        for place, (lines, path, listed) in enumerate(parts):
            last = place == len(parts) - 1
            body, under = _parted(lines)
            beside = list(takewhile(lambda line: line.strip(), under))
            if len(beside) == len(under) and not last:
                beside = []  # no blank line parts them from the header they stand on top of
            rest = under[len(beside) :]
            block = Block(path, listed, "".join((*body, *beside)), gap, lead)
            if len(path) > 1 and self.blocks[-1].path[:1] == path[:1]:
                self.blocks[-1].within += block.text
            else:
                self.blocks.append(block)
            on_top = [] if last else list(takewhile(lambda line: line.strip(), reversed(rest)))[::-1]
            gap, lead = "".join(rest[: len(rest) - len(on_top)]), "".join(on_top)
        self.tail = gap


def new_table(key: str, values: Mapping[str, Any]) -> Block:
    """A table of the list ``[[key]]``; what is None is left out."""
    lines = [f"{_key(name)} = {value_text(each, len(name) + 3)}" for name, each in values.items() if each is not None]
    return Block((key,), True, "\n".join((f"[[{_key(key)}]]", *lines)) + "\n")


def value_text(value: Any, column: int = 0) -> str:
    """A value as TOML; a list that does not fit into the line on which it begins at `column` has a line a value."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string(value)
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, Mapping):
        pairs = ", ".join(f"{_key(key)} = {value_text(each)}" for key, each in value.items())
        return f"{{ {pairs} }}" if pairs else "{}"
    if isinstance(value, list | tuple):
        items = [value_text(item) for item in value]
        line = f"[{', '.join(items)}]"
        if column + len(line) <= LONGEST_LINE:
            return line
        return "[\n" + "".join(f"  {item},\n" for item in items) + "]"
    return str(value.isoformat())


def _string(text: str) -> str:
    if any(0xD800 <= ord(character) <= 0xDFFF for character in text):
        raise Refused("the text holds half a character; type it again")
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _string(name)


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else f"{text}\n"


# -- cutting ----------------------------------------------------------------------------------------


def _tables(text: str) -> Iterator[tuple[list[str], tuple[str, ...], bool]]:
    """The lines of each table with its name and whether it is one of a list; first those before all tables."""
    lines: list[str] = []
    path: tuple[str, ...] = ()
    listed = False
    for line in _LINE.findall(text):
        header = _header(line)
        if header is not None and _whole(lines):
            yield lines, path, listed
            lines, (path, listed) = [], header
        lines.append(line)
    yield lines, path, listed


def _header(line: str) -> tuple[tuple[str, ...], bool] | None:
    """The name that a line would give as a header, and whether of a list."""
    if not line.lstrip().startswith("["):
        return None
    try:
        table: Any = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return None
    path = []
    while isinstance(table, dict) and table:
        name, table = next(iter(table.items()))
        path.append(name)
    return tuple(path), isinstance(table, list)


def _whole(lines: Sequence[str]) -> bool:
    """Whether the lines end with everything closed, and not within a text or a list."""
    try:
        tomllib.loads("".join(lines))
    except tomllib.TOMLDecodeError:
        return False
    return True


def _parted(lines: Sequence[str]) -> tuple[Sequence[str], Sequence[str]]:
    """The lines of a table up to its last key, and the blank lines and comments under it."""
    under = list(takewhile(lambda line: not line.strip() or line.lstrip().startswith("#"), reversed(lines)))
    end = len(lines) - len(under)
    while not _whole(lines[:end]):
        end += 1  # the last line of a text may look like a comment
    return lines[:end], lines[end:]
