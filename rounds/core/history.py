"""What has been recorded, indexed so that the past costs nothing to ask."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import UTC, datetime, timedelta

import msgspec

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

_FIRST = datetime.min.replace(tzinfo=UTC)
_LAST = (datetime.max.replace(tzinfo=UTC), "\U0010ffff")
_INSTANT = timedelta(microseconds=1)

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
        self._entries: list[Entry] = [_entry(record) for record in records]
        self.floor = floor

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
        self.put(_entry(record))

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
        key = _entry(record)[:3]
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


def _entry(record: Record) -> Entry:
    """With times in UTC, which compare faster than times of different offsets."""
    at, recorded = record.at, record.recorded
    if at.tzinfo is not UTC:
        at = at.astimezone(UTC)
    if recorded.tzinfo is not UTC:
        recorded = recorded.astimezone(UTC)
    return (at, recorded, record.id, record)


_EMPTY = Log()


class KeptLog(msgspec.Struct, frozen=True, array_like=True):
    """The end of a log."""

    records: tuple[Record, ...]
    cut: bool
    """Whether there was more before."""

    def log(self) -> Log:
        first = self.records[0] if self.records else None
        return Log(self.records, _entry(first)[:3] if self.cut and first is not None else None)


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """The part of a history that is enough for the present; see `History.kept`."""

    since: datetime
    all: KeptLog
    closings: dict[str, KeptLog]
    valued: dict[str, KeptLog]
    postponed: dict[str, KeptLog]
    could_not: dict[str, KeptLog]
    concerns: tuple[Record, ...]
    concern_logs: dict[str, tuple[Record, ...]]
    strikes: tuple[Record, ...]
    written: dict[str, datetime]
    """By device: when it wrote something down last."""


def _really_done(record: Record) -> bool:
    return record.kind != NOT_NEEDED


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
        self._written: dict[str, datetime] = {}
        self._version: dict[str, int] = {}
        self._since: datetime | None = None
        self._unsure = False

    def __contains__(self, id: str) -> bool:
        return id in self._records

    def known(self) -> Iterator[Record]:
        """Every record at hand, in no order; not all of them when the history was cut."""
        return iter(self._records.values())

    def __iter__(self) -> Iterator[Record]:
        """Every record that is known, in no order; raises `Incomplete` when that is not all of them."""
        if self._since is not None:
            raise Incomplete
        return iter(self._records.values())

    def check(self, now: datetime) -> None:
        """Raise `Incomplete` when what was kept cannot answer for the instant `now`."""
        if self._unsure or (self._since is not None and now < self._since):
            raise Incomplete

    def add(self, record: Record) -> bool:
        """Take the record in; False when it was known already."""
        known = self._records.get(record.id)
        if known is not None:
            if known == record or known.canonical() >= record.canonical():
                return False
            if self._since is not None:
                self._unsure = True
                return True
            records = {**self._records, record.id: record}
            self._clear()
            for each in records.values():
                self.add(each)
            return True
        self._records[record.id] = record
        written = self._written.get(record.device)
        if written is None or written < record.recorded:
            self._written[record.device] = record.recorded
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

    def part(self, ids: Iterable[str]) -> History:
        """A history of its own that knows of these tasks and readings what this one knows now.

        Another thread may ask it. Whatever else is asked of it raises `Incomplete`, or has no records.
        """
        part = History()
        part._since, part._unsure = self._since or _FIRST, self._unsure
        part._all = Log(floor=(_LAST[0], *_LAST))
        for id in ids:
            part._version[id] = self.version(id)
            for mine, its in (
                (self._closings, part._closings),
                (self._valued, part._valued),
                (self._postponed, part._postponed),
                (self._could_not, part._could_not),
            ):
                if id in mine:
                    its[id] = mine[id].copy()
        return part

    # -- what is kept of it ------------------------------------------------------------------------

    def kept(self, begin: datetime, since: datetime, at_least: Callable[[str], int]) -> Kept:
        """What answers every question for instants from `since` on, and little more.

        Of each log what lies from `begin` on and at least as many records as `at_least` says for its task
        or reading, all concerns that are open and every strike.
        """
        self.check(since)

        def cut(logs: Mapping[str, Log], need: Callable[[Record], bool] | None = None) -> dict[str, KeptLog]:
            found = {}
            for id, log in logs.items():
                short = log.cut(begin, at_least(id), need)
                if len(short):
                    found[id] = KeptLog(short.known(), short.floor is not None)
            return found

        everything = self._all.cut(begin, at_least(""))
        open_concerns = {id: c for id, c in self._concerns.items() if not self._closed(id, begin)}
        return Kept(
            since=since,
            all=KeptLog(everything.known(), everything.floor is not None),
            closings=cut(self._closings, _really_done),
            valued=cut(self._valued, _really_done),
            postponed=cut(self._postponed),
            could_not=cut(self._could_not),
            concerns=tuple(open_concerns.values()),
            concern_logs={id: tuple(log) for id, log in self._concern_logs.items() if id in open_concerns},
            strikes=tuple(self._struck.values()),
            written=dict(self._written),
        )

    @classmethod
    def restored(cls, kept: Kept) -> History:
        """A history that knows what was kept; anything further back raises `Incomplete`."""
        history = cls()
        history._since = kept.since
        history._written = dict(kept.written)
        history._struck = {strike.ref: strike for strike in kept.strikes if strike.ref is not None}
        history._all = kept.all.log()
        for logs, kept_logs in (
            (history._closings, kept.closings),
            (history._valued, kept.valued),
            (history._postponed, kept.postponed),
            (history._could_not, kept.could_not),
        ):
            for id, each in kept_logs.items():
                logs[id] = each.log()
                history._records.update({record.id: record for record in each.records})
        history._concerns = {concern.id: concern for concern in kept.concerns}
        history._concern_logs = {id: Log(records) for id, records in kept.concern_logs.items()}
        for records in (kept.all.records, kept.concerns, *kept.concern_logs.values(), kept.strikes):
            history._records.update({record.id: record for record in records})
        return history

    def _closed(self, concern: str, before: datetime) -> bool:
        log = self._concern_logs.get(concern, _EMPTY)
        return any(record.kind == CONCERN_CLOSED and record.at < before for record in log)

    def last_written(self, device: str) -> datetime | None:
        """When a device wrote something down last."""
        return self._written.get(device)

    def find(self, id: str) -> Record | None:
        """The record with this id; raises `Incomplete` when it may lie further back than what was kept."""
        found = self._records.get(id)
        if found is None and self._since is not None:
            raise Incomplete
        return found

    def get(self, id: str) -> Record | None:
        return self._records.get(id)

    @property
    def struck(self) -> Collection[str]:
        """The ids of what was taken out of account."""
        return self._struck.keys()

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
        return self._all.between(begin, now + _INSTANT)

    def postponements(self, task: str) -> Log:
        return self._postponed.get(task, _EMPTY)

    def could_nots(self, task: str) -> Log:
        return self._could_not.get(task, _EMPTY)

    def turns(self, task: str, now: datetime) -> list[datetime]:
        """When records of the task that are dated later than `now` begin to count: the next of each sort."""
        logs = (self._closings, self._valued, self._postponed, self._could_not)
        found = (log.get(task, _EMPTY).following(now) for log in logs)
        return [record.at for record in found if record is not None]

    def concerns(self, now: datetime) -> list[Record]:
        """Concerns opened by `now` and not closed by then, the oldest first."""
        self.check(now)
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
        if self._since is not None and (
            target is None or (target.kind == CONCERN_CLOSED and target.ref not in self._concerns)
        ):
            self._unsure = True  # what it strikes, or reopens, lies further back than what was kept
        if target is not None and target.kind == STRIKE:
            return
        if known is None and target is not None:
            self._index(target, remove=True)
        if known is None or strike.key < known.key:
            self._struck[id] = strike

    def _index(self, record: Record, *, remove: bool = False) -> None:
        self._revision += 1
        entry = _entry(record)
        if remove:
            self._all.discard(record)
        else:
            self._all.put(entry)
        for id, logs in self._places(record):
            log = logs.get(id)
            if log is None:
                log = logs[id] = Log()
            if remove:
                log.discard(record)
            else:
                log.put(entry)
            self._version[id] = self._revision
        if record.kind == CONCERN:
            floor = self._all.floor
            if floor is not None and entry[:3] < floor:
                self._unsure = True  # whether it was closed lies further back than what was kept
            if remove:
                self._concerns.pop(record.id, None)
            else:
                self._concerns[record.id] = record

    def _places(self, record: Record) -> Iterator[tuple[str, dict[str, Log]]]:
        """The logs that hold the record, each with the id it stands under."""
        task = record.task
        valued = {value.reading for value in record.values if value.value is not None}
        if task is not None:
            refilled = record.kind == REFILL and task.endswith("-refill")
            if refilled or record.kind in (DONE, NOT_NEEDED):
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
