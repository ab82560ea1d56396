"""Rules fixed in the calendar, beside the examples of RFC 5545 and an independent library."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from itertools import islice, takewhile
from unittest import mock
from zoneinfo import ZoneInfo

import pytest
from dateutil.rrule import rrulestr
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.calendar import Calendar
from rounds.core.errors import CannotRead
from rounds.core.occurrences import Occurrences
from rounds.core.recurrence import Dates, RRule
from rounds.core.rrule_text import check_occurs, parse_rrule
from tests.support import utc

# RFC 5545 section 3.8.5.3, the examples with FREQ=DAILY, WEEKLY, MONTHLY or YEARLY (the last one: rule text of
# section 3.3.10, dates worked out for 2024). Each: rule, start, whether it goes on for ever, its dates.
# Where the RFC gives UNTIL in UTC for 09:00 in New York, it stands here as the last local date.
EXAMPLES = [
    ("Daily for 10 occurrences", "FREQ=DAILY;COUNT=10", "1997-09-02", False, "1997-09: 2-11"),
    (
        "Daily until 24 Dec 1997",
        "FREQ=DAILY;UNTIL=19971223",
        "1997-09-02",
        False,
        "1997-09: 2-30; 1997-10: 1-31; 1997-11: 1-30; 1997-12: 1-23",
    ),
    (
        "Every other day, forever",
        "FREQ=DAILY;INTERVAL=2",
        "1997-09-02",
        True,
        "1997-09: 2 4 6 8 10 12 14 16 18 20 22 24 26 28 30; "
        "1997-10: 2 4 6 8 10 12 14 16 18 20 22 24 26 28 30; "
        "1997-11: 1 3 5 7 9 11 13 15 17 19 21 23 25 27 29; 1997-12: 1 3",
    ),
    (
        "Every 10 days, 5 occurrences",
        "FREQ=DAILY;INTERVAL=10;COUNT=5",
        "1997-09-02",
        False,
        "1997-09: 2 12 22; 1997-10: 2 12",
    ),
    (
        "Every day in January for 3 years (YEARLY form)",
        "FREQ=YEARLY;UNTIL=20000131;BYMONTH=1;BYDAY=SU,MO,TU,WE,TH,FR,SA",
        "1998-01-01",
        False,
        "1998-01: 1-31; 1999-01: 1-31; 2000-01: 1-31",
    ),
    (
        "Every day in January for 3 years (DAILY form)",
        "FREQ=DAILY;UNTIL=20000131;BYMONTH=1",
        "1998-01-01",
        False,
        "1998-01: 1-31; 1999-01: 1-31; 2000-01: 1-31",
    ),
    (
        "Weekly for 10 occurrences",
        "FREQ=WEEKLY;COUNT=10",
        "1997-09-02",
        False,
        "1997-09: 2 9 16 23 30; 1997-10: 7 14 21 28; 1997-11: 4",
    ),
    (
        "Weekly until 24 Dec 1997",
        "FREQ=WEEKLY;UNTIL=19971223",
        "1997-09-02",
        False,
        "1997-09: 2 9 16 23 30; 1997-10: 7 14 21 28; 1997-11: 4 11 18 25; 1997-12: 2 9 16 23",
    ),
    (
        "Every other week, forever (WKST=SU)",
        "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
        "1997-09-02",
        True,
        "1997-09: 2 16 30; 1997-10: 14 28; 1997-11: 11 25; 1997-12: 9 23; 1998-01: 6 20; 1998-02: 3 17",
    ),
    (
        "Weekly TU,TH for five weeks (UNTIL)",
        "FREQ=WEEKLY;UNTIL=19971006;WKST=SU;BYDAY=TU,TH",
        "1997-09-02",
        False,
        "1997-09: 2 4 9 11 16 18 23 25 30; 1997-10: 2",
    ),
    (
        "Weekly TU,TH for five weeks (COUNT)",
        "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
        "1997-09-02",
        False,
        "1997-09: 2 4 9 11 16 18 23 25 30; 1997-10: 2",
    ),
    (
        "Every other week TU,TH, 8 occurrences",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        "1997-09-02",
        False,
        "1997-09: 2 4 16 18 30; 1997-10: 2 14 16",
    ),
    (
        "Monthly second-to-last Monday, 6 months",
        "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
        "1997-09-22",
        False,
        "1997-09: 22; 1997-10: 20; 1997-11: 17; 1997-12: 22; 1998-01: 19; 1998-02: 16",
    ),
    (
        "Monthly third-to-last day",
        "FREQ=MONTHLY;BYMONTHDAY=-3",
        "1997-09-28",
        True,
        "1997-09: 28; 1997-10: 29; 1997-11: 28; 1997-12: 29; 1998-01: 29; 1998-02: 26",
    ),
    (
        "Monthly 2nd and 15th, 10",
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
        "1997-09-02",
        False,
        "1997-09: 2 15; 1997-10: 2 15; 1997-11: 2 15; 1997-12: 2 15; 1998-01: 2 15",
    ),
    (
        "Every 18 months on 10th-15th, 10",
        "FREQ=MONTHLY;INTERVAL=18;COUNT=10;BYMONTHDAY=10,11,12,13,14,15",
        "1997-09-10",
        False,
        "1997-09: 10-15; 1999-03: 10-13",
    ),
    (
        "Every Tuesday, every other month",
        "FREQ=MONTHLY;INTERVAL=2;BYDAY=TU",
        "1997-09-02",
        True,
        "1997-09: 2 9 16 23 30; 1997-11: 4 11 18 25; 1998-01: 6 13 20 27; 1998-03: 3 10 17 24 31",
    ),
    (
        "Yearly June and July, 10",
        "FREQ=YEARLY;COUNT=10;BYMONTH=6,7",
        "1997-06-10",
        False,
        "1997-06: 10; 1997-07: 10; 1998-06: 10; 1998-07: 10; 1999-06: 10; 1999-07: 10; 2000-06: 10; "
        "2000-07: 10; 2001-06: 10; 2001-07: 10",
    ),
    (
        "Every third year day 1,100,200, 10",
        "FREQ=YEARLY;INTERVAL=3;COUNT=10;BYYEARDAY=1,100,200",
        "1997-01-01",
        False,
        "1997-01: 1; 1997-04: 10; 1997-07: 19; 2000-01: 1; 2000-04: 9; 2000-07: 18; 2003-01: 1; 2003-04: 10; "
        "2003-07: 19; 2006-01: 1",
    ),
    (
        "Every 20th Monday of the year",
        "FREQ=YEARLY;BYDAY=20MO",
        "1997-05-19",
        True,
        "1997-05: 19; 1998-05: 18; 1999-05: 17",
    ),
    (
        "Monday of ISO week 20",
        "FREQ=YEARLY;BYWEEKNO=20;BYDAY=MO",
        "1997-05-12",
        True,
        "1997-05: 12; 1998-05: 11; 1999-05: 17",
    ),
    (
        "Every Thursday in June-August",
        "FREQ=YEARLY;BYDAY=TH;BYMONTH=6,7,8",
        "1997-06-05",
        True,
        "1997-06: 5 12 19 26; 1997-07: 3 10 17 24 31; 1997-08: 7 14 21 28; 1998-06: 4 11 18 25; "
        "1998-07: 2 9 16 23 30; 1998-08: 6 13 20 27",
    ),
    (
        "US election day",
        "FREQ=YEARLY;INTERVAL=4;BYMONTH=11;BYDAY=TU;BYMONTHDAY=2,3,4,5,6,7,8",
        "1996-11-05",
        True,
        "1996-11: 5; 2000-11: 7; 2004-11: 2",
    ),
    (
        "3rd instance of TU,WE,TH in month (BYSETPOS=3), 3 months",
        "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
        "1997-09-04",
        False,
        "1997-09: 4; 1997-10: 7; 1997-11: 6",
    ),
    (
        "Second-to-last weekday of month (BYSETPOS=-2)",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
        "1997-09-29",
        True,
        "1997-09: 29; 1997-10: 30; 1997-11: 27; 1997-12: 30; 1998-01: 29; 1998-02: 26; 1998-03: 30",
    ),
    (
        "WKST=MO matters",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        "1997-08-05",
        False,
        "1997-08: 5 10 19 24",
    ),
    (
        "WKST=SU matters",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        "1997-08-05",
        False,
        "1997-08: 5 17 19 31",
    ),
    (
        "Invalid date (30 Feb) ignored",
        "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        "2007-01-15",
        False,
        "2007-01: 15 30; 2007-02: 15; 2007-03: 15 30",
    ),
    (
        "Last work day of the month (s.3.3.10)",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-1",
        "2024-01-31",
        True,
        "2024-01: 31; 2024-02: 29; 2024-03: 29; 2024-04: 30; 2024-05: 31; 2024-06: 28",
    ),
    (
        "Every Friday the 13th",
        "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
        "1997-09-02",
        True,
        "1998-02: 13; 1998-03: 13; 1998-11: 13; 1999-08: 13; 2000-10: 13",
    ),
]


def days(compact: str) -> list[date]:
    """``1997-09: 2 4-6`` as dates."""
    found = []
    for month in compact.split("; "):
        name, _, numbers = month.partition(": ")
        for part in numbers.split():
            low, _, high = part.partition("-")
            found += [date.fromisoformat(f"{name}-{day:02}") for day in range(int(low), int(high or low) + 1)]
    return found


def dates(text: str, start: str | date) -> Dates:
    start = date.fromisoformat(start) if isinstance(start, str) else start
    return Dates(parse_rrule(text), start)


def listed(text: str, start: str | date, at_most: int | None = None) -> list[date]:
    found = dates(text, start)
    return list(islice(found.after(found.start - timedelta(days=1)), at_most))


@pytest.mark.parametrize(("rule", "start", "forever", "expected"), [pytest.param(*e[1:], id=e[0]) for e in EXAMPLES])
def test_examples_of_the_rfc(rule, start, forever, expected):
    """The dates of each example, and no others."""
    wanted = days(expected)
    assert listed(rule, start, len(wanted) if forever else None) == wanted


# -- daylight saving (America/New_York) --------------------------------------------------------------

NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("local", "instant"),
    [
        pytest.param("2007-03-11T02:30", "2007-03-11T07:30", id="in the gap, the offset before it"),
        pytest.param("2007-11-04T01:30", "2007-11-04T05:30", id="in the fold, the first"),
    ],
)
def test_wall_times_at_the_change_of_clocks(local, instant):
    """RFC 5545 section 3.3.5: a missing time takes the offset before the gap, a doubled one is the first."""
    wall = datetime.fromisoformat(local)
    assert Calendar(NEW_YORK, time(0)).instant(wall.date(), wall.time()) == utc(instant)


@pytest.mark.parametrize(
    ("start", "clock", "instants"),
    [
        pytest.param(
            "2026-03-06", "09:00", ["03-06T14:00", "03-07T14:00", "03-08T13:00", "03-09T13:00"], id="wall clock kept"
        ),
        pytest.param(
            "2026-03-06", "02:30", ["03-06T07:30", "03-07T07:30", "03-08T07:30", "03-09T06:30"], id="in the gap"
        ),
        pytest.param(
            "2026-10-30", "01:30", ["10-30T05:30", "10-31T05:30", "11-01T05:30", "11-02T06:30"], id="in the fold"
        ),
    ],
)
def test_daily_over_the_change_of_clocks(start, clock, instants):
    """FREQ=DAILY;COUNT=4 keeps the wall clock (RFC 5545 sections 3.3.5 and 3.3.10)."""
    calendar = Calendar(NEW_YORK, time(0))
    occurrences = Occurrences(calendar, dates("FREQ=DAILY;COUNT=4", start), (time.fromisoformat(clock),), None, None)
    first = occurrences.first
    found = [first, *occurrences.following(first, utc("2027-01-01"))]
    assert [each.due for each in found] == [utc(f"2026-{each}") for each in instants]


# -- refusals ----------------------------------------------------------------------------------------

MONDAY = date(2026, 1, 5)

REFUSED = [
    # RFC 5545 section 3.3.10: what a rule must not be
    ("FREQ=DAILY;INTERVAL=0", "INTERVAL=0", "1"),
    ("FREQ=DAILY;INTERVAL=-1;COUNT=3", "INTERVAL=-1", "1"),
    ("FREQ=DAILY;COUNT=0", "COUNT=0", "1"),
    ("FREQ=DAILY;COUNT=3;UNTIL=20260106T140000Z", "UNTIL=20260106T140000Z", "UNTIL=20260106"),
    ("FREQ=DAILY;UNTIL=20260107T090000", "UNTIL=20260107T090000", "UNTIL=20260107"),
    ("FREQ=YEARLY;BYMONTHDAY=31;BYMONTH=2", "no date within five years", "change"),
    ("FREQ=WEEKLY;BYDAY=1MO;COUNT=3", "1MO", "MONTHLY or YEARLY"),
    ("FREQ=DAILY;BYMONTH=13;COUNT=3", "BYMONTH=13", "1 to 12"),
    ("FREQ=MONTHLY;BYMONTHDAY=0;COUNT=3", "BYMONTHDAY=0", "1 to 31"),
    ("FREQ=MONTHLY;BYMONTHDAY=32;COUNT=3", "BYMONTHDAY=32", "1 to 31"),
    ("FREQ=DAILY;BYSETPOS=1;COUNT=3", "BYSETPOS alone", "BYDAY"),
    ("FREQ=DAILY;COUNT=3;", "semicolon", "take the last semicolon away"),
    ("COUNT=3", "no FREQ", "FREQ=DAILY, WEEKLY, MONTHLY or YEARLY"),
    # and more
    ("FREQ=DAILY;COUNT=3;UNTIL=20260106", "both COUNT and UNTIL", "keep one"),
    ("", "empty", "FREQ=WEEKLY;BYDAY=MO,TH"),
    ("   ", "empty", "FREQ="),
    (";", "semicolon", "semicolon"),
    ("FREQ", "'FREQ'", "NAME=VALUE"),
    ("FREQ=", "'FREQ='", "NAME=VALUE"),
    ("=DAILY", "''", "FREQ"),
    ("FREQ=DAILY;;COUNT=3", "''", "single semicolons"),
    ("FREQ=DAILY,INTERVAL=2", "FREQ=DAILY,INTERVAL=2", "FREQ=DAILY"),
    ("FREQ=DAILY; INTERVAL=2", "' INTERVAL'", "INTERVAL"),
    ("RRULE:FREQ=DAILY", "RRULE:", "begin with FREQ="),
    ("FREQ=HOURLY", "FREQ=HOURLY", "again_after"),
    ("FREQ=SECONDLY", "FREQ=SECONDLY", "again_after"),
    ("FREQ=FORTNIGHTLY", "FREQ=FORTNIGHTLY", "WEEKLY"),
    ("FREQ=DAILY;FREQ=WEEKLY", "FREQ twice", "keep one"),
    ("FREQ=DAILY;BYHOUR=9", "BYHOUR", "at ="),
    ("FREQ=DAILY;BYMINUTE=9", "BYMINUTE", "at ="),
    ("FREQ=DAILY;BYSECOND=9", "BYSECOND", "at ="),
    ("FREQ=DAILY;DTSTART=20260101", "DTSTART", "use only"),
    ("FREQ=DAILY;INTERVAL=1.5", "INTERVAL=1.5", "whole number"),
    ("FREQ=DAILY;INTERVAL=1000000", "INTERVAL=1000000", "999999"),
    ("FREQ=DAILY;INTERVAL=٣", "INTERVAL=٣", "whole number"),
    ("FREQ=DAILY;COUNT=", "'COUNT='", "NAME=VALUE"),
    ("FREQ=DAILY;UNTIL=2026-01-07", "UNTIL=2026-01-07", "YYYYMMDD"),
    ("FREQ=DAILY;UNTIL=20260230", "UNTIL=20260230", "YYYYMMDD"),
    ("FREQ=DAILY;UNTIL=20250107", "no date within five years", "UNTIL"),
    ("FREQ=WEEKLY;BYDAY=MONDAY", "BYDAY=MONDAY", "MO,TH"),
    ("FREQ=WEEKLY;BYDAY=MO,", "BYDAY=", "MO,TH"),
    ("FREQ=WEEKLY;BYDAY=XX", "BYDAY=XX", "MO, TU, WE, TH, FR, SA, SU"),
    ("FREQ=WEEKLY;WKST=1MO", "WKST=1MO", "MO, TU"),
    ("FREQ=DAILY;BYDAY=+1MO", "+1MO", "MONTHLY or YEARLY"),
    ("FREQ=MONTHLY;BYDAY=0MO", "BYDAY=0MO", "1 to 5"),
    ("FREQ=MONTHLY;BYDAY=6MO", "BYDAY=6MO", "1 to 5"),
    ("FREQ=MONTHLY;BYDAY=-6MO", "BYDAY=-6MO", "-1 to -5"),
    ("FREQ=YEARLY;BYDAY=54MO", "BYDAY=54MO", "1 to 53"),
    ("FREQ=YEARLY;BYMONTH=3;BYDAY=6MO", "BYDAY=6MO", "1 to 5"),
    ("FREQ=YEARLY;BYWEEKNO=20;BYDAY=1MO", "1MO", "MO"),
    ("FREQ=WEEKLY;BYMONTHDAY=13", "BYMONTHDAY with FREQ=WEEKLY", "YEARLY or MONTHLY or DAILY"),
    ("FREQ=MONTHLY;BYYEARDAY=100", "BYYEARDAY with FREQ=MONTHLY", "YEARLY"),
    ("FREQ=MONTHLY;BYWEEKNO=20", "BYWEEKNO with FREQ=MONTHLY", "YEARLY"),
    ("FREQ=YEARLY;BYWEEKNO=54", "BYWEEKNO=54", "1 to 53"),
    ("FREQ=YEARLY;BYYEARDAY=367", "BYYEARDAY=367", "1 to 366"),
    ("FREQ=YEARLY;BYYEARDAY=0", "BYYEARDAY=0", "1 to 366"),
    ("FREQ=MONTHLY;BYMONTH=-1", "BYMONTH=-1", "1 to 12"),
    ("FREQ=MONTHLY;BYDAY=MO;BYSETPOS=367", "BYSETPOS=367", "1 to 366"),
    ("FREQ=MONTHLY;BYDAY=MO;BYSETPOS=0", "BYSETPOS=0", "1 to 366"),
    ("FREQ=MONTHLY;BYDAY=1MO;BYSETPOS=2", "no date within five years", "change"),
    ("FREQ=YEARLY;INTERVAL=6;BYMONTH=1;BYMONTHDAY=1", "no date within five years", "change"),
    ("FREQ=DAILY;COUNT=99999999999999999999", "COUNT=9999", "999999"),
]


@pytest.mark.parametrize(("text", "wrong", "remedy"), REFUSED, ids=[each[0] or "empty" for each in REFUSED])
def test_a_malformed_rule_is_refused_with_what_is_wrong_and_what_is_allowed(text, wrong, remedy):
    """One sentence: the part that is wrong, then the remedy."""
    with pytest.raises(CannotRead) as refusal:
        check_occurs(parse_rrule(text), MONDAY)
    said, _, allowed = str(refusal.value).rpartition("; ")
    assert wrong in said
    assert remedy in allowed or remedy in said
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        pytest.param("FREQ=DAILY;UNTIL=20260107", "2026-01: 5 6 7", id="UNTIL as a date is included"),
        pytest.param(
            "FREQ=WEEKLY;BYDAY=WE;COUNT=3", "2026-01: 7 14 21", id="a start that does not match is no occurrence"
        ),
        pytest.param("freq=daily;count=3", "2026-01: 5 6 7", id="names in any case"),
        pytest.param("COUNT=3;FREQ=DAILY", "2026-01: 5 6 7", id="parts in any order"),
        pytest.param("FREQ=MONTHLY;BYDAY=+1MO;COUNT=1", "2026-01: 5", id="a plus sign"),
        pytest.param("FREQ=WEEKLY;BYDAY=MO,MO;COUNT=2", "2026-01: 5 12", id="a day named twice comes once"),
        pytest.param("  FREQ=DAILY;COUNT=1  ", "2026-01: 5", id="blanks around it"),
    ],
)
def test_accepted_with_its_dates(text, expected):
    """What the RFC allows, or leaves to the program, is read like this (RFC 5545 sections 3.3.10 and 2)."""
    assert listed(text, MONDAY) == days(expected)


@given(st.text(alphabet="FREQDAILYWKMONTHBSPU=;,0123456789-+: \n\x00é", max_size=60))
@settings(max_examples=200)
def test_any_text_is_read_or_refused(text):
    """Nothing but the program's own refusal ever comes out."""
    try:
        found = parse_rrule(text)
    except CannotRead as refusal:
        found = str(refusal)
    assert isinstance(found, RRule) or "; " in found


# -- beside an independent library -------------------------------------------------------------------

WEEKDAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")


def numbers(low: int, high: int, at_most: int = 3, *, negative: bool = True):
    one = st.integers(low, high)
    signed = st.one_of(one, one.map(lambda n: -n)) if negative else one
    return st.lists(signed, min_size=1, max_size=at_most, unique=True).map(lambda found: ",".join(map(str, found)))


def weekdays(nth: int = 0):
    """Weekdays, all of them numbered or none: of ``MO,1MO`` dateutil makes an intersection."""
    plain = st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=4, unique=True)
    if nth:
        number = st.sampled_from([str(n) for n in (1, 2, nth, -1, -2, -nth)])
        numbered = st.lists(
            st.tuples(number, st.sampled_from(WEEKDAYS)).map("".join), min_size=1, max_size=3, unique=True
        )
        return st.one_of(plain, numbered).map(",".join)
    return plain.map(",".join)


@st.composite
def rules(draw):
    """Rules that RFC 5545 and dateutil read alike.

    Left out: WEEKLY with BYSETPOS (dateutil counts its first week from the start only) and BYWEEKNO without BYDAY
    (dateutil takes every day of the week, the RFC the weekday of the start).
    """
    freq = draw(st.sampled_from(["DAILY", "WEEKLY", "MONTHLY", "YEARLY"]))
    parts = [f"FREQ={freq}"]
    if draw(st.booleans()):
        parts.append(f"INTERVAL={draw(st.integers(1, 7))}")
    if draw(st.booleans()):
        parts.append(f"WKST={draw(st.sampled_from(WEEKDAYS))}")
    by = []
    if draw(st.booleans()):
        by.append(f"BYMONTH={draw(numbers(1, 12, negative=False))}")
    if freq != "WEEKLY" and draw(st.booleans()):
        by.append(f"BYMONTHDAY={draw(numbers(1, 31))}")
    if freq == "YEARLY" and draw(st.booleans()):
        by.append(f"BYYEARDAY={draw(numbers(1, 366))}")
    week = freq == "YEARLY" and draw(st.booleans())
    if week or draw(st.booleans()):
        by.append(f"BYDAY={draw(weekdays(0 if week or freq in ('DAILY', 'WEEKLY') else 4))}")
    if week:
        by.append(f"BYWEEKNO={draw(numbers(1, 53))}")
    if by and freq in ("MONTHLY", "YEARLY") and draw(st.booleans()):
        by.append(f"BYSETPOS={draw(numbers(1, 5, 2))}")
    end = draw(st.sampled_from(["", "COUNT", "UNTIL"]))
    if end == "COUNT":
        parts.append(f"COUNT={draw(st.integers(1, 20))}")
    if end == "UNTIL":
        parts.append(f"UNTIL={draw(st.dates(date(2026, 1, 1), date(2029, 1, 1))):%Y%m%d}")
    return ";".join(parts + draw(st.permutations(by)))


STARTS = st.dates(date(2024, 1, 1), date(2025, 12, 31))
HORIZON = date(2029, 12, 31)


def up_to_horizon(found: Dates, after: date) -> list[date]:
    return list(takewhile(lambda day: day <= HORIZON, found.after(after)))


def beside(text: str, start: date) -> list[date]:
    """What dateutil gives up to the horizon, kept from looking for a date up to the year 9999."""
    with mock.patch("datetime.MAXYEAR", HORIZON.year):
        found = [each.date() for each in rrulestr(text, dtstart=datetime.combine(start, time()))]
    return [day for day in found if day <= HORIZON]


@given(rules(), STARTS)
@settings(max_examples=80)
def test_random_rules_agree_with_dateutil(text, start):
    """Up to the horizon both give the same dates."""
    assert up_to_horizon(dates(text, start), start - timedelta(days=1)) == beside(text, start)


@given(rules(), STARTS, st.integers(-400, 1450))
@settings(max_examples=80)
def test_any_day_splits_the_list(text, start, away):
    """`until` and `after` of any day are the two halves of the whole list, also asked of a fresh rule."""
    whole = up_to_horizon(dates(text, start), start - timedelta(days=1))
    day = start + timedelta(days=away)
    fresh = dates(text, start)
    assert list(fresh.until(day)) == [each for each in reversed(whole) if each <= day]
    assert up_to_horizon(fresh, day) == [each for each in whole if each > day]


# -- cost --------------------------------------------------------------------------------------------


def expanded(text: str, start: date, asked: date) -> int:
    """How many periods are expanded to answer for one day."""
    found = dates(text, start)
    periods = []
    expand = found._period
    found._period = lambda number: periods.append(number) or expand(number)
    list(islice(found.after(asked), 3))
    list(islice(found.until(asked), 3))
    return len(periods)


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=DAILY",
        "FREQ=DAILY;BYDAY=MO,TH",
        "FREQ=WEEKLY;INTERVAL=2;BYDAY=TU",
        "FREQ=MONTHLY;BYDAY=-1FR",
        "FREQ=YEARLY",
    ],
)
def test_the_age_of_a_rule_costs_nothing(text):
    """A rule of 1920 expands no more periods than one of last year."""
    asked = date(2026, 3, 4)
    young, old = expanded(text, date(2024, 1, 1), asked), expanded(text, date(1920, 1, 1), asked)
    assert 0 < old <= young + 64


def bound_the_search(monkeypatch, at_most=40_000):
    """From here on a search over more periods than this fails."""
    periods = []
    expand = Dates._period

    def counted(self, number):
        periods.append(number)
        assert len(periods) <= at_most, "the search for a date does not end"
        return expand(self, number)

    monkeypatch.setattr(Dates, "_period", counted)


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30",
        "FREQ=MONTHLY;INTERVAL=12;BYMONTHDAY=31;BYMONTH=4",
        "FREQ=DAILY;INTERVAL=20000;BYMONTHDAY=31;BYMONTH=2",
        "FREQ=DAILY;INTERVAL=999999;BYMONTHDAY=31;BYMONTH=2",
        "FREQ=WEEKLY;INTERVAL=7000;BYMONTH=2;BYDAY=MO;UNTIL=20260401",
        "FREQ=WEEKLY;INTERVAL=999999;BYMONTH=2;BYDAY=MO;COUNT=999999",
        "FREQ=YEARLY;INTERVAL=999999;BYMONTH=2;BYMONTHDAY=30;COUNT=999999",
    ],
)
def test_an_impossible_rule_is_refused_without_a_long_search(text, monkeypatch):
    """The search for a first date is bounded: at most a few thousand periods, never up to the year 9999."""
    bound_the_search(monkeypatch)
    with pytest.raises(CannotRead):
        check_occurs(parse_rrule(text), date(2026, 3, 3))


@pytest.mark.parametrize(
    "text",
    [
        "FREQ=DAILY;COUNT=999999",
        "FREQ=WEEKLY;COUNT=999999",
        "FREQ=DAILY;BYDAY=MO;COUNT=999999",
        "FREQ=MONTHLY;COUNT=999999",
    ],
)
def test_a_large_count_costs_nothing_to_read(text, monkeypatch):
    """A rule of many dates does not have to be walked to its end before its first is known."""
    bound_the_search(monkeypatch, 1000)
    check_occurs(parse_rrule(text), date(2026, 3, 3))


def test_five_years_from_the_end_of_a_month_are_five_years():
    """30 January 2031 lies within five years of 31 January 2026."""
    check_occurs(parse_rrule("FREQ=YEARLY;INTERVAL=5;BYMONTH=1;BYMONTHDAY=30"), date(2026, 1, 31))


def test_count_ends_a_rule_asked_far_beyond_it():
    """Asked years after its last date, in either direction, COUNT has ended the rule."""
    found = dates("FREQ=WEEKLY;BYDAY=MO,TH;COUNT=5", MONDAY)
    assert list(found.after(date(2030, 1, 1))) == []
    assert next(found.until(date(2030, 1, 1))) == date(2026, 1, 19)
