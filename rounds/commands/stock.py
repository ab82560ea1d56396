"""`rounds stock`: what is on the shelves, counted, delivered, ordered."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json
from rounds.commands.writing import write_down
from rounds.core.errors import CannotRead

if TYPE_CHECKING:
    from datetime import date, datetime

    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("item", metavar="ITEM", nargs="?", help="its id; without one, all of it is listed")
    command.option("--count", metavar="N", one_of=True, help="so much is there now")
    command.option("--delivered", metavar="N", nargs="?", const="", one_of=True, help="so much came; alone: one pack")
    command.option("--ordered", metavar="WORDS", nargs="?", const="", one_of=True, help="it is ordered: from where")
    command.option("--expires", metavar="D", help="the last good day of what was counted or came")
    command.option("--expected", metavar="T", help='when the order should come; without it in a week ("10 days")')
    command.at("when that was")
    command.sure()
    command.json()


def run(options: argparse.Namespace) -> int:
    room = open_room(options)
    now = instant_of(room, options)
    recorded = [each for each in (options.count, options.delivered, options.ordered) if each is not None]
    if options.item is None and recorded:
        raise CannotRead("say of which item: rounds stock ITEM --count N; rounds stock lists them")
    if not recorded:
        return _list(room, options, now)
    write_down(room, _draft(room, options, now), keeper_of(room, options), options)
    return 0


def _list(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.named import find_named
    from rounds.report.stock import account, stock_json, stock_rows, stock_text

    rows = room.ask(lambda history: stock_rows(room.model, history, now), now, now)
    if options.item is not None:
        known = {row.id: row for row in rows}
        rows = [find_named(known, options.item, "item of stock", "rounds stock lists them")]
    if options.json:
        print_json([stock_json(room.model, row) for row in rows])
        return 0
    print(stock_text(rows), end="")
    if options.item is not None:
        for heading, text in account(room.model, room.history, rows[0], now):
            print(f"    {heading}: {text}")
    return 0


def _draft(room: RoomFolder, options: argparse.Namespace, at: datetime) -> Draft:
    from rounds.core.moments import parse_until
    from rounds.core.named import find_named
    from rounds.core.stock import parse_amount
    from rounds.core.stock_records import draft_counted, draft_delivered, draft_ordered

    model = room.model
    stock = find_named(model.stock, options.item, "item of stock", "rounds stock lists them")
    expires = _expires(room, options)
    if options.ordered is not None:
        expected = parse_until(options.expected, model.calendar, room.now(), at) if options.expected else None
        return draft_ordered(stock, options.ordered, at, expected=expected)
    if options.count is not None:
        return draft_counted(model, stock, parse_amount(options.count, stock.unit, stock.name), at, expires=expires)
    amount = parse_amount(options.delivered, stock.unit, stock.name) if options.delivered else None
    return draft_delivered(model, stock, amount, at, expires=expires)


def _expires(room: RoomFolder, options: argparse.Namespace) -> date | None:
    from rounds.core.stock import parse_last_day

    if options.expires is None:
        return None
    if options.ordered is not None:
        raise CannotRead("what is only ordered has no last day yet; give --expires with --delivered")
    return parse_last_day(options.expires)
