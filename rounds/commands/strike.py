"""`rounds strike`: take a record out of account."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import keeper_of, open_room, print_json


def options(command: Command) -> None:
    command.option("id", metavar="ID", help="the record's id")
    command.option("--reason", metavar="WHY", required=True, help="why")
    command.json("print the strike as JSON")


def run(options: argparse.Namespace) -> int:
    from rounds.core.account import record_line
    from rounds.report.history import record_json

    room = open_room(options)
    by = keeper_of(room, options)
    strike = room.strike(options.id, options.reason, by)
    if options.json:
        print_json(record_json(room.history, strike))
        return 0
    target = room.find(options.id)
    assert target is not None, "it was struck just now"
    print(record_line(room.model, room.history, target))
    return 0
