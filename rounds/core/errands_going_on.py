"""What comes due of what goes on: looks at concerns, putting back what is off normal, steps of protocols."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from rounds.core.concerns import Concern, concern
from rounds.core.errand import CameDue, Errand, place
from rounds.core.history import History
from rounds.core.index import thing_of
from rounds.core.model import ROOM, AgainAfter, Called, Room, Task
from rounds.core.off_normal import OffNormal, left_before, off_normal
from rounds.core.protocols import CalledStep, Running, due_of, of_call
from rounds.core.record import BACK_TO_NORMAL, CONCERN, PROTOCOL, Record, short
from rounds.core.words import moment, plain

LOOK_GRACE = timedelta(hours=12)
"""A look at a concern is late after a quarter of the time since the last look, at most so long."""
_SHORTEST = timedelta(minutes=1)
"""A time that is not later than the record that names it is taken as so much later."""


# -- concerns --------------------------------------------------------------------------------------


def look_id(concern: Record) -> str:
    """The full id of the due item of a concern's next look."""
    return f"{concern.system or ROOM}/look-{short(concern.id)}"


def looks(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
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


def times_of_looks(room: Room, history: History, now: datetime) -> Iterator[CameDue]:
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


def to_put_back(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
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


def times_to_put_back(room: Room, history: History, begin: datetime, now: datetime) -> Iterator[CameDue]:
    for left in off_normal(room, history, now):
        yield CameDue(_put_back(room, left, now).task, left.until, left.until, None)
    for record in history.since(begin, now):
        if record.kind == BACK_TO_NORMAL and (was := left_before(room, history, record)) is not None:
            yield CameDue(_put_back(room, was, now, record).task, was.until, was.until, record)


# -- protocols -------------------------------------------------------------------------------------


def called_steps(room: Room, history: History, now: datetime, begin: datetime) -> Iterator[Errand]:
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


def times_of_steps(room: Room, history: History, now: datetime) -> Iterator[CameDue]:
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
