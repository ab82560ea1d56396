"""Records of stock: what was counted, came or was ordered; how it stands is in `rounds.core.stock`."""

from __future__ import annotations

import re
from datetime import date, datetime

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Room, Stock
from rounds.core.numbers import AMOUNT, read_number
from rounds.core.record import STOCK, Value
from rounds.core.recording import Draft, clean
from rounds.core.stock import COUNTED, DELIVERED, DELIVERY, EXPECTED, ORDER, ORDERED, amount_text, units_read
from rounds.core.words import day_name, plain, unit_for


def draft_counted(room: Room, stock: Stock, amount: float, at: datetime, *, expires: date | None = None) -> Draft:
    """So much was found on the shelf; `expires`: the last good day of what is there."""
    return _told(room, stock, COUNTED, amount, at, expires=expires)


def draft_delivered(
    room: Room, stock: Stock, amount: float | None, at: datetime, *, expires: date | None = None, note: str = ""
) -> Draft:
    """So much came; without an amount one pack. Raises `Refused` where nobody knows how much that is."""
    amount = stock.pack if amount is None else amount
    if not amount:
        raise Refused(f"say how much {plain(stock.name)} came, such as {amount_text(stock, 7)}")
    draft = _told(room, stock, DELIVERED, amount, at, expires=expires, note=note)
    if expires is None or room.calendar.round_day(at) <= expires:
        return draft
    past = f"{plain(stock.name)} that comes was good until {day_name(expires)} {expires.year}; is it right?"
    return msgspec.structs.replace(draft, questions=(past,))


def draft_ordered(stock: Stock, words: str, at: datetime, *, expected: datetime | None = None) -> Draft:
    """It is ordered, `expected` by a time, else within `EXPECTED`."""
    expected = expected or at + EXPECTED
    if expected <= at:
        raise Refused("it is expected before it was ordered; give a later time")
    return Draft(
        kind=STOCK, at=at, system=stock.system, station=stock.station or None, task=stock.id, note=clean(words),
        words=(ORDERED,), until=expected,
    )  # fmt: skip


def _told(
    room: Room, stock: Stock, what: str, amount: float, at: datetime, *, expires: date | None, note: str = ""
) -> Draft:
    value = Value(reading=stock.id, entered=f"{amount:g} {unit_for(amount, stock.unit)}", value=amount, unit=stock.unit)
    return Draft(
        kind=STOCK, at=at, system=stock.system, station=stock.station or None, task=stock.id, values=(value,),
        words=(what,), note=clean(note), until=room.calendar.start(expires) if expires is not None else None,
    )  # fmt: skip


def draft_answer(room: Room, errand: str, text: str, at: datetime) -> Draft:
    """What a due item of stock was answered with, by its full id: an amount, or words of an order.

    An amount is a delivery where one was to come, else a count.
    """
    id, _, what = errand.rpartition("-")
    stock, typed = room.stock[id], text.strip()
    number = AMOUNT.fullmatch(typed)
    if what == ORDER and number is None:
        return draft_ordered(stock, typed, at)
    if what == DELIVERY and not typed:
        return draft_delivered(room, stock, None, at)
    if number is None:
        left = "how much came" if what == DELIVERY else "how much is left"
        raise Refused(f"say {left}, such as {amount_text(stock, 7)}; a note can follow")
    amount, note = _amount_and_note(stock, number)
    if what in (ORDER, DELIVERY):
        return draft_delivered(room, stock, amount, at, note=note)
    return msgspec.structs.replace(draft_counted(room, stock, amount, at), note=clean(note))


def _amount_and_note(stock: Stock, number: re.Match[str]) -> tuple[float, str]:
    """A number, its unit where that follows, and the rest."""
    rest = number[2]
    for unit in units_read(stock.unit):
        if rest.casefold() == unit or rest.casefold().startswith(f"{unit} "):
            return read_number(number[1]), rest[len(unit) :].strip()
    return read_number(number[1]), rest.strip()


def stock_question(room: Room, errand: str) -> tuple[str, list[str], str]:
    """What a due item of stock is asked with, by its full id: the question, no choices, and a hint."""
    id, _, what = errand.rpartition("-")
    stock = room.stock[id]
    unit, pack = plain(unit_for(7, stock.unit)), amount_text(stock, stock.pack) if stock.pack else ""
    if what == ORDER:
        return "Ordered: from where? (Enter alone: ordered)", [], f"an amount, such as 7 {unit}: it came already"
    if what == DELIVERY:
        return f"How much came ({unit})?" + (f" Enter alone: {pack}" if pack else ""), [], ""
    return f"How much is left ({unit})?", [], ""
