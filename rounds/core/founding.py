"""The answers from which a new room is made.

How they are read: `rounds.core.founding_text`; what follows from them: `rounds.core.layout` and `first_times`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, time
from typing import TypeVar

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Keeper, Shift

T = TypeVar("T")

USUAL_UNITS = {"temperature": "°C", "salinity": "PSU", "alkalinity": "dKH", "volume": "L"}
"""The quantities whose units are asked for, with what is meant where nothing is answered."""

WEEKS = 4
"""Over how many weeks first times are spread."""


class ReservoirAnswers(msgspec.Struct, frozen=True, kw_only=True):
    """A container that empties or fills."""

    name: str
    kind: str
    """One of `rounds.core.model.RESERVOIR_KINDS`."""
    capacity: str
    """``80 L``"""


class SystemAnswers(msgspec.Struct, frozen=True, kw_only=True):
    """One system, or the room as the place of what belongs to no water."""

    name: str
    kinds: tuple[str, ...]
    """Of the care catalogue."""
    volume: str = ""
    """``960 L``; empty: not said."""
    surface: str = ""
    """``1.2 m2``; empty: not said."""
    zone: str = ""
    """The name of its hygiene zone; empty: that of its kind."""
    equipment: tuple[str, ...] = ()
    """Kinds of the care catalogue; of what there are several the kind as often, one after the other."""
    reservoirs: tuple[ReservoirAnswers, ...] = ()


class Answers(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is asked before there is a room."""

    folder: str = ""
    """Where the room is to be written."""
    name: str = ""
    timezone: str = ""
    """IANA name."""
    units: dict[str, str] = {}
    """By quantity; the usual unit of those that are missing."""
    day_begins: time = time(4)
    began: date | None = None
    """The first round day; None: `usual_first_day` of when the room is written."""
    spread: bool = True
    """Whether first times are spread over `WEEKS` weeks; else everything is due on the first day."""
    keepers: tuple[Keeper, ...] = ()
    shifts: tuple[Shift, ...] = ()
    room: SystemAnswers = SystemAnswers(name="The room", kinds=("room",))
    fittings: tuple[str, ...] = ()
    """What the room has, of `FITTINGS`."""
    systems: tuple[SystemAnswers, ...] = ()

    @property
    def places(self) -> tuple[SystemAnswers, ...]:
        """The room, then the systems."""
        return (self.room, *self.systems)

    def with_place(self, place: int, changed: SystemAnswers) -> Answers:
        """With another answer at a place of `places`."""
        if place == 0:
            return msgspec.structs.replace(self, room=changed)
        return msgspec.structs.replace(self, systems=put(self.systems, place - 1, changed))

    def unit(self, quantity: str) -> str:
        return self.units.get(quantity, USUAL_UNITS[quantity])


def put(items: tuple[T, ...], place: int | None, item: T) -> tuple[T, ...]:
    """The items with another one at a place, or with one more where no place is given."""
    if place is None:
        return (*items, item)
    return (*items[:place], item, *items[place + 1 :])


def without(items: tuple[T, ...], place: int) -> tuple[T, ...]:
    """The items without the one at a place."""
    return (*items[:place], *items[place + 1 :])


def unlike(what: str, new: str, known: Iterable[str]) -> None:
    """Raise `Refused` where a name that has to be unique is there already."""
    if new in known:
        raise Refused(f"{what} {new} is there already; type another")


def with_pieces(place: SystemAnswers, kind: str, number: int, order: Iterable[str]) -> SystemAnswers:
    """With so many pieces of a kind; the kinds stay in `order`."""
    have = {each: place.equipment.count(each) for each in place.equipment} | {kind: number}
    return msgspec.structs.replace(place, equipment=tuple(each for each in order for _ in range(have.get(each, 0))))
