"""The round as JSON and as a plain sheet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from rounds.core.history import History
from rounds.core.items import LATER, MISSED, OPEN_STATES, OVERDUE, DueItem
from rounds.core.model import Room
from rounds.core.why import state_text, why
from rounds.core.words import clock, day_name, plain, plural
from rounds.report.waters import apart_since
from rounds.report.wrapping import wrapped


def select(items: Iterable[DueItem], *, system: str | None = None, all_items: bool = False) -> list[DueItem]:
    """The items of the round, of one system or of all; `all_items` adds what comes due after it."""
    return [item for item in items if (item.in_round or all_items) and (system is None or item.task.system == system)]


def sheet_json(room: Room, items: Iterable[DueItem], now: datetime) -> dict[str, Any]:
    """The items as plain values; times are RFC 3339 with the room's offset."""
    return {
        "room": room.name,
        "at": room.calendar.stamp(now),
        "round_day": room.calendar.round_day(now).isoformat(),
        "items": [item_json(room, item, now) for item in items],
    }


def item_json(room: Room, item: DueItem, now: datetime) -> dict[str, Any]:
    task = item.task
    return {
        "id": task.id,
        "system": task.system,
        "station": task.station or None,
        "title": task.title,
        "state": item.state,
        "importance": task.importance,
        "due_at": room.calendar.stamp(item.due_at),
        "fine_until": room.calendar.stamp(item.fine_until),
        "postponed_until": room.calendar.stamp(item.postponed_until),
        "could_not": item.could_not,
        "closed_at": room.calendar.stamp(item.closed_at),
        "closed_by": item.closed_by,
        "next_due_at": room.calendar.stamp(item.next_due_at),
        "last_done_at": room.calendar.stamp(item.last_done.at) if item.last_done else None,
        "last_done_by": item.last_done.by if item.last_done else None,
        "late_by": int(item.late_by.total_seconds()),
        "late_intervals": item.late_intervals,
        "missed": item.missed,
        "shift": task.shift.name if task.shift else None,
        "keeper": task.keeper,
        "takes": [id.partition("/")[2] if id.startswith(task.system + "/") else id for id in task.takes],
        "minutes": task.minutes,
        "why": why(room, item, now),
    }


def sheet_text(room: Room, history: History, items: Sequence[DueItem], now: datetime) -> str:
    """The items as a sheet of plain lines, in walking order: to read, print or have read aloud."""
    calendar = room.calendar
    lines = [plain(room.name), f"Round of {day_name(calendar.round_day(now))}, as it stands at {clock(calendar, now)}"]
    lines.append(count_text(items))
    missed = [item for item in items if item.state == MISSED]
    if missed:
        lines += ["", "Missed, not made up:"]
        lines += [f"  {_where(room, item)}: {plain(item.task.title)}, {state_text(room, item, now)}" for item in missed]
    place = None
    for item in items:
        if item.state == MISSED:
            continue
        if place != (item.task.system, item.task.station):
            place = (item.task.system, item.task.station)
            lines += ["", _heading(room, history, item, now)]
        lines += _item_lines(room, item, now)
    if len(items) == len(missed):
        lines += ["", "Nothing is due today."]
    return "\n".join(lines) + "\n"


def count_text(items: Sequence[DueItem]) -> str:
    """``12 done, 20 left, 2 late``"""
    closed = sum(1 for item in items if item.closed_at is not None)
    late = sum(1 for item in items if item.state == OVERDUE)
    left = sum(1 for item in items if item.state in OPEN_STATES and item.in_round)
    return f"{closed} done, {left} left, {late} late"


def _heading(room: Room, history: History, item: DueItem, now: datetime) -> str:
    system = room.system[item.task.system]
    zone = f" (zone {plain(system.zone)})" if system.zone else ""
    apart = apart_since(room, history, system, item.task.station, now)
    return f"{_where(room, item)}{zone}{f': {apart}' if apart else ''}"


def _where(room: Room, item: DueItem) -> str:
    system = room.system[item.task.system]
    station = room.stations.get((item.task.system, item.task.station))
    return plain(system.name) + (f", {plain(station.name)}" if station is not None and station.id else "")


def _item_lines(room: Room, item: DueItem, now: datetime) -> list[str]:
    mark = "x" if item.closed_at is not None else " "
    details = [state_text(room, item, now)]
    if item.could_not is not None:
        details.append(f"could not: {plain(item.could_not)}")
    if item.missed:
        details.append(f"{plural(item.missed, 'time')} missed since")
    if item.task.minutes and item.closed_at is None:
        details.append(f"{item.task.minutes} min")
    if item.task.importance in ("people", "life support") and item.state not in (LATER,) and item.closed_at is None:
        details.append(item.task.importance)
    text = f"[{mark}] {plain(item.task.title)}: {'; '.join(details)}"
    return wrapped(text, " " * 2, " " * 6)
