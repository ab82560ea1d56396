"""`rounds sheet`: the round as text or JSON."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, open_room, print_json, system_of


def options(command: Command) -> None:
    command.at()
    command.option("--system", metavar="S", help="one system only")
    command.option("--all", action="store_true", help="also what comes due after today")
    command.json()


def run(options: argparse.Namespace) -> int:
    from rounds.report import sheet

    room = open_room(options)
    model, now = room.model, instant_of(room, options)
    chosen = sheet.select(room.items(now), system=system_of(room, options), all_items=options.all)
    if options.json:
        print_json(sheet.sheet_json(model, chosen, now))
    else:
        print(room.ask(lambda history: sheet.sheet_text(model, history, chosen, now), now, now), end="")
    return 0
