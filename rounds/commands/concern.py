"""`rounds concern`: something to keep an eye on until it is closed."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json, recorded_as
from rounds.commands.writing import write_down
from rounds.core.errors import CannotRead, Refused
from rounds.core.words import quoted

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.concerns import Concern
    from rounds.core.history import History
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("about", metavar="STATION|ID", nargs="?", help="such as nursery/sump; or a concern's id")
    command.option("text", metavar="TEXT", nargs="*", help="what is seen there")
    command.option("--update", one_of=True, metavar="TEXT", help="what is seen now of the concern ID")
    command.option("--close", one_of=True, metavar="WHY", help="close the concern ID")
    command.option("--look-for", metavar="TEXT", help="what to look for")
    command.option("--look-again", metavar="T", help='when to look again: a time, "tomorrow" or "2 days"')
    command.at("when it was seen")
    command.sure()
    command.json("print the record as JSON; without a station, the open concerns")


def run(options: argparse.Namespace) -> int:
    room = open_room(options)
    if options.about is None:
        return _list(room, options)
    by = keeper_of(room, options)
    write_down(room, _draft(room, options, instant_of(room, options)), by, options)
    return 0


def _list(room: RoomFolder, options: argparse.Namespace) -> int:
    from rounds.core.concerns import open_concerns
    from rounds.report.following import concern_json, concerns_text

    if options.update is not None or options.close is not None:
        raise CannotRead("say which concern: give the id that rounds concern shows")
    now = instant_of(room, options)
    found = room.ask(lambda history: open_concerns(history, now), now, now)
    if options.json:
        print_json([concern_json(room.model, each, now) for each in found])
    else:
        print(concerns_text(room.model, found, now), end="")
    return 0


def _draft(room: RoomFolder, options: argparse.Namespace, at: datetime) -> Draft:
    from rounds.core import following
    from rounds.core.moments import parse_until
    from rounds.core.named import find_place

    model, said = room.model, " ".join(options.text)
    again = parse_until(options.look_again, model.calendar, room.now(), at) if options.look_again else None
    look_for = options.look_for or ""
    if options.update is None and options.close is None:
        system, station = find_place(model, options.about)
        return following.draft_concern(system, station, said, at, look_for=look_for, look_at=again)
    if said:
        raise CannotRead("what is seen goes into the option itself, in quotes: --update TEXT or --close WHY")
    about = room.ask(lambda history: _named(room, history, options.about, at))
    if options.close is not None:
        return following.draft_concern_closed(model, about, options.close, at)
    return following.draft_concern_update(model, about, options.update, at, look_for=look_for, look_at=again)


def _named(room: RoomFolder, history: History, name: str, at: datetime) -> Concern:
    """The concern with this id, or with an id that ends so."""
    from rounds.core.concerns import concern
    from rounds.core.record import CONCERN

    found = [each for each in history.opened(CONCERN, at) if recorded_as(name, each.id)]
    if not found:
        old = room.find(name)
        found = [old] if old is not None and old.kind == CONCERN and history.strike_of(old.id) is None else []
    if not found:
        raise Refused(f"there is no concern {quoted(name)}; rounds concern lists those that are open")
    return concern(history, found[0], at)
