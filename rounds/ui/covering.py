"""Asking who covers for a keeper who is away."""

from __future__ import annotations

from rounds.core.moments import parse_later
from rounds.core.shifts import covering, covers, draft_cover
from rounds.core.words import plain
from rounds.ui.asking import choose, record, write_in
from rounds.ui.screens.room_screen import RoomScreen

_NO_REASON = "no reason"


async def cover(screen: RoomScreen) -> None:
    """One keeper does the work of another from now until a later time."""
    room, model = screen.room, screen.room.model
    if len(model.keepers) < 2:
        screen.say("The room names fewer than two keepers; add them in set-up.")
        return
    now = room.now()
    standing = room.ask(lambda history: covers(history, now), now, now)
    doing = {each.initials: covering(standing, each.initials) for each in model.keepers}
    labels = {
        each.initials: f"{plain(each.initials)}  {plain(each.name)}"
        + (f"  (covered by {plain(doing[each.initials])})" if doing[each.initials] != each.initials else "")
        for each in model.keepers
    }
    absent = await choose(screen, "Who is away?", [(label, initials) for initials, label in labels.items()])
    others = [(label, initials) for initials, label in labels.items() if initials != absent]
    there = await choose(screen, f"Who does the work of {plain(absent)}?", others)
    until = await write_in(
        screen,
        f"{plain(there)} for {plain(absent)}, until when?",
        ("tomorrow", "2 days", "1 week", "2 weeks"),
        'a date, a time, "tomorrow" or "3 days"',
        lambda text: parse_later(text, model.calendar, room.now()),
    )
    why = await write_in(screen, "Why?", (_NO_REASON, "leave", "ill"), "a few words", str)
    at = room.now()
    draft = room.ask(
        lambda history: draft_cover(model, history, (absent, there), at, until, "" if why == _NO_REASON else why)
    )
    await record(screen, "Cover", [draft])
