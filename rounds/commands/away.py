"""`rounds away`: before, during and after an absence, what fails first, and the sitter's sheet."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import FORMATS, open_room, print_document, print_json

if TYPE_CHECKING:
    from rounds.core.history import History
    from rounds.report.away import Away
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("begin", metavar="FROM", help="when the room is left: a time, or a date for the start of its day")
    command.option("end", metavar="TO", help="when somebody is back")
    command.option("--sitter", metavar="XX", help="who looks after the room meanwhile")
    command.option("--sheet", action="store_true", help="the sitter's sheet alone")
    command.option(
        "--format", one_of=True, choices=FORMATS, default="text", help="text, Markdown, a page of HTML, JSON"
    )
    command.json(one_of=True)


def run(options: argparse.Namespace) -> int:
    from rounds.report import away_forms

    room = open_room(options)
    model, found = room.model, _away(room, options)
    form = "json" if options.json else options.format
    if form == "json":
        print_json(away_forms.sheet_json(model, found) if options.sheet else away_forms.away_json(model, found))
        return 0
    document = (away_forms.sheet_document if options.sheet else away_forms.away_document)(model, found)
    print_document(document, form)
    return 0


def _away(room: RoomFolder, options: argparse.Namespace) -> Away:
    from rounds.core.absence import absence_of
    from rounds.core.moments import parse_moment
    from rounds.report.away import away
    from rounds.report.past import pasts_of

    model, now = room.model, room.now()
    begin, end = (parse_moment(text, model.calendar, now) for text in (options.begin, options.end))
    sitter = room.keeper(options.sitter) if options.sitter else ""
    absence = absence_of(model, begin, end, now, sitter)

    pasts = pasts_of(room)

    def answer(history: History) -> Away:
        return away(model, history, pasts, absence, now)

    return room.ask(answer)
