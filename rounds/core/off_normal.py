"""What is not as it should be left, and has to be put back by a time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import msgspec

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.index import thing_of
from rounds.core.model import OFF_NORMAL_STATES, Equipment, Reservoir, Room
from rounds.core.named import find_named
from rounds.core.record import OFF_NORMAL, Record, short
from rounds.core.words import quoted


class OffNormal(msgspec.Struct, frozen=True, kw_only=True):
    """One thing off normal, as it stands at one instant."""

    thing: str
    """Full id of the equipment; of anything else the id of the record that named it."""
    name: str
    first: Record
    """That left it so."""
    last: Record
    """`first`, or the last extension."""

    @property
    def state(self) -> str:
        """One of `OFF_NORMAL_STATES`."""
        return next((word for word in self.last.words if word in OFF_NORMAL_STATES), OFF_NORMAL_STATES[0])

    @property
    def since(self) -> datetime:
        return self.first.at

    @property
    def until(self) -> datetime:
        """By when it is to be put back; one that names no time has to be at once."""
        return self.last.until or self.last.at

    @property
    def reason(self) -> str:
        return self.last.reason or self.first.reason

    def passed(self, now: datetime) -> bool:
        """Whether it should have been put back by `now`."""
        return now >= self.until

    def left(self, now: datetime) -> timedelta:
        """Time until it has to be put back; below zero when that has passed."""
        return self.until - now


def off_normal(room: Room, history: History, now: datetime) -> list[OffNormal]:
    """Everything off normal at `now`, what has to be put back first first.

    Raises `Incomplete` where not enough of the history was kept.
    """
    found = [_off_normal(room, history, last, now) for last in history.left(now)]
    return sorted(found, key=lambda each: (each.until, each.first.key))


def off_normal_at(room: Room, history: History, thing: str, now: datetime) -> list[OffNormal]:
    """How one thing stood at `now`: at most one, none when it was as it should be."""
    last = history.left_log(thing).last(now)
    return [_off_normal(room, history, last, now)] if last is not None and last.kind == OFF_NORMAL else []


def left_before(room: Room, history: History, back: Record) -> OffNormal | None:
    """How the thing that `back` put back had been left."""
    log = history.left_log(thing_of(back))
    last = next((record for record in log.latest(back.at) if record.key < back.key), None)
    return _off_normal(room, history, last, back.at) if last is not None and last.kind == OFF_NORMAL else None


def _off_normal(room: Room, history: History, last: Record, now: datetime) -> OffNormal:
    thing = thing_of(last)
    first = last
    for record in history.left_log(thing).latest(now):
        if record.key > last.key:
            continue
        if record.kind != OFF_NORMAL:
            break
        first = record
        if record.ref is None:
            break
    return OffNormal(thing=thing, name=thing_name(room, thing, first), first=first, last=last)


def thing_name(room: Room, thing: str, first: Record) -> str:
    """What it is called: the equipment's name, the reservoir's, or what was written."""
    known = room.equipment.get(thing) or room.reservoirs.get(thing)
    return known.name if known is not None else first.note or thing


def find_thing(room: Room, name: str) -> Equipment | Reservoir:
    """The equipment or reservoir of a full id, or of an id that only one system has; raises `Refused`."""
    known: dict[str, Equipment | Reservoir] = {**room.reservoirs, **room.equipment}
    return find_named(known, name, "piece of equipment", "add it under [[equipment]] of its system")


def named_so(left: Iterable[OffNormal], name: str) -> list[OffNormal]:
    """What of it is meant by a full id, an id, what it is called, or the id of its record or the end of that."""
    return [
        each
        for each in left
        if name in (each.thing, each.thing.partition("/")[2], each.name, each.first.id, short(each.first.id))
    ]


def find_left(left: Sequence[OffNormal], name: str) -> OffNormal:
    """The one that is meant by `name`; raises `Refused`, which lists what is off normal."""
    found = named_so(left, name)
    if len(found) == 1:
        return found[0]
    if found:
        raise Refused(f"{quoted(name)} is off normal more than once; write one of {', '.join(e.thing for e in found)}")
    known = ", ".join(each.thing if "/" in each.thing else each.name for each in left) or "nothing"
    raise Refused(f"{quoted(name)} is not off normal; off normal now: {known}")


def together_with(room: Room, equipment: Equipment) -> list[Equipment]:
    """What must stop with it, and with what stops with it, each once, in the order of the files."""
    found: dict[str, Equipment] = {}
    waiting = [*equipment.stops_with]
    while waiting:
        other = room.equipment.get(waiting.pop(0))
        if other is not None and other.id != equipment.id and other.id not in found:
            found[other.id] = other
            waiting += other.stops_with
    return list(found.values())


def put_back_order(room: Room, equipment: Equipment) -> list[Equipment]:
    """It and what stops with it, in the order in which they are put back: as its table says, else it first."""
    everything = {each.id: each for each in (equipment, *together_with(room, equipment))}
    named = [everything[id] for id in dict.fromkeys(equipment.put_back_order) if id in everything]
    return [*named, *(each for each in everything.values() if each not in named)]


def not_in_service(left: Iterable[OffNormal]) -> dict[str, OffNormal]:
    """By full id, what is off or shut, so that nothing can be read of it or done with it."""
    return {each.thing: each for each in left if each.state in ("off", "shut")}
