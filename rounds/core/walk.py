"""The round as it is walked: stop after stop, what is left at each, and where to go next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

import msgspec

from rounds.core.items import DUE, MISSED, OPEN_STATES, OVERDUE, DueItem
from rounds.core.model import Room, Shift, Station, System
from rounds.core.words import plain


class Stop(msgspec.Struct, frozen=True):
    """A station of the walk with its items of the round."""

    system: System
    station: Station
    items: tuple[DueItem, ...]

    @property
    def key(self) -> tuple[str, str]:
        return (self.system.id, self.station.id)

    @property
    def left(self) -> int:
        return sum(1 for item in self.items if item.state in OPEN_STATES)

    @property
    def late(self) -> int:
        return sum(1 for item in self.items if item.state == OVERDUE)


class Counts(msgspec.Struct, frozen=True):
    """How far the round has come."""

    done: int
    left: int
    late: int


def stops(room: Room, items: Iterable[DueItem]) -> list[Stop]:
    """Every station in walking order, also those where nothing is due."""
    found: dict[tuple[str, str], list[DueItem]] = {key: [] for key in room.stations}
    for item in items:
        if item.in_round:
            found.setdefault((item.task.system, item.task.station), []).append(item)
    return [_stop(room, key, found[key]) for key in sorted(found, key=room.places.__getitem__)]


def _stop(room: Room, key: tuple[str, str], items: Sequence[DueItem]) -> Stop:
    system = room.system[key[0]]
    return Stop(system, room.stations.get(key) or Station(system.id, "", system.name), tuple(items))


def counts(items: Iterable[DueItem]) -> Counts:
    """Done, left and late of the round."""
    done = left = late = 0
    for item in items:
        if not item.in_round:
            continue
        if item.closed_at is not None:
            done += 1
        elif item.state in OPEN_STATES:
            left += 1
            late += item.state == OVERDUE
    return Counts(done, left, late)


def to_do(item: DueItem) -> bool:
    """Whether it can be done now, waits for it, and was not tried in vain in this round already."""
    return item.state in (DUE, OVERDUE) and not item.tried_today


def next_to_do(
    walk: Sequence[Stop], stop: int, after: int, shown: Callable[[DueItem], bool], *, finish: bool
) -> tuple[int, DueItem] | None:
    """Where to go on from item `after` of stop `stop`: later items there, then later stops, then round from the first.

    `finish`: what was passed over at this stop comes before the other stops, not after them. Only items that are
    `shown` count. None: nothing is left to do.
    """
    here = [(stop, item) for item in walk[stop].items] if walk else []
    later, earlier = here[after + 1 :], here[: max(0, after)]
    others = [(index, item) for index in (*range(stop + 1, len(walk)), *range(stop)) for item in walk[index].items]
    order = (*later, *earlier, *others) if finish else (*later, *others, *earlier)
    return next(((index, item) for index, item in order if shown(item) and to_do(item)), None)


def missed(items: Iterable[DueItem]) -> list[DueItem]:
    """What was missed since the round day before, in walking order."""
    return [item for item in items if item.state == MISSED]


def shift_at(room: Room, now: datetime) -> Shift | None:
    """The shift that has begun last at `now` and has not ended; None between shifts."""
    calendar = room.calendar
    day = calendar.round_day(now)
    running = [
        shift
        for shift in room.shifts
        if calendar.wall(day, shift.begins) <= now < calendar.shift_end(day, shift.begins, shift.ends)
    ]
    return max(running, key=lambda shift: calendar.wall(day, shift.begins), default=None)


def shift_began(room: Room, now: datetime) -> datetime:
    """When the present shift began; between shifts, the round day."""
    calendar = room.calendar
    day = calendar.round_day(now)
    shift = shift_at(room, now)
    return calendar.wall(day, shift.begins) if shift is not None else calendar.start(day)


def in_shift(item: DueItem, shift: Shift | None) -> bool:
    """Whether the item belongs to the shift; work of no shift is everyone's."""
    return item.task.shift is None or shift is None or item.task.shift.name == shift.name


def place_name(room: Room, system: str | None, station: str | None) -> str:
    """``Nursery raceway, sump``: as the room calls it; what it no longer has, as it was written."""
    whole = room.system.get(system or "")
    part = room.stations.get((system or "", station or ""))
    names = [whole.name if whole else system or "", part.name if part and part.id else "" if part else station or ""]
    return plain(", ".join(name for name in names if name))


def cleaner_than(room: Room, zone: str | None, other: str | None) -> bool:
    """Whether `zone` comes before `other` in the order of the room's zones, clean to dirty."""
    order = [each.id for each in room.zones]
    return zone in order and other in order and order.index(zone or "") < order.index(other or "")
