"""The demo room's stock: counted, ordered and delivered as the recipe tells; what work draws is the story's."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from random import Random

import msgspec

from rounds.core.model import Room
from rounds.core.record import STOCK, Record, Value
from rounds.demo.keepers import Keepers
from rounds.demo.recipe import Recipe, Stocktaking
from rounds.demo.water import Clock
from rounds.demo.writing import Writer


def tell_stock(room: Room, recipe: Recipe, opened: date) -> Iterator[Record]:
    """Its records; `opened` is the round day of the opening. They take nothing from the chances of the story."""
    rng = Random(f"coral rounds, demo shelf, {opened.isoformat()}")
    clock = Clock(room.calendar, opened)
    keepers, writer = Keepers(room, recipe, clock, rng), Writer(room, recipe, clock, rng)
    for told in recipe.stock:
        yield _record(room, clock, keepers, writer, told)


def _record(room: Room, clock: Clock, keepers: Keepers, writer: Writer, told: Stocktaking) -> Record:
    stock, at = room.stock[told.stock], clock.at(told.day, told.at)
    until = room.calendar.start(clock.day(told.day + told.until_days)) if told.until_days else None
    record = writer.plain(
        STOCK, at, keepers.who(told.day, told.by), system=stock.system, station=stock.station, task=stock.id,
        note=told.note, until=until, device="bench",
    )  # fmt: skip
    values: tuple[Value, ...] = ()
    if told.amount is not None:
        entered = f"{told.amount:g} {stock.unit}"
        values = (Value(reading=stock.id, entered=entered, value=told.amount, unit=stock.unit),)
    return msgspec.structs.replace(record, words=(told.what,), values=values)
