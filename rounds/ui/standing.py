"""Conversations about what stands where: arrivals, moves, splits, combinations, counts and losses."""

from __future__ import annotations

from datetime import timedelta

from rounds.core import moving
from rounds.core.batches import LOST, WAYS, Batch, Place, batches, standing
from rounds.core.errors import Refused
from rounds.core.following import draft_concern, draft_protocol
from rounds.core.history import History
from rounds.core.recording import Draft
from rounds.core.walk import place_name
from rounds.core.words import plain
from rounds.report.batches import batch_title
from rounds.ui.asking import choose, record, sure, write_in
from rounds.ui.screens.room_screen import RoomScreen

_WORDS = "a few words"
_ORIGIN = "another nursery, low light, strong flow"
_NO_MORE = "no more to say"
_LARVAE = "larvae that colonies released"
_ALL = "all"

SPACE_WITHIN = timedelta(days=1)
"""How soon after it was seen crowded or stung a batch is to be moved or spaced; common practice, no source."""


async def add(screen: RoomScreen, place: Place) -> None:
    """How many of what, from where with what it needs; into a quarantine with the protocol for what arrives."""
    room = screen.room.model
    where = place_name(room, *place)
    count, what = await write_in(screen, f"What comes to {where}?", (), "24 Acropora frags", moving.parse_label)
    said = await write_in(
        screen,
        "From where, and what does it need?",
        (_NO_MORE, _LARVAE),
        "another nursery, low light, strong flow",
        str,
    )
    if said == _LARVAE:
        parents = await _station(screen, "Where did colonies release them?", place)
        await record(screen, "Batch", [moving.draft_released(room, parents, place, count, what, screen.room.now())])
        return
    origin = moving.parse_origin("" if said == _NO_MORE else said)
    drafts = moving.draft_arrival(room, moving.draft_batch(place, count, what, screen.room.now(), origin))
    if len(drafts) > 1:
        choices = [("it arrives now: call the protocol for arrivals", 2), ("it stands here already", 1)]
        drafts = drafts[: await choose(screen, "Does it arrive now?", choices)]
    await record(screen, "Batch", drafts)


async def move(screen: RoomScreen, batch: Batch) -> None:
    """All or some of it to another station."""
    place = await _station(screen, f"Where to? {batch_title(batch)}", batch.place)
    count = await _how_many(screen, batch, "move fewer, or all")
    await _part(screen, batch, count, place)


async def move_out(screen: RoomScreen, id: str) -> None:
    """The batch whose isolation is over to its place."""
    room, now = screen.room, screen.room.now()
    batch = room.ask(lambda history: batches(history, now)).get(id)
    if batch is None:
        raise Refused("this batch was struck meanwhile; there is nothing to move")
    await move(screen, batch)


async def split(screen: RoomScreen, batch: Batch) -> None:
    """Some of it as a batch of its own, here or at another station."""

    def read(text: str) -> int:
        number = moving.parse_count(text)
        moving.check_part(batch, number)
        return number

    count = await write_in(screen, f"How many of {batch_title(batch)}?", (), "a number", read)
    place = await _station(screen, "Where do they stand then?", batch.place, here=True)
    await _part(screen, batch, count, place)


async def _part(screen: RoomScreen, batch: Batch, count: int | None, place: Place) -> None:
    room, at = screen.room, screen.room.now()
    why = await _why_before(screen, batch, place)

    def draft(history: History) -> Draft:
        if count is None:
            return moving.draft_moved(room.model, history, batch, place, at, why=why)
        return moving.draft_split(room.model, history, batch, count, place, at, why=why)

    await record(screen, "Move", [room.ask(draft)])


async def combine(screen: RoomScreen, batch: Batch) -> None:
    """All of it joined to another."""
    room, at = screen.room, screen.room.now()
    others = [each for each in room.ask(lambda history: standing(history, at)) if each.id != batch.id]
    if not others:
        raise Refused("there is no other batch to combine it with")
    labels = [(f"{batch_title(each)}  ({place_name(room.model, *each.place)})", each) for each in others]
    into = await choose(screen, f"With which? {batch_title(batch)}", labels)
    why = await _why_before(screen, batch, into.place)
    draft = room.ask(lambda history: moving.draft_combined(room.model, history, batch, into, at, why=why))
    await record(screen, "Combine", [draft])


async def count(screen: RoomScreen, batch: Batch) -> None:
    """How many there are now, how large, or both."""
    title = f"How many, how large? {batch_title(batch)}"
    number, size = await write_in(screen, title, (str(batch.count),), "23, 31 mm or 23 31 mm", moving.parse_counted)
    await record(
        screen, "Count", [moving.draft_counted(screen.room.model, batch, number, screen.room.now(), size=size)]
    )


async def close(screen: RoomScreen, batch: Batch) -> None:
    """How many of it have left, how, and why; after a death its protocol is offered."""
    room, at = screen.room, screen.room.now()
    way = await choose(screen, f"How? {batch_title(batch)}", [(each, each) for each in WAYS])
    number = await _how_many(screen, batch, f"write how many of them {way}")
    unsaid = () if way in LOST else (_NO_MORE,)
    why = await write_in(screen, f"{way.capitalize()}: why?", unsaid, _WORDS, str)
    why = "" if why == _NO_MORE else why
    draft = room.ask(lambda history: moving.draft_left(room.model, history, batch, way, why, at, count=number))
    await record(screen, "Gone", [draft])
    protocol = moving.death_protocol(room.model, draft)
    if protocol is not None and await sure(
        screen, plain(protocol.name), ["Call its steps now?"], "yes, call them", "no"
    ):
        system, station = batch.place
        await record(screen, "Called", [draft_protocol(room.model, protocol, system, station, batch.what, room.now())])


async def note(screen: RoomScreen, batch: Batch) -> None:
    """What is seen of it; crowded or stung offers a task."""
    said = await write_in(screen, f"What is seen? {batch_title(batch)}", (), _WORDS, str)
    room = screen.room
    await _noted(screen, "Note", batch, moving.draft_batch_note(room.model, batch, said, room.now()))


async def find(screen: RoomScreen, batch: Batch) -> None:
    """Pests: all in its water wait from now on."""
    said = await write_in(screen, f"What was found? {batch_title(batch)}", (), _WORDS, str)
    room = screen.room
    draft = moving.draft_batch_note(room.model, batch, said, room.now(), found=True)
    await _noted(screen, "Found", batch, draft)


async def _noted(screen: RoomScreen, title: str, batch: Batch, draft: Draft) -> None:
    """Record what was seen of it; crowded or stung offers a task."""
    await record(screen, title, [draft])
    if moving.wants_space(draft.words) and await sure(
        screen, "Crowded or stung", ["Make a task of it: move or space it by tomorrow?"], "yes, look again then", "no"
    ):
        at = screen.room.now()
        text = f"Move or space {batch_title(batch)}: {draft.note}"
        await record(screen, "Concern", [draft_concern(*batch.place, text, at, look_at=at + SPACE_WITHIN)])


# -- what they have in common ----------------------------------------------------------------------


async def _how_many(screen: RoomScreen, batch: Batch, instead: str) -> int | None:
    """So many of it; None: all. `instead`: what to do where there are not so many."""

    def read(text: str) -> int | None:
        if text == _ALL:
            return None
        number = moving.parse_count(text)
        moving.check_there(batch, number, instead)
        return None if number == batch.count else number

    return await write_in(screen, f"How many of {batch_title(batch)}?", (_ALL,), "a number", read)


async def _station(screen: RoomScreen, title: str, place: Place, *, here: bool = False) -> Place:
    """A station of the room, those of the same system first; with `here` also the one it stands at."""
    room = screen.room.model
    places = [key for key in room.places if here or key != place]
    places.sort(key=lambda key: (key != place, key[0] != place[0]))
    return await choose(screen, title, [(place_name(room, *key), key) for key in places])


async def _why_before(screen: RoomScreen, batch: Batch, to: Place | None) -> str:
    """Why it leaves an isolation that is not over; empty where it need not be said."""
    room, at = screen.room, screen.room.now()
    try:
        room.ask(lambda history: moving.leaving(room.model, history, batch, to, at, ""))
    except Refused as refused:
        return await write_in(screen, str(refused), (), _WORDS, str)
    return ""
