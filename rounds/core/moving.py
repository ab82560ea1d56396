"""Records of batches: arrivals, moves, splits, combinations, counts, losses; how they stand: `rounds.core.batches`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime

import msgspec

from rounds.core.batches import (
    COMBINED,
    COUNT,
    DIED,
    FISH,
    FOUND,
    LOST,
    RELEASED,
    SIZE,
    WAYS,
    Batch,
    Place,
)
from rounds.core.errors import Refused
from rounds.core.following import draft_protocol
from rounds.core.history import History
from rounds.core.isolation import isolation
from rounds.core.model import ROOM, Protocol, Room
from rounds.core.numbers import AMOUNT, read_number
from rounds.core.record import BATCH, BATCH_CLOSED, BATCH_COUNTED, BATCH_MOVED, NOTE, Record, Value
from rounds.core.recording import Draft, clean, say_what, say_why
from rounds.core.units import to_canonical
from rounds.core.walk import place_name
from rounds.core.words import condition_words, day_name, moment, plain, plural, quoted

ARRIVAL = f"{ROOM}/arrival"
"""The protocol of what arrives in isolation; a room may have its own."""

DEATH = f"{ROOM}/dead-animal"
"""The protocol of an animal that died."""

AT_MOST = 10_000_000
"""The largest number of a batch: a spawning, not a slip of the keys."""

SPACE_WORDS = frozenset(("crowded", "stung"))
"""Condition words after which a batch has to be moved or spaced."""

_FISHES = frozenset(("fish", "fishes"))


def parse_count(text: str) -> int:
    """A number of animals; raises `Refused` for what is none."""
    typed = text.strip()
    if not (typed.isascii() and typed.isdigit()) or not 1 <= int(typed) <= AT_MOST:
        raise Refused(f"{quoted(text)} is no number of animals; write a whole number from 1 to {AT_MOST}")
    return int(typed)


def parse_size(text: str) -> Value:
    """A length such as ``31 mm``; raises `Refused` without a unit, `CannotRead` for one that is none."""
    found = AMOUNT.fullmatch(text)
    if found is None or not found[2]:
        raise Refused(f'{quoted(text)} is no size; write for example "31 mm"')
    size = to_canonical("length", read_number(found[1]), found[2])
    if not 0 < size < 1000:
        raise Refused(f'{quoted(text)} cannot be the size of an animal here; write for example "31 mm"')
    return Value(reading=SIZE, entered=clean(text), value=size * 10, unit="mm")


def parse_label(text: str) -> tuple[int, str]:
    """``24 Acropora frags`` as how many of what; raises `Refused` where it begins with no number."""
    number, _, what = text.strip().partition(" ")
    count = parse_count(number)
    if not what.strip():
        raise Refused("say what it is after the number: 24 Acropora frags")
    return count, what.strip()


def parse_counted(text: str) -> tuple[int | None, Value | None]:
    """``23``, ``31 mm`` or ``23 31 mm``: how many, how large, or both."""
    number, _, rest = text.strip().partition(" ")
    if not rest:
        return parse_count(number), None
    if any(character.isdigit() for character in rest):
        return parse_count(number), parse_size(rest)
    return None, parse_size(text)


class Origin(msgspec.Struct, frozen=True):
    """Where a batch came from and what it needs."""

    source: str = ""
    light: str = ""
    flow: str = ""
    fish: bool = False


_NOT_SAID = Origin()


def parse_origin(text: str) -> Origin:
    """``another nursery, low light, strong flow``: what ends in light or flow is a need, "fish" that there are some."""
    rest, light, flow = [], "", ""
    parts = [part.strip() for part in re.split("[,;]", text) if part.strip()]
    for part in parts:
        if part.casefold().endswith(" light"):
            light = part[: -len(" light")]
        elif part.casefold().endswith(" flow"):
            flow = part[: -len(" flow")]
        elif part.casefold() not in _FISHES:
            rest.append(part)
    return Origin(", ".join(rest), light, flow, any(part.casefold() in _FISHES for part in parts))


# -- arrivals --------------------------------------------------------------------------------------


def draft_batch(place: Place, count: int, what: str, at: datetime, origin: Origin = _NOT_SAID) -> Draft:
    """A batch at a place: how many of what, and where it came from with what it needs."""
    if not what.strip():
        raise Refused("say what it is: a few words, as on a label")
    needs = [f"{clean(each)} {of}" for each, of in ((origin.light, "light"), (origin.flow, "flow")) if each.strip()]
    fish = origin.fish or bool(_FISHES & {word.strip(".,;:()").casefold() for word in what.split()})
    return Draft(
        kind=BATCH, at=at, system=place[0], station=place[1] or None, values=(_number(count),), note=clean(what),
        words=(*needs, *((FISH,) if fish else ()), *condition_words(what)), reason=clean(origin.source),
    )  # fmt: skip


def draft_arrival(room: Room, batch: Draft) -> list[Draft]:
    """The batch, and where it comes into isolation the call of the protocol for what arrives."""
    protocol, system = room.protocol.get(ARRIVAL), room.system.get(batch.system or "")
    if protocol is None or system is None or system.isolation is None:
        return [batch]
    called = draft_protocol(room, protocol, system.id, batch.station or "", label(batch), batch.at)
    return [batch, called]


def draft_released(room: Room, parents: Place, place: Place, count: int, what: str, at: datetime) -> Draft:
    """Larvae that colonies at one place released, now at another."""
    draft = draft_batch(place, count, what, at, Origin(f"released at {place_name(room, *parents)}"))
    return msgspec.structs.replace(draft, words=(*draft.words, RELEASED))


def label(batch: Draft) -> str:
    """``24 Acropora frags``"""
    return f"{batch.values[0].entered} {batch.note}"


# -- moves, splits and combinations ------------------------------------------------------------------


def draft_moved(room: Room, history: History, batch: Batch, place: Place, at: datetime, *, why: str = "") -> Draft:
    """All of it to another place; out of an isolation that is not over only with the reason `why`."""
    _standing(room, batch, at)
    if place == batch.place:
        raise Refused(f"it stands at {place_name(room, *place)} already; name another station")
    questions = leaving(room, history, batch, place, at, why)
    return msgspec.structs.replace(
        _about(batch, BATCH_MOVED, at), system=place[0], station=place[1] or None, reason=clean(why),
        questions=questions,
    )  # fmt: skip


def draft_split(
    room: Room, history: History, batch: Batch, count: int, place: Place, at: datetime, *, why: str = ""
) -> Draft:
    """Some of it as a batch of its own, at this or another place."""
    _standing(room, batch, at)
    check_part(batch, count)
    kept = tuple(word for word in batch.record.words if word == FISH or word.endswith((" light", " flow")))
    return Draft(
        kind=BATCH, at=at, system=place[0], station=place[1] or None, values=(_number(count),), note=batch.what,
        words=kept, reason=clean(why), ref=batch.id,
        questions=leaving(room, history, batch, place, at, why),
    )  # fmt: skip


def check_part(batch: Batch, count: int) -> None:
    """Raise `Refused` where so many are not a part of it."""
    if count >= batch.count:
        raise Refused(f"there are only {batch.count} of it; split off fewer, or move the batch")


def draft_combined(room: Room, history: History, batch: Batch, into: Batch, at: datetime, *, why: str = "") -> Draft:
    """All of it joined to another batch, at the place of that."""
    _standing(room, batch, at)
    _standing(room, into, at)
    if into.id == batch.id:
        raise Refused("a batch cannot be combined with itself; name another")
    return msgspec.structs.replace(
        _about(batch, BATCH_CLOSED, at), system=into.place[0], station=into.place[1] or None, task=into.id,
        words=(COMBINED,), reason=clean(why), questions=leaving(room, history, batch, into.place, at, why),
    )  # fmt: skip


def leaving(room: Room, history: History, batch: Batch, to: Place | None, at: datetime, why: str) -> tuple[str, ...]:
    """What has to be answered before animals leave the water of a batch for that at `to`; None: they leave the room.

    Raises `Refused` without a reason, where the isolation is not over.
    """
    clock = isolation(room, history, batch.place, at)
    if clock is None or (to is not None and to[0] == clock.water.system and clock.water.holds(to[1])):
        return ()
    today = room.calendar.round_day(at)
    days = clock.left(today)
    if not days:
        return ()
    name = plain(clock.water.name)
    began = f"{'the last find' if clock.find else 'the last arrival'} {moment(room.calendar, clock.since.at, at)}"
    said = f"{name} is in isolation until {day_name(clock.free_on, today)}, {plural(days, 'more day')} ({began})"
    if not why.strip():
        raise Refused(f"{said}; say why it leaves before")
    return (f"{said}. Does it leave before?",)


# -- counts and losses -------------------------------------------------------------------------------


def draft_counted(
    room: Room, batch: Batch, count: int | None, at: datetime, *, size: Value | None = None, note: str = ""
) -> Draft:
    """How many there are, how large they are, or both."""
    _standing(room, batch, at)
    if count is None and size is None:
        raise Refused("say how many there are, or how large")
    values = (*((_number(count),) if count is not None else ()), *((size,) if size is not None else ()))
    return msgspec.structs.replace(
        _about(batch, BATCH_COUNTED, at), values=values, note=clean(note), words=condition_words(note)
    )


def draft_left(
    room: Room, history: History, batch: Batch, way: str, why: str, at: datetime, *, count: int | None = None
) -> Draft:
    """So many of it (None: all) that are no longer here, in one of `WAYS`, with the reason, which a loss needs."""
    _standing(room, batch, at)
    if way not in WAYS:
        raise Refused(f"{quoted(way)} is no way to leave; write one of {', '.join(WAYS)}")
    if count is not None:
        check_there(batch, count, f"write how many of them {way}")
    if way in LOST:
        say_why(why, f"it is closed as {way}")
    outside = way in ("grown on", "given away")
    return msgspec.structs.replace(
        _about(batch, BATCH_CLOSED, at), values=(_number(count),) if count is not None else (), reason=clean(why),
        words=(way, *condition_words(why)), questions=leaving(room, history, batch, None, at, why) if outside else (),
    )  # fmt: skip


def check_there(batch: Batch, count: int, remedy: str) -> None:
    """Raise `Refused` where there are not so many of it, with what to do instead."""
    if count > batch.count:
        raise Refused(f"there are only {batch.count} of it; {remedy}")


def parse_way(text: str) -> tuple[str, str]:
    """``died: flatworm at the dip`` as one of `WAYS` and the reason; raises `Refused` where it begins with none."""
    typed = text.strip()
    for way in WAYS:
        if typed.casefold().startswith(way):
            return way, typed[len(way) :].lstrip(" :,;-")
    raise Refused(f'{quoted(text)} does not say how; begin with one of {", ".join(WAYS)}, such as "{DIED}: stung"')


def draft_batch_note(room: Room, batch: Batch, text: str, at: datetime, *, found: bool = False) -> Draft:
    """What was seen of it; with `found`, pests, which begin the isolation of its water anew."""
    _standing(room, batch, at)
    say_what(text)
    return msgspec.structs.replace(
        _about(batch, NOTE, at), note=clean(text), words=(*condition_words(text), *((FOUND,) if found else ()))
    )


def death_protocol(room: Room, said: Draft | Record) -> Protocol | None:
    """What is to be called when animals of a batch have died."""
    return room.protocol.get(DEATH) if said.kind == BATCH_CLOSED and DIED in said.words else None


def wants_space(words: Sequence[str]) -> bool:
    """Whether what was seen calls for moving or spacing."""
    return not SPACE_WORDS.isdisjoint(words)


def _number(count: int) -> Value:
    return Value(reading=COUNT, entered=str(count), value=float(count))


def _about(batch: Batch, kind: str, at: datetime) -> Draft:
    system, station = batch.place
    return Draft(kind=kind, at=at, system=system, station=station or None, ref=batch.id)


def _standing(room: Room, batch: Batch, at: datetime) -> None:
    if at < batch.record.at:
        raise Refused("that is before it arrived; give a later time")
    if batch.ended is not None:
        when = moment(room.calendar, batch.ended.at, at)
        raise Refused(f"{plain(batch.what)} is closed since {when}; open a new batch, or strike what closed it")
