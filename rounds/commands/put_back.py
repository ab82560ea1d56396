"""`rounds put-back`: something off normal is as it should be again."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room
from rounds.commands.writing import say, write_down


def options(command: Command) -> None:
    command.option("equipment", metavar="EQUIPMENT", help="as rounds off-normal lists it: full id, short id or name")
    command.option("note", metavar="NOTE", nargs="*", help="what else there is to say")
    command.at("when it was put back")
    command.sure()
    command.json("print the record as JSON")


def run(options: argparse.Namespace) -> int:
    from rounds.core.following import draft_put_back
    from rounds.core.off_normal import find_left, off_normal
    from rounds.report.following import off_normal_line

    room = open_room(options)
    by, at = keeper_of(room, options), instant_of(room, options)
    standing = room.ask(lambda history: off_normal(room.model, history, at))
    left = find_left(standing, options.equipment)
    draft = draft_put_back(room.model, left, at, " ".join(options.note), standing=standing)
    write_down(room, draft, by, options)
    still = room.ask(lambda history: off_normal(room.model, history, at), at, at)
    say([f"Still off normal: {off_normal_line(room.model, each, at)}." for each in still], options)
    return 0
