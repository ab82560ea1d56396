"""Records of one sort in history order, with the past cut off where it is not needed."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime

import msgspec

from rounds.core.calendar import INSTANT
from rounds.core.record import Record

_LAST = (datetime.max.replace(tzinfo=UTC), "\U0010ffff")

Key = tuple[datetime, datetime, str]
Entry = tuple[datetime, datetime, str, Record]


class Incomplete(Exception):
    """The answer lies further back than what was kept; all records have to be read."""


class Log:
    """Records of one sort in history order: by ``at``, then ``recorded``, then id.

    A log may have been cut: what lies before its floor is not known, and a question that
    would need it raises `Incomplete` instead of being answered wrongly.
    """

    __slots__ = ("_entries", "floor")

    def __init__(self, records: Iterable[Record] = (), floor: Key | None = None) -> None:
        """`records` in history order, the first of them being the `floor` of a log that was cut."""
        self._entries: list[Entry] = [entry_of(record) for record in records]
        self.floor = floor

    @classmethod
    def unknown(cls) -> Log:
        """Of which nothing is known."""
        return cls(floor=(_LAST[0], *_LAST))

    def __len__(self) -> int:
        return len(self._entries)

    def __iter__(self) -> Iterator[Record]:
        """All of them; raises `Incomplete` when the log was cut."""
        if self.floor is not None:
            raise Incomplete
        return (entry[3] for entry in self._entries)

    def known(self) -> tuple[Record, ...]:
        """Those at hand."""
        return tuple(entry[3] for entry in self._entries)

    def add(self, record: Record) -> None:
        """Put the record in its place; one that stands there already, or lies before the floor, is passed over."""
        self.put(entry_of(record))

    def put(self, entry: Entry) -> None:
        """`add` for an entry made already."""
        if self.floor is not None and entry[:3] < self.floor:
            return
        entries = self._entries
        if not entries or entries[-1][:3] < entry[:3]:
            entries.append(entry)
            return
        place = bisect_left(entries, entry[:3])
        if place == len(entries) or entries[place][:3] != entry[:3]:
            entries.insert(place, entry)

    def discard(self, record: Record) -> None:
        """Take the record out, wherever it stands."""
        key = entry_of(record)[:3]
        place = bisect_left(self._entries, key)
        if place < len(self._entries) and self._entries[place][:3] == key:
            del self._entries[place]

    def last(self, now: datetime) -> Record | None:
        """The latest up to `now`."""
        return next(self.latest(now), None)

    def between(self, begin: datetime, end: datetime) -> list[Record]:
        """Those with ``begin <= at < end``."""
        if self.floor is not None and begin < self.floor[0]:
            raise Incomplete
        low = bisect_left(self._entries, (begin,))
        high = bisect_left(self._entries, (end,), lo=low)
        return [entry[3] for entry in self._entries[low:high]]

    def through(self, begin: datetime, end: datetime) -> list[Record]:
        """Those with ``begin <= at <= end``."""
        return self.between(begin, end + INSTANT)

    def following(self, now: datetime) -> Record | None:
        """The first that is later than `now`."""
        place = bisect_right(self._entries, (now, *_LAST))
        return self._entries[place][3] if place < len(self._entries) else None

    def latest(self, now: datetime) -> Iterator[Record]:
        """Up to `now`, the latest first."""
        entries = self._entries
        for place in range(bisect_right(entries, (now, *_LAST)) - 1, -1, -1):
            yield entries[place][3]
        if self.floor is not None:
            raise Incomplete

    def copy(self) -> Log:
        """The same records, whatever is added here later."""
        log = Log(floor=self.floor)
        log._entries = self._entries[:]
        return log

    def cut(self, begin: datetime, at_least: int, need: Callable[[Record], bool] | None = None) -> Log:
        """The end of the log: what lies from `begin` on, at least so many, and one record that meets `need`."""
        entries = self._entries
        place = min(bisect_left(entries, (begin,)), max(0, len(entries) - at_least))
        while need is not None and place > 0 and not any(need(entry[3]) for entry in entries[place:]):
            place -= 1
        return Log((entry[3] for entry in entries[place:]), entries[place][:3] if place else self.floor)


def entry_of(record: Record) -> Entry:
    """The record as it stands in a log: with times in UTC, which compare faster than times of different offsets."""
    at, recorded = record.at, record.recorded
    if at.tzinfo is not UTC:
        at = at.astimezone(UTC)
    if recorded.tzinfo is not UTC:
        recorded = recorded.astimezone(UTC)
    return (at, recorded, record.id, record)


class KeptLog(msgspec.Struct, frozen=True, array_like=True):
    """The end of a log."""

    places: tuple[int, ...]
    """Its records in history order, by their places among all that were kept."""
    cut: bool
    """Whether there was more before."""

    def log(self, records: Sequence[Record]) -> Log:
        """The log, of all the `records` that were kept."""
        own = [records[place] for place in self.places]
        return Log(own, entry_of(own[0])[:3] if self.cut and own else None)
