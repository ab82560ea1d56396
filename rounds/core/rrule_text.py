"""RFC 5545 rules of dates as text: section 3.3.10, without hours and without what dates do not need."""

from __future__ import annotations

import re
from datetime import date

from rounds.core.errors import CannotRead
from rounds.core.recurrence import RRule, dates_of
from rounds.core.words import quoted

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")

_FREQUENCIES = ("DAILY", "WEEKLY", "MONTHLY", "YEARLY")

_NUMBERED = {
    "BYMONTHDAY": (31, True),
    "BYMONTH": (12, False),
    "BYSETPOS": (366, True),
    "BYYEARDAY": (366, True),
    "BYWEEKNO": (53, True),
}
"""The largest number of each part, and whether it may count from the end."""

_ONLY_WITH = {
    "BYWEEKNO": ("YEARLY",),
    "BYYEARDAY": ("YEARLY",),
    "BYMONTHDAY": ("YEARLY", "MONTHLY", "DAILY"),
}
"""RFC 5545 section 3.3.10, "MUST NOT be specified when"."""

_TIMES = ("BYHOUR", "BYMINUTE", "BYSECOND")
_BY_PARTS = ("BYDAY", *_NUMBERED)
_ALLOWED = ("FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", *_BY_PARTS)


def parse_rrule(text: str) -> RRule:
    """Read an RFC 5545 rule of dates; raise `CannotRead` saying what is wrong and what is allowed."""
    upper = text.strip().upper()
    if not upper:
        raise _wrong(text, "is empty", 'write for example "FREQ=WEEKLY;BYDAY=MO,TH"')
    if upper.startswith("RRULE:"):
        raise _wrong(text, 'begins with "RRULE:"', "leave that out and begin with FREQ=")
    if upper.endswith(";"):
        raise _wrong(text, "ends with a semicolon", "take the last semicolon away")
    parts: dict[str, str] = {}
    for part in upper.split(";"):
        name, equals, value = part.partition("=")
        if not equals or not value:
            raise _wrong(text, f"has {quoted(part)}, which is no NAME=VALUE", "join the parts with single semicolons")
        if name in _TIMES:
            raise _wrong(text, f"has {name}", f'leave {name} out and give the time with at = "09:00"')
        if name not in _ALLOWED:
            raise _wrong(text, f"has {quoted(name)}", "use only " + ", ".join(_ALLOWED))
        if name in parts:
            raise _wrong(text, f"has {name} twice", "keep one of them")
        parts[name] = value
    freq = parts.get("FREQ")
    if freq not in _FREQUENCIES:
        given = "has no FREQ" if freq is None else f"has FREQ={freq}"
        raise _wrong(text, given, "write FREQ=DAILY, WEEKLY, MONTHLY or YEARLY; for hours use again_after")
    rule = RRule(
        text=upper,
        freq=freq,
        interval=_positive(text, parts, "INTERVAL") or 1,
        count=_positive(text, parts, "COUNT"),
        until=_until(text, parts.get("UNTIL")),
        wkst=_weekday(text, "WKST", parts.get("WKST", "MO")),
        byday=_byday(text, freq, parts),
        bymonthday=_numbers(text, freq, parts, "BYMONTHDAY"),
        bymonth=_numbers(text, freq, parts, "BYMONTH"),
        bysetpos=_numbers(text, freq, parts, "BYSETPOS"),
        byyearday=_numbers(text, freq, parts, "BYYEARDAY"),
        byweekno=_numbers(text, freq, parts, "BYWEEKNO"),
    )
    if rule.count is not None and rule.until is not None:
        raise _wrong(text, "has both COUNT and UNTIL", "keep one of them")
    if rule.bysetpos and not any(name in parts for name in _BY_PARTS if name != "BYSETPOS"):
        raise _wrong(text, "has BYSETPOS alone", "put another BY part beside it, such as BYDAY")
    return rule


def check_occurs(rule: RRule, start: date) -> None:
    """Raise `CannotRead` when the rule has no date within five years of `start`."""
    from dateutil.relativedelta import relativedelta

    first = dates_of(rule, start).first
    if first is None or first > start + relativedelta(years=5):
        raise _wrong(
            rule.text,
            f"gives no date within five years of its start, {start.isoformat()}",
            "change the days, the months or UNTIL",
        )


def _wrong(text: str, what: str, remedy: str) -> CannotRead:
    return CannotRead(f'the rule "{text}" {what}; {remedy}')


def _positive(text: str, parts: dict[str, str], name: str) -> int | None:
    value = parts.get(name)
    if value is None:
        return None
    if not re.fullmatch("[0-9]{1,6}", value) or int(value) < 1:
        raise _wrong(text, f"has {name}={value}", f"{name} is a whole number from 1 up to 999999")
    return int(value)


def _until(text: str, value: str | None) -> date | None:
    if value is None:
        return None
    if re.fullmatch("[0-9]{8}T.*", value):
        raise _wrong(text, f"has UNTIL={value}", f"UNTIL is a date, the last day included: UNTIL={value[:8]}")
    try:
        if re.fullmatch("[0-9]{8}", value):
            return date(int(value[:4]), int(value[4:6]), int(value[6:]))
    except ValueError:
        pass
    raise _wrong(text, f"has UNTIL={value}", "UNTIL is a date written YYYYMMDD")


def _weekday(text: str, name: str, value: str) -> int:
    if value not in WEEKDAYS:
        raise _wrong(text, f"has {name}={value}", f"a weekday is one of {', '.join(WEEKDAYS)}")
    return WEEKDAYS.index(value)


def _byday(text: str, freq: str, parts: dict[str, str]) -> tuple[tuple[int, int], ...]:
    days = []
    for item in parts["BYDAY"].split(",") if "BYDAY" in parts else ():
        found = re.fullmatch(r"([+-]?[0-9]{1,2})?([A-Z]{2})", item)
        if not found:
            raise _wrong(text, f"has BYDAY={item}", "write weekdays such as MO,TH or -1FR")
        weekday = _weekday(text, "BYDAY", found[2])
        nth = int(found[1] or 0)
        if found[1]:
            if freq not in ("MONTHLY", "YEARLY"):
                raise _wrong(
                    text,
                    f"has the numbered day {item} with FREQ={freq}",
                    f"numbers go with MONTHLY or YEARLY; write {found[2]}",
                )
            if "BYWEEKNO" in parts:
                raise _wrong(text, f"has the numbered day {item} beside BYWEEKNO", f"write {found[2]}")
            largest = 5 if freq == "MONTHLY" or "BYMONTH" in parts else 53
            if not 1 <= abs(nth) <= largest:
                raise _wrong(text, f"has BYDAY={item}", f"the number is 1 to {largest} or -1 to -{largest}")
        days.append((weekday, nth))
    return tuple(days)


def _numbers(text: str, freq: str, parts: dict[str, str], name: str) -> tuple[int, ...]:
    if name not in parts:
        return ()
    if freq not in _ONLY_WITH.get(name, _FREQUENCIES):
        raise _wrong(text, f"has {name} with FREQ={freq}", f"{name} goes with FREQ={' or '.join(_ONLY_WITH[name])}")
    largest, negative = _NUMBERED[name]
    numbers = []
    for item in parts[name].split(","):
        if not re.fullmatch(r"[+-]?[0-9]{1,3}", item) or not (
            1 <= int(item) <= largest or (negative and -largest <= int(item) <= -1)
        ):
            backwards = f" or -1 to -{largest}" if negative else ""
            raise _wrong(text, f"has {name}={item}", f"{name} is 1 to {largest}{backwards}")
        numbers.append(int(item))
    return tuple(numbers)
