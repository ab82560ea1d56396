"""Rules as a keeper chooses them: again after a time, on these days, once, or when called; and read back."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from itertools import islice
from typing import Any

from rounds.core.ahead import times_of
from rounds.core.durations import parse_span
from rounds.core.errors import CannotRead
from rounds.core.history import History
from rounds.core.model import Called, Room, Task
from rounds.core.rrule_text import WEEKDAYS, parse_rrule
from rounds.core.why import dates_text, rule_text
from rounds.core.words import DAYS, full_moment, quoted

RULE_KEYS = ("again_after", "rrule", "on_dates", "once", "called", "at")
"""The keys of a rule; another rule leaves none of the others."""

DAYS_WANTED = 'weekdays, days of the month, "last Friday", or RFC 5545 text'
DAY_EXAMPLES = ("every day", "every 2 days", "Mon, Thu", "every 2 weeks on Mon", "1, 15", "last day of the month",
                "last Friday", "first Monday, third Monday")  # fmt: skip

_NTH = {"first": 1, "second": 2, "third": 3, "fourth": 4, "fifth": 5, "last": -1}
_WEEKDAY = {name.casefold(): place for place, name in enumerate(DAYS)}
_EVERY = re.compile(r"every\s+(?:(\d{1,3})\s+)?(day|week|month)s?(?:\s+on\s+(.+))?")


def again_after(text: str) -> dict[str, Any]:
    """The keys of a rule counted from the last time; raises `CannotRead`."""
    return {"again_after": str(parse_span(text.strip().casefold()))}


def on_days(text: str) -> dict[str, Any]:
    """The keys of a rule fixed in the calendar, from days as they are said or from RFC 5545 text.

    Days may be said with their times: "last Friday at 10:00".
    """
    if re.match(r"(rrule:|freq\s*=)", text.strip(), re.IGNORECASE):
        return {"rrule": parse_rrule(text.strip()).text}
    days, _, times = text.partition(" at ")
    return {"rrule": parse_rrule(_rrule(days)).text, **read_times(times)}


def once(text: str) -> dict[str, Any]:
    """The keys of a rule that comes due one time, from a date or a date and a time."""
    try:
        return {"once": date.fromisoformat(text.strip())}
    except ValueError:
        pass
    try:
        found = datetime.fromisoformat(text.strip())
    except ValueError:
        raise CannotRead(f"{quoted(text)} is no date; write 2026-12-01, or 2026-12-01 09:00") from None
    if found.tzinfo is not None:
        raise CannotRead(f"{quoted(text)} has an offset; write the room's own time, such as 2026-12-01 09:00")
    return {"once": found}


def on_dates(text: str) -> dict[str, Any]:
    """The keys of a rule of days that no other rule expresses; raises `CannotRead`."""
    days = _listed(text)
    if not days:
        raise CannotRead("no date is said; write one or several, such as 2026-12-03, 2026-12-05")
    try:
        return {"on_dates": [date.fromisoformat(each) for each in days]}
    except ValueError:
        raise CannotRead(f"{quoted(text)} says no dates; write them such as 2026-12-03, 2026-12-05") from None


def dates_as_typed(days: object) -> str:
    """The days of a list as `on_dates` reads them."""
    return ", ".join(str(day) for day in days) if isinstance(days, list) else ""


def called() -> dict[str, Any]:
    """The keys of a rule that only a protocol calls."""
    return {"called": True}


def read_times(text: str) -> dict[str, Any]:
    """The key of the times of day, one or several; raises `CannotRead`."""
    times = _listed(text)
    for each in times:
        if not re.fullmatch("([01][0-9]|2[0-3]):[0-5][0-9]", each):
            raise CannotRead(f"{quoted(each)} is no time of day; write hours and minutes, such as 09:00, 17:00")
    return {"at": times[0] if len(times) == 1 else times} if times else {}


def _listed(text: str) -> list[str]:
    """What is said with commas or "and" between."""
    return [each.strip() for each in re.split(r",|\band\b", text) if each.strip()]


def rule_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """The keys of the rule among those of a table."""
    return {key: values[key] for key in RULE_KEYS if key in values}


def rule_words(values: Mapping[str, Any]) -> str:
    """The keys of a rule as they would be typed, where no room can read them back."""
    given = rule_values(values)
    at = given.pop("at", None)
    times = "" if at is None else f" at {' and '.join(at) if isinstance(at, list) else at}"
    for key, value in given.items():
        if key == "rrule":
            return _dates_words(str(value)) + times
        if key == "on_dates":
            return f"on {dates_as_typed(value)}{times}"
        said = {"again_after": f"again after {value}", "once": f"once, {value}", "called": "when it is called"}
        return said[key] + times
    return times.strip()


def _dates_words(text: str) -> str:
    try:
        return dates_text(parse_rrule(text))
    except CannotRead:
        return text


def days_as_typed(text: str) -> str:
    """The days of RFC 5545 text in words where `on_days` reads them back, else as they are."""
    words = _dates_words(text)
    try:
        same = on_days(words) == on_days(text)
    except CannotRead:
        return text
    return words if same else text


def read_back(room: Room, history: History, task: Task, now: datetime, count: int = 5) -> list[str]:
    """The rule in a sentence, then its next dates, each with until when it is fine."""
    sentence = rule_text(task)
    return [f"{sentence[:1].upper()}{sentence[1:]}.", *_next_dates(room, history, task, now, count)]


def _next_dates(room: Room, history: History, task: Task, now: datetime, count: int) -> Iterator[str]:
    if isinstance(task.rule, Called):
        return
    calendar = room.calendar

    def said(at: datetime) -> str:
        return full_moment(calendar, at, now)

    found = list(islice(times_of(room, history, task, now), count))
    for each in found:
        yield f"{said(each.due_at)}, fine until {said(each.fine_until)}"
    if not found:
        yield "It comes due no more."


# -- days as they are said -----------------------------------------------------------------------------


def _rrule(text: str) -> str:
    said = " ".join(text.casefold().replace("the ", "").split())
    every = _EVERY.fullmatch(said)
    if every:
        number, unit, days = every[1], every[2], every[3]
        frequency = {"day": "DAILY", "week": "WEEKLY", "month": "MONTHLY"}[unit]
        interval = f";INTERVAL={int(number)}" if number and int(number) != 1 else ""
        if days is None or unit == "day":
            if days is not None:
                raise _unknown(text)
            return f"FREQ={frequency}{interval}"
        return f"{_of_days(text, days, frequency)}{interval}"
    return _of_days(text, said, "")


def _of_days(text: str, said: str, frequency: str) -> str:
    """The days of a week or month; `frequency` where it was said."""
    parts = _listed(said.replace(" of month", ""))
    weekdays = [_weekday(part) for part in parts]
    if parts and all(day is not None for day in weekdays) and frequency in ("", "WEEKLY"):
        return f"FREQ=WEEKLY;BYDAY={','.join(day or '' for day in weekdays)}"
    days = [_month_day(part) for part in parts]
    if parts and all(day is not None for day in days) and frequency in ("", "MONTHLY"):
        return f"FREQ=MONTHLY;BYMONTHDAY={','.join(day or '' for day in days)}"
    numbered = [_numbered(part) for part in parts]
    if parts and all(day is not None for day in numbered) and frequency in ("", "MONTHLY"):
        return f"FREQ=MONTHLY;BYDAY={','.join(day or '' for day in numbered)}"
    raise _unknown(text)


def _weekday(word: str) -> str | None:
    """``MO`` for "Mon", "monday" or "mondays"."""
    place = _WEEKDAY.get(word[:3])
    full = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    if place is None or not (full[place].startswith(word) or word == f"{full[place]}s"):
        return None
    return WEEKDAYS[place]


def _month_day(word: str) -> str | None:
    if word in ("last", "last day", "day last"):
        return "-1"
    found = re.fullmatch(r"(?:day )?(\d{1,2})(?:st|nd|rd|th|\.)?", word)
    return str(int(found[1])) if found else None


def _numbered(words: str) -> str | None:
    nth, _, day = words.partition(" ")
    weekday = _weekday(day) if day else None
    return f"{_NTH[nth]}{weekday}" if nth in _NTH and weekday is not None else None


def _unknown(text: str) -> CannotRead:
    return CannotRead(
        f'{quoted(text)} says no days; write for example "Mon, Thu", "1, 15", "last Friday" or "every 2 days"'
    )
