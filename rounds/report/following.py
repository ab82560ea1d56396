"""Concerns, what is off normal, and protocols under way, as JSON and as text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from rounds.core.concerns import Concern
from rounds.core.model import Equipment, Protocol, Room
from rounds.core.off_normal import OffNormal, put_back_order, together_with
from rounds.core.protocols import CalledStep, Running
from rounds.core.record import short
from rounds.core.shifts import Cover
from rounds.core.walk import place_name
from rounds.core.words import length, moment, plain


def concern_json(room: Room, concern: Concern, now: datetime) -> dict[str, Any]:
    """A concern as plain values; times are RFC 3339 with the room's offset."""
    stamp = room.calendar.stamp
    record = concern.record
    return {
        "id": concern.id,
        "system": record.system,
        "station": record.station,
        "text": record.note,
        "words": list(record.words),
        "opened_at": stamp(record.at),
        "opened_by": record.by,
        "age": int(concern.age(now).total_seconds()),
        "look_for": concern.look_for or None,
        "look_again_at": stamp(concern.look_at),
        "last_look_at": stamp(concern.last.at),
        "last_look_by": concern.last.by,
        "updates": [
            {"at": stamp(each.at), "by": each.by, "kind": each.kind, "text": each.note or each.reason, "id": each.id}
            for each in concern.updates
        ],
        "closed_at": stamp(concern.closed.at) if concern.closed is not None else None,
        "closed_by": concern.closed.by if concern.closed is not None else None,
    }


def concern_lines(room: Room, concern: Concern, now: datetime) -> Iterator[str]:
    """What it is, how old, who looked last, when to look again, and its last words."""
    record, last = concern.record, concern.last
    yield f"{place_name(room, record.system, record.station)}: {plain(record.note)}"
    opened = f"open {length(concern.age(now))}, since {moment(room.calendar, record.at, now)} by {plain(record.by)}"
    if concern.look_at is not None:
        when = moment(room.calendar, concern.look_at, now)
        opened += f"; look again {'was due ' if concern.look_at <= now else ''}{when}"
    yield opened
    if concern.look_for:
        yield f"look for: {plain(concern.look_for)}"
    if concern.updates:
        yield f"last {moment(room.calendar, last.at, now)} {plain(last.by)}: {plain(last.note or last.reason)}"


def concerns_text(room: Room, concerns: Iterable[Concern], now: datetime) -> str:
    """Every open concern, the oldest first, each with the end of its id."""
    return _listed(
        (f"{short(each.id)}  {first}", rest)
        for each in concerns
        for first, *rest in (tuple(concern_lines(room, each, now)),)
    ) or "No concern is open.\n"  # fmt: skip


def off_normal_json(room: Room, left: OffNormal, now: datetime) -> dict[str, Any]:
    """Something off normal as plain values."""
    stamp = room.calendar.stamp
    return {
        "id": left.first.id,
        "equipment": left.thing if "/" in left.thing else None,
        "name": left.name,
        "system": left.first.system,
        "station": left.first.station,
        "state": left.state,
        "since": stamp(left.since),
        "until": stamp(left.until),
        "by": left.last.by,
        "reason": left.reason,
        "seconds_left": int(left.left(now).total_seconds()),
        "passed": left.passed(now),
    }


def off_normal_line(room: Room, left: OffNormal, now: datetime) -> str:
    """``Quarantine bay, filter: UV off since Mon 18:10 (TV: treatment); put back by tomorrow 18:00, in 1 day``"""
    calendar = room.calendar
    where = place_name(room, left.first.system, left.first.station)
    since = f"since {moment(calendar, left.since, now)} ({plain(left.last.by)}: {plain(left.reason)})"
    when = f"{length(-left.left(now))} past its time" if left.passed(now) else f"in {length(left.left(now))}"
    by = f"put back by {moment(calendar, left.until, now)}, {when}"
    return f"{where}: {plain(left.name)} {left.state} {since}; {by}"


def off_normal_text(room: Room, left: Iterable[OffNormal], now: datetime) -> str:
    """Everything off normal, what has to be put back first first."""
    return "".join(f"{off_normal_line(room, each, now)}\n" for each in left) or "Nothing is off normal.\n"


def stops_text(room: Room, equipment: Equipment) -> list[str]:
    """What must stop with a piece of equipment, and in which order they are put back; nothing where it stands alone."""
    together = together_with(room, equipment)
    if not together:
        return []
    order = ", then ".join(plain(each.name) for each in put_back_order(room, equipment))
    return [f"Stop with it: {', '.join(plain(each.name) for each in together)}.", f"Put back in this order: {order}."]


def protocol_json(room: Room, under: Running) -> dict[str, Any]:
    """A protocol under way, step by step."""
    stamp = room.calendar.stamp
    return {
        "id": under.call.id,
        "protocol": under.call.task,
        "name": under.name,
        "system": under.call.system,
        "station": under.call.station,
        "about": under.call.note or None,
        "called_at": stamp(under.call.at),
        "called_by": under.call.by,
        "done": under.done,
        "steps": [
            {
                "task": step.task,
                "title": step.title,
                "due_at": stamp(step.due_at),
                "times": step.step.times,
                "times_done": len(step.closings),
                "done_at": stamp(step.closings[-1].at) if step.closings else None,
                "done_by": step.closings[-1].by if step.closings else None,
            }
            for step in under.steps
        ],
    }


def protocol_line(room: Room, under: Running, now: datetime) -> str:
    """``Nursery raceway: Power return, called 08:10 by TV; 3 of 10 steps done; next: Heater on, due 08:10``"""
    where = place_name(room, under.call.system, under.call.station)
    about = f" for {plain(under.call.note)}" if under.call.note else ""
    called = f"called {moment(room.calendar, under.call.at, now)} by {plain(under.call.by)}"
    if under.protocol is None:
        return f"{where}: {plain(under.name)}{about}, {called}; its steps are no longer in the room's files: stop it"
    progress = f"{under.done} of {len(under.steps)} steps done"
    return f"{where}: {plain(under.name)}{about}, {called}; {progress}{_next(room, under.next, now)}"


def _next(room: Room, step: CalledStep | None, now: datetime) -> str:
    if step is None or step.due_at is None:
        return ""
    times = f" ({len(step.closings)} of {step.step.times} times done)" if step.step.times > 1 else ""
    return f"; next: {plain(step.title)}{times}, due {moment(room.calendar, step.due_at, now)}"


def protocols_text(room: Room, under_way: Sequence[Running], now: datetime) -> str:
    """The protocols under way, and those that can be called."""
    running = [f"{short(each.call.id)}  {protocol_line(room, each, now)}" for each in under_way]
    known = [f"  {_called_by(each)}: {plain(each.name)}, for a {each.place}" for each in room.protocols]
    return "\n".join([*(running or ["No protocol is under way."]), "", "They can be called:", *known]) + "\n"


def _called_by(protocol: Protocol) -> str:
    return protocol.id.removeprefix("room/")


def cover_json(room: Room, cover: Cover) -> dict[str, Any]:
    """Who covers whom, from when to when."""
    return {
        "id": cover.record.id,
        "absent": cover.absent,
        "covering": cover.covering,
        "from": room.calendar.stamp(cover.since),
        "until": room.calendar.stamp(cover.until),
        "reason": cover.record.reason or None,
        "by": cover.record.by,
    }


def covers_text(room: Room, covers: Iterable[Cover], now: datetime) -> str:
    """Who covers whom now and later, each with its id: striking it ends it."""
    return _listed(
        (_cover_line(room, each, now), (f"id {each.record.id}",)) for each in covers
    ) or "Nobody is covered for.\n"  # fmt: skip


def _cover_line(room: Room, cover: Cover, now: datetime) -> str:
    since = f" from {moment(room.calendar, cover.since, now)}" if cover.since > now else ""
    why = f": {plain(cover.record.reason)}" if cover.record.reason else ""
    until = moment(room.calendar, cover.until, now)
    return f"{plain(cover.covering)} covers {plain(cover.absent)}{since} until {until}{why}"


def _listed(entries: Iterable[tuple[str, Sequence[str]]]) -> str:
    return "".join(
        "".join(f"{line}\n" for line in (first, *(f"    {each}" for each in rest))) for first, rest in entries
    )
