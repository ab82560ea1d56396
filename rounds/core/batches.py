"""Batches: how many of what stand where, from arrival to the last one that has left.

Their counts are a ledger over the records in history order. A split, a move or a combination takes from one place
exactly what it gives to another, never more than is there, so that whatever records two devices bring together and
in whichever order, no animal appears by it and none is lost.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import msgspec

from rounds.core.record import (
    BATCH,
    BATCH_CLOSED,
    BATCH_COUNTED,
    BATCH_MOVED,
    CONCERN,
    CONCERN_UPDATE,
    DONE,
    NOTE,
    READING,
    Record,
)

if TYPE_CHECKING:
    from rounds.core.history import History

COUNT = "count"
"""What the value of a batch that says how many is a value of."""

SIZE = "size"
"""Likewise how large they are, in mm."""

DIED = "died"
COMBINED = "combined"
WAYS = ("grown on", "given away", DIED, "missing")
"""How animals leave a batch for good; they may also be `COMBINED` with another."""

LOST = (DIED, "missing")
"""The ways that count against survival."""

FISH = "fish"
"""The word on a batch with fish in it."""

FOUND = "found"
"""The word on a note about a batch on which pests were found."""

RELEASED = "released"
"""The word on a batch that was born in the room: larvae that a colony released."""

MEMORY = timedelta(days=400)
"""How long what has left entirely is remembered; longer than two isolations."""

Place = tuple[str, str]
"""(system, station)"""

_SEEN = frozenset((BATCH_COUNTED, CONCERN, CONCERN_UPDATE, DONE, NOTE, READING))
"""Records whose note says what was seen."""

_LEDGERS: WeakKeyDictionary[History, tuple[tuple[int, int], dict[str, Batch]]] = WeakKeyDictionary()
"""The last ledger of each history, with what it was made of: every row of the round may ask for it."""


class Stay(msgspec.Struct, frozen=True):
    """How long a batch stood at a place."""

    place: Place
    since: datetime
    until: datetime | None = None
    """None: it stands there still."""


class Entry(msgspec.Struct, frozen=True):
    """Animals that came to a place."""

    place: Place
    record: Record
    source: Place | None = None
    """Where they stood before; None: outside the room, or not known."""


class Batch(msgspec.Struct, frozen=True, kw_only=True):
    """A batch as it stands at one instant."""

    record: Record
    """That opened it: `note` is what it is, `reason` where it came from, `words` what it needs."""
    count: int
    """How many there are now."""
    began: int
    """How many it was opened with."""
    joined: int = 0
    """How many came from batches that were combined with it."""
    parted: int = 0
    """How many became other batches by splitting and combining."""
    gone: dict[str, int] = {}
    """By one of `WAYS`: how many left so."""
    uncounted: int = 0
    """How many fewer were counted than there should have been; below zero: more."""
    short: int = 0
    """How many it was said to be split off with that the other batch no longer had; a count settles it."""
    fish: bool = False
    """Whether there are fish in it, also by what was combined with it."""
    stays: tuple[Stay, ...] = ()
    """Where it stood, the last of them where it stands."""
    entries: tuple[Entry, ...] = ()
    """Where animals of it came to, also those of other batches that were combined with it."""
    sizes: tuple[tuple[datetime, float], ...] = ()
    """When they were measured, mm."""
    ended: Record | None = None
    """The record by which none was left; None: it stands."""
    last: Record
    """The last record about it."""

    @property
    def id(self) -> str:
        return self.record.id

    @property
    def what(self) -> str:
        return self.record.note

    @property
    def place(self) -> Place:
        return self.stays[-1].place

    @property
    def survival(self) -> float | None:
        """The share that has not died or gone missing, of those that did not leave in another way; None: of none."""
        lost = sum(self.gone.get(way, 0) for way in LOST) + max(0, self.uncounted)
        return self.count / (self.count + lost) if self.count + lost else None

    @property
    def growth(self) -> float | None:
        """Millimetres in 30 days from the first to the last time they were measured; None: not measured twice."""
        if len(self.sizes) < 2:
            return None
        (first, small), (last, large) = self.sizes[0], self.sizes[-1]
        span = last.astimezone(UTC) - first.astimezone(UTC)
        return (large - small) * (timedelta(days=30) / span) if span else None

    def age(self, now: datetime) -> timedelta:
        """Since it was opened."""
        return now - self.record.at


class _Account:
    """A batch while its records are gone through."""

    def __init__(self, record: Record) -> None:
        self.record = self.last = record
        self.count = self.began = self.joined = self.parted = self.uncounted = self.short = 0
        self.gone: Counter[str] = Counter()
        self.fish = FISH in record.words
        self.stays = [Stay(_place(record), record.at)]
        self.entries: list[Entry] = []
        self.sizes: list[tuple[datetime, float]] = []
        self.ended: Record | None = None

    @property
    def place(self) -> Place:
        return self.stays[-1].place

    def arrive(self) -> None:
        self.count = self.began = number(self.record) or 0
        self.entries.append(Entry(self.place, self.record))

    def split_from(self, parent: _Account | None) -> None:
        """Be opened with what the other can give; from one that was struck, or has not come yet, with nothing."""
        asked = number(self.record) or 0
        given = parent.give(asked, self.record) if parent is not None else 0
        self.began, self.short = given, asked - given
        if parent is None:
            self.entries.append(Entry(self.place, self.record))
            return
        parent.parted += given
        self.take(given, self.record, parent)

    def give(self, asked: int | None, record: Record) -> int:
        """Take out so many, at the most all there are; None: all."""
        given = self.count if asked is None else min(asked, self.count)
        self.count -= given
        self._settle(record)
        return given

    def take(self, many: int, record: Record, source: _Account) -> None:
        """Put in what another has given."""
        self.count += many
        self.fish |= source.fish
        if source.place != self.place:
            self.entries.append(Entry(self.place, record, source.place))
        self._settle(record)

    def count_as(self, many: int, record: Record) -> None:
        self.uncounted += self.count - many
        self.count, self.short = many, 0
        self._settle(record)

    def move(self, place: Place, record: Record) -> None:
        if place != self.place:
            self.entries.append(Entry(place, record, self.place))
        self._leave(record.at)
        self.stays.append(Stay(place, record.at))

    def _leave(self, at: datetime) -> None:
        self.stays[-1] = msgspec.structs.replace(self.stays[-1], until=at)

    def _settle(self, record: Record) -> None:
        """Whether it stands after `record`."""
        self.last = record
        self.ended = None if self.count or self.short else record

    def batch(self) -> Batch:
        if self.ended is not None and self.stays[-1].until is None:
            self._leave(self.ended.at)
        return Batch(
            record=self.record, count=self.count, began=self.began, joined=self.joined, parted=self.parted,
            gone=dict(self.gone), uncounted=self.uncounted, short=self.short, fish=self.fish, stays=tuple(self.stays),
            entries=tuple(self.entries), sizes=tuple(self.sizes), ended=self.ended, last=self.last,
        )  # fmt: skip


def ledger(records: Sequence[Record]) -> dict[str, Batch]:
    """The batches of these records, which are in history order, by id.

    What arrived is there from the beginning, so that a clock that is slow on one device does not split off what
    another has not opened yet. What names a batch that is not among them is passed over.
    """
    accounts = {record.id: _Account(record) for record in records if record.kind == BATCH}
    for each in accounts.values():
        if each.record.ref is None:
            each.arrive()
    for record in records:
        account = accounts.get(record.ref or "")
        if record.kind == BATCH and record.ref is not None:
            accounts[record.id].split_from(account)
        if account is None:
            continue
        if record.kind == BATCH_CLOSED:
            _close(account, accounts.get(record.task or ""), record)
        elif record.kind == BATCH_MOVED:
            account.move(_place(record), record)
        elif record.kind == BATCH_COUNTED and (many := number(record)) is not None:
            account.count_as(many, record)
        account.last = record
        account.sizes += [(record.at, value.value) for value in record.values
                          if value.reading == SIZE and value.value is not None and record.kind != BATCH]  # fmt: skip
    return {id: account.batch() for id, account in accounts.items()}


def _close(account: _Account, other: _Account | None, record: Record) -> None:
    way = next((word for word in record.words if word in (*WAYS, COMBINED)), WAYS[-1])
    if way != COMBINED:
        account.gone[way] += account.give(number(record), record)
        account.short = 0
    elif other is not None and other is not account:
        given = account.give(number(record), record)
        account.parted += given
        other.joined += given
        other.take(given, record, account)


def number(record: Record) -> int | None:
    """How many a record says; None: it does not say."""
    found = (value.value for value in record.values if value.reading == COUNT)
    return next((max(0, round(value)) for value in found if value is not None), None)


def _place(record: Record) -> Place:
    return (record.system or "", record.station or "")


def batches(history: History, now: datetime) -> dict[str, Batch]:
    """Every batch that is known at `now`, the oldest first, by id.

    Raises `Incomplete` where not enough of the history was kept.
    """
    records = history.batches(now)
    state = (history.revision, len(records))
    known = _LEDGERS.get(history)
    if known is None or known[0] != state:
        known = _LEDGERS[history] = (state, ledger(records))
    return known[1]


def standing(history: History, now: datetime, place: Place | None = None) -> list[Batch]:
    """What stands in the room, at a place, or anywhere in a system (station "")."""
    return [
        batch
        for batch in batches(history, now).values()
        if batch.ended is None and (place is None or batch.place == place or (batch.place[0], "") == place)
    ]


def remembered(records: Sequence[Record], begin: datetime) -> tuple[Record, ...]:
    """Those of the records, which are in history order, that may still bear on what stands from `begin` on.

    Batches that were split or combined are let go together, when the last of them has left long ago.
    """
    known = ledger(records)
    families = _families(records, known)
    alive = {
        families[id]
        for id, batch in known.items()
        if batch.ended is None or batch.ended.at >= begin - MEMORY or batch.last.at >= begin - MEMORY
    }
    return tuple(record for record in records if _owner(record) not in known or families[_owner(record)] in alive)


def _owner(record: Record) -> str:
    return record.id if record.kind == BATCH else record.ref or ""


def _families(records: Iterable[Record], known: dict[str, Batch]) -> dict[str, str]:
    """By batch, one of those that it is connected with."""
    head = {id: id for id in known}

    def find(id: str) -> str:
        while head[id] != id:
            head[id] = head[head[id]]
            id = head[id]
        return id

    for record in records:
        for other in (record.ref, record.task):
            if _owner(record) in head and other in head:
                head[find(_owner(record))] = find(other)
    return {id: find(id) for id in known}


def conditions(batch: Batch, records: Iterable[Record]) -> Iterator[Record]:
    """Those of the records that say in the words of the trade how it looked: notes of it and of where it stood."""
    for record in records:
        if record.kind in _SEEN and record.words and record.note and _bears_on(batch, record):
            yield record


def _bears_on(batch: Batch, record: Record) -> bool:
    if record.kind == BATCH_COUNTED or (record.kind == NOTE and record.ref is not None):
        return record.ref == batch.id
    return any(
        stay.place == _place(record) and stay.since <= record.at and (stay.until is None or record.at <= stay.until)
        for stay in batch.stays
    )
