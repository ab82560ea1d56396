"""The round as it is walked: stop after stop, what is left at each, and where to go next."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime

import msgspec

from rounds.core.model import Room, Shift, Station, System
from rounds.core.plan import DUE, MISSED, OPEN_STATES, OVERDUE, DueItem


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
            found[(item.task.system, item.task.station)].append(item)
    return [Stop(room.system[key[0]], room.stations[key], tuple(at_station)) for key, at_station in found.items()]


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
    """Whether it can be done now and waits for it."""
    return item.state in (DUE, OVERDUE)


def next_to_do(walk: Sequence[Stop], stop: int, place: int, shown: Callable[[DueItem], bool]) -> tuple[int, int] | None:
    """Where to go on from row `place` of stop `stop`: later rows there, earlier ones, later stops, the others.

    Rows are counted among the items that are `shown`. None: nothing is left to do.
    """

    def first(index: int, rows: Callable[[int], bool]) -> tuple[int, int] | None:
        visible = [item for item in walk[index].items if shown(item)]
        return next(((index, row) for row, item in enumerate(visible) if rows(row) and to_do(item)), None)

    here = first(stop, lambda row: row > place) or first(stop, lambda row: row != place)
    if here is not None:
        return here
    for index in (*range(stop + 1, len(walk)), *range(stop)):
        if (there := first(index, lambda _: True)) is not None:
            return there
    return None


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


def cleaner_than(room: Room, zone: str | None, other: str | None) -> bool:
    """Whether `zone` comes before `other` in the order of the room's zones, clean to dirty."""
    order = [each.id for each in room.zones]
    return zone in order and other in order and order.index(zone or "") < order.index(other or "")
