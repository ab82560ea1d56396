"""Conversations of set-up: what a field is to hold, when something is due, what a change does before it is saved."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from textual.content import Content

from rounds.core.durations import parse_span
from rounds.core.errors import RoundsError
from rounds.core.history import History
from rounds.core.items import Forecast
from rounds.core.model import Room
from rounds.core.words import plain, plural
from rounds.report.drafts import RULED, Draft, rows_in
from rounds.report.effects import effect
from rounds.report.fields import CHOICE, FLAG, NO, RULE, TEXTS, YES, Field, read_text, row_text, shown_text
from rounds.report.naming import nameable
from rounds.report.rules import (
    DAY_EXAMPLES,
    DAYS_WANTED,
    again_after,
    called,
    dates_as_typed,
    days_as_typed,
    on_dates,
    on_days,
    once,
    read_times,
)
from rounds.storage.changes import FileChange
from rounds.storage.faults import RoomFaults
from rounds.storage.founding import kind_names
from rounds.storage.parts import Part
from rounds.ui.asking import Left, choose, sure, write_in
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.text import MUTED

EMPTY = "leave it empty"
_NO_TIME = "at no set time"
_SPANS = ("8 hours", "1 day", "2 days", "3 days", "1 week", "2 weeks", "1 month", "3 months", "1 year")


async def ask_value(
    screen: RoomScreen, draft: Draft, what: str, field: Field, value: Any, parts: Sequence[Part]
) -> Any:
    """What a field that holds `value` is to hold; of a rule its keys. Raises `Left`.

    `what` is what the field is of: the table of the form, or a row in it.
    """
    title = f"{what.capitalize()}: {field.label}"
    if field.how == RULE:
        return await _ask_rule(screen, draft)
    if field.how == FLAG:
        return read_text(field, await choose(screen, title, [(YES, YES), (NO, NO)]))
    if field.how == CHOICE:
        empty = [] if field.key in ("kind", "quantity") else [(EMPTY, None)]
        return await choose(screen, title, [*((each, each) for each in field.choices), *empty])
    named = nameable(field, draft.system, parts)
    if field.how == TEXTS and field.kinds:
        kinds = kind_names(field.kinds)
        return await _tick(screen, title, [(kind, kind) for kind in kinds], list(value or []))
    if field.how == TEXTS and field.of:
        return await _tick(screen, title, named, list(value or []))
    if field.of and named:
        return await choose(screen, title, [(EMPTY, None), *named])
    given = " ".join(shown_text(field, value).split("\n"))

    def read(text: str) -> Any:
        if text == given.strip():
            return value  # as it is, over several lines perhaps
        return None if text == EMPTY else read_text(field, text)

    offers = kind_names(field.kinds) if field.kinds else [EMPTY]
    return await write_in(screen, title, offers, field.help or field.label, read, given)


def row_lines(draft: Draft, field: Field) -> Iterator[Content]:
    """The rows of a list, a line each."""
    for place, row in enumerate(rows_in(draft, field), 1):
        yield Content.assemble((f"  {place}  ", MUTED), plain(row_text(field, row)))


async def _tick(
    screen: RoomScreen, title: str, named: Sequence[tuple[str, str]], ticked: list[str]
) -> list[str] | None:
    """Some of many, in the order in which they are taken."""
    done = "\0"
    while True:
        choices = [("that is all", done), *((f"{'✓' if id in ticked else ' '} {label}", id) for label, id in named)]
        chosen = await choose(screen, f"{title}: {', '.join(ticked) or 'none'}", choices)
        if chosen == done:
            return ticked or None
        ticked = [id for id in ticked if id != chosen] if chosen in ticked else [*ticked, chosen]


async def _ask_rule(screen: RoomScreen, draft: Draft) -> dict[str, Any]:
    ways = [
        ("again after a time, counted from when it was done last", "again"),
        ("on these days, whenever it was done last", "days"),
        ("on dates that no rule expresses", "dates"),
        ("once, on one day", "once"),
        ("only when a protocol calls it", "called"),
    ]
    if draft.key != RULED[0]:
        ways.append(("never by itself; it can be recorded at any time", "never"))
    way = await choose(screen, "When is it due?", ways)
    if way == "never":
        return {}
    if way == "called":
        return called()
    if way == "once":
        given = str(draft.values.get("once", ""))
        found = await write_in(screen, "On which day?", (), "a date, or date and time: 2026-12-01 09:00", once, given)
        return found if " " in str(found["once"]) else {**found, **await _ask_times(screen, draft)}
    if way == "dates":
        given = dates_as_typed(draft.values.get("on_dates"))
        found = await write_in(screen, "On which dates?", (), "2026-12-03, 2026-12-05", on_dates, given)
        return {**found, **await _ask_times(screen, draft)}
    if way == "again":
        given = str(draft.values.get("again_after", ""))
        found = await write_in(screen, "Again after how long?", _SPANS, "a number and a unit", again_after, given)
        exact = parse_span(found["again_after"]).exact
        return found if exact else {**found, **await _ask_times(screen, draft)}
    given = days_as_typed(str(draft.values.get("rrule", "")))
    found = await write_in(screen, "On which days?", DAY_EXAMPLES, DAYS_WANTED, on_days, given)
    if "at" in found:
        return found
    return {**found, **await _ask_times(screen, draft)}


async def _ask_times(screen: RoomScreen, draft: Draft) -> dict[str, Any]:
    at = draft.values.get("at")
    given = ", ".join(at) if isinstance(at, list) else str(at or "")
    return await write_in(
        screen, "At what time?", (_NO_TIME,), "such as 09:00 or 09:00, 17:00",
        lambda text: {} if text == _NO_TIME else read_times(text), given,
    )  # fmt: skip


async def save(screen: RoomScreen, title: str, changes: Sequence[FileChange]) -> None:
    """Show what the changes do to the coming two weeks, and put them on disk.

    Raises `Left`, `Refused`, `RoomFaults`.
    """
    room = screen.room
    after = room.room_with(changes)
    now = room.now()

    def foreseen(model: Room, history: History) -> Sequence[Forecast]:
        return room.forecasts(history, now, model)

    lines = room.ask(lambda history: effect(room.model, after, history, now, foreseen))
    shown = 8 if screen.app.size.height >= 36 else 3
    more = len(lines) - shown
    lines = [*lines[:shown], *([f"and {plural(more, 'more task')} in the same way."] if more > 0 else [])]
    files = ", ".join(change.file for change in changes)
    if not await sure(screen, f"{title}: the coming two weeks", [*lines, f"To be written: {files}"], "yes, save it"):
        raise Left
    room.change_files(changes)
    screen.changed()
    screen.draw()
    screen.say(f"Saved: {files}.")


async def save_at_once(screen: RoomScreen, title: str, changes: Sequence[FileChange]) -> None:
    """`save`, with what the disk or the room refuses said."""
    if not changes:
        screen.say("It stands at the end already.")
        return
    try:
        await save(screen, title, changes)
    except RoomFaults as found:
        more = f" And {plural(len(found.faults) - 1, 'more fault')}." if len(found.faults) > 1 else ""
        screen.say(f"Not saved: {plain(str(found.faults[0]))}.{more}")
    except RoundsError as refused:
        screen.say(f"Not saved: {plain(str(refused))}.")
