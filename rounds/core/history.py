"""What has been recorded, indexed so that the past costs nothing to ask."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from datetime import UTC, datetime

import msgspec

from rounds.core.log import Incomplete, KeptLog, Log, entry_of
from rounds.core.record import (
    BACK_TO_NORMAL,
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
    STRIKE,
    Record,
)

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
    strikes: tuple[Record, ...]
    written: dict[str, datetime]
    """By device: when it wrote something down last."""


def _really_done(record: Record) -> bool:
    return record.kind != NOT_NEEDED


def _begins(record: Record) -> bool:
    """Whether it begins what lasts: a concern, a cover, the call of a protocol, something left off normal."""
    return record.kind in (CONCERN, COVER) or (record.kind in (PROTOCOL, OFF_NORMAL) and record.ref is None)


def _ends(record: Record) -> bool:
    """Whether it ends the concern or protocol that it names."""
    return record.kind == CONCERN_CLOSED or (record.kind == PROTOCOL and record.ref is not None)


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
        part._all = Log.unknown()
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
        under_way = {id: record for id, record in self._opened.items() if not self._ended_before(id, begin)}
        return Kept(
            since=since,
            all=KeptLog(everything.known(), everything.floor is not None),
            closings=cut(self._closings, _really_done),
            valued=cut(self._valued, _really_done),
            postponed=cut(self._postponed),
            could_not=cut(self._could_not),
            opened=tuple(under_way.values()),
            followed={id: tuple(log) for id, log in self._followed.items() if id in under_way},
            left=cut({thing: log for thing, log in self._left.items() if self._to_keep(thing, begin)}, _begins),
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
        ):
            for id, each in kept_logs.items():
                logs[id] = each.log()
                history._records.update({record.id: record for record in each.records})
        history._opened = {record.id: record for record in kept.opened}
        history._followed = {id: Log(records) for id, records in kept.followed.items()}
        for records in (kept.all.records, kept.opened, *kept.followed.values(), kept.strikes):
            history._records.update({record.id: record for record in records})
        return history

    def _ended_before(self, id: str, begin: datetime) -> bool:
        opened = self._opened[id]
        if opened.kind == COVER:
            return (opened.until or opened.at) < begin
        last = self._followed.get(id, _EMPTY).known()[-1:]
        return bool(last) and _ends(last[0]) and last[0].at < begin

    def _to_keep(self, thing: str, begin: datetime) -> bool:
        """Whether how it was left is still worth knowing; what is no piece of equipment is forgotten when put back."""
        last = self._left[thing].known()[-1:]
        return "/" in thing or not last or last[0].kind == OFF_NORMAL or last[0].at >= begin

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
        return list(self._followed.get(id, _EMPTY).latest(now))[::-1]

    def concerns(self, now: datetime) -> list[Record]:
        """Concerns opened by `now` and not closed by then, the oldest first; an update after the end opens it again."""
        return [concern for concern in self.opened(CONCERN, now) if not self.ended(concern.id, now)]

    def ended(self, id: str, now: datetime) -> Record | None:
        """The record that ended a concern or protocol; None while it is under way."""
        last = next(self._followed.get(id, _EMPTY).latest(now), None)
        return last if last is not None and _ends(last) else None

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

    def _strike(self, id: str, strike: Record) -> None:
        target, known = self._records.get(id), self._struck.get(id)
        if self._since is not None and (target is None or (_ends(target) and target.ref not in self._opened)):
            self._unsure = True  # what it strikes, or reopens, lies further back than what was kept
        if target is not None and target.kind == STRIKE:
            return
        if known is None and target is not None:
            self._index(target, remove=True)
        if known is None or strike.key < known.key:
            self._struck[id] = strike

    def _index(self, record: Record, *, remove: bool = False) -> None:
        self._revision += 1
        entry = entry_of(record)
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
        if not _begins(record):
            return
        if remove:
            self._opened.pop(record.id, None)
            return
        floor = self._all.floor
        if floor is not None and entry[:3] < floor:
            self._unsure = True  # whether it has ended lies further back than what was kept
        if record.kind != OFF_NORMAL:
            self._opened[record.id] = record

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
        if record.ref is not None and record.kind in (CONCERN_UPDATE, CONCERN_CLOSED, PROTOCOL):
            yield record.ref, self._followed
        if record.kind in (OFF_NORMAL, BACK_TO_NORMAL):
            yield thing_of(record), self._left
