"""`rounds review`: what was late, not done, struck or entered late in a day or a month; signed by an owner."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json
from rounds.commands.writing import write_down
from rounds.core.calendar import ONE_DAY
from rounds.core.errors import CannotRead


def options(command: Command) -> None:
    command.option("period", metavar="DAY|MONTH", nargs="?", help="such as 2026-03-04 or 2026-03; without it: today")
    command.option("--sign", action="store_true", help="sign that these days were reviewed")
    command.option("--note", metavar="WORDS", default="", help="what there is to say about them")
    command.at("as it stood, or was signed, at this time")
    command.sure()
    command.json("as JSON; with --sign, the record")


def run(options: argparse.Namespace) -> int:
    from rounds.report.review import draft_signed, parse_period, review, review_json, review_text

    if options.note and not options.sign:
        raise CannotRead("a note goes with signing; add --sign")
    room = open_room(options)
    model, now = room.model, instant_of(room, options)
    period = parse_period(options.period, model.calendar, now)
    signed = room.reviews(now)
    begin = model.calendar.start(period.first - ONE_DAY)

    found = room.ask(lambda history: review(model, history, period, now, signed), begin, now)
    if options.sign:
        by = keeper_of(room, options)
        write_down(room, draft_signed(model, found, by, now, options.note), by, options)
    elif options.json:
        print_json(review_json(model, found))
    else:
        print(review_text(model, found, now), end="")
    return 0
