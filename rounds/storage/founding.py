"""A new room: its files from the answers, showing only what differs from the care catalogue, and put on disk."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from datetime import date, time
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import msgspec

from rounds.core.errors import Refused
from rounds.core.first_times import first_days, fitted_times
from rounds.core.founding import USUAL_UNITS, WEEKS, Answers, ReservoirAnswers, SystemAnswers
from rounds.core.founding_text import share_of
from rounds.core.layout import (
    FITTINGS,
    ISOLATION,
    LEVEL_BY_RESERVOIR,
    OF_RETURN,
    RESERVOIR_STATIONS,
    ROOM_STATIONS,
    STATIONS,
    has_return,
    pieces,
    station_of,
    walked,
    zone_of,
    zones,
)
from rounds.core.model import ROOM, Room, Task
from rounds.storage import device
from rounds.storage.atomic import make_own_folder, replace_file
from rounds.storage.care import Kinds, program_files, read_kinds
from rounds.storage.files import ROOM_FILE, SYSTEMS
from rounds.storage.room_files import load_room

if TYPE_CHECKING:
    from tomlkit import TOMLDocument
    from tomlkit.items import AbstractTable, Array

_ID_LENGTH = 40
_RESERVE = 0.25
"""Of the capacity: below it a reservoir is refilled; common practice, no source."""
_FULL = 0.8
"""Of the capacity: above it waste is emptied; common practice, no source."""
_LEVEL_UNITS = ("L", "mL", "US gal", "UK gal")
_FED = ("top-off", "limewater", "salt water")
"""Kinds of reservoirs that are filled from the room's purified water."""
_DELIVERY = {"gravity top-off": "float valve", "pumped top-off": "pump"}
_OWN = ("demo",)
"""What the program itself keeps in the user data folder, beside the answers."""


class _Differing(NamedTuple):
    """One key in which a table of a new file differs from the care catalogue."""

    listed: str
    """The list of the file."""
    id: str
    key: str
    value: Any


_ByRoom = Mapping[str, list[_Differing]]
"""By system."""


class NewRoom(msgspec.Struct, frozen=True):
    """A room as it would be."""

    files: dict[str, str]
    """Their contents by path inside the room."""
    room: Room


@cache
def program_kinds() -> Kinds:
    """The kinds of the catalogue that comes with the program."""
    return read_kinds(program_files([]))


def kind_names(sort: str) -> list[str]:
    """The kinds of that catalogue of one sort; those that others include come last."""
    kinds = [kind for (of, _), kind in program_kinds().items() if of == sort]
    included = {name for kind in kinds for name in kind.includes}
    return [kind.name for kind in sorted(kinds, key=lambda kind: kind.name in included)]


def new_room(answers: Answers, first_day: date) -> NewRoom:
    """The room that the answers make; raises `RoomFaults` where they cannot be one, as without a name.

    Pure but for the catalogue: writes nothing. `first_day` is the first round day where none was answered.
    """
    kinds = program_kinds()
    files = room_texts(answers, kinds, answers.began or first_day)
    room = _loaded(answers, files)
    times = fitted_times(room)
    days: Mapping[str, date] = {}
    if answers.spread:
        days = first_days(room)
    if days or times:
        files = room_texts(answers, kinds, answers.began or first_day, _by_system(room, times, days))
        room = _loaded(answers, files)
    return NewRoom(files, room)


def _loaded(answers: Answers, files: Mapping[str, str]) -> Room:
    return load_room(Path(answers.folder), None, {name: text.encode() for name, text in files.items()})


def _by_system(room: Room, times: Mapping[str, tuple[time, ...]], days: Mapping[str, date]) -> _ByRoom:
    found: dict[str, list[_Differing]] = {}
    for id, at in times.items():
        texts = [f"{each:%H:%M}" for each in at]
        _differs(found, room.tasks[id], "at", texts if len(texts) > 1 else texts[0])
    for id, day in days.items():
        _differs(found, room.tasks[id], "first_day", day)
    return found


def _differs(found: dict[str, list[_Differing]], task: Task, key: str, value: Any) -> None:
    id = task.id.partition("/")[2]
    found.setdefault(task.system, []).append(_Differing(_list_of(task), id, key, value))


def _list_of(task: Task) -> str:
    return "readings" if task.source == "reading" else "tasks"


# -- the files ---------------------------------------------------------------------------------------


def room_texts(answers: Answers, kinds: Kinds, began: date, differing: _ByRoom | None = None) -> dict[str, str]:
    """The room's files by path inside the room; pure."""
    differing = differing or {}
    systems = walked(answers.systems)
    ids = _ids((system.name for system in systems), {ROOM}, "system")
    zone_ids = {zone.name: zone.id for zone in zones(systems)}
    store = _store(answers.room, kinds)
    files = {ROOM_FILE: _room_file(answers, ids, kinds, began, differing.get(ROOM, []))}
    for id, system in zip(ids, systems, strict=True):
        text = _system_file(system, zone_ids[zone_of(system)], kinds, store, differing.get(id, []))
        files[f"{SYSTEMS}/{id}.toml"] = text
    return files


def _room_file(answers: Answers, route: list[str], kinds: Kinds, began: date, differing: Sequence[_Differing]) -> str:
    document = _document(answers.name or "")
    _set(document, name=answers.name, timezone=answers.timezone)
    _set(document, "work before this time belongs to the evening before", day_begins=f"{answers.day_begins:%H:%M}")
    _set(document, began=began)
    if route:
        _set(document, "clean to dirty", route=route)
    _set(document, "what the care catalogue asks of every room", care=list(answers.room.kinds))
    absent = [id for name, ids in FITTINGS.items() if name not in answers.fittings for id in ids]
    if absent:
        _set(document, "what this room does not have", without=_on_lines(absent))
    _part(document, "units", {quantity: answers.unit(quantity) for quantity in USUAL_UNITS})
    _add(
        document,
        "zones",
        ({"id": zone.id, "name": zone.name, "tools": zone.tools or None} for zone in zones(answers.systems)),
    )
    _add(document, "keepers", ({"initials": each.initials, "name": each.name or None} for each in answers.keepers))
    _add(
        document,
        "shifts",
        (
            {"name": shift.name, "begins": f"{shift.begins:%H:%M}", "ends": f"{shift.ends:%H:%M}"}
            for shift in answers.shifts
        ),
    )
    _add_place(document, answers.room, kinds, ROOM_STATIONS, None)
    _add_differing(document, differing)
    return _text(document)


def _system_file(
    system: SystemAnswers, zone: str, kinds: Kinds, store: str | None, differing: Sequence[_Differing]
) -> str:
    document = _document(system.name)
    _set(document, name=system.name)
    if system.volume:
        _set(document, "net water", volume=system.volume)
    if system.surface:
        _set(document, surface=system.surface)
    _set(document, zone=zone)
    _set(document, "what the care catalogue asks of its kind", care=list(system.kinds))
    absent = [] if has_return(system) else _brought_of(OF_RETURN, system, kinds)
    if absent:
        _set(document, "what goes with a return", without=absent)
    for days in (ISOLATION[kind] for kind in system.kinds if kind in ISOLATION):
        _set(document, "from the last arrival or find", isolation=days)
    _add_place(document, system, kinds, STATIONS, store)
    _add_differing(document, differing)
    return _text(document)


def _add_place(
    document: TOMLDocument, place: SystemAnswers, kinds: Kinds, usual: Mapping[str, str], store: str | None
) -> None:
    """Stations, reservoirs and equipment; `store` is where reservoirs are filled from."""
    at = {kind: station_of(place, kind, usual) for kind in place.equipment}
    held = [station_of(place, each.kind, RESERVOIR_STATIONS) for each in place.reservoirs]
    order = list(dict.fromkeys((*STATIONS.values(), *ROOM_STATIONS.values(), *RESERVOIR_STATIONS.values())))
    names = sorted(dict.fromkeys((*at.values(), *held)), key=lambda name: order.index(name) if name in order else -1)
    stations = dict(zip(names, _ids(names, (), "station"), strict=True))
    _add(document, "stations", ({"id": id, "name": name} for name, id in stations.items()))
    _add(
        document,
        "reservoirs",
        (
            _reservoir(id, each, stations[station], place, store)
            for id, each, station in zip(_reservoir_ids(place, kinds), place.reservoirs, held, strict=True)
        ),
    )
    _add(
        document,
        "equipment",
        (
            {"id": id, "kind": kind, "station": stations[at[kind]], "without": _read_elsewhere(place, kind) or None}
            for id, kind in zip(_ids(pieces(place.equipment), (), "equipment"), place.equipment, strict=True)
        ),
    )


def _reservoir(
    id: str, reservoir: ReservoirAnswers, station: str, place: SystemAnswers, store: str | None
) -> dict[str, Any]:
    unit = reservoir.capacity.partition(" ")[2]
    fitted = [_DELIVERY[kind] for kind in place.equipment if kind in _DELIVERY] if reservoir.kind == "top-off" else []
    return {
        "id": id,
        "name": reservoir.name,
        "kind": reservoir.kind,
        "station": station,
        "capacity": reservoir.capacity,
        "reserve": share_of(reservoir.capacity, _FULL if reservoir.kind == "waste" else _RESERVE),
        "level_unit": unit if unit in _LEVEL_UNITS else None,
        "delivery": fitted[0] if fitted else None,
        "fed_by": store if reservoir.kind in _FED else None,
        "again_after": "1 day",
        "minutes": 1,
    }


def _read_elsewhere(place: SystemAnswers, kind: str) -> list[str]:
    """Care of a kind of equipment that reads a level which a reservoir reads."""
    held = dict.fromkeys(each.kind for each in place.reservoirs)
    return [LEVEL_BY_RESERVOIR[each][kind] for each in held if kind in LEVEL_BY_RESERVOIR.get(each, {})]


def _brought_of(ids: Iterable[str], system: SystemAnswers, kinds: Kinds) -> list[str]:
    """Those of the ids that the kinds of the system bring."""
    brought = {id for name in system.kinds if (kind := kinds.get(("system", name))) for id in kind.tasks}
    return [id for id in ids if id in brought]


def _store(room: SystemAnswers, kinds: Kinds) -> str | None:
    """The reservoir of purified water that others are filled from."""
    for id, reservoir in zip(_reservoir_ids(room, kinds), room.reservoirs, strict=True):
        if reservoir.kind == "purified water":
            return f"{ROOM}/{id}"
    return None


def _reservoir_ids(place: SystemAnswers, kinds: Kinds) -> list[str]:
    """Ids that nothing has which the catalogue brings: it would be left out for them."""
    sort = "room" if "room" in place.kinds else "system"
    brought = [kinds.get((sort, name)) for name in place.kinds]
    brought += [kinds.get(("equipment", name)) for name in place.equipment]
    taken = {id for kind in brought if kind is not None for id in (*kind.tasks, *kind.readings)}
    return _ids((each.name for each in place.reservoirs), taken, "reservoir", ("", "-level", "-refill"))


def _add_differing(document: TOMLDocument, differing: Sequence[_Differing]) -> None:
    """Times and first days, under a comment of their own."""
    said = {"at": "times when somebody is there", "first_day": f"first times, spread over {WEEKS} weeks"}
    keys = {each.key for each in differing}
    note = " and ".join(text for key, text in said.items() if key in keys).capitalize()
    note += "; each first day can go once it has been done." if "first_day" in keys else "."
    for listed in ("tasks", "readings"):
        tables: dict[str, dict[str, Any]] = {}
        for each in sorted(differing, key=lambda each: (each.key, str(each.value), each.id)):
            if each.listed == listed:
                tables.setdefault(each.id, {"id": each.id})[each.key] = each.value
        _add(document, listed, tables.values(), note)
        note = "" if tables else note


# -- ids ---------------------------------------------------------------------------------------------


def _ids(names: Iterable[str], taken: Container[str], otherwise: str, claimed: tuple[str, ...] = ("",)) -> list[str]:
    """An id for each name, each once; `claimed` are the endings with which it must not be taken either."""
    found: list[str] = []
    used: set[str] = set()
    for name in names:
        base = _slug(name) or otherwise
        for id in _numbered(base):
            ids = {f"{id}{end}" for end in claimed}
            if not used & ids and not any(each in taken for each in ids):
                break
        used |= ids
        found.append(id)
    return found


def _numbered(base: str) -> Iterator[str]:
    yield base
    number = 2
    while True:
        yield f"{base}-{number}"
        number += 1


def _slug(name: str) -> str:
    """``Nursery raceway, Ost`` to ``nursery-raceway-ost``; empty where no letter or digit of ASCII is left."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub("[^a-z0-9]+", "-", plain)[:_ID_LENGTH].strip("-")


# -- TOML --------------------------------------------------------------------------------------------


def _document(title: str) -> TOMLDocument:
    import tomlkit

    document = tomlkit.document()
    if title.isprintable() and title.strip():
        document.add(tomlkit.comment(title.strip()))
        document.add(tomlkit.nl())
    return document


def _set(table: AbstractTable | TOMLDocument, comment: str = "", **values: Any) -> None:
    for key, value in values.items():
        table.add(key, value)
        if comment:
            table[key].comment(comment)


def _on_lines(items: Iterable[str]) -> Array:
    """A list with each item on a line of its own."""
    import tomlkit

    listed = tomlkit.array()
    listed.extend(items)
    return listed.multiline(True)


def _part(document: TOMLDocument, key: str, values: Mapping[str, Any]) -> None:
    import tomlkit

    table = tomlkit.table()
    _set(table, **values)
    document.add(tomlkit.nl())
    document.add(key, table)


def _add(document: TOMLDocument, key: str, tables: Iterable[Mapping[str, Any]], note: str = "") -> None:
    """A list of tables, each without the keys whose value is None."""
    import tomlkit

    listed = tomlkit.aot()
    for values in tables:
        table = tomlkit.table()
        _set(table, **{name: value for name, value in values.items() if value is not None})
        listed.append(table)
    if len(listed):
        listed[-1].add(tomlkit.nl())  # between them there is one already
        if note:
            if not document.as_string().endswith("\n\n"):
                document.add(tomlkit.nl())
            document.add(tomlkit.comment(note))
        document.append(key, listed)


def _text(document: TOMLDocument) -> str:
    import tomlkit

    return tomlkit.dumps(document).rstrip("\n") + "\n"


# -- on disk -----------------------------------------------------------------------------------------


def refuse_used(folder: Path) -> None:
    """Raise `Refused` where a new room cannot be written: something stands in the folder already."""
    if folder.exists() and not folder.is_dir():
        raise Refused(f"{folder} is no folder; name a new one")
    try:
        found = sorted(each.name for each in folder.iterdir()) if folder.is_dir() else []
    except OSError as error:
        raise Refused(f"{folder} cannot be read ({error.strerror or error}); name another folder") from None
    if folder == device.user_data():
        found = [name for name in found if name not in (*_OWN, _answers_file().name)]
    if ROOM_FILE in found:
        raise Refused(f"{folder} holds a room already; open it with rounds --room, or name another folder")
    if found:
        raise Refused(f"{folder} is not empty ({found[0]} stands in it); name a new folder")


def write_room(folder: Path, files: Mapping[str, str]) -> None:
    """Put a new room on disk, its owner's alone where its folder is new; `room.toml` last, so that no part is a room.

    Raises `Refused` where something stands there or nothing can be written.
    """
    refuse_used(folder)
    try:
        make_own_folder(folder)
        for name in sorted(files, key=lambda name: name == ROOM_FILE):
            replace_file(folder / name, files[name].encode())
    except OSError as error:
        raise Refused(
            f"{error.filename or folder} cannot be written ({error.strerror or error}); name another folder"
        ) from None


def _answers_file() -> Path:
    return device.user_data() / "new-room.json"


def keep_answers(answers: Answers) -> None:
    """Keep the answers on this device; raises `Refused` when the user data folder cannot be written."""
    path = _answers_file()
    try:
        make_own_folder(path.parent)
        replace_file(path, msgspec.json.format(msgspec.json.encode(answers)) + b"\n")
    except OSError as error:
        raise Refused(f"{path} cannot be written ({error.strerror or error}); make it writable") from None


def kept_answers() -> Answers | None:
    """The answers of a set-up that was left; None where there are none that can be read."""
    try:
        return msgspec.json.decode(_answers_file().read_bytes(), type=Answers)
    except (OSError, msgspec.DecodeError):
        return None


def drop_answers() -> None:
    """They have become a room."""
    _answers_file().unlink(missing_ok=True)
