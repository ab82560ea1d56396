"""`rounds levels`: what runs out first, and by when it has to be refilled."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, open_room, print_json


def options(command: Command) -> None:
    command.at()
    command.json()


def run(options: argparse.Namespace) -> int:
    from rounds.core.history import History
    from rounds.report.levels import levels_json, levels_text
    from rounds.water.levels import Levels
    from rounds.water.reserves import ReservoirLevel, reservoir_levels
    from rounds.water.top_off import FreshWater, fresh_water

    room = open_room(options)
    now = instant_of(room, options)

    def answer(history: History) -> tuple[list[ReservoirLevel], list[FreshWater]]:
        history.check(now)
        levels = Levels()
        waters = (fresh_water(levels, room.model, history, system, now) for system in room.model.systems)
        return reservoir_levels(levels, room.model, history, now), [each for each in waters if each is not None]

    found, fresh = room.ask(answer)
    if options.json:
        print_json(levels_json(room.model, found, fresh))
    else:
        print(levels_text(room.model, found, fresh, now), end="")
    return 0
