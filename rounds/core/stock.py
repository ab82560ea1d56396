"""Stock: what was counted, what came since and what work has drawn, and so what is left; what to do about it."""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from itertools import islice

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.errors import CannotRead
from rounds.core.history import History
from rounds.core.log import Log
from rounds.core.model import Instrument, Room, Stock, Use
from rounds.core.moments import parse_day
from rounds.core.numbers import AMOUNT, read_number
from rounds.core.record import DONE, READING, REFILL, STOCK, Record
from rounds.core.words import day_name, moment, plain, quoted, unit_for

COUNTED = "counted"
DELIVERED = "delivered"
ORDERED = "ordered"

ORDER = "order"
DELIVERY = "delivery"
DISCARD = "discard"
COUNT = "count"
ERRANDS = (ORDER, DELIVERY, DISCARD, COUNT)
"""What the due items of stock ask for; each is the end of their id."""

EXPIRES = "expires"
"""The end of the id of the due item of an instrument whose last good day comes near."""

LOOK_BACK = 200
"""So many records of a piece of work are added up; a count that lies further back is too old to reckon from."""

SOON = timedelta(days=14)
"""So long before its last good day something is ordered; common practice, no source."""

GRACE = timedelta(days=3)
"""So long what is asked for about stock is fine; common practice, no source."""

EXPECTED = timedelta(days=7)
"""A delivery is looked out for so long after the order where nothing else is said; common practice, no source."""

USE_OVER = timedelta(days=28)
USE_AT_LEAST = timedelta(days=7)
"""The use a day is that of the last 28 days, or of what is known of them, but not of less than a week."""

_WORK = (DONE, READING, REFILL)


class Move(msgspec.Struct, frozen=True):
    """What one record added or drew."""

    record: Record
    change: float
    """In the unit of the stock; below zero: drawn."""
    after: float
    """How much there was then; never below zero, of which nothing can be drawn."""


class StockLevel(msgspec.Struct, frozen=True, kw_only=True):
    """Stock as it stands at one instant."""

    stock: Stock
    counted: Record | None
    """The last count; None: never, or too long ago to reckon from."""
    start: float = 0.0
    """What that count found."""
    moves: tuple[Move, ...] = ()
    """What came and went since, in history order."""
    told: tuple[Record, ...] = ()
    """What was recorded of the stock itself since and with that count, the oldest first."""
    expires: date | None = None
    """The latest of what its table says and what came with deliveries; a count that said one stands before both."""
    ordered: Record | None = None
    """The order that has not come yet."""
    use_per_day: float | None = None
    """None: not known, or nothing draws from it."""

    @property
    def level(self) -> float | None:
        """What is left; None: not known."""
        if self.counted is None:
            return None
        return self.moves[-1].after if self.moves else self.start

    @property
    def short_since(self) -> datetime | None:
        """When it fell below its minimum; None: it has not, or nobody knows."""
        minimum, since = self.stock.minimum, None
        if minimum is None or self.counted is None:
            return None
        for record, level in ((self.counted, self.start), *((move.record, move.after) for move in self.moves)):
            if level >= minimum:
                since = None
            elif since is None:
                since = record.at
        return since

    @property
    def days_left(self) -> float | None:
        """Days until nothing is left, at the use of late."""
        if self.level is None or not self.use_per_day:
            return None
        return self.level / self.use_per_day


class Need(msgspec.Struct, frozen=True, kw_only=True):
    """One thing to do about stock."""

    what: str
    """One of `ERRANDS`."""
    title: str
    since: datetime
    """When what it comes of began or was recorded."""
    due_at: datetime
    fine_until: datetime
    why: str
    """Its arithmetic, in sentences."""


def amount_text(stock: Stock, amount: float) -> str:
    """``7.5 kg``"""
    shown = round(amount, 3)
    return f"{shown:g} {plain(unit_for(shown, stock.unit))}"


def parse_amount(text: str, unit: str, name: str) -> float:
    """An amount such as ``7 kg``, in `unit`; the number alone is in it too. Raises `CannotRead`."""
    found = AMOUNT.fullmatch(text)
    if found is None or found[2].casefold() not in ("", *units_read(unit)):
        many = unit_for(7, unit)
        raise CannotRead(f"{quoted(text)} is no amount of {name}; it is counted in {many}: write for example 7 {many}")
    return read_number(found[1])


def units_read(unit: str) -> set[str]:
    """How a unit may be written after a number, without regard to its case: as it is, and of one and of many."""
    return {each.casefold() for each in (unit, unit_for(1, unit), unit_for(2, unit))}


def parse_last_day(text: str) -> date:
    """A last good day such as ``2026-12-01``; ``2026-12`` is the last of its month. Raises `CannotRead`."""
    typed = text.strip()
    try:
        if re.fullmatch(r"[0-9]{4}-[0-9]{2}", typed):
            first = parse_day(f"{typed}-01")
            return first.replace(day=monthrange(first.year, first.month)[1])
        return parse_day(typed)
    except CannotRead:
        raise CannotRead(f"{quoted(text)} is no day; write for example 2026-12-01, or 2026-12 as on a label") from None


# -- how it stands ---------------------------------------------------------------------------------


def stock_level(
    room: Room, history: History, stock: Stock, now: datetime, *, before: Record | None = None
) -> StockLevel:
    """How it stands at `now`, or just before a record; raises `Incomplete` where too little of the past was kept."""
    own = [record for record in _latest(history.valued(stock.id), now, before) if record.kind == STOCK]
    drawn = [
        (record, use)
        for use in room.uses_of.get(stock.id, ())
        for record in _latest(_work_of(room, history, use), now, before)
        if record.kind in _WORK
    ]
    counted = next((record for record in own if COUNTED in record.words), None)
    told = tuple(record for record in own if counted is None or record.key >= counted.key)[::-1]
    if counted is not None and _lies_further_back(room, history, stock, counted, now):
        counted = None
    return StockLevel(
        stock=stock,
        counted=counted,
        start=_amount(counted) if counted is not None else 0.0,
        moves=tuple(_moves(counted, own, drawn)) if counted is not None else (),
        told=told,
        expires=max(_good_until(room, stock, own), default=None),
        ordered=_on_order(stock, reversed(own)),
        use_per_day=_use_per_day(drawn, now),
    )


def _latest(log: Log, now: datetime, before: Record | None) -> Iterator[Record]:
    """The latest records, as many as are added up."""
    return (record for record in islice(log.latest(now), LOOK_BACK) if before is None or record.key < before.key)


def _work_of(room: Room, history: History, use: Use) -> Log:
    return history.valued(use.by) if use.by in room.readings else history.closings(use.by)


def _lies_further_back(room: Room, history: History, stock: Stock, counted: Record, now: datetime) -> bool:
    """Whether more was done since the count than is added up."""
    for use in room.uses_of.get(stock.id, ()):
        oldest = next(islice(_work_of(room, history, use).latest(now), LOOK_BACK - 1, None), None)
        if oldest is not None and oldest.key > counted.key:
            return True
    return False


def _moves(counted: Record, own: Iterable[Record], drawn: Iterable[tuple[Record, Use]]) -> Iterator[Move]:
    changes = [(record, _amount(record)) for record in own if DELIVERED in record.words]
    changes += [(record, -use.amount) for record, use in drawn]
    level = _amount(counted)
    for record, change in sorted(changes, key=lambda each: each[0].key):
        if record.key > counted.key:
            level = max(0.0, level + change)
            yield Move(record, change, level)


def _amount(record: Record) -> float:
    return next((value.value for value in record.values if value.value is not None), 0.0)


def _good_until(room: Room, stock: Stock, own: Iterable[Record]) -> Iterator[date]:
    """The last good days of what is there, by its records, the latest first; a count says it of all there was then."""
    for record in own:
        if record.until is not None and ORDERED not in record.words:
            yield room.calendar.round_day(record.until)
            if COUNTED in record.words:
                return
    if stock.expires is not None:
        yield stock.expires


def _enough(stock: Stock, record: Record) -> bool:
    """Whether the record answers what was asked: a delivery, or a count that is not below the minimum."""
    if DELIVERED in record.words:
        return True
    return COUNTED in record.words and _amount(record) >= (stock.minimum or 0.0)


def _on_order(stock: Stock, own: Iterable[Record]) -> Record | None:
    """The last order that nothing has answered since, of its records in order."""
    order = None
    for record in own:
        if ORDERED in record.words:
            order = record
        elif _enough(stock, record):
            order = None
    return order


def _use_per_day(drawn: list[tuple[Record, Use]], now: datetime) -> float | None:
    first = min((record.at for record, _ in drawn), default=now)
    begin = max(first, now - USE_OVER)
    if now - begin < USE_AT_LEAST:
        return None
    used = sum(use.amount for record, use in drawn if record.at > begin)
    return used / ((now - begin) / ONE_DAY) or None


# -- what is to be done about it -------------------------------------------------------------------


def needs(room: Room, found: StockLevel, now: datetime) -> list[Need]:
    """What is asked for at `now` or later because of how the stock stands."""
    reasons = [*_short(room, found, now), *_expiring(room, found, now)]
    return [*_to_order(room, found, reasons, now), *_to_discard(room, found, now), *_to_count(room, found, now)]


Reason = tuple[datetime, str]
"""Since when, and why."""


def _short(room: Room, found: StockLevel, now: datetime) -> Iterator[Reason]:
    since, minimum = found.short_since, found.stock.minimum
    if since is not None and minimum is not None:
        wanted = amount_text(found.stock, minimum)
        yield since, f"{reckoning(room, found, now)} The minimum is {wanted}."


def _expiring(room: Room, found: StockLevel, now: datetime) -> Iterator[Reason]:
    if found.expires is None or found.expires < room.calendar.round_day(now):
        return
    since = room.calendar.start(found.expires - SOON)
    if not _answered(found, since):
        yield since, f"It is good until {_day(found.expires)}, and is ordered {SOON.days} days before."


def _to_order(room: Room, found: StockLevel, reasons: list[Reason], now: datetime) -> Iterator[Need]:
    if not reasons:
        return
    name, order = plain(found.stock.name), found.ordered
    why = " ".join(text for _, text in reasons)
    if order is None:
        since = min(since for since, _ in reasons)
        yield _need(room, ORDER, f"Order {name}", since, since, why)
        return
    said = f" ({plain(order.note)})" if order.note else ""
    why = f"{plain(order.by)} ordered it {moment(room.calendar, order.at, now)}{said}. {why}"
    yield _need(room, DELIVERY, f"Take in {name}: it is ordered", order.at, order.until or order.at + EXPECTED, why)


def _to_discard(room: Room, found: StockLevel, now: datetime) -> Iterator[Need]:
    if found.expires is None or found.level == 0.0:
        return
    since = room.calendar.start(found.expires + ONE_DAY)
    if since <= now and not _answered(found, since):
        why = f"It was good until {_day(found.expires)}. Throw away what is past its day, and count what is left."
        yield _need(room, DISCARD, f"Discard {plain(found.stock.name)}: past its day", since, since, why)


def _to_count(room: Room, found: StockLevel, now: datetime) -> Iterator[Need]:
    """What has a minimum and is not known asks every day, and is never late."""
    if found.stock.minimum is not None and found.level is None:
        today = room.calendar.start(room.calendar.round_day(now))
        since = found.told[-1].at if found.told else room.calendar.start(room.began)
        why = "It has a minimum, and was not counted yet, or so long ago that what is left is not known."
        yield _need(room, COUNT, f"Count {plain(found.stock.name)}", since, today, why)


def _answered(found: StockLevel, since: datetime) -> bool:
    return any(record.at >= since and _enough(found.stock, record) for record in found.told)


def _need(room: Room, what: str, title: str, since: datetime, due: datetime, why: str) -> Need:
    fine = max(due + GRACE, room.calendar.end(room.calendar.round_day(due)))
    return Need(what=what, title=title, since=since, due_at=due, fine_until=fine, why=why)


def reckoning(room: Room, found: StockLevel, now: datetime) -> str:
    """``TV counted 30 kg Mon 09:00; 20 kg delivered, 45 kg drawn by 3 times of work since: 5 kg left.``"""
    counted, stock = found.counted, found.stock
    if counted is None or found.level is None:
        return "It was not counted yet, or too long ago to reckon from."
    came = [move.change for move in found.moves if move.change > 0]
    went = [-move.change for move in found.moves if move.change < 0]
    since = [f"{amount_text(stock, sum(came))} delivered"] if came else []
    since += [f"{amount_text(stock, sum(went))} drawn by {len(went)} × work"] if went else []
    changed = f"; since then {', '.join(since)}" if since else ""
    when = moment(room.calendar, counted.at, now)
    start, left = amount_text(stock, found.start), amount_text(stock, found.level)
    return f"{plain(counted.by)} counted {start} {when}{changed}: {left} left."


def kit_need(room: Room, history: History, kit: Instrument, now: datetime) -> Need | None:
    """An instrument that is good until a day is renewed; None where nothing says so, or that was done."""
    if kit.expires is None:
        return None
    due = room.calendar.start(kit.expires - SOON)
    last = history.closings(f"{kit.id}-{EXPIRES}").last(now)
    if last is not None and last.at >= due:
        return None
    batch = f" (batch {plain(kit.batch)})" if kit.batch else ""
    past = kit.expires < room.calendar.round_day(now)
    why = (
        f"It {'was' if past else 'is'} good until {_day(kit.expires)}{batch}; "
        f"a new one is got {SOON.days} days before. "
        "Then give its batch and last day in set-up."
    )
    return Need(
        what=EXPIRES,
        title=f"Renew the {plain(kit.name)}",
        since=due,
        due_at=due,
        fine_until=room.calendar.end(kit.expires),
        why=why,
    )


def _day(day: date) -> str:
    return f"{day_name(day)} {day.year}"
