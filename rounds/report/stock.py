"""Stock as text and as plain values: what is left, what it lasts for, what to do about it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

import msgspec

from rounds.core.account import record_line
from rounds.core.history import History
from rounds.core.model import Room, Task
from rounds.core.stock import DELIVERY, DISCARD, ORDER, Need, StockLevel, amount_text, needs, reckoning, stock_level
from rounds.core.walk import place_name
from rounds.core.words import day_name, moment, plain, plural, unit_for

NOW = "now"
SOON = "soon"
LATER = "later"

_SHAPES = {NOW: "▲", SOON: "○", LATER: "·"}
_HEADINGS = {ORDER: "▲ Order", DELIVERY: "○ Ordered", DISCARD: "▲ Discard"}


class StockRow(msgspec.Struct, frozen=True, kw_only=True):
    """One item of stock as it is listed."""

    found: StockLevel
    needs: tuple[Need, ...]
    """What is asked for now."""
    urgency: str
    """`NOW`: to be ordered, discarded or counted; `SOON`: it is ordered; `LATER`."""
    place: str

    @property
    def id(self) -> str:
        return self.found.stock.id

    @property
    def name(self) -> str:
        return plain(self.found.stock.name)


def stock_rows(room: Room, history: History, now: datetime) -> list[StockRow]:
    """All stock, what asks for something first, then in the order of the files; raises `Incomplete`."""
    history.check(now)
    rows = [_row(room, stock_level(room, history, stock, now), now) for stock in room.stock.values()]
    return sorted(rows, key=lambda row: (NOW, SOON, LATER).index(row.urgency))


def _row(room: Room, found: StockLevel, now: datetime) -> StockRow:
    asked = tuple(need for need in needs(room, found, now) if need.due_at <= now or need.what == DELIVERY)
    urgency = LATER if not asked else SOON if all(need.what == DELIVERY for need in asked) else NOW
    place = place_name(room, found.stock.system, found.stock.station)
    return StockRow(found=found, needs=asked, urgency=urgency, place=place)


def level_text(found: StockLevel) -> str:
    """``46 kg``, ``not counted``"""
    return amount_text(found.stock, found.level) if found.level is not None else "not counted"


def minimum_text(found: StockLevel) -> str:
    """``at least 14 kg``; empty where it may run out."""
    minimum = found.stock.minimum
    return f"at least {amount_text(found.stock, minimum)}" if minimum is not None else ""


def lasts_text(found: StockLevel) -> str:
    """``lasts 12 days``, or that nothing is left; empty where that is not known."""
    if found.level == 0:
        return "nothing is left"
    days = found.days_left
    if days is None:
        return ""
    whole = round(days)
    return f"lasts {plural(whole, 'day')}" if whole else "lasts less than a day"


def expires_text(found: StockLevel) -> str:
    """``good until Fri 20 Mar 2026``"""
    day = found.expires
    return f"good until {day_name(day)} {day.year}" if day is not None else ""


def asked_text(row: StockRow) -> str:
    """``order``, ``order, discard``, ``ordered``; empty where nothing is asked."""
    return ", ".join("ordered" if need.what == DELIVERY else need.what for need in row.needs)


def account(room: Room, history: History, row: StockRow, now: datetime) -> Iterator[tuple[str, str]]:
    """What is known of it, as (heading, text): what to do and why, what is left, and its last records."""
    found, stock = row.found, row.found.stock
    for need in row.needs:
        yield _HEADINGS.get(need.what, "▲ Count"), need.why
    if not any(need.what in (ORDER, DELIVERY) for need in row.needs):
        yield "Left", reckoning(room, found, now)
    pack = f"a pack is {amount_text(stock, stock.pack)}" if stock.pack is not None else ""
    if said := "; ".join(fact for fact in (minimum_text(found), expires_text(found), pack) if fact):
        yield "Kept", f"{said}."
    if found.use_per_day is not None:
        lasts = f"; {said}" if (said := lasts_text(found)) else ""
        used = f"{found.use_per_day:.2g}"
        unit = plain(unit_for(float(used), stock.unit))
        yield "Use", f"{used} {unit} a day over the last four weeks{lasts}."
    for use in room.uses_of.get(stock.id, ()):
        work = room.tasks.get(use.by) or room.readings[use.by]
        title = work.title if isinstance(work, Task) else work.name
        where = place_name(room, work.system, work.station)
        yield "Drawn by", f"{plain(title)} ({where}): {amount_text(stock, use.amount)} each time."
    for record in reversed(found.told):
        yield moment(room.calendar, record.at, now), record_line(room, history, record)


def stock_json(room: Room, row: StockRow) -> dict[str, Any]:
    """As plain values; amounts in `unit`, times RFC 3339 with the room's offset."""
    found, stock, stamp = row.found, row.found.stock, room.calendar.stamp
    return {
        "id": stock.id,
        "system": stock.system,
        "station": stock.station or None,
        "name": stock.name,
        "kind": stock.kind,
        "unit": stock.unit,
        "level": found.level,
        "minimum": stock.minimum,
        "pack": stock.pack,
        "use_per_day": found.use_per_day,
        "days_left": found.days_left,
        "expires": found.expires.isoformat() if found.expires is not None else None,
        "counted_at": stamp(found.counted.at) if found.counted is not None else None,
        "counted_by": found.counted.by if found.counted is not None else None,
        "ordered_at": stamp(found.ordered.at) if found.ordered is not None else None,
        "expected_at": stamp(found.ordered.until) if found.ordered is not None else None,
        "asked": [
            {"what": need.what, "title": need.title, "since": stamp(need.due_at), "why": need.why} for need in row.needs
        ],
    }


def stock_text(rows: Iterable[StockRow]) -> str:
    """A line for each, and below it why something is asked for."""
    lines = []
    for row in rows:
        parts = [level_text(row.found), lasts_text(row.found), minimum_text(row.found)]
        parts.append(expires_text(row.found))
        lines.append(f"{_SHAPES[row.urgency]} {row.id}  {row.name}: {'; '.join(part for part in parts if part)}")
        lines += [f"    {need.title}. {need.why}" for need in row.needs]
    return "".join(f"{line}\n" for line in lines) or "No stock is kept in this room yet: add [[stock]] to a file.\n"
