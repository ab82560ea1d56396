"""`rounds history`: who did what, when."""

from __future__ import annotations

import argparse
from typing import Any

from rounds.commands import Command
from rounds.commands.opening import open_room, print_json

SHOWN = 40
"""Records that are printed when not asked for more."""


def options(command: Command) -> None:
    command.option("about", metavar="TASK|STATION", nargs="?", help="one task, station or system")
    command.json("as JSON, oldest first")
    command.option("--all", action="store_true", help=f"more than the last {SHOWN}")


def run(options: argparse.Namespace) -> int:
    from rounds.report.history import history_text, record_json

    room = open_room(options)
    about = options.about
    which: dict[str, Any] = {}
    if about in room.model.system:
        which = {"station": (about, "")}
    elif about is not None and tuple(about.split("/", 1)) in room.model.stations and about not in room.model.tasks:
        which = {"station": tuple(about.split("/", 1))}
    elif about is not None:
        known = about in room.model.readings or about in room.model.instruments
        which = {"task": about if known else room.task(about).id}
    if options.json:
        print_json([record_json(room.history, record) for record in room.records_about(**which)])
        return 0
    records = room.newest(SHOWN) if not which and not options.all else room.records_about(**which)
    count = len(records) if which else room.count
    if count > SHOWN and not options.all:
        print(f"The last {SHOWN} of {count:,} records; --all shows the others.\n")
        records = records[-SHOWN:]
    print(history_text(room.model, room.history, records), end="")
    return 0
