"""`rounds valve`: a tank valved off from its system, or opened to it."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json
from rounds.commands.writing import say, write_all
from rounds.core.errors import CannotRead


def options(command: Command) -> None:
    command.option("tank", metavar="SYSTEM/TANK", nargs="?", help="the tank; alone: the waters of every system")
    command.option("--apart", one_of=True, action="store_true", help="it is valved off: a water of its own")
    command.option("--joined", one_of=True, action="store_true", help="it is open to the system again")
    command.option("--reason", metavar="WHY", help="why")
    command.at("when the valve was turned")
    command.sure()
    command.json()


def run(options: argparse.Namespace) -> int:
    from rounds.core.valving import draft_valved, find_tank
    from rounds.report.waters import water_lines, waters_json, waters_text

    room = open_room(options)
    model, now = room.model, instant_of(room, options)
    if options.tank is None:
        if options.apart or options.joined or options.reason is not None:
            raise CannotRead("say which tank: rounds valve SYSTEM/TANK --apart --reason WHY")
        if options.json:
            print_json(room.ask(lambda history: waters_json(model, history, now)))
        else:
            print(room.ask(lambda history: waters_text(model, history, now)), end="")
        return 0
    if not (options.apart or options.joined) or options.reason is None:
        raise CannotRead("say how the valve was turned, and why: --apart or --joined, and --reason WHY")
    tank, by = find_tank(model, options.tank), keeper_of(room, options)
    draft = room.ask(
        lambda history: draft_valved(model, history, tank, apart=options.apart, reason=options.reason, at=now)
    )
    write_all(room, [draft], by, options)
    say(room.ask(lambda history: water_lines(model, history, model.system[tank.system], room.now())), options)
    return 0
