"""`rounds new`: the set-up of a new room, by questions in the app."""

from __future__ import annotations

import argparse
from pathlib import Path

from rounds.commands import Command
from rounds.commands.opening import need_terminal, start_app


def options(command: Command) -> None:
    command.option("folder", metavar="DIR", type=Path, help="where the room is to be; a folder that is new or empty")


def run(options: argparse.Namespace) -> int:
    from rounds.storage.founding import refuse_used

    folder = options.folder.absolute()
    refuse_used(folder)
    need_terminal()
    return start_app(options, folder, new=True)
