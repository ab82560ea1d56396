"""Everything that is wrong with a room and its sheets, without changing any of it."""

from __future__ import annotations

from pathlib import Path

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import ROOM, AgainAfter, OnDates, Room
from rounds.core.quantities import QUANTITIES
from rounds.core.record import KINDS, Record
from rounds.core.units import Seawater
from rounds.storage.faults import RoomFaults
from rounds.storage.files import ROOM_FILE
from rounds.storage.room_files import load_room
from rounds.storage.sheets import SHEETS, inspect_sheets


class Findings(msgspec.Struct, frozen=True):
    """What `check_room` found."""

    what: Path
    faults: list[str]
    remarks: list[str]
    """What is allowed and may still surprise."""


def check_room(folder: Path, file: Path | None, seawater: Seawater | None) -> Findings:
    """Check a whole room, or one of its files; raise `Refused` for a file that is none of the room's."""
    name = None
    if file is not None:
        if not file.exists():
            raise Refused(f"{file} does not exist; name a room file or a sheet of {folder}")
        resolved, top = file.resolve(), folder.resolve()
        if not resolved.is_relative_to(top):
            raise Refused(f"{file} is not in the room {folder}; name the room with --room")
        name = resolved.relative_to(top).as_posix()
    faults: list[str] = []
    remarks: list[str] = []
    room = None
    try:
        room = load_room(folder, seawater)
    except RoomFaults as found:
        faults += [str(fault) for fault in found.faults if name is None or fault.file == name]
    if room is not None and (name is None or name.endswith(".toml")):
        remarks += _remarks(room, name)
    if name is None or name.startswith(f"{SHEETS}/"):
        faults += _check_sheets(folder, room, name)
    return Findings(file if file is not None else folder, faults, remarks)


def _remarks(room: Room, name: str | None) -> list[str]:
    """Keys that have no effect where they stand."""
    found = []
    for system in room.systems:
        file = ROOM_FILE if system.id == ROOM else f"systems/{system.id}.toml"
        if name is not None and name != file:
            continue
        if system.drained and not system.paused:
            found.append(f"{file}: drained has no effect without paused = true")
        for task in system.tasks:
            dated = isinstance(task.rule, OnDates)
            movable = isinstance(task.rule, AgainAfter) and not task.rule.span.exact
            idle = [
                key
                for key, given in (
                    ("make_up", not task.make_up and not dated),
                    ("early", task.early is not None and not (dated or movable)),
                    ("lapse", task.lapse is not None and (task.make_up or not dated)),
                )
                if given
            ]
            if idle:
                found.append(f"{file}, {task.id}: {', '.join(idle)} has no effect with this rule")
    return found


def _check_sheets(folder: Path, room: Room | None, name: str | None) -> list[str]:
    faults = []
    contents: dict[str, tuple[str, Record]] = {}
    for path, read in inspect_sheets(folder):
        where = path.relative_to(folder).as_posix()
        wanted = name is None or where == name
        if wanted:
            faults += [f"{where}: {problem}" for problem in read.problems]
        for record in read.records:
            other = contents.setdefault(record.id, (where, record))
            if other[1] != record and (wanted or name == other[0]):
                faults.append(
                    f"{where}: record {record.id} stands with another content in {other[0]}; the greater one is used"
                )
            if wanted:
                faults += [f"{where}: record {record.id}: {what}" for what in _record_faults(record, room)]
    return faults


def _record_faults(record: Record, room: Room | None) -> list[str]:
    """Values that cannot be; they are kept and shown with doubt."""
    found: list[str] = []
    if record.kind not in KINDS:
        return found
    for value in record.values:
        reading = room.readings.get(value.reading) if room is not None else None
        if reading is None or value.value is None:
            continue
        low, high = QUANTITIES[reading.quantity].possible
        if not low <= value.value <= high:
            found.append(
                f"{value.value:g} {value.unit} cannot be right for {value.reading}; strike it and record it again"
            )
    return found
