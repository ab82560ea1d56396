"""`rounds sheet`: the round as text or JSON."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, open_room, print_json
from rounds.core.errors import Refused


def options(command: Command) -> None:
    command.option("--at", metavar="T", help="as it stood or will stand at this time")
    command.option("--system", metavar="S", help="one system only")
    command.option("--all", action="store_true", help="also what comes due after today")
    command.option("--json", action="store_true", help="as JSON")


def run(options: argparse.Namespace) -> int:
    from rounds.report import sheet

    room = open_room(options)
    model, now = room.model, instant_of(room, options)
    if options.system is not None and options.system not in model.system:
        raise Refused(f"the system {options.system!r} does not exist; write one of {', '.join(model.system)}")
    chosen = sheet.select(room.items(now), system=options.system, all_items=options.all)
    if options.json:
        print_json(sheet.sheet_json(model, chosen, now))
    else:
        print(room.ask(lambda history: sheet.sheet_text(model, history, chosen, now), now, now), end="")
    return 0
