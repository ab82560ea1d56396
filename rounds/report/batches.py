"""Batches, and how long they stay apart, as JSON and as text."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

import msgspec

from rounds.core.account import record_line
from rounds.core.batches import FISH, Batch, Place, conditions, standing
from rounds.core.history import History
from rounds.core.isolation import Isolation, isolation, isolations
from rounds.core.model import Room
from rounds.core.record import Record, short
from rounds.core.walk import place_name
from rounds.core.words import day_name, length, moment, plain, plural

NAMED = 3
"""So many batches of a station are named in one line."""


def batch_json(room: Room, batch: Batch, clock: Isolation | None, now: datetime) -> dict[str, Any]:
    """A batch as plain values; times are RFC 3339 with the room's offset, spans seconds, sizes mm."""
    stamp = room.calendar.stamp
    return {
        "id": batch.id,
        "what": batch.what,
        "count": batch.count,
        "system": batch.place[0],
        "station": batch.place[1] or None,
        "opened_at": stamp(batch.record.at),
        "opened_by": batch.record.by,
        "from": batch.record.reason or None,
        "split_from": batch.record.ref,
        "needs": list(needs(batch)),
        "age": int(batch.age(now).total_seconds()),
        "began_with": batch.began,
        "joined": batch.joined,
        "parted": batch.parted,
        "gone": batch.gone,
        "uncounted": batch.uncounted,
        "short": batch.short,
        "survival": batch.survival,
        "sizes": [{"at": stamp(at), "mm": size} for at, size in batch.sizes],
        "growth": batch.growth,
        "stays": [
            {"system": stay.place[0], "station": stay.place[1] or None, "since": stamp(stay.since),
             "until": stamp(stay.until)}
            for stay in batch.stays
        ],
        "isolation": isolation_json(room, clock, now) if clock is not None else None,
        "closed_at": stamp(batch.ended.at) if batch.ended is not None else None,
    }  # fmt: skip


def isolation_json(room: Room, clock: Isolation, now: datetime) -> dict[str, Any]:
    """The isolation of a water as plain values."""
    return {
        "system": clock.water.system,
        "tank": clock.water.tank,
        "since": room.calendar.stamp(clock.since.at),
        "because": "find" if clock.find else "arrival",
        "days": clock.days,
        "fish": clock.fish,
        "free_on": clock.free_on.isoformat(),
        "days_left": clock.left(room.calendar.round_day(now)),
    }


def isolation_text(room: Room, clock: Isolation, now: datetime) -> str:
    """``in isolation until Sun 29 Nov, 4 more days (45 days from the last find, Wed 15 Oct 18:05)``"""
    today = room.calendar.round_day(now)
    days = clock.left(today)
    fish = ", for fish were in it" if clock.fish else ""
    began = f"the last {'find' if clock.find else 'arrival'}, {moment(room.calendar, clock.since.at, now)}"
    state = f"until {day_name(clock.free_on, today)}, {plural(days, 'more day')}" if days else "over"
    return f"isolation {state} ({clock.days} days{fish}, from {began})"


def batch_title(batch: Batch) -> str:
    """``24 Acropora frags``"""
    return f"{batch.count} {plain(batch.what)}"


def needs(batch: Batch) -> tuple[str, ...]:
    """Which light and flow it needs, and whether there are fish in it."""
    words = (word for word in batch.record.words if word.endswith((" light", " flow")))
    return (*words, *((FISH,) if batch.fish else ()))


def how_it_fares(batch: Batch) -> str:
    """``96% survival; 1 died; 31 to 36 mm; +4.0 mm in 30 days``, as far as it is known."""
    parts = []
    if batch.survival is not None and batch.survival < 1:
        parts.append(f"{batch.survival:.0%} survival")
    parts += [f"{many} {way}" for way, many in batch.gone.items() if many]
    if batch.uncounted:
        fewer = "fewer" if batch.uncounted > 0 else "more"
        parts.append(f"{abs(batch.uncounted)} {fewer} counted than there should be")
    if batch.short:
        parts.append(f"{batch.short} more were said to be split off than there were: count it")
    if batch.sizes:
        first, last = batch.sizes[0][1], batch.sizes[-1][1]
        parts.append(f"{last:g} mm" if batch.growth is None else f"{first:g} to {last:g} mm")
    if batch.growth is not None:
        parts.append(f"{batch.growth:+.1f} mm in 30 days")
    return "; ".join(parts)


def batch_lines(room: Room, batch: Batch, now: datetime) -> Iterator[str]:
    """Count and what it is, where and since when, and how it fares."""
    yield f"{batch_title(batch)}, {place_name(room, *batch.place)}"
    came = "split off" if batch.record.ref is not None else "here"
    source = f" ({plain(batch.record.reason)})" if batch.record.reason else ""
    wants = f"; {', '.join(plain(each) for each in needs(batch))}" if needs(batch) else ""
    since = moment(room.calendar, batch.record.at, now)
    yield f"{came} {length(batch.age(now))}, since {since} by {plain(batch.record.by)}{source}{wants}"
    if fares := how_it_fares(batch):
        yield fares


def batches_text(room: Room, history: History, now: datetime) -> str:
    """What stands in the room, system by system in walking order, and how long it stays apart."""
    found = sorted(standing(history, now), key=lambda batch: room.places.get(batch.place, len(room.places)))
    lines = []
    for system in dict.fromkeys(batch.place[0] for batch in found):
        for clock in isolations(room, history, room.system[system], now) if system in room.system else ():
            lines.append(f"{plain(clock.water.name)}: {isolation_text(room, clock, now)}")
        for batch in found:
            if batch.place[0] == system:
                first, *rest = batch_lines(room, batch, now)
                lines += [f"{short(batch.id)}  {first}", *(f"    {each}" for each in rest)]
    return "".join(f"{line}\n" for line in lines) or "Nothing stands here yet: rounds batch STATION COUNT WHAT.\n"


def stands_here(batches: Sequence[Batch]) -> str:
    """What stands at a station, in one line: ``24 Acropora frags, 14 zoanthids and 2 more``"""
    named = ", ".join(batch_title(batch) for batch in batches[:NAMED])
    return f"{named} and {len(batches) - NAMED} more" if len(batches) > NAMED else named


class Row(msgspec.Struct, frozen=True, kw_only=True):
    """One batch in a list."""

    batch: Batch
    clock: Isolation | None
    """The isolation of the water it stands in."""
    place: str
    state: str
    """``isolation 4 more days``, ``96% survival``"""
    urgent: bool
    """Whether it has to be counted, or may be moved out of its isolation."""


def rows(room: Room, history: History, now: datetime, place: Place | None) -> list[Row]:
    """What stands at a place, or in the room, in walking order and the oldest first.

    Raises `Incomplete` where not enough of the history was kept.
    """
    found = standing(history, now, place)
    clocks = {place: isolation(room, history, place, now) for place in {batch.place for batch in found}}
    ordered = sorted(found, key=lambda batch: room.places.get(batch.place, len(room.places)))
    return [_row(room, batch, clocks[batch.place], now) for batch in ordered]


def _row(room: Room, batch: Batch, clock: Isolation | None, now: datetime) -> Row:
    days = clock.left(room.calendar.round_day(now)) if clock is not None else None
    apart = "" if days is None else f"isolation {plural(days, 'more day')}" if days else "isolation is over"
    share = f"{batch.survival:.0%} survival" if batch.survival is not None and batch.survival < 1 else ""
    parts = ["count it" if batch.short else "", apart, share or f"here {length(batch.age(now))}"]
    return Row(
        batch=batch,
        clock=clock,
        place=place_name(room, *batch.place),
        state=", ".join(part for part in parts if part),
        urgent=bool(batch.short) or days == 0,
    )


def account(room: Room, history: History, row: Row, seen: Iterable[Record], now: datetime) -> Iterator[tuple[str, str]]:
    """Headings and texts about a batch: how it fares, how long it stays apart, and its past, the newest first.

    `seen` are the records of the systems in which it stood.
    """
    batch = row.batch
    if fares := how_it_fares(batch):
        yield "Fares", fares
    if row.clock is not None:
        yield "Apart", isolation_text(room, row.clock, now)
    if wants := needs(batch):
        yield "Needs", ", ".join(wants)
    yield "Began with", f"{batch.began}, {moment(room.calendar, batch.record.at, now)}"
    if batch.record.reason:
        yield "From", batch.record.reason
    for line in reversed(history_lines(room, history, batch, seen, now)):
        yield "·", line


def history_lines(room: Room, history: History, batch: Batch, records: Iterable[Record], now: datetime) -> list[str]:
    """Everything that was recorded about a batch and seen where it stood, oldest first.

    `records` are those of the systems in which it stood.
    """
    own = [each for each in history.batches(now) if batch.id in (each.id, each.ref, each.task)]
    seen = {each.id: each for each in (*own, *conditions(batch, records))}
    return [
        f"{moment(room.calendar, each.at, now)}  {record_line(room, history, each)}"
        for each in sorted(seen.values(), key=lambda each: each.key)
    ]
