"""The care catalogue: what a kind of equipment, system or room asks for, and how a kind of reservoir is refilled.

What is brought is a table like those of the room's files, so that the same keys change it there: a table with the
same id needs to say only what differs.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from functools import partial
from itertools import count
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from rounds.core.bands import parse_rate
from rounds.core.stock import ERRANDS, EXPIRES
from rounds.core.units import kind as quantity_kind
from rounds.core.words import quoted
from rounds.storage.faults import Fault
from rounds.storage.rules import RULES
from rounds.storage.tables import Brought, Dropped, File, Table

PROGRAM = Path(__file__).parents[1] / "care"
"""The catalogue that comes with the program."""

OF = ("equipment", "system", "room", "reservoir")
"""What a kind is a kind of."""

LIMITS = ("low", "high", "act_low", "act_high", "rate")
"""What a reading that says none of it takes from its kind of system or room."""

_ID_TABLES = ("tasks", "readings", "reservoirs", "instruments", "lights", "equipment", "tanks", "stock")
_DERIVED = {
    "reservoirs": ("", "-level", "-refill"),
    "equipment": ("-put-back",),
    "instruments": ("", f"-{EXPIRES}"),
    "stock": ("", *(f"-{what}" for what in ERRANDS)),
}
"""What is claimed beside or instead of the id of a table."""
_OF_RULE = (*RULES, "at", "shift", "grace", "early", "lapse", "basis")
"""What an own rule does away with: times and spans chosen for the brought one, and where that came from."""

Tables = Mapping[str, Brought]
"""By id."""


class Kind(msgspec.Struct, frozen=True, kw_only=True):
    """One kind and what it brings."""

    name: str
    of: str
    """One of `OF`."""
    includes: tuple[str, ...] = ()
    """Kinds of the same sort whose care it brings too; its own tables say what differs."""
    tasks: Tables = {}
    readings: Tables = {}
    pieces: Mapping[str, int] = {}
    """By id: so many pieces of equipment that bring it a system must have; of the others one will do."""
    limits: Tables = {}
    """By quantity: the limits of readings of it that a file declares without any."""
    refill: Mapping[str, Any] = {}
    """Of a reservoir: how it is refilled, in the keys of `guidance`."""


Kinds = Mapping[tuple[str, str], Kind]
"""By (what it is a kind of, name), each with what it includes."""


class _Asked(NamedTuple):
    """A kind that a file asks for."""

    kind: Kind
    station: str
    """Where its equipment stands; may be empty."""
    without: tuple[str, ...]
    """Ids that are left out."""


# -- the catalogue -----------------------------------------------------------------------------------


def read_kinds(files: Iterable[tuple[File, dict[str, Any]]]) -> Kinds:
    """The kinds of all files; a later file adds to a kind of the same name, and says what differs by id."""
    found: dict[tuple[str, str], Kind] = {}
    including: list[tuple[Table, Kind]] = []
    for file, data in files:
        head = Table(file, data)
        numbers = {"tasks": count(), "readings": count(), "limits": count()}
        for table in head.tables("kinds"):
            kind = _kind(table, numbers)
            known = found.get((kind.of, kind.name))
            found[kind.of, kind.name] = kind if known is None else _united(known, kind)
            including.append((table, kind))
        head.close()
    for table, kind in including:
        for name in kind.includes:
            if (kind.of, name) not in found:
                _unknown(table, "includes", name, found, kind.of)
    return {key: _whole(kind, found) for key, kind in found.items()}


def program_files(faults: list[Fault]) -> Iterator[tuple[File, dict[str, Any]]]:
    """The catalogue that comes with the program; protocols have a file of their own."""
    for path in sorted(PROGRAM.glob("*.toml")):
        if path.name != "protocols.toml":
            text = path.read_text(encoding="utf-8")
            yield File(f"rounds/care/{path.name}", text, faults), tomllib.loads(text)


def guidance(table: Table) -> dict[str, Any]:
    """How a piece of work is done, and where that comes from; fields of a `Task`."""
    return {
        "minutes": table.whole("minutes", 0, 1440),
        "steps": table.texts("steps"),
        "look_for": table.text("look_for"),
        "caution": table.text("caution"),
        "basis": table.text("basis"),
    }


def _kind(table: Table, numbers: Mapping[str, Iterator[int]]) -> Kind:
    """`numbers` count the tables of each list through the file."""
    of = table.choice("of", OF, None)
    tasks = _tables(table, "tasks", numbers)
    kind = Kind(
        name=table.text("name", required=True),
        of=of,
        includes=table.texts("includes"),
        tasks=tasks,
        pieces=_pieces(tasks, of),
        readings=_tables(table, "readings", numbers),
        limits=_limits(table, of, numbers["limits"]),
        refill=_refill(table, of),
    )
    table.close()
    return kind


def _tables(table: Table, key: str, numbers: Mapping[str, Iterator[int]]) -> Tables:
    value = table.raw(key) or []
    if not isinstance(value, list) or not all(
        isinstance(each, dict) and isinstance(each.get("id"), str) for each in value
    ):
        table.fault(key, f"{key} is no list of tables with an id; begin each with [[kinds.{key}]] and give it an id")
        return {}
    return {each["id"]: Brought(each, table.file, f"kinds.{key}", next(numbers[key])) for each in value}


def _limits(table: Table, of: str, numbers: Iterator[int]) -> Tables:
    """Limits by quantity; what is wrong in them is named here, whether or not a reading takes them."""
    found = {}
    for each in table.tables("limits"):
        limits = Brought(each.data, table.file, "kinds.limits", next(numbers))
        part = Table(limits.file, limits, limits.name, limits.index)
        quantity = part.text("quantity", required=True)
        if of not in ("system", "room"):
            table.fault("limits", "only a kind of system or room has limits; correct of or take limits away")
        elif quantity and part.read("quantity", quantity, quantity_kind) is not None:
            for key in ("low", "high", "act_low", "act_high"):
                part.quantity(key, quantity)
            if part.has("rate"):
                part.read("rate", part.text("rate"), partial(parse_rate, quantity))
            part.texts("act_steps")
            part.close()
            found[quantity] = limits
    return found


def _pieces(tasks: Tables, of: str) -> dict[str, int]:
    """What is said of how many pieces the tasks need, taken out of them."""
    found = {}
    for id, task in tasks.items():
        table = Table(task.file, task, task.name, task.index)
        number = table.whole("pieces", 1, 99)
        if table.has("pieces") and of != "equipment":
            table.fault("pieces", "only equipment comes in pieces; correct of or take pieces away")
        if number is not None:
            found[id] = number
        task.pop("pieces", None)
    return found


def _refill(table: Table, of: str) -> dict[str, Any]:
    part = table.part("refill")
    if table.has("refill") and of != "reservoir":
        table.fault("refill", 'only a kind of = "reservoir" is refilled; correct of or take refill away')
    guidance(part)
    part.close()
    return part.data


def _united(known: Kind, more: Kind) -> Kind:
    """Both kinds as one of the name of `more`, which says what differs."""
    return Kind(
        name=more.name,
        of=more.of,
        includes=tuple(dict.fromkeys((*known.includes, *more.includes))),
        tasks=_by_id(known.tasks, more.tasks),
        readings=_by_id(known.readings, more.readings),
        pieces={**known.pieces, **more.pieces},
        limits=_by_id(known.limits, more.limits),
        refill={**known.refill, **more.refill},
    )


def _by_id(known: Tables, more: Tables) -> Tables:
    return {**known, **{id: _over(known[id], each) if id in known else each for id, each in more.items()}}


def _over(known: Brought, more: Brought) -> Brought:
    return more.like(differing(known, more))


def _whole(kind: Kind, kinds: Kinds, within: tuple[str, ...] = ()) -> Kind:
    """The kind with all that it includes; of kinds that include each other each counts once."""
    found = Kind(name=kind.name, of=kind.of)
    for name in kind.includes:
        included = kinds.get((kind.of, name))
        if included is not None and name not in (*within, kind.name):
            found = _united(found, _whole(included, kinds, (*within, kind.name)))
    return _united(found, kind)


def _unknown(table: Table, key: str, name: str, kinds: Iterable[tuple[str, str]], of: str) -> None:
    known = ", ".join(sorted(name for sort, name in kinds if sort == of)) or "none"
    table.fault(key, f"the kind {quoted(name)} is not in the care catalogue (there are: {known}); write one of them")


# -- what it brings to a file ------------------------------------------------------------------------


def differing(brought: Mapping[str, Any], own: Mapping[str, Any]) -> dict[str, Any]:
    """A table that was brought, with what an own table of the same id says instead.

    An own rule stands for the brought one, and then the times, spans and basis of that one do not count either.
    """
    gone = _OF_RULE if any(key in own for key in RULES) else ()
    return {**{key: value for key, value in brought.items() if key not in gone}, **own}


def with_care(file: File, data: Mapping[str, Any], kinds: Kinds, of: str) -> dict[str, Any]:
    """A file's data with what its equipment, its reservoirs and the kinds under ``care`` bring.

    Of limits by quantity only those are brought that a reading of the file takes. Own tables stand first and in their
    order. ``dropped = true`` leaves one out. What bears an id that the file uses for something else is not brought, and
    a task that is brought takes only the readings that there are.
    """
    asked = list(_asked(file, data, kinds, of))
    taken = _taken_ids(data)
    found = dict(data)
    readings = _first_of_each(asked, "readings")
    found["readings"] = _merged(data, "readings", {**readings, **_limits_by_id(asked, data, readings)}, taken)
    gone = {id for kind, _, _ in asked for id in kind.readings} - _ids(found["readings"])
    tasks = {id: _taking(each, gone) for id, each in _first_of_each(asked, "tasks").items()}
    found["tasks"] = _merged(data, "tasks", tasks, taken)
    found["reservoirs"] = _with_refills(data.get("reservoirs"), kinds)
    return {key: value for key, value in found.items() if key in data or value}


def _merged(data: Mapping[str, Any], key: str, brought: Tables, taken: Mapping[str, set[str]]) -> Any:
    """The tables of a list with those that are brought; what is no list of tables is left as it is."""
    own = data.get(key, [])
    if not isinstance(own, list) or not all(isinstance(each, dict) for each in own):
        return own
    used = {id for ids in taken.values() for id in ids}
    elsewhere = {id for name, ids in taken.items() if name != key for id in ids}
    merged = [_own(each, {id: table for id, table in brought.items() if id not in elsewhere}) for each in own]
    return [*merged, *(each for id, each in brought.items() if id not in used)]


def _limits_by_id(asked: Sequence[_Asked], data: Mapping[str, Any], brought: Container[str]) -> Tables:
    """Limits for the readings that the file alone declares, and without any; the first kind that knows some counts."""
    own = data.get("readings")
    found: dict[str, Brought] = {}
    for reading in own if isinstance(own, list) else []:
        id, quantity = (reading.get(key) if isinstance(reading, dict) else None for key in ("id", "quantity"))
        if not isinstance(id, str) or id in brought or any(key in reading for key in (*LIMITS, "dropped")):
            continue
        known = (asking.kind.limits for asking in asked)
        limits = next((each[quantity] for each in known if isinstance(quantity, str) and quantity in each), None)
        if limits is not None:
            found[id] = limits
    return found


def _own(own: dict[str, Any], brought: Tables) -> dict[str, Any]:
    id = own.get("id")
    base = brought.get(id) if isinstance(id, str) else None
    if base is None:
        return own
    if own.get("dropped") is True:
        return Dropped()
    return differing(base, own)


def _taking(task: Brought, gone: Container[str]) -> Brought:
    """The task without the readings that its kind brings and the file leaves out."""
    takes = task.get("takes")
    if not isinstance(takes, list):
        return task
    return task.like({**task, "takes": [id for id in takes if not isinstance(id, str) or id not in gone]})


def _with_refills(reservoirs: Any, kinds: Kinds) -> Any:
    if not isinstance(reservoirs, list):
        return reservoirs
    return [_with_refill(each, kinds) if isinstance(each, dict) else each for each in reservoirs]


def _with_refill(reservoir: dict[str, Any], kinds: Kinds) -> dict[str, Any]:
    kind = _kind_of(reservoir, kinds, "reservoir")
    own = reservoir.get("refill", {})
    if kind is None or not isinstance(own, dict):
        return reservoir
    return {**reservoir, "refill": {**kind.refill, **own}}


def _kind_of(table: Mapping[str, Any], kinds: Kinds, of: str) -> Kind | None:
    name = table.get("kind")
    return kinds.get((of, name)) if isinstance(name, str) else None


def _taken_ids(data: Mapping[str, Any]) -> dict[str, set[str]]:
    """By list, the ids that its tables claim in the system."""
    return {
        name: {f"{id}{end}" for id in _ids(data.get(name)) for end in _DERIVED.get(name, ("",))} for name in _ID_TABLES
    }


def _ids(tables: Any) -> set[str]:
    if not isinstance(tables, list):
        return set()
    return {each["id"] for each in tables if isinstance(each, dict) and isinstance(each.get("id"), str)}


def _first_of_each(asked: Sequence[_Asked], key: str) -> dict[str, Brought]:
    """What the kinds bring by id: of several pieces of one kind in a system the first stands for all."""
    bring = Counter(id for kind, _, _ in asked for id in getattr(kind, key))
    found: dict[str, Brought] = {}
    for kind, station, without in asked:
        tables: Tables = getattr(kind, key)
        for id, each in tables.items():
            if id not in found and id not in without and bring[id] >= kind.pieces.get(id, 1):
                found[id] = each.like({**each, "station": station}) if station else each
    return found


def _asked(file: File, data: Mapping[str, Any], kinds: Kinds, of: str) -> Iterator[_Asked]:
    """What a file asks for: the kinds it names, then those of its equipment, each at its station."""
    head = Table(file, dict(data))
    without = _names(data, "without")
    named = []
    for name in _names(data, "care"):
        kind = kinds.get((of, name))
        if kind is None:
            _unknown(head, "care", name, kinds, of)
        else:
            named.append(kind)
            yield _Asked(kind, "", without)
    _check_without(head, named, without)
    stations = _ids(data.get("stations"))
    pieces = data.get("equipment")
    for index, piece in enumerate(pieces if isinstance(pieces, list) else []):
        kind = _kind_of(piece, kinds, "equipment") if isinstance(piece, dict) else None
        if kind is not None and piece.get("care") is not False:
            left_out = _names(piece, "without")
            _check_without(Table(file, piece, "equipment", index), [kind], left_out)
            station = piece.get("station")
            yield _Asked(kind, station if isinstance(station, str) and station in stations else "", left_out)


def _names(data: Mapping[str, Any], key: str) -> tuple[str, ...]:
    """A list of texts; what is none is a fault elsewhere."""
    value = data.get(key)
    return tuple(each for each in value if isinstance(each, str)) if isinstance(value, list) else ()


def _check_without(table: Table, kinds: Iterable[Kind], without: Iterable[str]) -> None:
    brought = {id for kind in kinds for id in (*kind.tasks, *kind.readings)}
    for id in without:
        if id not in brought:
            known = ", ".join(sorted(brought)) or "nothing"
            table.fault("without", f"{quoted(id)} is not brought here (brought are: {known}); write one of them")


def brought_by(data: Mapping[str, Any], kinds: Kinds, of: str) -> dict[str, dict[str, dict[str, Any]]]:
    """The tables that a file's equipment and ``care`` bring, by list and id, before its own tables change them."""
    asked = list(_asked(File("", "", []), data, kinds, of))
    found = {key: _first_of_each(asked, key) for key in ("tasks", "readings")}
    return {key: {id: dict(each) for id, each in tables.items()} for key, tables in found.items() if tables}
