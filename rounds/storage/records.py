"""All sheets of a room as one history, kept up to date with what changes on disk."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from pathlib import Path

import msgspec

from rounds.core.calendar import Calendar
from rounds.core.history import History, Incomplete
from rounds.core.record import Record
from rounds.storage.cache import Cache, SheetState, digest
from rounds.storage.sheets import SheetRead, Stamp, day_files, read_sheet, sheet_files

KEPT_DAYS = 2
"""Round days before the present one of which every record is kept."""

MANY = 1000
"""So many records read anew make the cache worth writing again."""

KEPT_RECORDS = 8
"""Of every task at least so many closings are kept, however old."""


class Change(msgspec.Struct, frozen=True):
    """What a look at the disk has found; made in any thread, taken in by the app's own."""

    read: dict[Path, tuple[Stamp, SheetRead]]
    gone: tuple[Path, ...]


class Records:
    """The history of a room folder.

    Opened from the cache it knows the present, and reads every sheet when asked for more. The cache is
    a merge by record id: sheets that are new or have grown are added to it, one that has shrunk, is
    missing or was changed by hand makes it useless.
    """

    def __init__(self, folder: Path, cache: Cache) -> None:
        self._folder = folder
        self._cache = cache
        self._sheets: dict[Path, SheetState] = {}
        self.history = History()
        self._read_since_kept = 0
        self._kept_day: date | None = None

    @property
    def problems(self) -> dict[Path, tuple[str, ...]]:
        """What could not be read, by sheet."""
        return {path: sheet.problems for path, sheet in self._sheets.items() if sheet.problems}

    # -- opening -----------------------------------------------------------------------------------

    def open_quickly(self, days: Iterable[date]) -> bool:
        """Open from the cache and the sheets of `days`; False when there is no cache to open from.

        What other sheets have changed meanwhile is found by the next `look`.
        """
        fold = self._cache.fold()
        if fold is None:
            return False
        self.history = History.restored(fold.kept)
        self._sheets = {self._folder / name: state for name, state in fold.sheets.items()}
        self._kept_day = fold.day
        self.take_in(self._changes(dict(day_files(self._folder, days)), ()))
        return True

    def open_fully(self) -> None:
        """Read every sheet."""
        self._sheets = {}
        self.history = History()
        self.take_in(self.look())

    # -- what changes on disk --------------------------------------------------------------------------

    def look(self) -> Change:
        """Read what has changed since the last look; changes nothing here."""
        found = dict(sheet_files(self._folder))
        known = self._sheets
        return self._changes(found, tuple(path for path in known if path not in found))

    def _changes(self, found: Mapping[Path, Stamp], gone: tuple[Path, ...]) -> Change:
        known = self._sheets
        return Change(
            {
                path: (stamp, read_sheet(path))
                for path, stamp in found.items()
                if path not in known or (known[path].size, known[path].mtime_ns, known[path].inode) != stamp.key
            },
            gone,
        )

    def take_in(self, change: Change) -> bool:
        """Take in what a look has found; True when the history or the problems are different now."""
        if not change.read and not change.gone:
            return False
        lost = bool(change.gone)
        news: list[Record] = []
        problems = self.problems
        for path, (stamp, read) in change.read.items():
            known = self._sheets.get(path)
            if known is not None and digest(*read.entries[: known.count]) != known.digest:
                lost = True
            self._sheets[path] = SheetState(
                *stamp.key, len(read.entries), digest(*read.entries), read.problems
            )  # fmt: skip
            news += read.records
        self._read_since_kept += len(news)
        if lost:
            self.open_fully()
            return True
        added = [self.history.add(record) for record in news]
        return any(added) or problems != self.problems

    # -- the cache ------------------------------------------------------------------------------------

    def stale(self, day: date) -> bool:
        """Whether the cache is worth writing again on the round day `day`."""
        return self._kept_day != day or self._read_since_kept > MANY

    def keep(self, calendar: Calendar, day: date) -> None:
        """Write the cache as of the round day `day`; does nothing when what is known begins later."""
        begin = calendar.start(day - timedelta(days=KEPT_DAYS))
        try:
            kept = self.history.kept(begin, calendar.start(day), KEPT_RECORDS)
        except Incomplete:
            return
        sheets = {path.relative_to(self._folder).as_posix(): state for path, state in self._sheets.items()}
        self._cache.keep_fold(kept, sheets, day)
        self._read_since_kept, self._kept_day = 0, day
