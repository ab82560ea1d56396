"""`rounds backup`: room and sheets in one file."""

from __future__ import annotations

import argparse
from pathlib import Path

from rounds.commands import Command
from rounds.commands.opening import find_room


def options(command: Command) -> None:
    command.option("file", metavar="FILE.zip", type=Path, help="a new file")


def run(options: argparse.Namespace) -> int:
    from rounds.core.words import plain, plural
    from rounds.storage.backup import write_backup

    count = write_backup(find_room(options.room), options.file)
    print(f"{plain(str(options.file))}: {plural(count, 'file')} backed up")
    return 0
