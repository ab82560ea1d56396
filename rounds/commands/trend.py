"""`rounds trend`: where a reading is heading."""

from __future__ import annotations

import argparse
from datetime import timedelta

from rounds.commands import Command
from rounds.commands.opening import instant_of, open_room, print_json
from rounds.core.windows import WINDOWS

_WINDOWS = {name: reach or timedelta.max for name, reach in WINDOWS.items()}


def options(command: Command) -> None:
    command.option("reading", metavar="SYSTEM/READING", help="such as nursery/alkalinity")
    command.option("--window", choices=_WINDOWS, help="days that count, ending with the latest value")
    command.at("as it stood at this time")
    command.json("as JSON, numbers unrounded")


def run(options: argparse.Namespace) -> int:
    from rounds.core.series import bearing_on, find_reading
    from rounds.report.derived import beside, derived_json, derived_lines
    from rounds.report.past import Past
    from rounds.report.trend import outlook, trend_json, trend_text

    room = open_room(options)
    model, now = room.model, instant_of(room, options)
    reading = find_reading(model, options.reading)
    past = Past(room.standing_records(bearing_on(model, reading) | beside(model, reading)))
    trend = past.trend(model, reading, now, _WINDOWS.get(options.window))
    found = room.ask(lambda history: outlook(model, history, reading, trend, now))
    if options.json:
        print_json({**trend_json(model, reading, found, now), "derived": derived_json(model, past, reading, now)})
    else:
        print(trend_text(model, reading, found, now, derived_lines(model, past, reading, now)), end="")
    return 0
