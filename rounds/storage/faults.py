"""What is wrong with a room's files, each with the place and the remedy."""

from __future__ import annotations

import re

import msgspec

from rounds.core.errors import NoRoom


class Missing(msgspec.Struct, frozen=True):
    """A key that has to be there and is not."""

    key: str
    """Of a rule the first of those that would do."""
    example: str = ""
    """A value as the file would have it."""


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One thing wrong in one file."""

    file: str
    """Path inside the room."""
    line: int | None = None
    """None: the file as a whole."""
    table: str = ""
    """Such as ``[[tasks]] "skimmer-cup"``."""
    key: str = ""
    row: int | None = None
    """Of a key that holds a list of tables: which of them, counted from 0."""
    inner: str = ""
    """The key inside the table that the key holds."""
    missing: Missing | None = None
    """Of a key that is not there, which `key` and `inner` do not name."""
    sentence: str
    """What is wrong and what to write instead."""

    def __str__(self) -> str:
        where = [self.file]
        if self.line is not None:
            where.append(f"line {self.line}")
        key = self.key if self.row is None else f"{self.key} number {self.row + 1}"
        where += [part for part in (self.table, key, self.inner) if part]
        return f"{', '.join(where)}: {self.sentence}"


class RoomFaults(NoRoom):
    """The room's files have faults; nothing of them is used."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


_HEADER = re.compile(r"""^\s*\[\[?\s*([A-Za-z0-9_."' -]+?)\s*\]""")
_QUOTES_AND_BLANKS = re.compile(r"""["'\s]""")
_KEY = re.compile(r"""^\s*["']?([A-Za-z0-9_-]+)["']?\s*=""")


class Lines:
    """Where the tables and keys of a TOML text stand, for messages only; inner tables by names as ``kinds.tasks``."""

    def __init__(self, text: str) -> None:
        self._tables: dict[tuple[str, int], int] = {}
        self._keys: dict[tuple[str, int, str], int] = {}
        counts: dict[str, int] = {}
        table, index, quote = "", 0, ""
        for number, line in enumerate(text.split("\n"), 1):
            if quote:
                if quote in line:
                    quote = ""
                continue
            if header := _HEADER.match(line):
                table = _QUOTES_AND_BLANKS.sub("", header[1])
                index = counts.get(table, 0)
                counts[table] = index + 1
                self._tables[(table, index)] = number
            elif key := _KEY.match(line):
                self._keys.setdefault((table, index if table else 0, key[1]), number)
            for mark in ('"""', "'''"):
                if line.count(mark) % 2:
                    quote = mark

    def find(self, table: str, index: int, key: str = "") -> int | None:
        """The line of a key, else of its table's header, else None."""
        if not table and key and (key, 0) in self._tables:
            return self._tables[(key, 0)]
        return self._keys.get((table, index, key)) or self._tables.get((table, index))
