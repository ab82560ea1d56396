"""`rounds check`: validate the room and its sheets, or a backup."""

from __future__ import annotations

import argparse
from pathlib import Path

from rounds.commands import Command
from rounds.commands.opening import find_room, seawater
from rounds.core.errors import Refused


def options(command: Command) -> None:
    command.option("file", metavar="FILE", nargs="?", type=Path, help="one room file, one sheet, or a backup to verify")
    command.option("--repair", action="store_true", help="write readable records of damaged sheets beside them")


def run(options: argparse.Namespace) -> int:
    from rounds.core.words import plain, plural
    from rounds.report.check import check_room

    file: Path | None = options.file
    if file is not None and file.suffix == ".zip":
        return _check_backup(file)
    folder = find_room(options.room) if file is None or not file.is_dir() else file
    if options.repair:
        _repair(folder)
    found = check_room(folder, file if file is not None and not file.is_dir() else None, seawater)
    for line in found.faults:
        print(plain(line))
    for line in found.remarks:
        print(f"remark: {plain(line)}")
    print(f"{plain(str(found.what))}: {plural(len(found.faults), 'fault') if found.faults else 'no fault'} found")
    return 1 if found.faults else 0


def _check_backup(file: Path) -> int:
    from rounds.core.words import plain, plural
    from rounds.storage.backup import check_backup

    if not file.is_file():
        raise Refused(f"{file} does not exist; name a backup")
    faults = check_backup(file)
    for fault in faults:
        print(plain(fault))
    print(f"{plain(str(file))}: {plural(len(faults), 'fault') if faults else 'no fault'} found")
    return 1 if faults else 0


def _repair(folder: Path) -> None:
    from rounds.core.words import plain, plural
    from rounds.storage.repair import repair_sheets

    try:
        repaired = repair_sheets(folder)
    except OSError as error:
        raise Refused(f"{error.filename or folder}: {error.strerror or error}; nothing more was repaired") from error
    for each in repaired:
        where = f"written to {each.beside.relative_to(folder)}" if each.beside else "nothing new to write"
        sheet = each.sheet.relative_to(folder)
        print(plain(f"{sheet}: {plural(each.records, 'record')} readable, {where}; {each.lost}"))
