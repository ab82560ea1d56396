"""What comes due of what is kept: batches in isolation, stock that is short, kits past their day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from rounds.core.batches import LOST, Batch, batches, standing
from rounds.core.calendar import INSTANT
from rounds.core.errand import CameDue, Errand, place
from rounds.core.history import History
from rounds.core.isolation import Isolation, isolation, isolations
from rounds.core.model import Called, Instrument, Room, Stock, Task
from rounds.core.record import BATCH_CLOSED, BATCH_MOVED, Record, short
from rounds.core.stock import EXPECTED, EXPIRES, SOON, Need, kit_need, needs, stock_level
from rounds.core.words import moment, plain

RELEASE_GRACE = timedelta(days=7)
"""How long after its isolation a batch may wait to be moved; common practice, no source."""


# -- isolation -------------------------------------------------------------------------------------


def release_id(batch: Batch) -> str:
    """The full id of the due item of moving a batch out of its isolation."""
    return f"{batch.place[0]}/release-{short(batch.id)}"


def to_release(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
    for system in room.systems:
        for clock in isolations(room, history, system, now):
            for batch in standing(history, now, (system.id, "")):
                if clock.water.holds(batch.place[1]):
                    yield from _release(room, history, batch, clock, now, begin)


def _release(
    room: Room, history: History, batch: Batch, clock: Isolation, now: datetime, begin: datetime
) -> Iterator[Errand]:
    due = room.calendar.start(clock.free_on)
    id = release_id(batch)
    closings = tuple(history.closings(id).through(clock.since.at, now))
    if closings and closings[-1].at < begin:
        return
    began = moment(room.calendar, clock.since.at, now)
    yield Errand(
        task=_release_task(room, batch),
        due_at=due if not closings else None,
        fine_until=due + RELEASE_GRACE if not closings else None,
        interval=timedelta(days=clock.days),
        since=clock.since.at,
        why=f"{clock.days} days after the last {'find' if clock.find else 'arrival'} in this water, {began}.",
        closings=closings,
        was_due=due if closings else None,
    )


def _release_task(room: Room, batch: Batch) -> Task:
    system, station = place(room, *batch.place)
    return Task(
        id=release_id(batch),
        system=system,
        station=station,
        title=f"Isolation is over: move {batch.count} {batch.what} to their place",
        source="release",
        rule=Called(),
        look_for="no pests, no spots, no bites at the last look; the place meets its light and flow",
        ref=batch.id,
    )


def times_to_release(room: Room, history: History, begin: datetime, now: datetime) -> Iterator[CameDue]:
    """Of what stands in isolation, and of what was moved out of it; what died or left sooner did not come due."""
    for batch in standing(history, now):
        yield from _time_to_release(room, history, batch, now)
    for record in history.batches(now):
        left = _left_by(room, history, record) if record.at >= begin else None
        if left is not None:
            for each in _time_to_release(room, history, left, record.at - INSTANT):
                if each.due_at <= record.at:
                    yield each if each.closing is not None else each._replace(closing=record)


def _left_by(room: Room, history: History, record: Record) -> Batch | None:
    """The batch that a record took out of the water of its isolation, as it was; None: none, or by death."""
    if record.kind not in (BATCH_MOVED, BATCH_CLOSED) or any(word in LOST for word in record.words):
        return None
    before = record.at - INSTANT
    batch = batches(history, before).get(record.ref or "")
    clock = isolation(room, history, batch.place, before) if batch is not None and batch.ended is None else None
    if batch is None or clock is None:
        return None
    after = batches(history, record.at)[batch.id]
    stays = after.ended is None and after.place[0] == clock.water.system and clock.water.holds(after.place[1])
    return None if stays else batch


def _time_to_release(room: Room, history: History, batch: Batch, now: datetime) -> Iterator[CameDue]:
    clock = isolation(room, history, batch.place, now)
    if clock is not None:
        due = room.calendar.start(clock.free_on)
        said = next(iter(history.closings(release_id(batch)).through(clock.since.at, now)), None)
        yield CameDue(_release_task(room, batch), due, due + RELEASE_GRACE, said)


# -- stock -----------------------------------------------------------------------------------------


def stock_errands(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
    for stock in room.stock.values():
        standing = {need.what: need for need in needs(room, stock_level(room, history, stock, now), now)}
        met = {need.what: (need, record) for need, record in _met(room, history, stock, now, begin)}
        for what in dict.fromkeys((*met, *standing)):
            need, closing = standing.get(what), met.get(what)
            told = need or closing[0] if closing is not None else need
            assert told is not None
            yield Errand(
                task=_stock_task(stock, told),
                due_at=need.due_at if need is not None else None,
                fine_until=need.fine_until if need is not None else None,
                interval=EXPECTED,
                why=told.why,
                since=told.since,
                closings=(closing[1],) if closing is not None else (),
                was_due=closing[0].due_at if closing is not None else None,
            )


def _met(room: Room, history: History, stock: Stock, now: datetime, begin: datetime) -> Iterator[tuple[Need, Record]]:
    """What was asked for and is no more since a record from `begin` on, with that record."""
    for record in history.valued(stock.id).through(begin, now):
        before = needs(room, stock_level(room, history, stock, record.at, before=record), record.at)
        after = {need.what for need in needs(room, stock_level(room, history, stock, record.at), record.at)}
        yield from ((need, record) for need in before if need.what not in after)


def times_of_stock(room: Room, history: History, begin: datetime, now: datetime) -> Iterator[CameDue]:
    for stock in room.stock.values():
        asked: list[tuple[Need, Record | None]] = [*_met(room, history, stock, now, begin)]
        asked += ((need, None) for need in needs(room, stock_level(room, history, stock, now), now))
        for need, closing in asked:
            yield CameDue(_stock_task(stock, need), need.due_at, need.fine_until, closing)


def _stock_task(stock: Stock, need: Need) -> Task:
    return Task(
        id=f"{stock.id}-{need.what}", system=stock.system, station=stock.station, title=need.title, source="stock",
        rule=Called(),
    )  # fmt: skip


def kit_errands(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
    """Instruments whose last good day comes near."""
    for kit in room.instruments.values():
        if kit.expires is None:
            continue
        need = kit_need(room, history, kit, now)
        due = room.calendar.start(kit.expires - SOON)
        id = f"{kit.id}-{EXPIRES}"
        today = tuple(history.closings(id).through(begin, now))
        if need is None and not today:
            continue
        yield Errand(
            task=_kit_task(room, kit),
            due_at=need.due_at if need is not None else None,
            fine_until=need.fine_until if need is not None else None,
            why=need.why if need is not None else "",
            since=due,
            closings=today,
            was_due=due,
        )


def _kit_task(room: Room, kit: Instrument) -> Task:
    system, station = place(room, kit.system, "")
    title = f"Renew the {plain(kit.name)}"
    return Task(id=f"{kit.id}-{EXPIRES}", system=system, station=station, title=title, rule=Called())


def times_of_kits(room: Room, history: History, now: datetime) -> Iterator[CameDue]:
    """By the last day in its table: that of the kit before is no longer known once it is written anew."""
    for kit in room.instruments.values():
        if kit.expires is not None:
            due = room.calendar.start(kit.expires - SOON)
            renewed = next(iter(history.closings(f"{kit.id}-{EXPIRES}").through(due, now)), None)
            yield CameDue(_kit_task(room, kit), due, room.calendar.end(kit.expires), renewed)
