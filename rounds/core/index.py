"""The records that stand, in logs by what they are about."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from rounds.core.batches import FOUND
from rounds.core.log import Entry, Log
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
    VALVED,
    Record,
)
from rounds.core.words import pests_in

Logs = dict[str, Log]


class Index:
    """Each record under everything it is about; a log that was cut passes over what lies before its floor."""

    def __init__(self) -> None:
        self.all = Log()
        self.closings: Logs = {}
        """By task: what closed it."""
        self.valued: Logs = {}
        """By reading: what has a value of it, or closed it; by stock: all its records."""
        self.postponed: Logs = {}
        self.could_not: Logs = {}
        self.opened: dict[str, Record] = {}
        """By id: the concerns, the covers and the calls of protocols."""
        self.followed: Logs = {}
        """By concern and call: what was recorded about it."""
        self.left: Logs = {}
        """By thing, see `thing_of`: how it was left and put back."""
        self.batches = Log()
        self.found: Logs = {}
        """By system: where pests were found."""
        self.valved: Logs = {}
        """By tank: when it was valved off and opened."""

    def put(self, entry: Entry) -> list[str]:
        """Take a record in; the ids under which it stands."""
        record = entry[3]
        self.all.put(entry)
        changed = []
        for id, logs in self.places(record):
            log = logs.get(id)
            if log is None:
                log = logs[id] = Log()
            log.put(entry)
            changed.append(id)
        if record.kind in BATCH_KINDS:
            self.batches.put(entry)
        if opens(record):
            self.opened[record.id] = record
        return changed

    def discard(self, record: Record) -> list[str]:
        """Take a record out; the ids under which it stood."""
        self.all.discard(record)
        changed = []
        for id, logs in self.places(record):
            if id in logs:
                logs[id].discard(record)
            changed.append(id)
        self.batches.discard(record)
        self.opened.pop(record.id, None)
        return changed

    def part(self, ids: Collection[str]) -> Index:
        """An index of its own that knows of these tasks, readings and tanks alone."""
        part = Index()
        part.all = Log.unknown()
        for mine, its in (
            (self.closings, part.closings),
            (self.valued, part.valued),
            (self.postponed, part.postponed),
            (self.could_not, part.could_not),
            (self.valved, part.valved),
        ):
            its.update({id: mine[id].copy() for id in ids if id in mine})
        return part

    # -- of an index that was cut ------------------------------------------------------------------

    def before(self, entry: Entry) -> bool:
        """Whether it lies before everything that was kept."""
        return self.all.floor is not None and entry[:3] < self.all.floor

    def lacking(self, record: Record) -> Iterator[str]:
        """The ids of what the record goes on with, where that may have ended and been let go."""
        for id, logs in self.places(record):
            is_left = logs is self.left and "/" not in id
            if id not in logs and (is_left or (logs is self.followed and id not in self.opened)):
                yield id

    def lacks_batch(self, record: Record, struck: Mapping[str, Record]) -> bool:
        """Whether it is about a batch that is not known, and was not struck."""
        known = {each.id for each in self.batches.known()}
        others = {id for id in (record.ref, record.task) if id is not None}
        return not others - known <= struck.keys()

    # -- what a record is about ----------------------------------------------------------------------

    def places(self, record: Record) -> Iterator[tuple[str, Logs]]:
        """The logs that hold the record, each with the id it stands under."""
        task = record.task
        if record.kind in BATCH_KINDS:
            valued = set()
        else:
            valued = {value.reading for value in record.values if value.value is not None}
        if task is not None:
            refilled = record.kind == REFILL and task.endswith("-refill")
            if refilled or record.kind in (DONE, NOT_NEEDED):
                yield task, self.closings
            elif record.kind == POSTPONED:
                yield task, self.postponed
            elif record.kind == COULD_NOT:
                yield task, self.could_not
            if record.kind in (NOT_NEEDED, STOCK):
                valued.add(task)
        for reading in valued:
            yield reading, self.valued
        if record.ref is not None and record.kind in (CONCERN_UPDATE, CONCERN_CLOSED, PROTOCOL):
            yield record.ref, self.followed
        if record.kind in (OFF_NORMAL, BACK_TO_NORMAL):
            yield thing_of(record), self.left
        if record.system is not None and _tells_of_pests(record):
            yield record.system, self.found
        if record.kind == VALVED and task is not None:
            yield task, self.valved


def thing_of(record: Record) -> str:
    """What a record of the kinds "off normal" and "back to normal" is about.

    The full id of a piece of equipment, or the id of the record that named something else, such as a hose.
    """
    return record.task or record.ref or record.id


def opens(record: Record) -> bool:
    """Whether it is a concern, a cover or the call of a protocol."""
    return record.kind in (CONCERN, COVER) or (record.kind == PROTOCOL and record.ref is None)


def begins(record: Record) -> bool:
    """Whether it begins what lasts: a concern, a cover, the call of a protocol, something left off normal."""
    return opens(record) or (record.kind == OFF_NORMAL and record.ref is None)


def ends(record: Record) -> bool:
    """Whether it ends the concern or protocol that it names."""
    return record.kind == CONCERN_CLOSED or (record.kind == PROTOCOL and record.ref is not None)


def _tells_of_pests(record: Record) -> bool:
    """Whether it says that pests were found."""
    if not record.words:  # nearly all records: a note without a condition word names no pest either
        return False
    said = record.reason if record.kind == BATCH_CLOSED else record.note
    return FOUND in record.words or pests_in(said)
