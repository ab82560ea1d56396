"""Finding what a keeper names by its id."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeVar

from rounds.core.errors import Refused
from rounds.core.words import quoted

if TYPE_CHECKING:
    from rounds.core.model import Room

T = TypeVar("T")


def find_place(room: Room, name: str) -> tuple[str, str]:
    """The (system, station) of a full station id, a system's id (station ""), or a station that one system has."""
    if name in room.system:
        return name, ""
    stations = {f"{system}/{station}": (system, station) for system, station in room.stations if station}
    return find_named(stations, name, "station", "write a system, or a station such as nursery/sump")


def find_named(known: Mapping[str, T], name: str, what: str, otherwise: str) -> T:
    """The one with the full id `name`, or with an id that only one system has.

    Raises `Refused`, which names what may have been meant, and else says `otherwise`.
    """
    if name in known:
        return known[name]
    found = [id for id in known if id.partition("/")[2] == name]
    if len(found) == 1:
        return known[found[0]]
    if found:
        raise Refused(f"{quoted(name)} is a {what} of several systems; write one of {', '.join(found)}")
    from difflib import get_close_matches

    near = get_close_matches(name, known, 1, 0.5)
    hint = f"did you mean {near[0]}?" if near else otherwise
    raise Refused(f"the {what} {quoted(name)} does not exist in this room; {hint}")
