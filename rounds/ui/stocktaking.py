"""Conversations about stock: what is there, what came, what is ordered."""

from __future__ import annotations

from datetime import date, datetime

from rounds.core.model import Stock
from rounds.core.moments import parse_until
from rounds.core.stock import StockLevel, amount_text, parse_amount, parse_last_day
from rounds.core.stock_records import draft_counted, draft_delivered, draft_ordered
from rounds.core.words import plain, unit_for
from rounds.ui.asking import record, write_in
from rounds.ui.screens.room_screen import RoomScreen

_NO_DAY = "no day on it"
_AS_BEFORE = "as it was"
_NOWHERE = "no more to say"
_A_DAY = "2026-12-01, or 2026-12"


async def count(screen: RoomScreen, found: StockLevel) -> None:
    """So much is there now."""
    stock = found.stock
    amount = await _amount(screen, stock, f"How much {plain(stock.name)} is there?", ())
    draft = draft_counted(screen.room.model, stock, amount, screen.room.now())
    await record(screen, plain(stock.name), [draft])


async def take_in(screen: RoomScreen, found: StockLevel) -> None:
    """So much came, and until when it is good."""
    stock = found.stock
    packs = (amount_text(stock, stock.pack),) if stock.pack is not None else ()
    amount = await _amount(screen, stock, f"How much {plain(stock.name)} came?", packs)
    expires = await _last_day(screen, found)
    draft = draft_delivered(screen.room.model, stock, amount, screen.room.now(), expires=expires)
    await record(screen, plain(stock.name), [draft])


async def order(screen: RoomScreen, found: StockLevel) -> None:
    """It is ordered, and should come by a day."""
    room, stock = screen.room, found.stock
    words = await write_in(screen, f"{plain(stock.name)} is ordered: from where?", (_NOWHERE,), "a few words", str)

    def read(text: str) -> datetime:
        return parse_until(text, room.model.calendar, room.now(), room.now())

    choices = ("1 week", "3 days", "2 weeks", "1 month")
    expected = await write_in(screen, "When should it come?", choices, "a day, or 10 days", read)
    draft = draft_ordered(stock, "" if words == _NOWHERE else words, room.now(), expected=expected)
    await record(screen, plain(stock.name), [draft])


async def _amount(screen: RoomScreen, stock: Stock, title: str, choices: tuple[str, ...]) -> float:
    return await write_in(
        screen,
        title,
        choices,
        f"a number of {plain(unit_for(7, stock.unit))}",
        lambda text: parse_amount(text, stock.unit, stock.name),
    )


async def _last_day(screen: RoomScreen, found: StockLevel) -> date | None:
    """The last good day of what came; None: nothing says so, or as it was."""
    none = _AS_BEFORE if found.expires is not None else _NO_DAY

    def read(text: str) -> date | None:
        return None if text == none else parse_last_day(text)

    return await write_in(screen, "Until when is it good?", (none,), _A_DAY, read)
