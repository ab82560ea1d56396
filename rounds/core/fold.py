"""The part of the records that is enough for the present, so that the past need not be read."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import datetime

import msgspec

from rounds.core.batches import remembered
from rounds.core.index import Index, begins, ends
from rounds.core.log import KeptLog, Log
from rounds.core.record import BACK_TO_NORMAL, COVER, NOT_NEEDED, Record, short

_EMPTY = Log()

AtLeast = Callable[[str], int]
"""How many records of a task or reading are kept whatever their age; of all together under ``""``."""


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """What answers every question for instants from `since` on; see `History.kept`."""

    since: datetime
    records: tuple[Record, ...]
    """Those of the logs, each once, as most of them stand in several."""
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

    def index(self) -> Index:
        """The index of what was kept; of the rest it knows that it is missing."""
        index = Index()
        index.all = self.all.log(self.records)
        index.closings = self._logs(self.closings)
        index.valued = self._logs(self.valued)
        index.postponed = self._logs(self.postponed)
        index.could_not = self._logs(self.could_not)
        index.left = self._logs(self.left)
        index.found = self._logs(self.found)
        index.opened = {record.id: record for record in self.opened}
        index.followed = {id: Log(records) for id, records in self.followed.items()}
        index.valved = {id: Log(records) for id, records in self.valved.items()}
        index.batches = Log(self.batches)
        return index

    def _logs(self, kept: Mapping[str, KeptLog]) -> dict[str, Log]:
        return {id: each.log(self.records) for id, each in kept.items()}

    def every(self) -> Iterator[Record]:
        """Every record that was kept, some of them more than once."""
        for records in (*self.followed.values(), *self.valved.values()):
            yield from records
        yield from (*self.records, *self.opened, *self.batches, *self.strikes)


def fold(
    index: Index, begin: datetime, since: datetime, at_least: AtLeast,
    strikes: tuple[Record, ...], written: dict[str, datetime],
) -> Kept:  # fmt: skip
    """What is kept of the index, and what is let go because it ended before `begin`."""
    under_way = {id: record for id, record in index.opened.items() if not _ended_before(index, id, begin)}
    left = {thing: log for thing, log in index.left.items() if not _back_before(thing, log, begin)}
    over = {id for id in index.opened if id not in under_way}
    over.update(*(_ids(log) for thing, log in index.left.items() if thing not in left))
    names = {short(id) for id in over}
    """Part of the ids of steps, looks and what is to be put back."""
    gathered = _Gathered()

    def kept(log: Log) -> KeptLog:
        return KeptLog(tuple(map(gathered.place, log.known())), log.floor is not None)

    def cut(logs: Mapping[str, Log], need: Callable[[Record], bool] | None = None) -> dict[str, KeptLog]:
        cut_off = {id: log.cut(begin, at_least(id), need) for id, log in logs.items()}
        return {id: kept(log) for id, log in cut_off.items() if len(log)}

    def cut_tasks(logs: Mapping[str, Log], need: Callable[[Record], bool] | None = None) -> dict[str, KeptLog]:
        """What a protocol calls is kept whole while it is under way; items of its own are let go once it is over."""
        last = {id: records[-1] for id, log in logs.items() if (records := log.known())}
        whole = {id: logs[id] for id, record in last.items() if record.ref in under_way}
        gone = {id for id, record in last.items() if record.at < begin and not names.isdisjoint(id.split("-"))}
        shortened = {id: log for id, log in logs.items() if id not in gone and id not in whole}
        return {**cut(shortened, need), **{id: kept(log) for id, log in whole.items()}}

    return Kept(
        since=since,
        all=kept(index.all.cut(begin, at_least(""))),
        closings=cut_tasks(index.closings, _really_done),
        valued=cut_tasks(index.valued, _really_done),
        postponed=cut_tasks(index.postponed),
        could_not=cut_tasks(index.could_not),
        opened=tuple(under_way.values()),
        followed={id: log.known() for id, log in index.followed.items() if len(log) and id not in over},
        left=cut(left, begins),
        batches=remembered(index.batches.known(), begin),
        found=cut(index.found),
        valved={id: log.known() for id, log in index.valved.items()},
        strikes=strikes,
        written=written,
        records=tuple(gathered.records),  # last, when all logs are cut
    )


class _Gathered:
    """Records, each once."""

    def __init__(self) -> None:
        self.records: list[Record] = []
        self._places: dict[str, int] = {}

    def place(self, record: Record) -> int:
        """Where the record stands among them; at the end, when it is new."""
        place = self._places.setdefault(record.id, len(self.records))
        if place == len(self.records):
            self.records.append(record)
        return place


def _ended_before(index: Index, id: str, begin: datetime) -> bool:
    opened = index.opened[id]
    if opened.kind == COVER:
        return (opened.until or opened.at) < begin
    last = index.followed.get(id, _EMPTY).known()[-1:]
    return bool(last) and ends(last[0]) and last[0].at < begin


def _back_before(thing: str, log: Log, begin: datetime) -> bool:
    """Whether it is no piece of equipment and was put back so long ago that it can be forgotten."""
    records = log.known()
    over = bool(records) and records[-1].kind == BACK_TO_NORMAL and records[-1].at < begin
    return over and thing in _ids(log)


def _really_done(record: Record) -> bool:
    return record.kind != NOT_NEEDED


def _ids(log: Log) -> set[str]:
    return {record.id for record in log.known()}
