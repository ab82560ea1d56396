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

import msgspec

from rounds.core.errors import Refused

LONGEST_LINE = 110
"""Columns; a longer list gets a line for each of its values."""

_LINE = re.compile(r"[^\n]*\n|[^\n]+")
_BARE = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)
_TOKEN = re.compile(
    r"""\"{3}(?:[^\\]|\\.)*?\"{3,5}|'{3}.*?'{3,5}|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'|\#[^\n]*|\s+|[][{},]|[^][\s{},#"']+""",
    re.DOTALL,
)
"""Of a value: texts, comments, blanks, brackets and commas, and what else stands between them."""


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
        self.inner: list[Block] = []
        """The tables inside it."""

    @property
    def text(self) -> str:
        return f"{self.gap}{self.lead}{self.own}{self.within}"

    @property
    def within(self) -> str:
        """The text of the tables inside it."""
        return "".join(block.text for block in self.inner)

    def end_line(self) -> None:
        """What comes next begins on a line of its own."""
        if self.inner:
            self.inner[-1].end_line()
        else:
            self.own = _ended(self.own)

    def set(self, key: str, value: Any) -> None:
        """Give a key a value, with the comment that stands behind it; None takes the key out."""
        self.set_text(key, None if value is None else value_text(value, len(key) + 3))

    def set_text(self, key: str, text: str | None) -> None:
        """Give a key the value that a text of TOML says; None takes the key out."""
        import tomlkit

        document, table = self._parsed()
        if text is None:
            table.pop(key, None)
        else:
            table[key] = tomlkit.value(text)
        self.own = document.as_string()

    def set_rows(
        self, key: str, old: Sequence[Any], tables: Sequence[Mapping[str, Any]], came: Sequence[int | None]
    ) -> None:
        """Give a list of tables in one value others; `came`: which of the `old` ones each was."""
        self.set_text(key, changed_rows(self.value_of(key), old, tables, came, len(key) + 3))

    def set_part(self, key: str, old: Mapping[str, Any], values: Mapping[str, Any]) -> None:
        """Give a table in one value, or one of dotted keys, other keys than the `old` ones."""
        text = self.value_of(key)
        if text:
            self.set_text(key, changed_part(text, old, values))
            return
        document, table = self._parsed()
        for name, value in differences(old, values).items():
            if value is None:
                table[key].pop(name)
            else:
                table[key][name] = value
        self.own = document.as_string()

    def put_inside(self, old: Sequence[Block], new: Sequence[Block]) -> None:
        """Put tables inside it where others stood, each with its comments; a divider before one that goes stays."""
        self.end_line()
        left, divider = list(new), ""
        inner: list[Block] = []
        for block in self.inner:
            if block not in old:
                inner.append(block)
                continue
            if block not in new and block.gap.strip():
                divider += block.gap
            placed = left if block is old[-1] else left[:1]
            left = left[len(placed) :]
            if placed and divider:
                placed[0].gap = divider + placed[0].gap.removeprefix("\n")
                divider = ""
            inner += placed
        self.inner = [*inner, *left]
        for block in self.inner:
            block.end_line()
        self._last.own += divider

    @property
    def _last(self) -> Block:
        """The table with which it ends."""
        return self.inner[-1]._last if self.inner else self

    def _parsed(self) -> tuple[Any, Any]:
        """Its own text as tomlkit has it, and its table in that."""
        import tomlkit

        document = tomlkit.parse(_ended(self.own))
        table: Any = document
        for part in self.path:
            table = table[part]
        return document, table[0] if self.listed else table

    def value_of(self, key: str) -> str:
        """The text of a list or table in one value; empty where it is written otherwise."""
        from tomlkit.items import Array, InlineTable

        item = self._parsed()[1][key]
        return item.as_string().strip() if isinstance(item, Array | InlineTable) else ""


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
            _attach(self.blocks, Block(path, listed, "".join((*body, *beside)), gap, lead))
            on_top = [] if last else list(takewhile(lambda line: line.strip(), reversed(rest)))[::-1]
            gap, lead = "".join(rest[: len(rest) - len(on_top)]), "".join(on_top)
        self.tail = gap


def new_table(path: Sequence[str], values: Mapping[str, Any], *, listed: bool = True) -> Block:
    """A table of the list of that name, as ``[[protocols.steps]]``, or the one table of it; None is left out."""
    lines = [f"{_key(name)} = {value_text(each, len(name) + 3)}" for name, each in values.items() if each is not None]
    name = ".".join(_key(part) for part in path)
    return Block(tuple(path), listed, "\n".join((f"[[{name}]]" if listed else f"[{name}]", *lines)) + "\n", gap="\n")


def differences(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of `new` that say something else than those of `old`; None for those that it has not."""
    gone = dict.fromkeys(key for key in old if new.get(key) is None)
    changed = {k: v for k, v in new.items() if v is not None and (old.get(k) != v or type(old.get(k)) is not type(v))}
    return {**gone, **changed}


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


# -- lists and tables in one value ---------------------------------------------------------------------


class _Piece(msgspec.Struct):
    """One value of a list in brackets, or one key of a table in braces."""

    lead: str
    """Blanks and comments before it."""
    text: str
    gap: str = ""
    """Blanks between it and its comma."""
    note: str = ""
    """The comment behind it on its line, with the blanks before that."""


class _Pieces(msgspec.Struct):
    """A text in brackets or braces, cut at its commas."""

    ends: str
    """What it begins and ends with."""
    pieces: list[_Piece]
    comma: bool
    """Whether one stands behind the last."""
    end: str
    """What stands before the closing bracket."""

    @property
    def text(self) -> str:
        found, noted = [self.ends[0]], False
        for place, piece in enumerate(self.pieces):
            comma = "," if self.comma or place < len(self.pieces) - 1 else ""
            found.append(f"{_lined(piece.lead, noted)}{piece.text}{piece.gap}{comma}{piece.note}")
            noted = bool(piece.note)
        return "".join((*found, _lined(self.end, noted), self.ends[1]))


def changed_rows(
    text: str, old: Sequence[Any], new: Sequence[Mapping[str, Any]], came: Sequence[int | None], column: int = 0
) -> str:
    """A list of tables in one value, with others in it: each of those that stay with its comments.

    `came` says for each new one which of the old it was, or None.
    """
    cut = _cut_pieces(text)
    if cut is None or len(cut.pieces) != len(old):
        return value_text(new, column)
    over_lines = any("\n" in piece.lead for piece in cut.pieces)
    usual = next((piece.lead for piece in reversed(cut.pieces[1:]) if not piece.lead.strip()), " ")
    first = cut.pieces[0].lead if cut.pieces else ""
    found = []
    for place, (table, was) in enumerate(zip(new, came, strict=True)):
        if was is None:
            piece = _Piece(usual, value_text(table))
        else:
            before = cut.pieces[was]
            piece = msgspec.structs.replace(before, text=changed_part(before.text, old[was], table))
        if not over_lines:
            piece.lead = usual if place else first
        elif was is None and not place:
            piece.lead = first if not first.strip() else usual
        found.append(piece)
    changed = msgspec.structs.replace(cut, pieces=found)
    if "\n" not in changed.text and column + len(changed.text) > LONGEST_LINE:
        changed = _Pieces(cut.ends, [msgspec.structs.replace(piece, lead="\n  ") for piece in found], True, "\n")
    return changed.text


def changed_part(text: str, old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """A table in braces with other keys: each that says the same stays as it is written."""
    wanted = {key: value for key, value in new.items() if value is not None}
    cut = _cut_pieces(text)
    keys = [next(iter(tomllib.loads(piece.text))) for piece in cut.pieces] if cut is not None else []
    if cut is None or keys != list(old):
        return value_text(wanted)
    changes = differences(old, wanted)

    def said(key: str) -> str:
        return f"{_key(key)} = {value_text(wanted[key])}"

    found = [
        msgspec.structs.replace(piece, text=said(key)) if key in changes else piece
        for key, piece in zip(keys, cut.pieces, strict=True)
        if key in wanted
    ]
    found += [_Piece(" ", said(key)) for key in wanted if key not in old]
    return msgspec.structs.replace(cut, pieces=found, end=cut.end if old else " ").text if found else "{}"


def _cut_pieces(text: str) -> _Pieces | None:
    """None where it could not be put together again as it was, as with a comment before a comma."""
    opening, *tokens, closing = _TOKEN.findall(text)
    found: list[_Piece] = []
    lead = value = behind = ""
    comma, depth = False, 0
    for token in tokens:
        blank = token.isspace() or token.startswith("#")
        if token == "," and not depth:
            found.append(_Piece(lead, value, behind))
            lead = value = behind = ""
            comma = True
        elif blank and not depth and not value:
            beside = comma and "\n" not in lead and "#" not in lead
            if beside and token.startswith("#"):
                found[-1].note, lead = lead + token, ""
            else:
                lead += token
        elif blank and not depth:
            behind += token
        else:
            value, behind = value + behind + token, ""
            depth += (token in "[{") - (token in "]}")
    if value:
        note, line, rest = behind.partition("\n")
        noted = "#" in note
        found.append(_Piece(lead, value, note=note if noted else ""))
        lead, comma = f"{line}{rest}" if noted else behind, False
    cut = _Pieces(f"{opening}{closing}", found, comma, lead)
    return cut if cut.text == text and not any("#" in piece.gap for piece in found) else None


def _lined(text: str, noted: bool) -> str:
    """What stands behind a comment begins on the next line."""
    return f"\n{text}" if noted and not text.startswith(("\n", "\r\n")) else text


# -- cutting ----------------------------------------------------------------------------------------


def _attach(blocks: list[Block], block: Block) -> None:
    """Put a table behind the others, or inside the last of them where it belongs to that."""
    above = blocks[-1].path if blocks else ()
    if above and block.path[: len(above)] == above and len(block.path) > len(above):
        _attach(blocks[-1].inner, block)
    else:
        blocks.append(block)


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
