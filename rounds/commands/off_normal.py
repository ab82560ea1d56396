"""`rounds off-normal`: what is not as it should be left."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json
from rounds.commands.writing import say_what_stops, write_all
from rounds.core.errors import CannotRead

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.history import History
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder

_STATES = ("off", "running", "open", "shut", "muted", "manual")


def options(command: Command) -> None:
    command.option("equipment", metavar="EQUIPMENT", nargs="?", help="as listed, or its id; with --what, a station")
    command.option("--until", metavar="T", help='by when it is put back: a time, "tomorrow" or "15 minutes"')
    command.option("--reason", metavar="WHY", help="why it is left so")
    command.option("--as", dest="state", choices=_STATES, default="off", help="how it is left; without it: off")
    command.option("--what", metavar="TEXT", help="something in no table, such as a filling hose, at the station named")
    command.option("--with-it", action="store_true", help="record or extend also what must stop with it")
    command.at("when it was left so")
    command.sure()
    command.json("as JSON; without equipment, all that is off normal")


def run(options: argparse.Namespace) -> int:
    room = open_room(options)
    now = instant_of(room, options)
    if options.equipment is None:
        return _list(room, options, now)
    if options.until is None or options.reason is None:
        raise CannotRead("say by when it is put back, and why: --until T --reason WHY")
    by = keeper_of(room, options)
    records = write_all(room, room.ask(lambda history: _drafts(room, history, options, now)), by, options)
    say_what_stops(room, records[0].task, options)
    return 0


def _list(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.off_normal import off_normal
    from rounds.report.following import off_normal_json, off_normal_text

    found = room.ask(lambda history: off_normal(room.model, history, now), now, now)
    if options.json:
        print_json([off_normal_json(room.model, each, now) for each in found])
    else:
        print(off_normal_text(room.model, found, now), end="")
    return 0


def _drafts(room: RoomFolder, history: History, options: argparse.Namespace, at: datetime) -> list[Draft]:
    from rounds.core.following import draft_extended, draft_off_normal, draft_off_normal_other, drafts_together
    from rounds.core.moments import parse_until
    from rounds.core.named import find_place
    from rounds.core.off_normal import find_left, find_thing, named_so, off_normal

    model = room.model
    until = parse_until(options.until, model.calendar, room.now(), at)
    state = {"manual": "on manual"}.get(options.state, options.state)
    if options.what:
        system, station = find_place(model, options.equipment)
        return [draft_off_normal_other(system, station, options.what, state, until, options.reason, at)]
    left = off_normal(model, history, at)
    others = [each for each in named_so(left, options.equipment) if "/" not in each.thing]
    if others:
        return [draft_extended(find_left(others, options.equipment), until, options.reason, at)]
    thing = find_thing(model, options.equipment)
    standing = {each.thing: each for each in left}
    drafts = [draft_off_normal(thing, state, until, options.reason, at, now=standing.get(thing.id))]
    equipment = model.equipment.get(thing.id)
    if options.with_it and equipment is not None:
        drafts += drafts_together(model, equipment, left, until, at)
    return drafts
