"""What has been recorded, indexed so that the past costs nothing to ask."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import UTC, datetime

import msgspec

from rounds.core.batches import FOUND, remembered
from rounds.core.log import Entry, Incomplete, KeptLog, Log, entry_of
from rounds.core.model import Task
from rounds.core.record import (
    BACK_TO_NORMAL,
    BATCH_CLOSED,
    BATCH_KINDS,
    CONCERN,
    CONCERN_CLOSED,
    CONCERN_UPDATE,
    COULD_NOT,
    COVER,
    DONE,
    NOT_NEEDED,
    OFF_NORMAL,
    POSTPONED,
    PROTOCOL,
    REFILL,
    STOCK,
    STRIKE,
    VALVED,
    Record,
    short,
)
from rounds.core.words import pests_in

_FIRST = datetime.min.replace(tzinfo=UTC)
_EMPTY = Log()


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """The part of a history that is enough for the present; see `History.kept`."""

    since: datetime
    all: KeptLog
    closings: dict[str, KeptLog]
    valued: dict[str, KeptLog]
    postponed: dict[str, KeptLog]
    could_not: dict[str, KeptLog]
    opened: tuple[Record, ...]
    """Concerns, protocols and covers that are under way."""
    followed: dict[str, tuple[Record, ...]]
    """What was recorded about each of them since."""
    left: dict[str, KeptLog]
    """By thing: how it was left."""
    batches: tuple[Record, ...]
    """Of what stands in the room, and of what has left not long ago."""
    found: dict[str, KeptLog]
    """By system: where pests were found."""
    valved: dict[str, tuple[Record, ...]]
    """By tank: everything about its valve."""
    strikes: tuple[Record, ...]
    written: dict[str, datetime]
    """By device: when it wrote something down last."""


def _really_done(record: Record) -> bool:
    return record.kind != NOT_NEEDED


def _begins(record: Record) -> bool:
    """Whether it begins what lasts: a concern, a cover, the call of a protocol, something left off normal."""
    return _opens(record) or (record.kind == OFF_NORMAL and record.ref is None)


def _opens(record: Record) -> bool:
    """Whether it is a concern, a cover or the call of a protocol."""
    return record.kind in (CONCERN, COVER) or (record.kind == PROTOCOL and record.ref is None)


def _ends(record: Record) -> bool:
    """Whether it ends the concern or protocol that it names."""
    return record.kind == CONCERN_CLOSED or (record.kind == PROTOCOL and record.ref is not None)


def _kept(log: Log) -> KeptLog:
    return KeptLog(log.known(), log.floor is not None)


def _ids(log: Log) -> set[str]:
    return {record.id for record in log.known()}


def closings_of(history: History, task: Task) -> Log:
    """The records that close the task."""
    return history.valued(task.id) if task.by_value else history.closings(task.id)


def _tells_of_pests(record: Record) -> bool:
    """Whether it says that pests were found."""
    if not record.words:  # nearly all records: a note without a condition word names no pest either
        return False
    said = record.reason if record.kind == BATCH_CLOSED else record.note
    return FOUND in record.words or pests_in(said)


def thing_of(record: Record) -> str:
    """What a record of the kinds "off normal" and "back to normal" is about.

    The full id of a piece of equipment, or the id of the record that named something else, such as a hose.
    """
    return record.task or record.ref or record.id


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
        self._opened: dict[str, Record] = {}
        self._followed: dict[str, Log] = {}
        self._left: dict[str, Log] = {}
        self._batches = Log()
        self._found: dict[str, Log] = {}
        self._valved: dict[str, Log] = {}
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
            self._index(record)
        return True

    @property
    def revision(self) -> int:
        """A number that changes whenever anything else is known."""
        return self._revision

    def version(self, id: str) -> int:
        """A number that changes whenever what is known of the task, the reading or the system changes."""
        return self._version.get(id, 0)

    def part(self, ids: Iterable[str]) -> History:
        """A history of its own that knows of these tasks, readings and tanks what this one knows now.

        Another thread may ask it. Whatever else is asked of it raises `Incomplete`, or has no records.
        """
        part = History()
        part._since, part._unsure = self._since or _FIRST, self._unsure or bool(self._missing)
        part._all = Log.unknown()
        for id in ids:
            part._version[id] = self.version(id)
            for mine, its in (
                (self._closings, part._closings),
                (self._valued, part._valued),
                (self._postponed, part._postponed),
                (self._could_not, part._could_not),
                (self._valved, part._valved),
            ):
                if id in mine:
                    its[id] = mine[id].copy()
        return part

    # -- what is kept of it ------------------------------------------------------------------------

    def kept(self, begin: datetime, since: datetime, at_least: Callable[[str], int]) -> Kept:
        """What answers every question for instants from `since` on, and little more.

        Of each log what lies from `begin` on and at least as many records as `at_least` says for its task
        or reading, all concerns and protocols that are under way with all that was recorded of them, every strike
        and everything about the valves of tanks. What ended before `begin` is let go.
        """
        self.check(since)
        under_way = {id: record for id, record in self._opened.items() if not self._ended_before(id, begin)}
        left = {thing: log for thing, log in self._left.items() if not self._back_before(thing, begin)}
        put_back = (_ids(log) for thing, log in self._left.items() if thing not in left)
        over = {id for id, record in self._records.items() if _opens(record) and id not in under_way}.union(*put_back)

        def cut(logs: Mapping[str, Log], need: Callable[[Record], bool] | None = None) -> dict[str, KeptLog]:
            short = {id: log.cut(begin, at_least(id), need) for id, log in logs.items()}
            return {id: _kept(log) for id, log in short.items() if len(log)}

        def cut_tasks(logs: Mapping[str, Log], need: Callable[[Record], bool] | None = None) -> dict[str, KeptLog]:
            last = {id: records[-1] for id, log in logs.items() if (records := log.known())}
            whole = {id: logs[id] for id, record in last.items() if record.ref in under_way}
            gone = {
                id
                for id, record in last.items()
                if record.ref in over and record.at < begin and short(record.ref) in id
            }
            shortened = {id: log for id, log in logs.items() if id not in gone and id not in whole}
            return {**cut(shortened, need), **{id: _kept(log) for id, log in whole.items()}}

        everything = self._all.cut(begin, at_least(""))
        return Kept(
            since=since,
            all=_kept(everything),
            closings=cut_tasks(self._closings, _really_done),
            valued=cut_tasks(self._valued, _really_done),
            postponed=cut_tasks(self._postponed),
            could_not=cut_tasks(self._could_not),
            opened=tuple(under_way.values()),
            followed={id: log.known() for id, log in self._followed.items() if len(log) and id not in over},
            left=cut(left, _begins),
            batches=remembered(self._batches.known(), begin),
            found=cut(self._found),
            valved={id: log.known() for id, log in self._valved.items()},
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
            (history._left, kept.left),
            (history._found, kept.found),
        ):
            for id, each in kept_logs.items():
                logs[id] = each.log()
                history._records.update({record.id: record for record in each.records})
        history._opened = {record.id: record for record in kept.opened}
        history._followed = {id: Log(records) for id, records in kept.followed.items()}
        history._batches = Log(kept.batches)
        history._valved = {id: Log(records) for id, records in kept.valved.items()}
        whole = (*kept.followed.values(), *kept.valved.values(), kept.batches)
        for records in (kept.all.records, kept.opened, *whole, kept.strikes):
            history._records.update({record.id: record for record in records})
        return history

    def _ended_before(self, id: str, begin: datetime) -> bool:
        opened = self._opened[id]
        if opened.kind == COVER:
            return (opened.until or opened.at) < begin
        last = self._followed.get(id, _EMPTY).known()[-1:]
        return bool(last) and _ends(last[0]) and last[0].at < begin

    def _back_before(self, thing: str, begin: datetime) -> bool:
        """Whether it is no piece of equipment and was put back so long ago that it can be forgotten."""
        records = self._left[thing].known()
        over = bool(records) and records[-1].kind == BACK_TO_NORMAL and records[-1].at < begin
        return over and thing in _ids(self._left[thing])

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
        """What closed a reading: any record with a value of it, or ``not needed``; of stock, all its records."""
        return self._valued.get(reading, _EMPTY)

    def since(self, begin: datetime, now: datetime) -> list[Record]:
        """Every record that stands with ``begin <= at <= now``, strikes left out, in history order."""
        return self._all.through(begin, now)

    def postponements(self, task: str) -> Log:
        return self._postponed.get(task, _EMPTY)

    def could_nots(self, task: str) -> Log:
        return self._could_not.get(task, _EMPTY)

    def turns(self, task: str, now: datetime) -> list[datetime]:
        """When records of the task that are dated later than `now` begin to count: the next of each sort."""
        logs = (self._closings, self._valued, self._postponed, self._could_not)
        found = (log.get(task, _EMPTY).following(now) for log in logs)
        return [record.at for record in found if record is not None]

    def opened(self, kind: str, now: datetime) -> list[Record]:
        """The concerns, the covers or the calls of protocols of up to `now` that are still known, the oldest first.

        What ended before the round days that were kept is not among them.
        """
        self.check(now)
        found = (record for record in self._opened.values() if record.kind == kind and record.at <= now)
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
        return last if last is not None and _ends(last) else None

    def _followed_log(self, id: str) -> Log:
        if self._since is not None and id not in self._opened:
            raise Incomplete  # it may have ended, and been let go
        return self._followed.get(id, _EMPTY)

    def left(self, now: datetime) -> list[Record]:
        """What was not as it should be left at `now`: for each thing the latest "off normal", the oldest first."""
        self.check(now)
        latest = (log.last(now) for log in self._left.values())
        return sorted(
            (record for record in latest if record is not None and record.kind == OFF_NORMAL),
            key=lambda record: record.key,
        )

    def left_log(self, thing: str) -> Log:
        """How a thing was left and put back; see `thing_of`."""
        return self._left.get(thing, _EMPTY)

    def batches(self, now: datetime) -> list[Record]:
        """What opened, moved, counted and closed batches up to `now`, in order.

        What has left entirely, long before the round days that were kept, is not among them.
        """
        self.check(now)
        return list(self._batches.latest(now))[::-1]

    def found(self, system: str) -> Log:
        """Where pests were found in a system."""
        return self._found.get(system, _EMPTY)

    def valved(self, tank: str) -> Log:
        """When a tank was valved off from its system and opened to it."""
        return self._valved.get(tank, _EMPTY)

    def _strike(self, id: str, strike: Record) -> None:
        target, known = self._records.get(id), self._struck.get(id)
        if self._since is not None and target is None:
            self._unsure = True  # what it strikes lies further back than what was kept
        if target is not None and target.kind == STRIKE:
            return
        if known is None and target is not None:
            self._index(target, remove=True)
        if known is None or strike.key < known.key:
            self._struck[id] = strike

    def _index(self, record: Record, *, remove: bool = False) -> None:
        self._revision += 1
        entry = entry_of(record)
        if self._since is not None:
            self._look_further_back(record, entry, remove=remove)
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
        if record.system is not None:
            self._version[record.system] = self._revision
        if record.kind in BATCH_KINDS:
            self._index_batch(record, remove=remove)
        if _opens(record) and remove:
            self._opened.pop(record.id, None)
        elif _opens(record):
            self._opened[record.id] = record

    def _look_further_back(self, record: Record, entry: Entry, *, remove: bool) -> None:
        """Note what a record, or its strike, bears on that may lie further back than what was kept."""
        if _begins(record):
            self._missing.discard(record.id)
            if not remove and self._all.floor is not None and entry[:3] < self._all.floor:
                self._unsure = True  # whether it has ended may lie there
            return
        for id, logs in self._places(record):
            is_left = logs is self._left and "/" not in id
            if id not in logs and (is_left or (logs is self._followed and id not in self._opened)):
                self._missing.add(id)  # what it goes on with may have ended, and been let go

    def _index_batch(self, record: Record, *, remove: bool) -> None:
        if remove:
            self._batches.discard(record)
            return
        self._batches.add(record)
        if self._since is not None:
            known = {each.id for each in self._batches.known()}
            others = {id for id in (record.ref, record.task) if id is not None}
            if others - known - self._struck.keys():
                self._unsure = True  # the batch it is about may have left before what was kept

    def _places(self, record: Record) -> Iterator[tuple[str, dict[str, Log]]]:
        """The logs that hold the record, each with the id it stands under."""
        task = record.task
        if record.kind in BATCH_KINDS:
            valued = set()
        else:
            valued = {value.reading for value in record.values if value.value is not None}
        if task is not None:
            refilled = record.kind == REFILL and task.endswith("-refill")
            if refilled or record.kind in (DONE, NOT_NEEDED):
                yield task, self._closings
            elif record.kind == POSTPONED:
                yield task, self._postponed
            elif record.kind == COULD_NOT:
                yield task, self._could_not
            if record.kind in (NOT_NEEDED, STOCK):
                valued.add(task)
        for reading in valued:
            yield reading, self._valued
        if record.ref is not None and record.kind in (CONCERN_UPDATE, CONCERN_CLOSED, PROTOCOL):
            yield record.ref, self._followed
        if record.kind in (OFF_NORMAL, BACK_TO_NORMAL):
            yield thing_of(record), self._left
        if record.system is not None and _tells_of_pests(record):
            yield record.system, self._found
        if record.kind == VALVED and task is not None:
            yield task, self._valved
