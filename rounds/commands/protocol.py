"""`rounds protocol`: calling a named list of steps, and what is under way."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json, recorded_as
from rounds.commands.writing import say, write_all, write_down
from rounds.core.errors import CannotRead, Refused
from rounds.core.words import quoted

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.history import History
    from rounds.core.model import Protocol
    from rounds.core.protocols import Running
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("protocol", metavar="PROTOCOL|ID", nargs="?", help="such as power-return; with --stop, a call's id")
    command.option("where", metavar="WHERE", nargs="?", help="a system, a station, or room for every system")
    command.option("about", metavar="ABOUT", nargs="*", help="what it is called for: the animal, the equipment")
    command.option("--stop", metavar="WHY", help="end the called protocol ID before every step is done")
    command.at("when it was called or stopped")
    command.sure()
    command.json("as JSON; without a protocol, those under way")


def run(options: argparse.Namespace) -> int:
    from rounds.core.following import draft_protocol_stopped
    from rounds.core.named import find_named

    room = open_room(options)
    at = instant_of(room, options)
    if options.protocol is None:
        return _list(room, options, at)
    by = keeper_of(room, options)
    if options.stop is not None:
        under = room.ask(lambda history: _named(room, history, options.protocol, at))
        write_down(room, draft_protocol_stopped(under, options.stop, at), by, options)
        return 0
    protocol = find_named(room.model.protocol, options.protocol, "protocol", "rounds protocol lists them")
    drafts = room.ask(lambda history: _drafts(room, history, protocol, options, at))
    records = write_all(room, drafts, by, options)
    if not options.json:
        _say_steps(room, [record.id for record in records], options)
    return 0


def _say_steps(room: RoomFolder, calls: list[str], options: argparse.Namespace) -> None:
    from rounds.core.protocols import running
    from rounds.core.words import moment, plain

    now, calendar = room.now(), room.model.calendar
    for under in room.ask(lambda history: running(room.model, history, now)):
        if under.call.id in calls:
            say(
                [
                    f"{moment(calendar, step.due_at, now)}  {plain(step.title)}  ({step.task})"
                    for step in under.steps
                    if step.due_at is not None
                ],
                options,
            )


def _list(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.protocols import running
    from rounds.report.following import protocol_json, protocols_text

    if options.stop is not None:
        raise CannotRead("say which protocol: give the id that rounds protocol shows")
    found = room.ask(lambda history: running(room.model, history, now), now, now)
    if options.json:
        print_json([protocol_json(room.model, each) for each in found])
    else:
        print(protocols_text(room.model, found, now), end="")
    return 0


def _drafts(
    room: RoomFolder, history: History, protocol: Protocol, options: argparse.Namespace, at: datetime
) -> list[Draft]:
    from rounds.core.following import draft_call
    from rounds.core.model import ROOM
    from rounds.core.named import find_place
    from rounds.core.protocols import steps_for

    model, about = room.model, " ".join(options.about)
    if options.where is None and protocol.place != ROOM:
        raise CannotRead(f"say for which {protocol.place}: rounds protocol {options.protocol} WHERE")
    system, station = find_place(model, options.where or ROOM)
    if system == ROOM and not station and protocol.place == "system":
        asked = [each.id for each in model.systems if each.id != ROOM and any(steps_for(model, protocol, each.id))]
        if asked:
            return [draft_call(model, history, protocol, id, "", about, at) for id in asked]
    return [draft_call(model, history, protocol, system, station, about, at)]


def _named(room: RoomFolder, history: History, name: str, at: datetime) -> Running:
    """The protocol under way that was called by the record of this id, or of an id that ends so."""
    from rounds.core.protocols import running

    found = [under for under in running(room.model, history, at) if recorded_as(name, under.call.id)]
    if found:
        return found[0]
    raise Refused(f"no protocol with the id {quoted(name)} is under way; rounds protocol lists them")
