"""What has been recorded, indexed so that the past costs nothing to ask."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from datetime import UTC, datetime

from rounds.core.fold import AtLeast, Kept, fold
from rounds.core.index import Index, begins, ends
from rounds.core.log import Incomplete, Log, entry_of
from rounds.core.model import Task
from rounds.core.record import BATCH_KINDS, CONCERN, OFF_NORMAL, STRIKE, Record

_FIRST = datetime.min.replace(tzinfo=UTC)
_EMPTY = Log()


def closings_of(history: History, task: Task) -> Log:
    """The records that close the task."""
    return history.valued(task.id) if task.by_value else history.closings(task.id)


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
        self._index = Index()
        self._written: dict[str, datetime] = {}
        self._version: dict[str, int] = {}
        self._since: datetime | None = None
        self._unsure = False
        self._missing: set[str] = set()
        """What later records go on with, and that may lie further back than what was kept."""

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
        if self._unsure or self._missing or (self._since is not None and now < self._since):
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
            self._put(record)
        return True

    @property
    def revision(self) -> int:
        """A number that changes whenever anything else is known."""
        return self._revision

    def version(self, id: str) -> int:
        """A number that changes whenever what is known of the task, the reading or the system changes."""
        return self._version.get(id, 0)

    def part(self, ids: Collection[str]) -> History:
        """A history of its own that knows of these tasks, readings and tanks what this one knows now.

        Another thread may ask it. Whatever else is asked of it raises `Incomplete`, or has no records.
        """
        part = History()
        part._since, part._unsure = self._since or _FIRST, self._unsure or bool(self._missing)
        part._index = self._index.part(ids)
        part._version = {id: self.version(id) for id in ids}
        return part

    # -- what is kept of it ------------------------------------------------------------------------

    def kept(self, begin: datetime, since: datetime, at_least: AtLeast) -> Kept:
        """What answers every question for instants from `since` on, and little more.

        Of each log what lies from `begin` on and at least as many records as `at_least` says for its task
        or reading, all concerns and protocols that are under way with all that was recorded of them, every strike
        and everything about the valves of tanks. What ended before `begin` is let go.
        """
        self.check(since)
        return fold(self._index, begin, since, at_least, tuple(self._struck.values()), dict(self._written))

    @classmethod
    def restored(cls, kept: Kept) -> History:
        """A history that knows what was kept; anything further back raises `Incomplete`."""
        history = cls()
        history._since = kept.since
        history._written = dict(kept.written)
        history._struck = {strike.ref: strike for strike in kept.strikes if strike.ref is not None}
        history._index = kept.index()
        history._records = {record.id: record for record in kept.every()}
        return history

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
        return self._index.closings.get(task, _EMPTY)

    def valued(self, reading: str) -> Log:
        """What closed a reading: any record with a value of it, or ``not needed``; of stock, all its records."""
        return self._index.valued.get(reading, _EMPTY)

    def since(self, begin: datetime, now: datetime) -> list[Record]:
        """Every record that stands with ``begin <= at <= now``, strikes left out, in history order."""
        return self._index.all.through(begin, now)

    def following(self, now: datetime) -> Record | None:
        """The first record that stands and is dated later than `now`: it begins to count then."""
        return self._index.all.following(now)

    def postponements(self, task: str) -> Log:
        return self._index.postponed.get(task, _EMPTY)

    def could_nots(self, task: str) -> Log:
        return self._index.could_not.get(task, _EMPTY)

    def turns(self, task: str, now: datetime) -> list[datetime]:
        """When records of the task that are dated later than `now` begin to count: the next of each sort."""
        logs = (self._index.closings, self._index.valued, self._index.postponed, self._index.could_not)
        found = (log.get(task, _EMPTY).following(now) for log in logs)
        return [record.at for record in found if record is not None]

    def opened(self, kind: str, now: datetime) -> list[Record]:
        """The concerns, the covers or the calls of protocols of up to `now` that are still known, the oldest first.

        What ended before the round days that were kept is not among them.
        """
        self.check(now)
        found = (record for record in self._index.opened.values() if record.kind == kind and record.at <= now)
        return sorted(found, key=lambda record: record.key)

    def followed(self, id: str, now: datetime) -> list[Record]:
        """What was recorded about a concern or a called protocol up to `now`, in order, its end included."""
        return list(self._followed_log(id).latest(now))[::-1]

    def concerns(self, now: datetime) -> list[Record]:
        """Concerns opened by `now` and not closed by then, the oldest first; an update after the end opens it again."""
        return [concern for concern in self.opened(CONCERN, now) if not self.ended(concern.id, now)]

    def ended(self, id: str, now: datetime) -> Record | None:
        """The record that ended a concern or protocol; None while it is under way."""
        last = self._followed_log(id).last(now)
        return last if last is not None and ends(last) else None

    def _followed_log(self, id: str) -> Log:
        if self._since is not None and id not in self._index.opened:
            raise Incomplete  # it may have ended, and been let go
        return self._index.followed.get(id, _EMPTY)

    def left(self, now: datetime) -> list[Record]:
        """What was not as it should be left at `now`: for each thing the latest "off normal", the oldest first."""
        self.check(now)
        latest = (log.last(now) for log in self._index.left.values())
        return sorted(
            (record for record in latest if record is not None and record.kind == OFF_NORMAL),
            key=lambda record: record.key,
        )

    def left_log(self, thing: str) -> Log:
        """How a thing was left and put back; see `thing_of`."""
        return self._index.left.get(thing, _EMPTY)

    def batches(self, now: datetime) -> list[Record]:
        """What opened, moved, counted and closed batches up to `now`, in order.

        What has left entirely, long before the round days that were kept, is not among them.
        """
        self.check(now)
        return list(self._index.batches.latest(now))[::-1]

    def found(self, system: str) -> Log:
        """Where pests were found in a system."""
        return self._index.found.get(system, _EMPTY)

    def valved(self, tank: str) -> Log:
        """When a tank was valved off from its system and opened to it."""
        return self._index.valved.get(tank, _EMPTY)

    def _strike(self, id: str, strike: Record) -> None:
        target, known = self._records.get(id), self._struck.get(id)
        if self._since is not None and target is None:
            self._unsure = True  # what it strikes lies further back than what was kept
        if target is not None and target.kind == STRIKE:
            return
        if known is None and target is not None:
            self._discard(target)
        if known is None or strike.key < known.key:
            self._struck[id] = strike

    def _put(self, record: Record) -> None:
        entry = entry_of(record)
        if self._since is not None:
            self._look_further_back(record)
            if begins(record) and self._index.before(entry):
                self._unsure = True  # whether it has ended may lie there
        self._changed(record, self._index.put(entry))
        if self._since is not None and record.kind in BATCH_KINDS and self._index.lacks_batch(record, self._struck):
            self._unsure = True  # the batch it is about may have left before what was kept

    def _discard(self, record: Record) -> None:
        if self._since is not None:
            self._look_further_back(record)
        self._changed(record, self._index.discard(record))

    def _changed(self, record: Record, ids: Iterable[str]) -> None:
        self._revision += 1
        for id in ids:
            self._version[id] = self._revision
        if record.system is not None:
            self._version[record.system] = self._revision

    def _look_further_back(self, record: Record) -> None:
        """Note what a record, or its strike, bears on that may lie further back than what was kept."""
        if begins(record):
            self._missing.discard(record.id)
        else:
            self._missing.update(self._index.lacking(record))
