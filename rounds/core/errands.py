"""What comes due not by a rule but because of what was recorded: looks, putting back, steps of protocols, stock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from typing import NamedTuple

import msgspec

from rounds.core.batches import LOST, Batch, batches, standing
from rounds.core.calendar import INSTANT
from rounds.core.concerns import Concern, concern
from rounds.core.durations import Span
from rounds.core.history import History
from rounds.core.index import thing_of
from rounds.core.isolation import Isolation, isolation, isolations
from rounds.core.model import ROOM, AgainAfter, Called, Instrument, Room, Stock, Task
from rounds.core.off_normal import OffNormal, left_before, off_normal
from rounds.core.protocols import CalledStep, Running, due_again, due_of, of_call
from rounds.core.record import BACK_TO_NORMAL, BATCH_CLOSED, BATCH_MOVED, CONCERN, PROTOCOL, Record, short
from rounds.core.stock import EXPECTED, EXPIRES, SOON, Need, kit_need, needs, stock_level
from rounds.core.words import moment, plain

LOOK_GRACE = timedelta(hours=12)
"""A look at a concern is late after a quarter of the time since the last look, at most so long."""
_SHORTEST = timedelta(minutes=1)
"""A time that is not later than the record that names it is taken as so much later."""


RELEASE_GRACE = timedelta(days=7)
"""How long after its isolation a batch may wait to be moved; common practice, no source."""


class Errand(msgspec.Struct, frozen=True, kw_only=True):
    """One of them, as it stands at one instant."""

    task: Task
    due_at: datetime | None = None
    """None: there is nothing more to do; it was closed in this round day."""
    fine_until: datetime | None = None
    interval: timedelta = timedelta(days=1)
    every: Span | None = None
    """Of a step that is repeated: counted from the last time."""
    left: int = 1
    """How many more times such a step is done, this one included."""
    waits_for: tuple[str, ...] = ()
    """Full ids of such steps that it is planned after: it comes no sooner than one interval after their last time."""
    why: str = ""
    since: datetime
    """When what it comes of was recorded: what was said of its task before has nothing to do with it."""
    closings: tuple[Record, ...] = ()
    """What closed it so far, in history order."""
    was_due: datetime | None = None
    """When what was closed in this round day had been due; None: it was not due, or not closed."""


def errands(room: Room, history: History, now: datetime, begin: datetime) -> list[Errand]:
    """Those open at `now` and those closed since `begin`; raises `Incomplete` where too little was kept.

    A task that several protocols call is one errand, that which comes due first.
    """
    found: dict[str, Errand] = {}
    for each in (
        *_looks(room, history, now, begin),
        *_to_put_back(room, history, now, begin),
        *_called_steps(room, history, now, begin),
        *_to_release(room, history, now, begin),
        *_stock(room, history, now, begin),
        *_kits(room, history, now, begin),
    ):
        other = found.get(each.task.id)
        if other is None or _comes(each) < _comes(other):
            found[each.task.id] = each
    return list(found.values())


def _comes(errand: Errand) -> tuple[bool, datetime]:
    """What is open before what is closed, the earlier first."""
    return errand.due_at is None, errand.due_at or errand.since


def times(room: Room, errand: Errand, first: datetime) -> Iterator[tuple[datetime, datetime]]:
    """When it is due after it was done at `first`, and until when it is fine, each done as soon as it is due.

    A look is asked for again after the same time for as long as its concern is open.
    """
    assert errand.due_at is not None
    assert errand.fine_until is not None
    grace, at, left = errand.fine_until - errand.due_at, first, errand.left
    while errand.task.source == "look" or (errand.every is not None and left > 1):
        at = at.astimezone(UTC) + errand.interval if errand.every is None else due_again(room, errand.every, at)
        left -= 1
        yield at, at + grace


class CameDue(NamedTuple):
    """One time that an errand came due."""

    task: Task
    due_at: datetime
    fine_until: datetime
    closing: Record | None
    """What closed it; None: nothing did by the instant asked about."""


def came_due(room: Room, history: History, begin: datetime, end: datetime, now: datetime) -> Iterator[CameDue]:
    """Every errand that came due from `begin` up to `end`, or was open at `begin`.

    Those that are still open only where they came due by `now`. A task that several protocols call is due once, as
    in `errands`. Raises `Incomplete` where too little was kept.
    """
    seen: set[tuple[str, str | None]] = set()
    found = (
        *_times_of_looks(room, history, now),
        *_times_to_put_back(room, history, begin, now),
        *_times_of_steps(room, history, now),
        *_times_to_release(room, history, begin, now),
        *_times_of_stock(room, history, begin, now),
        *_times_of_kits(room, history, now),
    )
    for each in sorted(found, key=lambda each: each.due_at):
        known = each.due_at <= now if each.closing is None else each.closing.at >= begin
        key = (each.task.id, each.closing.id if each.closing is not None else None)
        if known and each.due_at < end and key not in seen:
            seen.add(key)
            yield each


def place(room: Room, system: str | None, station: str | None) -> tuple[str, str]:
    """Where a record's errand is walked to: its station, else its system as a whole, else the room."""
    for key in ((system or "", station or ""), (system or "", "")):
        if key in room.places:
            return key
    return ROOM, ""


# -- concerns --------------------------------------------------------------------------------------


def look_id(concern: Record) -> str:
    """The full id of the due item of a concern's next look."""
    return f"{concern.system or ROOM}/look-{short(concern.id)}"


def _looks(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
    for record in history.opened(CONCERN, now):
        found = concern(history, record, now)
        looks = tuple(each for each in found.updates if each.at >= begin)
        if found.look_at is None and not looks:
            continue
        yield _look(room, found, looks, now)


def _look(room: Room, about: Concern, today: tuple[Record, ...], now: datetime) -> Errand:
    record, last = about.record, about.last
    system, station = place(room, record.system, record.station)
    before = [each for each in (record, *about.updates) if today and each.key < today[0].key]
    interval = _look_interval(last) if last.until is not None else timedelta(days=1)
    seen = f" Last seen by {plain(last.by)} {moment(room.calendar, last.at, now)}." if about.updates else ""
    return Errand(
        task=Task(
            id=look_id(record),
            system=system,
            station=station,
            title=f"Look again: {record.note}",
            source="look",
            rule=Called(),
            look_for=about.look_for,
            ref=record.id,
        ),
        due_at=about.look_at,
        fine_until=about.look_at + _look_grace(last) if about.look_at is not None else None,
        interval=interval,
        why=f"A concern that {plain(record.by)} opened {moment(room.calendar, record.at, now)}.{seen}",
        since=record.at,
        closings=about.updates,
        was_due=before[-1].until if before else None,
    )


def _look_interval(last: Record) -> timedelta:
    """From what was said last to the time at which it is looked at again, elapsed."""
    assert last.until is not None
    return max(last.until.astimezone(UTC) - last.at.astimezone(UTC), _SHORTEST)


def _look_grace(last: Record) -> timedelta:
    return min(_look_interval(last) / 4, LOOK_GRACE)


def _times_of_looks(room: Room, history: History, now: datetime) -> Iterator[CameDue]:
    for record in history.opened(CONCERN, now):
        found = concern(history, record, now)
        task = _look(room, found, (), now).task
        for said, following in pairwise([record, *found.updates, None]):
            assert said is not None
            if said.until is not None and (following is not None or found.closed is None):
                yield CameDue(task, said.until, said.until + _look_grace(said), following)


# -- off normal ------------------------------------------------------------------------------------


def put_back_id(thing: str, first: Record) -> str:
    """The full id of the due item of putting a thing back."""
    if "/" in thing:
        return f"{thing}-put-back"
    return f"{first.system or ROOM}/put-back-{short(thing)}"


def _to_put_back(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
    standing = off_normal(room, history, now)
    for each in standing:
        yield _put_back(room, each, now)
    things = {each.thing for each in standing}
    back = {thing_of(record): record for record in history.since(begin, now) if record.kind == BACK_TO_NORMAL}
    for thing, record in back.items():
        if thing not in things and (was := left_before(room, history, record)) is not None:
            yield _put_back(room, was, now, record)


def _put_back(room: Room, left: OffNormal, now: datetime, back: Record | None = None) -> Errand:
    first = left.first
    system, station = place(room, first.system, first.station)
    by = plain(left.last.by)
    return Errand(
        task=Task(
            id=put_back_id(left.thing, first),
            system=system,
            station=station,
            title=f"Put back: {left.name} ({left.state})",
            source="put back",
            rule=Called(),
            importance="life support",
            look_for=left.reason,
            ref=left.last.id,
        ),
        due_at=left.until if back is None else None,
        fine_until=left.until if back is None else None,
        interval=max(left.until - left.last.at, _SHORTEST),
        why=f"{by} left it {left.state} {moment(room.calendar, left.since, now)}: {plain(left.reason)}.",
        since=left.since,
        closings=() if back is None else (back,),
        was_due=None if back is None else left.until,
    )


def _times_to_put_back(room: Room, history: History, begin: datetime, now: datetime) -> Iterator[CameDue]:
    for left in off_normal(room, history, now):
        yield CameDue(_put_back(room, left, now).task, left.until, left.until, None)
    for record in history.since(begin, now):
        if record.kind == BACK_TO_NORMAL and (was := left_before(room, history, record)) is not None:
            yield CameDue(_put_back(room, was, now, record).task, was.until, was.until, record)


# -- protocols -------------------------------------------------------------------------------------


def _called_steps(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
    for call in history.opened(PROTOCOL, now):
        ended = history.ended(call.id, now)
        if ended is not None and ended.at < begin:
            continue
        found = of_call(room, history, call, now)
        for step in found.steps:
            today = bool(step.closings) and step.closings[-1].at >= begin
            if (step.due_at is not None and ended is None) or today:
                yield _step(room, found, step, now, begin, ended=ended is not None)


def _step(room: Room, under: Running, called: CalledStep, now: datetime, begin: datetime, *, ended: bool) -> Errand:
    call, step = under.call, called.step
    before = tuple(each for each in called.closings if each.at < begin)
    due = called.due_at if not ended else None
    times = f", {len(called.closings)} of {step.times} times done" if step.times > 1 else ""
    about = f" for {plain(call.note)}" if call.note else ""
    return Errand(
        task=called.declared or _step_task(room, under, called),
        due_at=due,
        fine_until=due + step.grace if due is not None else None,
        interval=step.every.nominal if step.every is not None else max(step.after, timedelta(hours=1)),
        every=step.every,
        left=step.times - len(called.closings),
        waits_for=called.waits_for,
        why=(
            f"{plain(under.name)}{about}, called by {plain(call.by)} {moment(room.calendar, call.at, now)}: "
            f"{under.done} of {len(under.steps)} steps done{times}."
        ),
        since=call.at,
        closings=called.closings,
        was_due=due_of(room, step, call, before, called.not_before) if len(before) < len(called.closings) else None,
    )


def _step_task(room: Room, under: Running, called: CalledStep) -> Task:
    call, step = under.call, called.step
    stations = (step.station, call.station or "")
    known = [station for station in stations if (call.system or "", station) in room.places and station]
    system, station = place(room, call.system, known[0] if known else "")
    takes = [id if "/" in id else f"{call.system}/{id}" for id in step.takes]
    return Task(
        id=called.task,
        system=system,
        station=station,
        title=step.title,
        source="step",
        rule=AgainAfter(step.every) if step.every is not None else Called(),
        importance=step.importance,
        minutes=step.minutes,
        takes=tuple(id for id in takes if id in room.readings),
        steps=step.steps,
        look_for=step.look_for,
        caution=step.caution,
        basis=under.protocol.basis if under.protocol is not None else "",
        ref=call.id,
    )


def _times_of_steps(room: Room, history: History, now: datetime) -> Iterator[CameDue]:
    """A protocol that was ended asks for no more of its steps."""
    for call in history.opened(PROTOCOL, now):
        found = of_call(room, history, call, now)
        for called in found.steps:
            task, step = called.declared or _step_task(room, found, called), called.step
            closings: list[Record | None] = [*called.closings]
            if history.ended(call.id, now) is None:
                closings.append(None)
            for number, closing in enumerate(closings):
                due = due_of(room, step, call, called.closings[:number], called.not_before)
                if due is not None:
                    yield CameDue(task, due, due + step.grace, closing)


# -- isolation -------------------------------------------------------------------------------------


def release_id(batch: Batch) -> str:
    """The full id of the due item of moving a batch out of its isolation."""
    return f"{batch.place[0]}/release-{short(batch.id)}"


def _to_release(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
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


def _times_to_release(room: Room, history: History, begin: datetime, now: datetime) -> Iterator[CameDue]:
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


def _stock(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
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


def _times_of_stock(room: Room, history: History, begin: datetime, now: datetime) -> Iterator[CameDue]:
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


def _kits(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
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


def _times_of_kits(room: Room, history: History, now: datetime) -> Iterator[CameDue]:
    """By the last day in its table: that of the kit before is no longer known once it is written anew."""
    for kit in room.instruments.values():
        if kit.expires is not None:
            due = room.calendar.start(kit.expires - SOON)
            renewed = next(iter(history.closings(f"{kit.id}-{EXPIRES}").through(due, now)), None)
            yield CameDue(_kit_task(room, kit), due, room.calendar.end(kit.expires), renewed)
