"""`rounds staged`: what is changed in steps, what is next, and when to hold it."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, open_room, print_json


def options(command: Command) -> None:
    command.at("as it stood at this time")
    command.json()


def run(options: argparse.Namespace) -> int:
    from rounds.report.past import pasts_of
    from rounds.report.staged import staged_changes, staged_json, staged_text

    room = open_room(options)
    now, pasts = instant_of(room, options), pasts_of(room)
    found = [
        change for system in room.model.systems for change in staged_changes(room.model, pasts[system.id], system, now)
    ]
    if options.json:
        print_json([staged_json(room.model, change) for change in found])
    else:
        print(staged_text(room.model, found), end="")
    return 0
