"""Entries that are worth a second look: written late, doubtful, or struck (DOE-STD-1035-93, logkeeping)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import msgspec

from rounds.core.account import record_line, title_of
from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import Record
from rounds.core.recording import is_late_entry
from rounds.core.walk import place_name
from rounds.core.words import moment, plain


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """One of them."""

    record: Record
    """What was written; of something struck long after, the strike."""
    late: bool = False
    """Written down well after it happened."""
    flagged: bool = False
    """One of its values was doubted."""
    strike: Record | None = None

    @property
    def what(self) -> str:
        """``late and flagged``"""
        said = (("late", self.late), ("flagged", self.flagged), ("struck", self.strike is not None))
        return " and ".join(word for word, so in said if so)


def entries_between(history: History, begin: datetime, end: datetime) -> Iterator[Entry]:
    """Those that happened or were written from `begin` to `end`, in history order, then what was struck in that time.

    Of what was written then but happened more than a day before, nothing is said.
    """
    for record in history.since(begin - ONE_DAY, end):
        here = begin <= record.at
        late = is_late_entry(record) and (here or begin <= record.recorded <= end)
        flagged = here and any(value.flag for value in record.values)
        if late or flagged:
            yield Entry(record=record, late=late, flagged=flagged)
    strikes = (history.strike_of(id) for id in history.struck)
    found = [each for each in strikes if each is not None and begin <= each.at <= end]
    for strike in sorted(found, key=lambda each: each.key):
        target = history.get(strike.ref or "")
        flagged = target is not None and any(value.flag for value in target.values)
        yield Entry(
            record=target or strike,
            late=target is not None and is_late_entry(target),
            flagged=flagged,
            strike=strike,
        )


def entry_text(room: Room, history: History, entry: Entry, now: datetime) -> str:
    """``late: 12:03 Reef: TV done: Rinse the cup (late entry, written 14:10)``"""
    if entry.strike is not None and entry.record is entry.strike:
        strike = entry.strike
        what = title_of(room, strike, history) or "a record"
        when = moment(room.calendar, strike.at, now)
        return f"{entry.what}: {when} {plain(strike.by)} struck: {what} ({plain(strike.reason)})"
    return f"{entry.what}: {record_text(room, history, entry.record, now)}"


def entry_json(room: Room, entry: Entry) -> dict[str, Any]:
    """The record's id and time, and what is the matter with it."""
    return {
        "id": entry.record.id,
        "task": entry.record.task,
        "at": room.calendar.stamp(entry.record.at),
        "recorded": room.calendar.stamp(entry.record.recorded),
        "by": entry.record.by,
        "late": entry.late,
        "flagged": entry.flagged,
        "struck": entry.strike.reason if entry.strike is not None else None,
    }


def record_text(room: Room, history: History, record: Record, now: datetime) -> str:
    """``12:03 Reef: TV done: Rinse the cup; wet foam``"""
    where = place_name(room, record.system, None)
    text = f"{moment(room.calendar, record.at, now)} {where}{': ' if where else ''}"
    return f"{text}{record_line(room, history, record)}"
