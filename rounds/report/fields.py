"""Fields of forms: how typed text becomes a value, and how a value is shown.

What a value has to be is said by the reader of the room's files alone; here text only becomes the sort of value that
the file holds.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

import msgspec

from rounds.core.errors import CannotRead
from rounds.core.words import quoted

TEXT = "text"
CHOICE = "choice"
"""One of the choices, and nothing else."""
FLAG = "flag"
WHOLE = "whole number"
NUMBER = "number"
DAY = "day"
MOMENT = "moment"
"""A day and a time by the room's clock."""
TEXTS = "texts"
RULE = "rule"
"""Not one key but those of a rule; see `rounds.report.rules`."""
ROWS = "rows"
"""A list of tables, each with fields of its own."""
PAIRS = "pairs"
"""A table whose keys are names: in the form rows, the first field of which is the name and the second what it says."""
PART = "part"
"""One table with fields of its own."""

LISTED = (ROWS, PAIRS)
NESTED = (*LISTED, PART)

YES, NO = "yes", "no"
BETWEEN = " | "
"""Stands between the texts of a list; within one it is written twice."""

LONGEST_ID = 40


class Field(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a form."""

    key: str
    """Of the file."""
    label: str
    help: str = ""
    how: str = TEXT
    choices: tuple[str, ...] = ()
    of: str = ""
    """A list of the room's files whose ids are choices too, such as ``stations``; those of other systems in full."""
    kinds: str = ""
    """The sort of kinds of the care catalogue that are choices too: system, room or equipment."""
    default: bool = False
    """Of a flag: what holds where the file does not say."""
    stays: str = ""
    """Why it is not changed once it is there; empty: it can be."""
    fields: tuple[Field, ...] = ()
    """Of rows and parts: the fields of one of them."""
    one: str = ""
    """What one of the rows is called."""
    headers: bool = False
    """Of rows and parts: whether the file gives them headers of their own, as ``[[protocols.steps]]``."""
    anywhere: bool = False
    """In the room's own file a name without its system means that of each system it is asked for in."""


class Form(msgspec.Struct, frozen=True, kw_only=True):
    """The fields of one kind of table."""

    kind: str
    """What a keeper calls it."""
    key: str
    """Of its list in the file; empty: the file itself."""
    fields: tuple[Field, ...]
    only_room: bool = False
    """Whether it stands in room.toml alone."""

    @property
    def naming(self) -> str:
        """The label of the field from which it has its id, or by which it is known."""
        return next(field.label for field in self.fields if field.key in ("title", "name", "initials", "kind"))

    @property
    def ruled(self) -> bool:
        """Whether it says when something is due."""
        return any(field.how == RULE for field in self.fields)

    def field(self, key: str) -> Field:
        """The field of a key; raises `StopIteration` where there is none."""
        return next(field for field in self.fields if field.key == key)


# -- from text to value and back -----------------------------------------------------------------------


def read_text(field: Field, text: str) -> Any:
    """The value of a typed text; None: the key is left out. Raises `CannotRead`, which says what is to be typed."""
    text = text.strip()
    if not text:
        return None
    if field.how == FLAG:
        return _flag(field, text)
    if field.how == WHOLE:
        if not re.fullmatch("[0-9]{1,9}", text):
            raise CannotRead(f"{quoted(text)} is no whole number; write one such as 5")
        return int(text)
    if field.how == NUMBER:
        if not re.fullmatch(r"[0-9]{1,9}([.,][0-9]{1,9})?", text):
            raise CannotRead(f"{quoted(text)} is no number; write one such as 2.4")
        return float(text.replace(",", "."))
    if field.how == DAY:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise CannotRead(f"{quoted(text)} is no date; write year, month and day: 2026-12-01") from None
    if field.how == MOMENT:
        try:
            return datetime.fromisoformat(text)
        except ValueError:
            raise CannotRead(f"{quoted(text)} is no day with a time; write one such as 2026-12-01 20:00") from None
    if field.how == TEXTS:
        return _texts(text, "," if field.of else "")
    if field.how == CHOICE and text not in field.choices:
        raise CannotRead(f"{quoted(text)} is not known here; write one of: {', '.join(field.choices)}")
    return text


def shown_text(field: Field, value: Any) -> str:
    """A value as it is typed: `read_text` gives it back. Of rows how many there are, of a part what it says."""
    if field.how in LISTED:
        return str(len(value)) if isinstance(value, list) and value else ""
    if field.how == PART:
        return row_text(field, value) if isinstance(value, dict) else ""
    if field.how == FLAG:
        return YES if (field.default if value is None else value) else NO
    if value is None:
        return ""
    if isinstance(value, list):
        between = ", " if field.of else BETWEEN
        return between.join(str(each).replace("|", "||") if between == BETWEEN else str(each) for each in value)
    return str(value)


def row_text(field: Field, table: Mapping[str, Any]) -> str:
    """What one row of a field, or its part, says, in the order of its fields; of a row what it is called first."""
    said = [(each.label, shown_text(each, table[each.key])) for each in field.fields if table.get(each.key) is not None]
    named = [text for _, text in said[:1]] if field.how != PART else []
    return ", ".join((*named, *(f"{label} {text}" for label, text in said[len(named) :])))


def _flag(field: Field, text: str) -> bool | None:
    if text.casefold() not in (YES, NO):
        raise CannotRead(f"{quoted(text)} is neither {YES} nor {NO}; write one of them")
    value = text.casefold() == YES
    return None if value == field.default else value


def _texts(text: str, separator: str) -> list[str] | None:
    if separator:
        parts = text.split(separator)
    else:
        parts = [part.replace("||", "|") for part in re.split(r"(?<!\|)\|(?!\|)", text)]
    return [part.strip() for part in parts if part.strip()] or None


# -- ids -----------------------------------------------------------------------------------------------


def make_id(name: str, taken: Collection[str], otherwise: str) -> str:
    """An id from a name, unlike those `taken`; from a name without a Latin letter or digit, `otherwise`."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub("[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_ID].strip("-") or otherwise
    number, id = 1, stem
    while id in taken:
        number += 1
        id = f"{stem}-{number}"
    return id


def name_of(values: Mapping[str, Any]) -> str:
    """What a table calls itself: its name or title, else its kind or id."""
    for key in ("name", "title", "kind", "id", "initials"):
        if isinstance(found := values.get(key), str) and found.strip():
            return found
    return ""
