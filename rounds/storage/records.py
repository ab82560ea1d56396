"""All sheets of a room as one history, kept up to date with what changes on disk."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import suppress
from datetime import date, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TypeVar

import msgspec

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.fold import Kept
from rounds.core.history import History
from rounds.core.log import Incomplete
from rounds.core.record import (
    BACK_TO_NORMAL,
    BATCH_KINDS,
    CONCERN,
    CONCERN_CLOSED,
    CONCERN_UPDATE,
    COVER,
    OFF_NORMAL,
    PROTOCOL,
    STRIKE,
    VALVED,
    Record,
)
from rounds.core.renamed import present
from rounds.core.stock import LOOK_BACK
from rounds.storage.archive import Archive, Damaged, Index, Writer, systems_of
from rounds.storage.cache import Cache, SheetState, digest
from rounds.storage.sheets import SheetRead, Stamp, Stamped, day_stamps, read_sheet, sheet_stamps

KEPT_DAYS = 2
"""Round days before the present one of which every record is kept."""

KEPT_RECORDS = 8
"""Of every task at least so many closings are kept, however old."""

KEPT_LEVELS = 40
"""Likewise of a reservoir's levels and refills, from which its use is worked out."""

MANY = 1000
"""So many records read anew make the cache worth writing again."""

MANY_SHEETS = 60
"""So many sheets beside the archive make it worth adding to."""

HELD = 50_000
"""So many records are held before what the present does not need is let go."""

RECORD_BYTES = 230
"""Of a usual record in its sheet."""

KEPT_COUNTED = LOOK_BACK + 1
"""Likewise of stock and what draws from it, by which its level is reckoned."""

T = TypeVar("T")

Stamps = Mapping[str, Stamp]
"""Sheets by path inside the room."""

_Read = tuple[str, Stamp, SheetRead]
"""A sheet by its path inside the room."""

_FIRST = BATCH_KINDS.union(
    (STRIKE, CONCERN, CONCERN_UPDATE, CONCERN_CLOSED, OFF_NORMAL, BACK_TO_NORMAL, PROTOCOL, COVER, VALVED)
)
"""What says which other records count, and what may still be under way, however old it is."""

Progress = Callable[[float], object]
"""Is told which share of the sheets was read."""


def kept_records(id: str, counted: Collection[str] = ()) -> int:
    """How many closings are kept of a task or reading, however old; `counted`: stock and what draws from it."""
    if id in counted:
        return KEPT_COUNTED
    return KEPT_LEVELS if id.endswith(("-level", "-refill")) else KEPT_RECORDS


Grown = dict[str, tuple[SheetState | None, SheetState, SheetRead]]
"""Sheets by path inside the room: as they were known, as they are, and what they hold."""


class Whole(msgspec.Struct, frozen=True):
    """Every sheet read anew."""

    history: History
    sheets: dict[str, SheetState]
    """By path inside the room."""


class Change(msgspec.Struct, frozen=True):
    """What a look at the disk has found; made in any thread, taken in by the app's own."""

    grown: Grown = {}
    """New sheets and longer ones."""
    whole: Whole | None = None
    """A sheet has shrunk, is gone or was changed by hand: nothing known before counts."""
    saved: int = 0
    """So many records had been saved here when the look began."""

    def __bool__(self) -> bool:
        return bool(self.grown) or self.whole is not None


class Records:
    """The history of a room folder.

    Opened from the cache it knows the present, and reads every sheet when asked for more. The cache is
    a merge by record id: sheets that are new or have grown are added to it, one that has shrunk, is
    missing or was changed by hand makes it useless.
    """

    def __init__(self, folder: Path, cache: Cache, formerly: Mapping[str, str], counted: Collection[str] = ()) -> None:
        """`formerly` and `counted` as in `Room`: everything is known under the ids of the present."""
        self._folder = folder
        self.formerly = dict(formerly)
        self.counted = counted
        """Full ids of stock and of what draws from it."""
        self._cache = cache
        self._sheets: dict[str, SheetState] = {}
        """By path inside the room."""
        self.history = History()
        self._archive = Archive(cache.folder, formerly)
        self._saved: list[Record] = []
        self._read_since_kept = 0
        self._kept_day: date | None = None

    @property
    def problems(self) -> dict[str, tuple[str, ...]]:
        """What could not be read, by the sheet's path inside the room."""
        return {name: sheet.problems for name, sheet in self._sheets.items() if sheet.problems}

    @property
    def count(self) -> int:
        """Entries in all sheets."""
        return sum(sheet.count for sheet in self._sheets.values())

    @property
    def large(self) -> bool:
        """Whether reading every sheet takes seconds."""
        return _is_large(dict(sheet_stamps(self._folder)))

    # -- opening -----------------------------------------------------------------------------------

    def open_quickly(self, day: date) -> bool:
        """Open from the cache and the sheets of `day` and the one before; False when no cache answers for it.

        What other sheets have changed meanwhile is found by the next `look`.
        """
        fold = self._cache.fold()
        if fold is None or fold.day > day or fold.formerly != self.formerly:
            return False
        self._sheets = fold.sheets
        changed, _ = _differing(self._sheets, day_stamps(self._folder, (day - ONE_DAY, day)))
        grown = self._grown(self._sheets, changed)
        if grown is None:
            return False
        self.history = History.restored(fold.kept)
        self._kept_day = fold.day
        self.take_in(Change(grown))
        return True

    def open_fully(self, calendar: Calendar, day: date, progress: Progress | None = None) -> None:
        """Read every sheet, of which the present `day` needs what happened lately."""
        self._take(self._read_all(calendar, day, progress, archive=True))

    def as_of(self, calendar: Calendar, begin: datetime, until: datetime) -> History:
        """What is enough to tell what happened from an instant on that may be long past, up to another.

        Raises `Incomplete` when all there is has to be known.
        """
        files = dict(sheet_stamps(self._folder))
        return self._read_large(files, calendar, calendar.round_day(begin), None, archive=False, until=until).history

    def read_everything(self) -> None:
        """Know all there is, however much memory it takes."""
        self._take(self._read_all())

    def _take(self, whole: Whole) -> None:
        self.history, self._sheets = whole.history, whole.sheets
        self._read_since_kept = self.count

    def _read_all(
        self,
        calendar: Calendar | None = None,
        day: date | None = None,
        progress: Progress | None = None,
        *,
        archive: bool = False,
    ) -> Whole:
        """Every sheet read; in a large room with a `day`, only what that day and later ones need is held."""
        files = dict(sheet_stamps(self._folder))
        if calendar is not None and day is not None and _is_large(files):
            with suppress(Incomplete):  # one id has two contents: what was let go may have to be known
                return self._read_large(files, calendar, day, progress, archive=archive)
        reads = self._reading(files, progress)
        sheets: dict[str, SheetState] = {}
        history = History()
        for name, stamp, read in self._archiving(reads) if archive else reads:
            sheets[name] = _state(stamp, read)
            for record in read.records:
                history.add(record)
        return Whole(history, sheets)

    def _read_large(
        self,
        files: Stamps,
        calendar: Calendar,
        day: date,
        progress: Progress | None,
        *,
        archive: bool,
        until: datetime | None = None,
    ) -> Whole:
        """Read the sheets twice: first for what says which other records count, then for these, up to `until`.

        Raises `Incomplete` when that is not enough.
        """

        def counts(record: Record) -> bool:
            return until is None or record.at <= until

        reads = self._reading(files, progress, 0.0, 0.5)
        history = History()
        for _, _, read in self._archiving(reads) if archive else reads:
            for record in read.records:
                if record.kind == STRIKE or (record.kind in _FIRST and counts(record)):
                    history.add(record)
        sheets: dict[str, SheetState] = {}
        held = 0
        for name, stamp, read in self._reading(files, progress, 0.5, 1.0):
            sheets[name] = _state(stamp, read)
            for record in read.records:
                if record.kind not in _FIRST and counts(record):
                    history.add(record)
            held += len(read.records)
            if held > HELD:
                history = History.restored(_kept(history, calendar, day, self.counted))
                held = 0
        history.check(calendar.start(day))
        return Whole(history, sheets)

    def _reading(
        self,
        files: Stamps,
        progress: Progress | None = None,
        begin: float = 0.0,
        end: float = 1.0,
    ) -> Iterator[_Read]:
        for number, (name, stamp) in enumerate(sorted(files.items()), 1):
            yield name, stamp, self.read(name)
            if progress is not None:
                progress(begin + (end - begin) * number / len(files))

    # -- what changes on disk --------------------------------------------------------------------------

    def look(self, calendar: Calendar, day: date) -> Change:
        """Read what has changed since the last look; changes nothing here."""
        saved = len(self._saved)
        changed, gone = _differing(self._sheets, sheet_stamps(self._folder))
        grown = self._grown(self._sheets, changed) if not gone else None
        return Change(grown) if grown is not None else Change(whole=self._read_all(calendar, day), saved=saved)

    def _grown(self, sheets: Mapping[str, SheetState], changed: Stamps) -> Grown | None:
        """What the changed ones of these sheets hold, by their days; None when one holds no longer what it held."""
        grown: Grown = {}
        for name, stamp in sorted(changed.items()):  # what later records go on with comes before them
            known, read = sheets.get(name), self.read(name)
            if known is not None and digest(*read.entries[: known.count]) != known.digest:
                return None
            grown[name] = (known, _state(stamp, read), read)
        return grown

    def add(self, record: Record) -> None:
        """Take in what was just saved."""
        self._saved.append(record)
        self.history.add(record)

    def take_in(self, change: Change) -> bool:
        """Take in what a look has found; True when the history or the problems are different now."""
        if not change:
            return False
        if change.whole is not None:
            self._take(change.whole)
            for record in self._saved[change.saved :]:
                self.history.add(record)
            return True
        problems = self.problems
        different = False
        for name, (known, state, read) in change.grown.items():
            if self._sheets.get(name) != known:
                continue  # another look was quicker; the next one sees to it
            self._sheets[name] = state
            self._read_since_kept += len(read.records)
            for record in read.records:
                different |= self.history.add(record)
        return different or problems != self.problems

    # -- the cache ------------------------------------------------------------------------------------

    def stale(self, day: date) -> bool:
        """Whether the cache is worth writing again on the round day `day`."""
        return self._kept_day != day or self._read_since_kept > MANY

    def keep(self, calendar: Calendar, day: date) -> None:
        """Write the cache as of the round day `day`; does nothing when what is known begins later."""
        try:
            kept = _kept(self.history, calendar, day, self.counted)
        except Incomplete:
            return
        self._cache.keep_fold(kept, self._sheets, day, self.formerly)
        self._read_since_kept, self._kept_day = 0, day

    # -- the past of one system ------------------------------------------------------------------------

    def of_system(self, system: str) -> list[Record]:
        """Every record about a system, struck ones too, in history order."""
        return self.of_systems((system,))[system]

    def of_systems(self, systems: Collection[str]) -> dict[str, list[Record]]:
        """The same of several systems, for which the archive is looked over once."""
        try:
            found, beside = self._from_archive(
                lambda index, beside: ({system: self._archive.read(index, system) for system in systems}, beside)
            )
        except OSError:
            found = {system: [] for system in systems}
            beside = [record for name, _ in sheet_stamps(self._folder) for record in self.read(name).records]
        for record in (*beside, *self.history.known()):
            for system in systems_of(record) & found.keys():
                found[system].append(record)
        return {system: _united(records) for system, records in found.items()}

    def newest(self, count: int) -> list[Record]:
        """What the newest sheets hold, at least so many records where there are."""
        found: list[Record] = []
        names = [name for name, _ in sheet_stamps(self._folder)]
        for name in sorted(names, key=lambda name: name.rpartition("/")[2], reverse=True):
            if len(found) >= count * 3:
                break
            found += self.read(name).records
        return _united(found)

    def find(self, id: str) -> Record | None:
        """The record with this id, however old."""
        try:
            return self.history.find(id)
        except Incomplete:
            pass

        def look_up(index: Index, beside: list[Record]) -> Record | None:
            return self._archive.find(index, id) or next((record for record in beside if record.id == id), None)

        try:
            return self._from_archive(look_up)
        except OSError:
            self.read_everything()
        return self.history.find(id)

    def _from_archive(self, question: Callable[[Index, list[Record]], T]) -> T:
        """The answer of the archive and of the records beside it; a damaged one is made again first.

        Raises `OSError` where the cache folder cannot be written.
        """
        try:
            return question(*self._archived())
        except Damaged:
            self._archive.forget()
            return question(*self._archived())

    def _archived(self) -> tuple[Index, list[Record]]:
        """The archive, and the records of sheets that it does not hold yet.

        Written anew where it is missing or holds what stands in no sheet any more. Raises `OSError` where
        the cache folder cannot be written.
        """
        files = dict(sheet_stamps(self._folder))
        index = self._archive.index()
        fresh = self._not_archived(index, files) if index is not None else None
        if index is None or fresh is None:
            for _ in self._archiving(self._reading(files)):
                pass
            index = self._archive.index()
            if index is None:
                raise OSError
            return index, []
        records = [record for _, _, read in fresh.values() for record in read.records]
        if len(fresh) > MANY_SHEETS or len(records) > MANY * 10:
            writer = self._archive.extend(index)
            for name, (_, state, read) in fresh.items():
                writer.add(name, state, read.records)
            return writer.close(), []
        return index, records

    def _not_archived(self, index: Index, files: Stamps) -> Grown | None:
        """The sheets that are new or longer; None when the archive holds what they hold no longer."""
        changed, gone = _differing(index.sheets, files.items())
        return self._grown(index.sheets, changed) if not gone else None

    def _archiving(self, reads: Iterator[_Read]) -> Iterator[_Read]:
        """Pass the sheets on, and put their records into a new archive where the cache can be written."""
        writer: Writer | None = None
        with suppress(OSError):
            writer = self._archive.begin()
        for name, stamp, read in reads:
            if writer is not None:
                try:
                    writer.add(name, _state(stamp, read), read.records)
                except OSError:
                    writer = None
            yield name, stamp, read
        if writer is not None:
            with suppress(OSError):
                writer.close()

    def read(self, name: str) -> SheetRead:
        """What the sheet at a path inside the room holds, under the ids of the present."""
        read = read_sheet(self._folder / name)
        if not self.formerly:
            return read
        return msgspec.structs.replace(read, records=tuple(present(each, self.formerly) for each in read.records))


def _differing(sheets: Mapping[str, SheetState], found: Iterable[Stamped]) -> tuple[Stamps, set[str]]:
    """Those of the sheets found that are new or not as they are known, and the names of those known and not found."""
    gone, changed = set(sheets), {}
    for name, stamp in found:
        gone.discard(name)
        known = sheets.get(name)
        if known is None or not known.is_of(stamp):
            changed[name] = stamp
    return changed, gone


def _is_large(files: Stamps) -> bool:
    return sum(stamp.size for stamp in files.values()) > HELD * RECORD_BYTES


def _kept(history: History, calendar: Calendar, day: date, counted: Collection[str]) -> Kept:
    begin = calendar.start(day - timedelta(days=KEPT_DAYS))
    return history.kept(begin, calendar.start(day), partial(kept_records, counted=counted))


def _state(stamp: Stamp, read: SheetRead) -> SheetState:
    return SheetState(*stamp, len(read.entries), digest(*read.entries), read.problems)


def _united(records: Iterable[Record]) -> list[Record]:
    """Each record once, in history order; of two contents with one id the greater canonical JSON."""
    found: dict[str, Record] = {}
    for record in records:
        known = found.get(record.id)
        if known is None or (known != record and known.canonical() < record.canonical()):
            found[record.id] = record
    return sorted(found.values(), key=lambda record: record.key)
