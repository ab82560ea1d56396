"""Conversations about what is followed to its end: concerns, what is off normal, protocols."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from rounds.core import following
from rounds.core.concerns import Concern
from rounds.core.model import OFF_NORMAL_STATES, ROOM, Equipment, Reservoir
from rounds.core.moments import parse_later
from rounds.core.off_normal import OffNormal, off_normal, put_back_order
from rounds.core.protocols import Running
from rounds.core.record import CONCERN_CLOSED, OFF_NORMAL, Record
from rounds.core.recording import Draft
from rounds.core.walk import place_name, shift_at
from rounds.core.words import clock, plain
from rounds.report.watch import alert
from rounds.ui.asking import choose, record, sure, write_in
from rounds.ui.screens.room_screen import RoomScreen

Place = tuple[str, str]
"""(system, station)"""

_TIME = 'a time, "tomorrow" or "2 hours"'
_WORDS = "a few words"
_NOTHING = "nothing in particular"
_NO_MORE = "no more to say"


# -- off normal ------------------------------------------------------------------------------------


async def leave_off_normal(screen: RoomScreen, place: Place) -> None:
    """Something at a place is left as it should not be, until a time and for a reason."""
    room = screen.room.model
    here = _things(screen, place)
    labels = [(f"{plain(each.name)}  ({place_name(room, each.system, each.station)})", each.id) for each in here]
    labels.append(("something else at this station: a hose, a siphon, a valve", ""))
    id = await choose(screen, "What is left off normal?", labels)
    thing = next((each for each in here if each.id == id), None)
    what = "" if thing is not None else await write_in(screen, "What is it?", (), _WORDS, _some)
    state = await choose(screen, "How is it left?", [(each, each) for each in OFF_NORMAL_STATES])
    until = await _until(screen, "Put back by when?")
    reason = await write_in(screen, "Why?", _reasons(screen, OFF_NORMAL), _WORDS, _some)
    at = screen.room.now()
    if thing is None:
        drafts = [following.draft_off_normal_other(*place, what, state, until, reason, at)]
        await record(screen, "Off normal", drafts)
        return
    standing = _standing(screen, at)
    now = next((each for each in standing if each.thing == thing.id), None)
    drafts = [following.draft_off_normal(thing, state, until, reason, at, now=now)]
    if isinstance(thing, Equipment) and state in ("off", "shut"):
        others = following.drafts_together(room, thing, standing, until, at)
        names = _names(screen, others)
        if others and await sure(
            screen,
            f"What stops with the {plain(thing.name)}",
            [f"Without it these have to stop too: {names}.", "Are they off now?"],
            "yes, record them as off",
            "no, not yet",
        ):
            drafts += others
    await record(screen, "Off normal", drafts)


def _names(screen: RoomScreen, drafts: Iterable[Draft]) -> str:
    """The equipment that drafts are about."""
    return ", ".join(plain(screen.room.model.equipment[draft.task or ""].name) for draft in drafts)


def _things(screen: RoomScreen, place: Place) -> list[Equipment | Reservoir]:
    """Equipment and reservoirs, those at the place first, then those of its system."""
    room = screen.room.model
    found: list[Equipment | Reservoir] = [*room.equipment.values(), *room.reservoirs.values()]
    return sorted(found, key=lambda each: (each.system != place[0], each.station != place[1]))


def _standing(screen: RoomScreen, now: datetime) -> list[OffNormal]:
    room = screen.room
    return room.ask(lambda history: off_normal(room.model, history, now), now, now)


async def put_back(screen: RoomScreen, left: OffNormal) -> None:
    """It is as it should be again; what else is off with it is named in its order."""
    equipment = screen.room.model.equipment.get(left.thing)
    asked = [f"{alert(screen.room.model, left, screen.room.now())}."]
    if not await sure(screen, "Is it as it should be again?", asked, "yes, it is put back"):
        return
    at = screen.room.now()
    draft = following.draft_put_back(screen.room.model, left, at, standing=_standing(screen, at))
    await record(screen, "Put back", [draft])
    if equipment is None:
        return
    still = {each.thing for each in _standing(screen, screen.room.now())}
    rest = [plain(each.name) for each in put_back_order(screen.room.model, equipment) if each.id in still]
    if rest:
        screen.say(f"{plain(left.name)} is put back. Still to put back, in this order: {', then '.join(rest)}.")


async def extend(screen: RoomScreen, left: OffNormal) -> None:
    """It stays so until a later time, with a reason."""
    until = await _until(screen, f"{plain(left.name)} {left.state}: put back by when?")
    reason = await write_in(screen, "Why longer?", _reasons(screen, OFF_NORMAL), _WORDS, _some)
    at = screen.room.now()
    drafts = [following.draft_extended(left, until, reason, at)]
    equipment = screen.room.model.equipment.get(left.thing)
    if equipment is not None and left.state in ("off", "shut"):
        others = following.drafts_together(screen.room.model, equipment, _standing(screen, at), until, at)
        longer = [draft for draft in others if draft.ref is not None]
        if longer and await sure(
            screen,
            f"What stops with the {plain(left.name)}",
            [
                f"To be put back sooner, though it cannot be: {_names(screen, longer)}.",
                "Do they stay off as long?",
            ],
            "yes, extend them too",
            "no",
        ):
            drafts += longer
    await record(screen, "Extended", drafts)


# -- concerns --------------------------------------------------------------------------------------


async def open_concern(screen: RoomScreen, place: Place, text: str = "") -> None:
    """A concern at a place, with what to look for and when to look again."""
    where = place_name(screen.room.model, *place)
    said = await write_in(screen, f"Concern at {where}: what is seen?", (), _WORDS, _some, text)
    look_for = await write_in(screen, "What to look for?", (_NOTHING,), _WORDS, str)
    at = screen.room.now()
    again = await _look_again(screen, at)
    look_for = "" if look_for == _NOTHING else look_for
    await record(screen, "Concern", [following.draft_concern(*place, said, at, look_for=look_for, look_at=again)])


async def update_concern(screen: RoomScreen, concern: Concern) -> None:
    """What is seen of it now, and when to look again."""
    said = await write_in(screen, plain(concern.record.note), (following.UNCHANGED,), _WORDS, _some)
    at = screen.room.now()
    again = await _look_again(screen, at, as_before=concern.look_at is not None)
    draft = following.draft_concern_update(screen.room.model, concern, said, at, look_at=again)
    await record(screen, "Concern", [draft])


async def close_concern(screen: RoomScreen, concern: Concern) -> None:
    """Its end, with the reason."""
    title = f"Why is it closed? {plain(concern.record.note)}"
    why = await write_in(screen, title, _reasons(screen, CONCERN_CLOSED), _WORDS, _some)
    draft = following.draft_concern_closed(screen.room.model, concern, why, screen.room.now())
    await record(screen, "Concern", [draft])


_AS_BEFORE = "as before"
_NOT = "no time"


async def _look_again(screen: RoomScreen, at: datetime, *, as_before: bool = False) -> datetime | None:
    """When to look again; None: as before, or at no set time."""
    choices = ("4 hours", "1 day", "2 days", "1 week", _NOT)
    if as_before:
        choices = (_AS_BEFORE, *choices[:-1])

    def read(text: str) -> datetime | None:
        return None if text in (_AS_BEFORE, _NOT) else parse_later(text, screen.room.model.calendar, at)

    return await write_in(screen, "Look again when?", choices, _TIME, read)


# -- protocols -------------------------------------------------------------------------------------


async def call_protocol(screen: RoomScreen, place: Place) -> None:
    """Call a protocol for the system or station of a place, or for every system."""
    room = screen.room.model
    known = [(f"{plain(each.name)}  ({len(each.steps)} steps)", each) for each in room.protocols]
    protocol = await choose(screen, "Call which protocol?", known)
    system, station = place
    places = [(place_name(room, system, station), (system, station)), (place_name(room, system, ""), (system, ""))]
    if protocol.place == "system":
        places = [places[1], ("every system with water, in walking order", (ROOM, ""))]
    where = await choose(screen, f"{plain(protocol.name)}: for which?", list(dict(reversed(places)).items())[::-1])
    about = await write_in(screen, "What for? The animal, the equipment, the cause", (_NO_MORE,), _WORDS, str)
    about = "" if about == _NO_MORE else about
    at = screen.room.now()
    called = [where]
    if where[0] == ROOM and protocol.place == "system":
        called = [(each.id, "") for each in room.systems if each.volume is not None]
    drafts = screen.room.ask(
        lambda history: [following.draft_call(room, history, protocol, *each, about, at) for each in called]
    )
    await record(screen, plain(protocol.name), drafts)


async def stop_protocol(screen: RoomScreen, under: Running) -> None:
    """Its end before every step is done, with the reason."""
    why = await write_in(screen, f"Why is it stopped? {plain(under.name)}", (), _WORDS, _some)
    await record(screen, "Stopped", [following.draft_protocol_stopped(under, why, screen.room.now())])


# -- what they have in common ----------------------------------------------------------------------


async def _until(screen: RoomScreen, title: str) -> datetime:
    room = screen.room
    calendar, now = room.model.calendar, room.now()
    shift = shift_at(room.model, now)
    ends = [] if shift is None else [
        clock(calendar, calendar.shift_end(calendar.round_day(now), shift.begins, shift.ends))
    ]  # fmt: skip
    choices = ("15 minutes", "30 minutes", "1 hour", *ends, "tomorrow")
    return await write_in(screen, title, choices, _TIME, lambda text: parse_later(text, calendar, room.now()))


def _some(text: str) -> str:
    return text.strip()


def _reasons(screen: RoomScreen, kind: str) -> Sequence[str]:
    """Reasons given lately for the same."""
    given: list[Record] = sorted(
        (each for each in screen.room.history.known() if each.kind == kind and each.reason), key=lambda each: each.at
    )
    return list(dict.fromkeys(plain(each.reason) for each in reversed(given)))[:8]
