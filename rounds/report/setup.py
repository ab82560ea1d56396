"""The room as set-up lists it: systems in walking order, the stations of each with what stands there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime

import msgspec

from rounds.core.model import ROOM, Room
from rounds.core.words import plain
from rounds.report.fields import name_of
from rounds.report.forms import form_of
from rounds.report.rules import rule_words
from rounds.storage.parts import Part

_AT_STATIONS = ("tasks", "readings", "reservoirs", "equipment", "lights", "stock")
_OF_SYSTEM = ("tanks", "instruments", "protocols")
_OF_ROOM = ("keepers", "shifts", "zones")


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the list."""

    part: Part
    title: str
    kind: str
    note: str = ""
    """When it is due, or why it is not."""
    depth: int = 0
    """0: a system; 1: a station, or what belongs to the system as a whole; 2: what stands at a station."""

    @property
    def id(self) -> str:
        return "/".join(self.part.key_in_room)


def rows_of(room: Room, parts: Sequence[Part]) -> list[Row]:
    """Every table that has a form, in walking order; last the keepers, shifts and zones of the room."""
    order = {system.id: place for place, system in enumerate(room.systems)}
    systems = [part for part in parts if not part.key]
    found: list[Row] = []
    for system in sorted(systems, key=lambda part: (order.get(part.id, len(order)), part.id)):
        found.append(_row(room, system, 0))
        found += _of_system(room, [part for part in parts if part.system == system.id and part.key])
    return [*found, *(_row(room, part, 1) for key in _OF_ROOM for part in parts if part.key == key)]


def _of_system(room: Room, parts: Sequence[Part]) -> Iterator[Row]:
    stations = [part for part in parts if part.key == "stations"]
    known = {station.id for station in stations}
    yield from _standing(room, (part for part in parts if part.station not in known), 1)
    for station in stations:
        yield _row(room, station, 1)
        here = station.id
        yield from _standing(room, (part for part in parts if part.station == here), 2)
    for key in _OF_SYSTEM:
        yield from (_row(room, part, 1) for part in parts if part.key == key)


def _standing(room: Room, parts: Iterable[Part], depth: int) -> Iterator[Row]:
    here = list(parts)
    for key in _AT_STATIONS:
        yield from (_row(room, part, depth) for part in here if part.key == key)


def _row(room: Room, part: Part, depth: int) -> Row:
    values = part.values
    name = room.name if part.id == ROOM and not part.key else name_of(values) or part.id
    return Row(
        part=part, title=plain(name), kind=form_of(part.system, part.key).kind, note=plain(_note(part)), depth=depth
    )


def _note(part: Part) -> str:
    values = part.values
    if values.get("dropped") is True:
        return "left out"
    notes = ["paused"] if values.get("paused") is True else []
    if (last := values.get("last_day", values.get("until"))) is not None:
        notes.append(f"until {last:%Y-%m-%d %H:%M}" if isinstance(last, datetime) else f"until {last}")
    if part.key == "keepers":
        notes.append(part.id)
    elif part.key == "shifts":
        notes.append(f"{values.get('begins', '')}–{values.get('ends', '')}")
    else:
        notes.append(rule_words(values))
    return ", ".join(note for note in notes if note)
