"""Records that begin something to be followed until it ends, go on with it, and end it.

How concerns, what is off normal and protocols stand: `rounds.core.concerns`, `off_normal` and `protocols`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

import msgspec

from rounds.core.concerns import Concern, concern
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import OFF_NORMAL_STATES, Equipment, Protocol, Reservoir, Room, Task
from rounds.core.off_normal import OffNormal, not_in_service, off_normal, put_back_order, together_with
from rounds.core.protocols import COMPLETED, CalledStep, Running, of_call, running, steps_for
from rounds.core.record import (
    BACK_TO_NORMAL,
    CONCERN,
    CONCERN_CLOSED,
    CONCERN_UPDATE,
    DONE,
    NOT_NEEDED,
    OFF_NORMAL,
    PROTOCOL,
    READING,
    REFILL,
    Record,
)
from rounds.core.recording import Draft, clean, draft_closing, say_what, say_why
from rounds.core.stock_records import draft_answer
from rounds.core.units import Seawater
from rounds.core.walk import place_name
from rounds.core.words import condition_words, moment, plain, quoted

# -- concerns --------------------------------------------------------------------------------------


def draft_concern(
    system: str, station: str, text: str, at: datetime, *, look_for: str = "", look_at: datetime | None = None
) -> Draft:
    """A concern at a station ("": the system as a whole), with what to look for and when to look again."""
    say_what(text)
    _after(look_at, at, "the next look")
    return Draft(
        kind=CONCERN, at=at, system=system, station=station or None, note=clean(text), words=condition_words(text),
        reason=clean(look_for), until=look_at,
    )  # fmt: skip


def draft_concern_update(
    room: Room, about: Concern, text: str, at: datetime, *, look_for: str = "", look_at: datetime | None = None
) -> Draft:
    """What was seen of it at `at`; one that was closed is open again.

    Without `look_at` the next look is as long after this one as the one before was to be after its own.
    """
    say_what(text)
    _after(look_at, at, "the next look")
    if at < about.record.at:
        raise Refused("that is before the concern was opened; give a later time")
    questions = () if about.closed is None else (f"{_closed_text(room, about.closed, at)}; open it again?",)
    return msgspec.structs.replace(
        _about(about, CONCERN_UPDATE, at, text), reason=clean(look_for), until=look_at or _again(about, at),
        questions=questions,
    )  # fmt: skip


def draft_concern_closed(room: Room, about: Concern, why: str, at: datetime) -> Draft:
    """Its end, with the reason; raises `Refused` when it is closed already."""
    if about.closed is not None:
        raise Refused(f"{_closed_text(room, about.closed, at)}; an update opens it again")
    say_why(why, "it is closed")
    if at < about.last.at:
        raise Refused("that is before the last word on it; give a later time")
    return msgspec.structs.replace(_about(about, CONCERN_CLOSED, at, ""), reason=clean(why))


def _closed_text(room: Room, closed: Record, at: datetime) -> str:
    when = moment(room.calendar, closed.at, at)
    return f"the concern was closed by {plain(closed.by)} {when} ({plain(closed.reason)})"


def _about(about: Concern, kind: str, at: datetime, text: str) -> Draft:
    record = about.record
    return Draft(
        kind=kind, at=at, system=record.system, station=record.station, note=clean(text),
        words=condition_words(text), ref=record.id,
    )  # fmt: skip


def _again(about: Concern, at: datetime) -> datetime | None:
    """The next look after one at `at`: after the span that was last set, elapsed."""
    looks = [(record.at, record.until) for record in (about.record, *about.updates)]
    spans = [until.astimezone(UTC) - since.astimezone(UTC) for since, until in looks if until is not None]
    return at.astimezone(UTC) + spans[-1] if spans else None


# -- off normal ------------------------------------------------------------------------------------


def draft_off_normal(
    thing: Equipment | Reservoir,
    state: str,
    until: datetime,
    reason: str,
    at: datetime,
    *,
    now: OffNormal | None = None,
) -> Draft:
    """Equipment (or a reservoir's top-off) left `state` at `at`, to be put back by `until`.

    `now` is how it stands already: the same state for longer is an extension of that. Raises `Refused` without a
    reason, for a time that is not later, and for a state that is none of `OFF_NORMAL_STATES`.
    """
    return _left(Draft(kind=OFF_NORMAL, at=at, system=thing.system, station=thing.station or None, task=thing.id),
                 state, until, reason, now)  # fmt: skip


def draft_off_normal_other(
    system: str, station: str, what: str, state: str, until: datetime, reason: str, at: datetime
) -> Draft:
    """The same of something that is in no table: a filling hose, a siphon."""
    if not what.strip():
        raise Refused("say what it is: a hose, a siphon, a valve")
    return _left(Draft(kind=OFF_NORMAL, at=at, system=system, station=station or None, note=clean(what)),
                 state, until, reason, None)  # fmt: skip


def draft_extended(left: OffNormal, until: datetime, reason: str, at: datetime) -> Draft:
    """It stays as it is until a later time, with a reason."""
    first = left.first
    draft = Draft(kind=OFF_NORMAL, at=at, system=first.system, station=first.station, task=first.task, note=first.note)
    return _left(draft, left.state, until, reason, left)


def drafts_together(
    room: Room, thing: Equipment, standing: Iterable[OffNormal], until: datetime, at: datetime
) -> list[Draft]:
    """What must stop with it, off until the same time; what is off already stays so as long, or longer as it is."""
    off, why = {each.thing: each for each in standing}, f"with the {thing.name}"
    found = []
    for each in together_with(room, thing):
        left = off.get(each.id)
        if left is None:
            found.append(draft_off_normal(each, "off", until, why, at))
        elif left.until < until:
            found.append(draft_extended(left, until, why, at))
    return found


def draft_put_back(
    room: Room, left: OffNormal, at: datetime, note: str = "", *, standing: Iterable[OffNormal] = ()
) -> Draft:
    """It is as it should be again; asks first where of all that is off normal something is off that it stops with."""
    first = left.first
    if at < left.last.at:
        raise Refused("that is before it was left so; give a later time")
    return Draft(
        kind=BACK_TO_NORMAL, at=at, system=first.system, station=first.station, task=first.task, ref=first.id,
        note=clean(note), questions=tuple(_before_its_turn(room, left, standing)),
    )  # fmt: skip


def _before_its_turn(room: Room, left: OffNormal, standing: Iterable[OffNormal]) -> Iterator[str]:
    """That it is put back while what it needs is off still, such as dosing without flow."""
    for other in not_in_service(standing).values():
        equipment = room.equipment.get(other.thing)
        if equipment is None or left.thing not in (each.id for each in together_with(room, equipment)):
            continue
        order = [each.id for each in put_back_order(room, equipment)]
        if order.index(equipment.id) < order.index(left.thing):
            yield (
                f"the {equipment.name} is still {other.state}, and the {left.name} has to stop with it and comes after "
                "it; is it put back all the same?"
            )


def _left(draft: Draft, state: str, until: datetime, reason: str, now: OffNormal | None) -> Draft:
    if state not in OFF_NORMAL_STATES:
        raise Refused(f"{quoted(state)} is no way to leave something; write one of {', '.join(OFF_NORMAL_STATES)}")
    say_why(reason)
    _after(until, draft.at, "the time by which it is put back")
    ref = now.first.id if now is not None and now.state == state else None
    return msgspec.structs.replace(draft, until=until, reason=clean(reason), words=(state,), ref=ref)


# -- protocols -------------------------------------------------------------------------------------


def draft_protocol(room: Room, protocol: Protocol, system: str, station: str, about: str, at: datetime) -> Draft:
    """The call of a protocol for a system, or a station of it; `about` says what for, as the animal or equipment."""
    if not any(steps_for(room, protocol, system)):
        raise Refused(
            f"{protocol.name} has no step for {system}: neither the tasks it calls nor the equipment it asks for; "
            f"add them to the file of {system}"
        )
    return Draft(
        kind=PROTOCOL, at=at, system=system, station=station or None, task=protocol.id, note=clean(about),
        words=condition_words(about),
    )  # fmt: skip


def draft_call(
    room: Room, history: History, protocol: Protocol, system: str, station: str, about: str, at: datetime
) -> Draft:
    """As `draft_protocol`; asks first where the same is under way already, there and for the same."""
    draft = draft_protocol(room, protocol, system, station, about, at)
    same = [
        each.call
        for each in running(room, history, at)
        if (each.call.task, each.call.system, each.call.station) == (draft.task, draft.system, draft.station)
        and (each.call.note or "").casefold() == (draft.note or "").casefold()
    ]
    if not same:
        return draft
    what = "; ".join(text for text in (protocol.name + ", " + place_name(room, system, station), same[-1].note) if text)
    when = moment(room.calendar, same[-1].at, at)
    question = f"{plain(what)} was called {when} by {plain(same[-1].by)} and is under way; call it again?"
    return msgspec.structs.replace(draft, questions=(question,))


def draft_protocol_stopped(under: Running, why: str, at: datetime) -> Draft:
    """Its end before every step was done, with the reason."""
    say_why(why, "it is stopped")
    return msgspec.structs.replace(_ended(under.call, at), reason=clean(why))


def draft_protocol_completed(under: Running, at: datetime) -> Draft:
    """Its end, when every step is done."""
    return msgspec.structs.replace(_ended(under.call, at), words=(COMPLETED,))


def _ended(call: Record, at: datetime) -> Draft:
    if at < call.at:
        raise Refused("that is before it was called; give a later time")
    return Draft(kind=PROTOCOL, at=at, system=call.system, station=call.station, task=call.task, ref=call.id)


def _after(later: datetime | None, at: datetime, what: str) -> None:
    if later is not None and later <= at:
        raise Refused(f"{what} is not later than when it happened; give a later time")


# -- due items that come of records ------------------------------------------------------------------

_SOON = 1 / 4
"""A repeated step can be done so much of its interval before it is due again."""

UNCHANGED = "unchanged"
"""What a look at a concern says when nothing else is written."""


def draft_done(
    room: Room, history: History, task: Task, text: str, at: datetime, *, seawater: Seawater | None = None
) -> Draft:
    """The due item done at `at`, whatever made it due: a task, a look at a concern, or something to put back.

    Raises `Refused` when what it was about has ended meanwhile.
    """
    if task.source == "look":
        record = next((each for each in history.opened(CONCERN, at) if each.id == task.ref), None)
        if record is None:
            raise Refused("this concern was struck meanwhile; there is nothing to look at again")
        return draft_concern_update(room, concern(history, record, at), text.strip() or UNCHANGED, at)
    if task.source == "put back":
        standing = off_normal(room, history, at)
        left = next((each for each in standing if each.last.id == task.ref), None)
        if left is None:
            raise Refused("it was put back or extended meanwhile; look at what is off normal")
        return draft_put_back(room, left, at, text, standing=standing)
    if task.source == "stock":
        return draft_answer(room, task.id, text, at)
    draft = draft_closing(room, history, task, text, at, seawater=seawater)
    if task.source != "step" or draft.questions:
        return draft
    return msgspec.structs.replace(draft, questions=tuple(_too_soon(room, history, task, at)))


def _too_soon(room: Room, history: History, task: Task, at: datetime) -> Iterator[str]:
    """What is asked before a repeated step is done long before it is due again, such as a second dose."""
    for under in running(room, history, at):
        for step in under.steps:
            if step.task != task.id or step.step.every is None or not step.closings or step.due_at is None:
                continue
            last = step.closings[-1]
            if at < step.due_at - step.step.every.nominal * _SOON:
                done, due = (moment(room.calendar, when, at) for when in (last.at, step.due_at))
                yield f"{task.title} was done {done} by {plain(last.by)} and is due again {due}; now already?"


def completed_by(room: Room, history: History, draft: Draft, now: datetime) -> list[Draft]:
    """The ends of the protocols of which, as known at `now`, every step is done with `draft`."""
    if draft.kind not in (DONE, NOT_NEEDED, READING, REFILL):
        return []
    now = max(draft.at, now)
    found = []
    for call in history.opened(PROTOCOL, now):
        under = of_call(room, history, call, now)
        if under.protocol is None or call.at > draft.at or history.ended(call.id, now) is not None:
            continue
        if all(step.done or _does_last(draft, step) for step in under.steps):
            found.append(draft_protocol_completed(under, now))
    return found


def _does_last(draft: Draft, step: CalledStep) -> bool:
    """Whether `draft` does what is left of a step."""
    by_value = step.declared is not None and step.declared.by_value and draft.kind != NOT_NEEDED
    closes = any(value.reading == step.task for value in draft.values) if by_value else draft.task == step.task
    return closes and len(step.closings) + 1 >= step.step.times


def undone_by(room: Room, history: History, target: Record, now: datetime) -> list[Record]:
    """The records that say that a protocol was completed, and that do not hold without the step `target`."""
    found = []
    for call in history.opened(PROTOCOL, now):
        end = history.ended(call.id, now)
        if end is None or COMPLETED not in end.words:
            continue
        steps = of_call(room, history, call, now).steps
        if any(target in step.closings and len(step.closings) <= step.step.times for step in steps):
            found.append(end)
    return found


def draft_turned_off(room: Room, history: History, task: Task, at: datetime) -> list[Draft]:
    """What a task turns off while it is done, each until its countdown ends; what is off already stays as it is."""
    if task.countdown is None:
        return []
    off = {each.thing for each in off_normal(room, history, at)}
    things = [room.equipment[id] for id in task.turns_off if id in room.equipment and id not in off]
    return [draft_off_normal(thing, "off", at + task.countdown, task.title, at) for thing in things]
