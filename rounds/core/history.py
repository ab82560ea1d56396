"""What has been recorded, indexed so that the past costs nothing to ask."""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta

from rounds.core.record import (
    CONCERN,
    CONCERN_CLOSED,
    CONCERN_UPDATE,
    COULD_NOT,
    DONE,
    NOT_NEEDED,
    POSTPONED,
    REFILL,
    STRIKE,
    Record,
)

_LAST = (datetime.max.replace(tzinfo=UTC), "\U0010ffff")

Entry = tuple[datetime, datetime, str, Record]


class Log:
    """Records of one sort in history order: by ``at``, then ``recorded``, then id."""

    def __init__(self) -> None:
        self._entries: list[Entry] = []

    def __len__(self) -> int:
        return len(self._entries)

    def __iter__(self) -> Iterator[Record]:
        return (entry[3] for entry in self._entries)

    def add(self, record: Record) -> None:
        insort(self._entries, (*record.key, record))

    def discard(self, record: Record) -> None:
        place = bisect_left(self._entries, record.key, key=lambda entry: entry[:3])
        if place < len(self._entries) and self._entries[place][2] == record.id:
            del self._entries[place]

    def count(self, now: datetime) -> int:
        """How many there are up to and with the instant `now`."""
        return bisect_right(self._entries, (now, *_LAST), key=lambda entry: entry[:3])

    def last(self, now: datetime) -> Record | None:
        """The latest up to `now`."""
        place = self.count(now)
        return self._entries[place - 1][3] if place else None

    def between(self, begin: datetime, end: datetime) -> Sequence[Record]:
        """Those with ``begin <= at < end``."""
        low = bisect_left(self._entries, begin, key=lambda entry: entry[0])
        high = bisect_left(self._entries, end, key=lambda entry: entry[0], lo=low)
        return [entry[3] for entry in self._entries[low:high]]

    def latest(self, now: datetime) -> Iterator[Record]:
        """Up to `now`, the latest first."""
        for place in range(self.count(now) - 1, -1, -1):
            yield self._entries[place][3]


_EMPTY = Log()


class History:
    """All records of a room, whatever the order in which they came.

    Adding a record twice changes nothing; of two contents with one id the greater canonical
    JSON stands, so that any two devices that know the same records agree.
    """

    def __init__(self, records: Iterable[Record] = ()) -> None:
        self._revision = 0
        self._clear()
        for record in records:
            self.add(record)

    def _clear(self) -> None:
        self._records: dict[str, Record] = {}
        self._struck: dict[str, Record] = {}
        self._all = Log()
        self._closings: dict[str, Log] = {}
        self._valued: dict[str, Log] = {}
        self._postponed: dict[str, Log] = {}
        self._could_not: dict[str, Log] = {}
        self._concerns: dict[str, Record] = {}
        self._concern_logs: dict[str, Log] = {}
        self._version: dict[str, int] = {}

    def __len__(self) -> int:
        return len(self._records)

    def __contains__(self, id: str) -> bool:
        return id in self._records

    def __iter__(self) -> Iterator[Record]:
        return iter(self._records.values())

    def add(self, record: Record) -> bool:
        """Take the record in; False when it was known already."""
        known = self._records.get(record.id)
        if known is not None:
            if known == record or known.canonical() >= record.canonical():
                return False
            records = {**self._records, record.id: record}
            self._clear()
            for each in records.values():
                self.add(each)
            return True
        self._records[record.id] = record
        if record.kind == STRIKE:
            self._struck.pop(record.id, None)  # a strike cannot be struck
            if record.ref is not None:
                self._strike(record.ref, record)
        elif record.id not in self._struck:
            self._index(record)
        return True

    def version(self, task: str) -> int:
        """A number that changes whenever what is known of the task or reading changes."""
        return self._version.get(task, 0)

    def get(self, id: str) -> Record | None:
        return self._records.get(id)

    def strike_of(self, id: str) -> Record | None:
        """The strike that took the record `id` out of account; None when it stands."""
        return self._struck.get(id)

    def closings(self, task: str) -> Log:
        """What closed a task: ``done`` or ``not needed``; for a refill, ``refill``."""
        return self._closings.get(task, _EMPTY)

    def valued(self, reading: str) -> Log:
        """What closed a reading: any record with a value of it, or ``not needed``."""
        return self._valued.get(reading, _EMPTY)

    def since(self, begin: datetime, now: datetime) -> list[Record]:
        """Every record that stands with ``begin <= at <= now``, strikes left out, in history order."""
        return list(self._all.between(begin, now + timedelta(microseconds=1)))

    def postponements(self, task: str) -> Log:
        return self._postponed.get(task, _EMPTY)

    def could_nots(self, task: str) -> Log:
        return self._could_not.get(task, _EMPTY)

    def concerns(self, now: datetime) -> list[Record]:
        """Concerns opened by `now` and not closed by then, the oldest first."""
        return sorted(
            (
                concern
                for concern in self._concerns.values()
                if concern.at <= now and not any(r.kind == CONCERN_CLOSED for r in self.concern_log(concern.id, now))
            ),
            key=lambda record: record.key,
        )

    def concern_log(self, id: str, now: datetime) -> list[Record]:
        """Updates and the closing of a concern up to `now`, in order."""
        log = self._concern_logs.get(id, _EMPTY)
        return list(log.latest(now))[::-1]

    def _strike(self, id: str, strike: Record) -> None:
        target, known = self._records.get(id), self._struck.get(id)
        if target is not None and target.kind == STRIKE:
            return
        if known is None and target is not None:
            self._index(target, remove=True)
        if known is None or strike.key < known.key:
            self._struck[id] = strike

    def _index(self, record: Record, *, remove: bool = False) -> None:
        self._revision += 1
        if remove:
            self._all.discard(record)
        else:
            self._all.add(record)
        for id, logs in self._places(record):
            log = logs.setdefault(id, Log())
            if remove:
                log.discard(record)
            else:
                log.add(record)
            self._version[id] = self._revision
        if record.kind == CONCERN:
            if remove:
                self._concerns.pop(record.id, None)
            else:
                self._concerns[record.id] = record

    def _places(self, record: Record) -> Iterator[tuple[str, dict[str, Log]]]:
        """The logs that hold the record, each with the id it stands under."""
        task = record.task
        valued = {value.reading for value in record.values if value.value is not None}
        if task is not None:
            if record.kind in (DONE, NOT_NEEDED, REFILL):
                yield task, self._closings
            elif record.kind == POSTPONED:
                yield task, self._postponed
            elif record.kind == COULD_NOT:
                yield task, self._could_not
            if record.kind == NOT_NEEDED:
                valued.add(task)
        for reading in valued:
            yield reading, self._valued
        if record.ref is not None and record.kind in (CONCERN_UPDATE, CONCERN_CLOSED):
            yield record.ref, self._concern_logs
