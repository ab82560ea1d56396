"""`rounds cover`: one keeper does the work of another for a time."""

from __future__ import annotations

import argparse
from datetime import timedelta
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json
from rounds.commands.writing import write_down
from rounds.core.errors import CannotRead

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder

_AHEAD = timedelta(days=366)
"""So far ahead are covers listed that have not begun."""


def options(command: Command) -> None:
    command.option("absent", metavar="ABSENT", nargs="?", help="initials of who is away")
    command.option("covering", metavar="COVERING", nargs="?", help="initials of who does the work meanwhile")
    command.option("--until", metavar="T", help='until when: a time, "tomorrow" or "2 weeks"')
    command.option("--reason", metavar="WHY", default="", help="why")
    command.at("from when; without it: from now")
    command.sure()
    command.json("print the record as JSON; without keepers, who covers whom")


def run(options: argparse.Namespace) -> int:
    room = open_room(options)
    at = instant_of(room, options)
    if options.absent is None:
        return _list(room, options, at)
    if options.covering is None or not options.until:
        raise CannotRead("say who covers, and until when: rounds cover ABSENT COVERING --until T")
    by = keeper_of(room, options)
    write_down(room, _draft(room, options, at), by, options)
    return 0


def _draft(room: RoomFolder, options: argparse.Namespace, at: datetime) -> Draft:
    from rounds.core.moments import parse_until
    from rounds.core.shifts import draft_cover

    keepers = (room.keeper(options.absent), room.keeper(options.covering))
    until = parse_until(options.until, room.model.calendar, room.now(), at)
    return room.ask(lambda history: draft_cover(room.model, history, keepers, at, until, options.reason))


def _list(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.shifts import covers_from
    from rounds.report.following import cover_json, covers_text

    found = room.ask(lambda history: covers_from(history, now, now + _AHEAD), now)
    if options.json:
        print_json([cover_json(room.model, each) for each in found])
    else:
        print(covers_text(room.model, found, now), end="")
    return 0
