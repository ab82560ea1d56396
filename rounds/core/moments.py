"""Reading the times that people type: ISO 8601, local to the room unless they carry an offset."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta

from rounds.core.calendar import Calendar
from rounds.core.durations import parse_span
from rounds.core.errors import CannotRead, Refused
from rounds.core.words import moment, quoted

_YEARS = range(1900, 2201)
_CLOCK = re.compile(r"T?[0-9]{1,2}:[0-9]{2}(:[0-9]{2})?", re.ASCII)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}|[0-9]{8}|[0-9]{4}-?W[0-9]{2}-?[1-7]", re.ASCII)
_LATER = "tomorrow 20:00, 20:00, 2 hours or 2026-11-25"
_EARLIER = "yesterday 18:00, 09:30, 30 minutes ago or 2026-11-25T09:30"
"""Times as they can be written, for those who wrote none."""


def parse_day(text: str) -> date:
    """A date such as ``2026-11-25``; raise `CannotRead`."""
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise CannotRead(f"{quoted(text)} is no date; type one such as 2026-11-25") from None
    if day.year not in _YEARS:
        raise CannotRead(f"{quoted(text)} lies outside the years {_YEARS[0]} to {_YEARS[-1]}; type another date")
    return day


def parse_moment(text: str, calendar: Calendar, now: datetime) -> datetime:
    """The instant of ISO 8601 text: a date is the start of its round day, a time lies in the one of `now`."""
    return _moment(text, text, calendar, now, "2026-11-25T09:30, 2026-11-25 or 09:30")


def _moment(text: str, typed: str, calendar: Calendar, now: datetime, examples: str) -> datetime:
    """The instant of `typed`, which is what has to be read of `text`."""
    typed = typed.strip()
    try:
        if _DAY.fullmatch(typed):
            day = date.fromisoformat(typed)
            if day.year in _YEARS:
                return calendar.start(day)
        elif _CLOCK.fullmatch(typed):
            clock = typed.lstrip("T")
            return calendar.wall(calendar.round_day(now), time.fromisoformat(clock if clock[1] != ":" else "0" + clock))
        elif re.match("[0-9]{4}", typed):
            at = datetime.fromisoformat(typed)
            if at.year in _YEARS:
                whole = at.replace(microsecond=0)
                return whole.astimezone(UTC) if at.tzinfo else calendar.instant(whole.date(), whole.time())
    except ValueError:
        pass
    raise CannotRead(f"{quoted(text)} is no time; write for example {examples}")


def parse_until(text: str, calendar: Calendar, now: datetime, since: datetime) -> datetime:
    """A time to postpone to: as `parse_moment`, ``tomorrow 20:00``, ``tomorrow``, or a span after `since`: ``2 hours``.

    ``tomorrow`` alone is the beginning of the round day that follows that of `since`.
    """
    typed = " ".join(text.casefold().split())
    if typed == "tomorrow":
        return calendar.end(calendar.round_day(since))
    if typed.startswith("tomorrow "):
        next_day = calendar.end(calendar.round_day(since))
        return _moment(text, typed.removeprefix("tomorrow "), calendar, next_day, _LATER)
    if re.fullmatch("[0-9]+ [a-z]+", typed):
        span = parse_span(typed)
        if span.exact:
            return since + span.nominal
        local = calendar.local(since)  # days and longer keep the wall clock
        return calendar.instant(span.after(local.date()), local.time())
    return _moment(text, text, calendar, now, _LATER)


def parse_later(text: str, calendar: Calendar, now: datetime) -> datetime:
    """A time after `now`, as `parse_until` reads it; raises `Refused` for one that is not."""
    later = parse_until(text, calendar, now, now)
    if later <= now:
        raise Refused(
            f"{moment(calendar, later, now)} is not later than {moment(calendar, now, now)}; give a later time"
        )
    return later


def parse_when(text: str, calendar: Calendar, now: datetime) -> datetime:
    """When something was done: as `parse_moment`, ``yesterday 18:00`` or ``30 minutes ago``."""
    typed = " ".join(text.casefold().split())
    if typed.endswith(" ago"):
        return now - parse_span(typed.removesuffix(" ago")).nominal
    if typed.startswith("yesterday "):
        day_before = calendar.start(calendar.round_day(now)) - timedelta(minutes=1)
        return _moment(text, typed.removeprefix("yesterday "), calendar, day_before, _EARLIER)
    return _moment(text, text, calendar, now, _EARLIER)
