"""From items to styled text. User text only ever becomes `Content`, never markup."""

from __future__ import annotations

from datetime import datetime

from textual.content import Content

from rounds.core.batches import standing
from rounds.core.history import History
from rounds.core.items import DONE, DUE, LATER, MISSED, OVERDUE, POSTPONED, DueItem
from rounds.core.model import IMPORTANCES, Reading, Room
from rounds.core.record import NOT_NEEDED
from rounds.core.units import show, show_band
from rounds.core.walk import Stop
from rounds.core.why import state_text, why
from rounds.core.words import moment, plain

SHAPES = {
    LATER: "·",
    DUE: "○",
    OVERDUE: "▲",
    POSTPONED: "»",
    DONE: "✓",
    NOT_NEEDED: "–",
    MISSED: "×",
}
"""One shape a state, so that nothing rests on colour alone."""

STYLES = {
    LATER: "$text-muted",
    DUE: "$text",
    OVERDUE: "bold $text-error",
    POSTPONED: "$text-warning",
    DONE: "$text-success",
    NOT_NEEDED: "$text-muted",
    MISSED: "$text-error",
}

MUTED = "$foreground 65%"
"""What stands beside something that tells more."""

URGENT = IMPORTANCES[:2]
"""Importances that are named beside what is late."""

LAST_VALUES = 3


def row(room: Room, item: DueItem, now: datetime, width: int, lines: int, current: bool) -> Content:
    """One item: pointer, shape and title, and its state in words at the right or on a second line."""
    style = STYLES[item.state]
    state = state_text(room, item, now)
    if item.could_not is not None and item.closed_at is None:
        state = f"could not; {state}"
    if item.missed:
        state = f"{state}, {item.missed} missed"
    if item.state == OVERDUE and item.task.importance in URGENT:
        state = f"{item.task.importance}, {state}"
    title = plain(item.task.title)
    if item.task.caution and item.closed_at is None:
        title += " !"
    faint = item.closed_at is not None or item.state in (LATER, MISSED)
    title_style = f"{'bold ' if current else ''}{'$text-muted' if faint else '$text'}"
    head = Content.assemble(("▸ " if current else "  ", "bold $text-accent"), (f"{SHAPES[item.state]} ", style))
    room_left = max(20, width - 4)
    if lines > 1:
        return Content.assemble(head, (fit(title, room_left), title_style), "\n    ", (fit(state, room_left), style))
    state = fit(state, min(len(state), room_left // 2))
    return Content.assemble(head, (fit(title, room_left - len(state) - 2), title_style), "  ", (state, style))


def fit(text: str, width: int, *, right: bool = False) -> str:
    """The text on exactly `width` columns, cut with an ellipsis or filled with blanks."""
    from rich.cells import cell_len, set_cell_size

    size = cell_len(text)
    if size > width:
        return set_cell_size(text, max(0, width - 1)) + "…"
    return " " * (width - size) + text if right else text + " " * (width - size)


def hanging(text: str, width: int) -> str:
    """The text on lines of at most `width` columns, those after the first indented two further."""
    from textwrap import wrap

    indent = " " * (len(text) - len(text.lstrip()))
    lines = wrap(text, max(20, width), subsequent_indent=f"{indent}  ", break_long_words=True, break_on_hyphens=False)
    return "\n".join(lines)


def stop_title(stop: Stop, apart: str = "") -> Content:
    """``Nursery raceway, Sump``, with the zone; below it what is said of a tank that is apart."""
    system, station = plain(stop.system.name), plain(stop.station.name)
    name = f"{system}, {station}" if station != system else system
    zone = f"  zone {plain(stop.system.zone)}" if stop.system.zone else ""
    tank = (f"\n◇ {apart}" if apart else "", "bold $text-warning")
    return Content.assemble((name, "bold"), (zone, "$text-muted"), tank)


def details(room: Room, history: History, item: DueItem, now: datetime, *, short: bool) -> Content:
    """Why, steps, look for, caution, the last values and the basis; where space is short what is needed at once."""
    task = item.task
    parts: list[Content] = []

    def say(heading: str, text: str, style: str = "") -> None:
        if text:
            parts.append(Content.assemble((f"{heading}  ", "bold"), (plain(text), style)))

    if not short:
        parts.append(Content.styled(plain(task.title), "bold $text-accent"))
        marks = [
            task.importance,
            f"{task.minutes} min" if task.minutes else "",
            plain(task.shift.name) if task.shift else "",
            _whose(history, item, now),
        ]
        parts.append(Content.styled("  ".join(mark for mark in marks if mark), "$text-muted"))
    say("Caution", task.caution, "$text-warning")
    if item.could_not is not None:
        say("Could not", item.could_not, "$text-warning")
    if task.light_check is not None:
        from rounds.water.programme import expected

        say("Lights now", expected(room.lights[task.light_check], room.calendar.local(now).time()))
    here = standing(history, now, (task.system, task.station))
    if here:
        from rounds.core.isolation import isolation
        from rounds.report.batches import isolation_text, stands_here

        say("Stands here", stands_here(here))
        clock = isolation(room, history, (task.system, task.station), now)
        say("Apart", isolation_text(room, clock, now) if clock is not None else "")
    if short:
        say("Last", last_text(room, item, now))
        for id in task.takes:
            say(plain(room.readings[id].name).capitalize(), reading_text(room, history, room.readings[id], now))
        say("Look for", task.look_for)
        say("Why", why(room, item, now))
        return Content("\n").join(parts)
    say("Why", why(room, item, now))
    for number, step in enumerate(task.steps, 1):
        parts.append(Content.assemble((f"{number}. ", "bold"), plain(step)))
    say("Look for", task.look_for)
    for id in task.takes:
        say(plain(room.readings[id].name).capitalize(), reading_text(room, history, room.readings[id], now))
    concerns = [
        concern for concern in history.concerns(now)
        if (concern.system, concern.station or "") == (task.system, task.station)
    ]  # fmt: skip
    for concern in concerns:
        say("Concern", f"{concern.note} ({concern.by}, {moment(room.calendar, concern.at, now)})", "$text-warning")
    say("Basis", task.basis, "$text-muted")
    return Content("\n\n").join(parts)


def _whose(history: History, item: DueItem, now: datetime) -> str:
    """``IK for TV``: whose work it is now; empty: everyone's."""
    if item.task.keeper is None and (item.task.shift is None or not item.task.shift.keepers):
        return ""
    from rounds.core.shifts import covering_at, covers, doers_text

    return doers_text(item.task, covering_at(covers(history, now), now))


def last_text(room: Room, item: DueItem, now: datetime) -> str:
    """``Mon 07:40 TV, wet foam``"""
    last = item.last_done
    if last is None:
        return "never recorded"
    note = f", {last.note}" if last.note else ""
    return f"{moment(room.calendar, last.at, now)} {last.by}{note}"


def reading_text(room: Room, history: History, reading: Reading, now: datetime) -> str:
    """The usual band and the last three values with their times."""
    band = show_band(reading, reading.low, reading.high)
    values = last_values(room, history, reading, now)
    usual = f"usual {band}; " if band else ""
    return f"{usual}last {', '.join(values)}" if values else f"{usual}no value yet"


def last_values(room: Room, history: History, reading: Reading, now: datetime) -> list[str]:
    """The last three values, newest first."""
    found = []
    for record in history.valued(reading.id).latest(now):
        for value in record.values:
            if value.reading == reading.id and value.value is not None:
                found.append(f"{value.bound or ''}{show(reading, value.value)} {moment(room.calendar, record.at, now)}")
        if len(found) >= LAST_VALUES:
            break
    return found[:LAST_VALUES]
