"""The isolation clock: it belongs to the water, and runs for all in it from the last arrival or find."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

import msgspec

from rounds.core.batches import Batch, batches
from rounds.core.history import History
from rounds.core.model import Room, System
from rounds.core.record import Record


class Isolation(msgspec.Struct, frozen=True, kw_only=True):
    """How long all that stands in one water has to stay apart."""

    system: str
    since: Record
    """The last arrival or find, from which the days count."""
    find: bool
    """Whether that was pests that were found."""
    days: int
    fish: bool
    """Whether fish are or were in it, so that it takes longer."""
    free_on: date
    """The round day from which animals may leave."""

    def left(self, today: date) -> int:
        """Days that are left on a round day; 0: it is over."""
        return max(0, (self.free_on - today).days)


def isolation(room: Room, history: History, system: str, now: datetime) -> Isolation | None:
    """Of the water of a system; None where it is no quarantine or nothing stands in it.

    Raises `Incomplete` where not enough of the history was kept.
    """
    water = room.system.get(system)
    if water is None or water.isolation is None:
        return None
    return isolation_of(room, history, water, batches(history, now).values(), now)


def isolation_of(
    room: Room, history: History, water: System, known: Iterable[Batch], now: datetime
) -> Isolation | None:
    """`isolation` of a system that has one, where the batches at `now` are known already."""
    known = list(known)
    here = [each.record for each in known if each.ended is None and each.place[0] == water.id]
    if water.isolation is None or not here:
        return None
    arrivals = [record for each in known for system, record in each.entries if system == water.id]
    find = history.found(water.id).last(now)
    since = max([*(arrivals or here), *([find] if find is not None else [])], key=lambda record: record.key)
    fish = _fish(water, known, since.at)
    days = water.isolation_fish if fish else water.isolation
    return Isolation(
        system=water.id, since=since, find=since is find, days=days, fish=fish,
        free_on=room.calendar.round_day(since.at) + timedelta(days=days),
    )  # fmt: skip


def _fish(water: System, known: Iterable[Batch], since: datetime) -> bool:
    """Whether fish stand in it, or left it no longer before `since` than what they may have left behind lasts."""
    begin = since - timedelta(days=water.isolation_fish)
    return any(
        each.fish and stay.place[0] == water.id and (stay.until is None or stay.until >= begin)
        for each in known
        for stay in each.stays
    )
