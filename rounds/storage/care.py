"""The care catalogue: which tasks and readings a kind of equipment, system or room brings with it.

What is brought is a table like those of the room's files, so that the same keys change it there: a table with the
same id needs to say only what differs.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import msgspec

from rounds.storage.rules import RULES
from rounds.storage.tables import Dropped, File, Table

PROGRAM = Path(__file__).parents[1] / "care"
"""The catalogue that comes with the program."""

OF = ("equipment", "system", "room")
"""What a kind is a kind of."""

_LISTS = ("tasks", "readings")
_ID_TABLES = (*_LISTS, "reservoirs", "instruments", "lights")
_TIMES = ("at", "shift")


class Kind(msgspec.Struct, frozen=True, kw_only=True):
    """One kind and what it brings."""

    name: str
    of: str
    """One of `OF`."""
    includes: tuple[str, ...] = ()
    """Kinds of the same sort whose care it brings too."""
    tasks: tuple[dict[str, Any], ...] = ()
    readings: tuple[dict[str, Any], ...] = ()


Kinds = Mapping[tuple[str, str], Kind]
"""By (what it is a kind of, name)."""


def read_kinds(files: Iterable[tuple[File, dict[str, Any]]]) -> dict[tuple[str, str], Kind]:
    """The kinds of all files; a later file adds to a kind of the same name, and its tables stand for those of an id."""
    found: dict[tuple[str, str], Kind] = {}
    for file, data in files:
        head = Table(file, data)
        for table in head.tables("kinds"):
            kind = _kind(table)
            known = found.get((kind.of, kind.name))
            found[kind.of, kind.name] = kind if known is None else _added(known, kind)
        head.close()
    return found


def program_files() -> Iterator[tuple[File, dict[str, Any]]]:
    """The catalogue that comes with the program; protocols have a file of their own."""
    for path in sorted(PROGRAM.glob("*.toml")):
        if path.name != "protocols.toml":
            text = path.read_text(encoding="utf-8")
            yield File(f"care/{path.name}", text, []), tomllib.loads(text)


def _kind(table: Table) -> Kind:
    kind = Kind(
        name=table.text("name", required=True),
        of=table.choice("of", OF, None),
        includes=table.texts("includes"),
        tasks=tuple(_tables(table, "tasks")),
        readings=tuple(_tables(table, "readings")),
    )
    table.close()
    return kind


def _tables(table: Table, key: str) -> Iterator[dict[str, Any]]:
    value = table.raw(key) or []
    if not isinstance(value, list) or not all(
        isinstance(each, dict) and isinstance(each.get("id"), str) for each in value
    ):
        table.fault(key, f"{key} is no list of tables with an id; begin each with [[kinds.{key}]] and give it an id")
        return
    yield from value


def _added(known: Kind, more: Kind) -> Kind:
    return Kind(
        name=known.name,
        of=known.of,
        includes=(*known.includes, *(each for each in more.includes if each not in known.includes)),
        tasks=tuple(_united(known.tasks, more.tasks)),
        readings=tuple(_united(known.readings, more.readings)),
    )


def _united(known: Iterable[dict[str, Any]], more: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """The tables of both, those of one id as one."""
    found = {each["id"]: each for each in known}
    for each in more:
        found[each["id"]] = differing(found.get(each["id"], {}), each)
    return list(found.values())


def differing(brought: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """A table that was brought, with what an own table of the same id says instead.

    An own rule stands for the brought one, and then the times of that one do not count either.
    """
    left_out = {"dropped"}
    if any(key in own for key in RULES):
        left_out.update(RULES)
        left_out.update(_TIMES)
    return {**{key: value for key, value in brought.items() if key not in left_out}, **own}


def with_care(data: Mapping[str, Any], kinds: Kinds, of: str, faults: Table) -> dict[str, Any]:
    """A file's data with the tasks and readings that its equipment and the kinds under ``care`` bring.

    Own tables stand first and in their order. ``dropped = true`` leaves one out. What bears an id that the file uses
    for something else is not brought.
    """
    found = dict(data)
    taken = _own_ids(data)
    for key in _LISTS:
        brought = {each["id"]: each for each in _brought(data, kinds, of, key, faults)}
        own = data.get(key, [])
        if not brought or not isinstance(own, list) or not all(isinstance(each, dict) for each in own):
            continue
        merged = [Dropped() if _dropped(each, brought) else _differing(brought, each) for each in own]
        others = {id for name, ids in taken.items() if name != key for id in ids}
        gone = taken.get(key, set()) | others
        found[key] = [*merged, *(each for id, each in brought.items() if id not in gone)]
    return found


def _differing(brought: Mapping[str, Mapping[str, Any]], own: Mapping[str, Any]) -> dict[str, Any]:
    id = own.get("id")
    return differing(brought[id], own) if isinstance(id, str) and id in brought else dict(own)


def _dropped(own: Mapping[str, Any], brought: Mapping[str, Any]) -> bool:
    return own.get("dropped") is True and own.get("id") in brought


def _own_ids(data: Mapping[str, Any]) -> dict[str, set[str]]:
    return {
        name: {each["id"] for each in data[name] if isinstance(each, dict) and isinstance(each.get("id"), str)}
        for name in _ID_TABLES
        if isinstance(data.get(name), list)
    }


def _brought(data: Mapping[str, Any], kinds: Kinds, of: str, key: str, faults: Table) -> Iterator[dict[str, Any]]:
    """What the kinds bring, each id once: of several pieces of one kind in a system the first stands for all."""
    seen: set[str] = set()
    for kind, station, without in _asked(data, kinds, of, faults):
        for each in getattr(kind, key):
            if each["id"] not in seen and each["id"] not in without:
                seen.add(each["id"])
                yield {**each, "station": station} if station else each


def _asked(
    data: Mapping[str, Any], kinds: Kinds, of: str, faults: Table
) -> Iterator[tuple[Kind, str, tuple[str, ...]]]:
    """The kinds that a file names, each with the station of its equipment and what is left out."""
    named = data.get("care", [])
    for name in named if isinstance(named, list) else []:
        kind = kinds.get((of, name))
        if kind is None:
            known = ", ".join(sorted(known for sort, known in kinds if sort == of)) or "none"
            faults.fault(
                "care", f"the kind {name!r} is not in the care catalogue (there are: {known}); write one of them"
            )
            continue
        for each in _with_included(kind, kinds):
            yield each, "", ()
    pieces = data.get("equipment", [])
    for piece in pieces if isinstance(pieces, list) else []:
        kind = kinds.get(("equipment", piece.get("kind", ""))) if isinstance(piece, dict) else None
        if kind is None or piece.get("care") is False:
            continue
        without = piece.get("without", [])
        left_out = tuple(each for each in without if isinstance(each, str)) if isinstance(without, list) else ()
        for each in _with_included(kind, kinds):
            yield each, str(piece.get("station", "")), left_out


def _with_included(kind: Kind, kinds: Kinds) -> Iterator[Kind]:
    """The kind and those it includes, each once."""
    seen: dict[str, Kind] = {}
    waiting = [kind]
    while waiting:
        each = waiting.pop(0)
        if each.name not in seen:
            seen[each.name] = each
            waiting += [kinds[each.of, name] for name in each.includes if (each.of, name) in kinds]
    yield from seen.values()
