"""`RoomFolder`: the one door through which the app and the command line see a room."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import msgspec

from rounds.core.errands import errands
from rounds.core.errors import CannotRead, NoRoom, Refused
from rounds.core.history import History
from rounds.core.items import DueItem, Forecast
from rounds.core.log import Incomplete
from rounds.core.model import Called, Reading, Room, Task
from rounds.core.named import find_named
from rounds.core.planner import Planner
from rounds.core.protocols import COMPLETED
from rounds.core.record import STRIKE, Record
from rounds.core.units import Seawater
from rounds.core.words import quoted
from rounds.storage import device
from rounds.storage.archive import ELSEWHERE
from rounds.storage.cache import Cache, digest
from rounds.storage.faults import Fault, RoomFaults
from rounds.storage.files import ROOM_FILE, FileStamps, file_stamps, read_files
from rounds.storage.records import Change, Records
from rounds.storage.sheets import SheetWriter, day_stamps

if TYPE_CHECKING:
    from rounds.core.handovers import Handover
    from rounds.core.recording import Draft
    from rounds.storage.changes import FileChange


T = TypeVar("T")

Forecaster = Callable[[Room, History, datetime], Sequence[Forecast]]
"""What the levels of a room say at an instant about the refills to come."""

LATELY = timedelta(days=2)
"""Of so long every record is at hand."""

CLOCK_BEHIND = timedelta(minutes=5)
"""A clock further behind the newest record than this is asked about."""


class Problem(msgspec.Struct, frozen=True):
    """A sheet, or a part of one, that could not be used."""

    file: str
    """Path inside the room."""
    sentence: str

    def __str__(self) -> str:
        return f"{self.file}: {self.sentence}"


class TakesLong(Exception):
    """So much has to be read that whoever opens the room quickly should say so first, and show how far it is."""


class RoomFolder:
    """An open room: what it is, what was recorded, and how to record more."""

    def __init__(
        self,
        folder: Path,
        *,
        seawater: Seawater | None = None,
        forecaster: Forecaster | None = None,
        runs_on: bool = False,
        quickly: bool = False,
        progress: Callable[[float], object] | None = None,
    ) -> None:
        """Open the folder; raises `NoRoom` or `RoomFaults`.

        Without a `forecaster` no refill comes due by itself. `runs_on`: a clock that was set goes on running.
        `quickly`: begin from the cache and the newest sheets, the others are taken in by `take_in(look())`;
        raises `TakesLong` when many have to be read. `progress` is told which share of the sheets is read,
        where all of them have to be.
        """
        self.folder = folder
        self.seawater = seawater
        self._forecaster = forecaster
        self._cache = Cache(device.cache_folder(folder))
        self._finish_changes()
        self._stamps = file_stamps(folder)
        self.faults: RoomFaults | None = None
        """What is wrong with the room's files now, while their last good version is in use."""
        self.model: Room = self._load()
        self.clock = device.Clock(self.model.calendar.zone, runs_on=runs_on)
        self._records = Records(folder, self._cache, self.model.formerly, self.model.counted)
        self._writer: SheetWriter | None = None
        self._device: str | None = None
        self._newest: datetime | None = None
        """When this device wrote something down last; None: not looked for yet."""
        self._saved = False
        self._planner = Planner()
        self.foresees = not quickly
        """Whether refills come due by forecast; set once there is time to work them out."""
        self._open(quickly, progress)

    def _finish_changes(self) -> None:
        """What a process began to change that was killed is brought to its end."""
        lock = device.lock_file(self.folder)
        if lock.with_name(device.BEGUN).exists():
            from rounds.storage.changes import finish_changes

            finish_changes(self.folder, lock)

    def _load(self) -> Room:
        contents = read_files(self.folder)
        files = digest(*(part for name, content in contents.items() for part in (name.encode(), content)))
        room = self._cache.room(files)
        if room is None:
            from rounds.storage.room_files import load_room

            room = load_room(self.folder, self.seawater)
            self._cache.keep_room(files, room)
        return room

    def _open(self, quickly: bool, progress: Callable[[float], object] | None) -> None:
        day = self._today()
        if not self._records.open_quickly(day):
            if quickly and self._records.large:
                raise TakesLong
            self._records.open_fully(self.model.calendar, day, progress)
        elif not quickly:
            self.take_in(self.look())
        if not quickly:
            self.keep()

    # -- what is known ---------------------------------------------------------------------------

    def _today(self) -> date:
        return self.model.calendar.round_day(self.now())

    def now(self) -> datetime:
        """The present; a clock set back a little does not hide what was just recorded."""
        now = self.clock.now()
        if self._saved and self._newest is not None and timedelta(0) < self._newest - now <= CLOCK_BEHIND:
            return self._newest
        return now

    def clock_question(self) -> str:
        """What to ask before recording by a clock that may be wrong; empty when nothing is odd."""
        from rounds.core.words import length, moment

        behind = self.clock_behind()
        if behind <= CLOCK_BEHIND or self._newest is None:
            return ""
        now, calendar = self.clock.now(), self.model.calendar
        return (
            f"The clock says {moment(calendar, now, now)}, {length(behind)} before the newest record of this device "
            f"({moment(calendar, self._newest, now)}). Is the clock right?"
        )

    def clock_behind(self) -> timedelta:
        """How far the device's clock stands before what this device wrote down last; zero when it does not."""
        if self._newest is None:
            self._newest = self.history.last_written(self.device) or self.clock.now()
        return max(timedelta(0), self._newest - self.clock.now())

    @property
    def history(self) -> History:
        """What is known of the present; ask through `ask` what may lie further back."""
        return self._records.history

    def ask(self, question: Callable[[History], T], begin: datetime | None = None, until: datetime | None = None) -> T:
        """The answer of the history, with as much of the past as the question needs.

        A question about what happened from `begin` on and not after `until` needs no more than that, and
        what was the state of things at `begin`; without them all sheets may be read.
        """
        with suppress(Incomplete):
            return question(self._records.history)
        calendar, today = self.model.calendar, self._today()
        with suppress(Incomplete):
            if begin is not None and calendar.round_day(begin) >= today:  # the clock was set back
                self._records.open_fully(calendar, today)
                return question(self._records.history)
            if begin is not None and until is not None:
                return question(self._records.as_of(calendar, begin, until))
        self._records.read_everything()
        return question(self._records.history)

    def items(self, now: datetime) -> list[DueItem]:
        """Every item at `now`; those of the round have ``in_round``."""
        return self.ask(
            lambda history: self._planner.items(self.model, history, now, self.forecasts(history, now)), now, now
        )

    def forecasts(self, history: History, now: datetime, room: Room | None = None) -> Sequence[Forecast]:
        """The refills that the levels call for; raises `Incomplete` where not enough of the history was kept.

        `room`: as it would be with other files; None: as it is.
        """
        if self._forecaster is None or not self.foresees:
            return ()
        return self._forecaster(room or self.model, history, now)

    def records_about(self, *, task: str | None = None, station: tuple[str, str] | None = None) -> list[Record]:
        """The records of a task or reading, or of a station (all of its system: station ""), oldest first.

        May take some seconds in a room of many years, and may be asked in another thread.
        """
        from rounds.core.account import records_about

        if task is not None:
            return records_about(self._records.of_system(task.partition("/")[0]), task=task)
        if station is not None:
            return records_about(self._records.of_system(station[0]), station=station)
        return self.ask(records_about)

    def standing_records(self, ids: Collection[str]) -> list[Record]:
        """The records that stand and have a value of one of the ids or are about it, in history order.

        From the archive of the systems they belong to; may be asked in another thread.
        """
        from rounds.core.series import standing_records

        records: dict[str, Record] = {}
        for system in {id.partition("/")[0] for id in ids}:
            records.update((record.id, record) for record in self._records.of_system(system))
        return standing_records(records.values(), ids, self.history.struck)

    def standing_of(self, system: str) -> list[Record]:
        """Every record about a system that stands, in history order; may be asked in another thread."""
        return self.standing_of_each((system,))[system]

    def standing_of_each(self, systems: Collection[str]) -> dict[str, list[Record]]:
        """The same of several systems, in less time than one after the other."""
        struck = self.history.struck
        return {
            system: [record for record in records if record.kind != STRIKE and record.id not in struck]
            for system, records in self._records.of_systems(systems).items()
        }

    def handovers(self, now: datetime) -> list[Handover]:
        """Every handover signed by `now`, the oldest first; may be asked in another thread."""
        from rounds.core.handovers import handovers

        return handovers(self.standing_of(ELSEWHERE), now)

    def last_handover(self, now: datetime) -> Handover | None:
        """The handover signed last by `now`; None when there is none."""
        from rounds.core.handovers import handovers

        with suppress(Incomplete):  # one of the last days is at hand, without the archive
            if lately := handovers(self.history.since(now - LATELY, now), now):
                return lately[-1]
        return next(reversed(self.handovers(now)), None)

    def reviews(self, now: datetime) -> list[Record]:
        """Every review of days signed by `now`, the oldest first; may be asked in another thread."""
        from rounds.core.handovers import reviews

        return reviews(self.standing_of(ELSEWHERE), now)

    def find(self, id: str) -> Record | None:
        """The record with this id, however old and also when it is struck."""
        return self._records.find(id)

    def newest(self, count: int) -> list[Record]:
        """The last records of all in history order, at least so many where there are; from the newest sheets."""
        return self._records.newest(count)

    @property
    def count(self) -> int:
        """Entries in all sheets."""
        return self._records.count

    @property
    def problems(self) -> list[Problem]:
        """What could not be read of the sheets."""
        return [Problem(name, sentence) for name, sentences in self._records.problems.items() for sentence in sentences]

    def task(self, name: str) -> Task:
        """The task of a full id, or of an id that only one system has; raise `Refused`."""
        if name not in self.model.tasks and (reading := self.model.readings.get(name)) is not None:
            return _measured(reading)
        known = self.model.tasks if name in self.model.tasks else {**self._errands(), **self.model.tasks}
        return find_named(known, name, "task", "rounds sheet --all lists the tasks")

    def _errands(self) -> dict[str, Task]:
        """What records ask for now and have asked for in this round day, by full id."""
        now = self.now()
        begin = self.model.calendar.start(self.model.calendar.round_day(now))
        found = self.ask(lambda history: errands(self.model, history, now, begin), begin, now)
        return {errand.task.id: errand.task for errand in found}

    # -- who ---------------------------------------------------------------------------------------

    def keeper(self, given: str | None) -> str:
        """The initials that a record gets; raise `CannotRead` when nobody is named, `Refused` when unknown."""
        keepers = self.model.keepers
        if given:
            return self._known_keeper(given)
        remembered = device.settings().get("keeper")
        if isinstance(remembered, str) and (not keepers or remembered in (k.initials for k in keepers)):
            return remembered
        if len(keepers) == 1:
            return keepers[0].initials
        names = ", ".join(keeper.initials for keeper in keepers) or "your initials"
        raise CannotRead(f"nobody is named as keeper; add --by with one of: {names}")

    def _known_keeper(self, given: str) -> str:
        keepers = self.model.keepers
        found = [k.initials for k in keepers if k.initials == given] or [
            k.initials for k in keepers if k.initials.casefold() == given.casefold()
        ]
        if len(found) == 1:
            return found[0]
        if keepers:
            names = ", ".join(keeper.initials for keeper in keepers)
            raise Refused(
                f"{quoted(given)} is no keeper of this room; write one of {names}, or add [[keepers]] to {ROOM_FILE}"
            )
        if not given.isalnum() or len(given) > 8:
            raise Refused(f"{quoted(given)} are no initials; use up to eight letters or digits")
        return given

    def remember_keeper(self, initials: str) -> None:
        """Keep the keeper for the next start on this device."""
        device.remember(keeper=initials)

    def recorded_since(self, begin: datetime, now: datetime) -> list[Record]:
        """What happened from `begin` up to `now` and stands, in history order."""
        return self.ask(lambda history: history.since(begin, now), begin, now)

    def last_of_device(self, now: datetime) -> Record | None:
        """What this device wrote down last in the current round day and was not struck."""
        day = self.model.calendar.round_day(now)
        begin = self.model.calendar.start(day)
        found = [
            record
            for name, _ in day_stamps(self.folder, (day,))
            for record in self._records.read(name).records
            if record.device == self.device
            and record.kind != STRIKE
            and COMPLETED not in record.words
            and record.recorded >= begin
            and self.history.strike_of(record.id) is None
        ]
        return max(found, key=lambda record: (record.recorded, record.id), default=None)

    # -- recording -----------------------------------------------------------------------------------

    @property
    def device(self) -> str:
        if self._device is None:
            self._device = device.device_name()
        return self._device

    def prepare(self, draft: Draft, by: str) -> Record:
        """The record of a draft, with its id: a second try at saving it writes the same record."""
        from rounds.core.recording import finish

        return finish(draft, id=_new_id(), by=by, device=self.device, recorded=self.now(), room=self.model)

    def prepare_all(self, draft: Draft, by: str) -> list[Record]:
        """The record of a draft, and of the end of each protocol whose last step it is."""
        from rounds.core.following import completed_by

        now = self.now()
        ends = self.ask(lambda history: completed_by(self.model, history, draft, now))
        return [self.prepare(each, by) for each in (draft, *ends)]

    def save(self, *records: Record) -> None:
        """Put the records on disk in one step, then into the history; raise `Refused` and leave both as they were."""
        if self._writer is None:
            self._writer = SheetWriter(self.folder, self.device, device.lock_file(self.folder))
        self._writer.append(records, self.model.calendar.round_day(records[-1].recorded))
        self._saved = True
        for record in records:
            self._records.add(record)
            self._newest = max(self._newest or record.recorded, record.recorded)

    def record(self, draft: Draft, by: str) -> Record:
        records = self.prepare_all(draft, by)
        self.save(*records)
        return records[0]

    def strike(self, id: str, reason: str, by: str) -> Record:
        """Take the record `id` out of account; raise `Refused` when it cannot be.

        With the last step of a protocol goes the record that says that it was completed.
        """
        from rounds.core.following import undone_by

        first, target, now = self._strike(id, reason), self.find(id), self.now()
        ends = self.ask(lambda history: undone_by(self.model, history, target, now)) if target is not None else []
        strikes = [self.prepare(draft, by) for draft in (first, *(self._strike(end.id, reason) for end in ends))]
        self.save(*strikes)
        return strikes[0]

    def amend(self, id: str, reason: str, draft: Draft, by: str) -> Record:
        """Strike the record `id` and record `draft` in its place, in one step."""
        record = self.prepare(draft, by)
        self.save(self.prepare(self._strike(id, reason), by), record)
        return record

    def _strike(self, id: str, reason: str) -> Draft:
        from rounds.core.recording import Draft

        target = self.find(id)
        if target is None:
            raise Refused(f"there is no record {quoted(id)}; rounds history --json shows the ids")
        if target.kind == STRIKE:
            raise Refused(f"{id} is a strike and cannot be struck; record the work again instead")
        if (strike := self.history.strike_of(id)) is not None:
            raise Refused(f"{id} is struck already, by {strike.by}: {strike.reason}")
        if not reason.strip():
            raise Refused("say why it is struck: a few words are enough")
        return Draft(
            kind=STRIKE,
            at=self.now(),
            system=target.system,
            station=target.station,
            task=target.task,
            reason=reason,
            ref=id,
        )

    # -- what changes on disk ------------------------------------------------------------------------

    def look(self) -> Change:
        """Read what has changed of the sheets; may run in another thread, changes nothing."""
        return self._records.look(self.model.calendar, self._today())

    def take_in(self, change: Change) -> bool:
        """Take in what a look has found; True when anything is different now."""
        return self._records.take_in(change)

    def refresh_sheets(self) -> bool:
        """Look and take in at once."""
        return self.take_in(self.look())

    def keep(self) -> None:
        """Write the cache where it is worth it, so that the next start is as quick as on the first day."""
        day = self._today()
        if self._records.stale(day):
            self._records.keep(self.model.calendar, day)

    def room_with(self, changes: Sequence[FileChange]) -> Room:
        """The room as it would be with changes of its files; raises `RoomFaults` with every fault."""
        from rounds.storage.changes import room_with

        return room_with(self.folder, changes, self.seawater)

    def change_files(self, changes: Sequence[FileChange]) -> None:
        """Write changes of the room's files and take them up; raises `Refused` or `RoomFaults`, and writes nothing."""
        from rounds.storage.changes import write_changes

        write_changes(self.folder, changes, device.lock_file(self.folder), self.seawater)
        self.refresh_files()

    def look_at_files(self) -> FileStamps:
        """By what the room's files are known to be unchanged; may run in another thread."""
        return file_stamps(self.folder)

    def refresh_files(self, stamps: FileStamps | None = None) -> RoomFaults | bool:
        """Read the room's files again when they changed: True taken up, False unchanged, else the faults.

        `stamps` are what `look_at_files` has found. With faults the last good version stays in use, and
        `faults` says what they are until they are repaired.
        """
        if stamps is None:
            stamps = self.look_at_files()
        if stamps == self._stamps:
            return False
        self._stamps = stamps
        self.faults = None
        try:
            self.model = self._load()
            self._records.counted = self.model.counted
            self._rename()
        except RoomFaults as faults:
            self.faults = faults
        except NoRoom as gone:
            self.faults = RoomFaults([Fault(file=ROOM_FILE, sentence=str(gone))])
        return self.faults or True

    def _rename(self) -> None:
        """What was recorded is known under the ids that its tasks have now."""
        if self.model.formerly != self._records.formerly:
            self._records = Records(self.folder, self._cache, self.model.formerly, self.model.counted)
            self._records.open_fully(self.model.calendar, self._today())


def _measured(reading: Reading) -> Task:
    """Taking a reading that nothing asks for by itself."""
    return Task(
        id=reading.id,
        system=reading.system,
        station=reading.station,
        title=f"Test {reading.name}",
        source="reading",
        rule=Called(),
        takes=(reading.id,),
    )


def _new_id() -> str:
    from uuid6 import uuid7

    return str(uuid7())
