"""What the field of a form can name: tables of the room's files, as they are called and as they are written."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rounds.core.model import ROOM
from rounds.core.words import plain
from rounds.report.fields import Field, name_of
from rounds.storage.parts import Part

_OF_ROOM = ("shifts", "keepers", "zones")
"""Named without a system."""


def nameable(field: Field, system: str, parts: Sequence[Part]) -> list[tuple[str, str]]:
    """What a field in the file of a `system` can name, that system's own first: what is shown, and what is written."""
    found = [part for part in parts if part.key == field.of and part.values.get("dropped") is not True]
    if field.of == "tasks":
        found = [part for part in found if part.values.get("called") is True]
    bare = [*_wherever(found)] if field.anywhere and system == ROOM else []
    if field.of == "stations":
        found = [part for part in found if part.system == system]
    found.sort(key=lambda part: part.system != system)
    return [*bare, *(_said(part, _written(field, system, part)) for part in found)]


def _written(field: Field, system: str, part: Part) -> str:
    return part.id if field.of in _OF_ROOM or part.system == system else f"{part.system}/{part.id}"


def _said(part: Part, written: str) -> tuple[str, str]:
    return f"{plain(name_of(part.values) or part.id)}  ({plain(written)})", written


def _wherever(parts: Sequence[Part]) -> Iterator[tuple[str, str]]:
    """What each system may have its own of."""
    known = {part.id: part for part in reversed(parts) if part.system != ROOM}
    for id, part in reversed(known.items()):
        yield f"{plain(name_of(part.values) or id)}  ({plain(id)}, of each system it is called for)", id
