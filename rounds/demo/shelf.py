"""The demo room's stock, counted, ordered and delivered as the recipe tells; what work draws is the story's."""

from __future__ import annotations

from datetime import datetime, timedelta

import msgspec

from rounds.core.model import Room
from rounds.core.recording import Draft
from rounds.core.stock_records import draft_counted, draft_delivered, draft_ordered
from rounds.demo.recipe import Stocktaking


def draft_stock(room: Room, told: Stocktaking, at: datetime) -> Draft:
    """What was said of stock."""
    stock, calendar = room.stock[told.stock], room.calendar
    until = calendar.round_day(at) + timedelta(days=told.until_days) if told.until_days else None
    if told.what == "ordered":
        return draft_ordered(stock, told.note, at, expected=calendar.start(until) if until else None)
    if told.what == "delivered":
        return draft_delivered(room, stock, told.amount, at, expires=until, note=told.note)
    counted = draft_counted(room, stock, told.amount or 0.0, at, expires=until)
    return msgspec.structs.replace(counted, note=told.note)
