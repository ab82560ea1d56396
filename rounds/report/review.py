"""An owner's review of a day or a month: what was late, not done or missed and why, and entries to look at.

By task and cause, never by person.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from typing import Any

import msgspec

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.completion import FAILED, OUTCOMES, Completion, Judged, completions, judged
from rounds.core.errors import CannotRead, Refused
from rounds.core.handovers import draft_review
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import Point, Record
from rounds.core.recording import Draft
from rounds.core.walk import place_name
from rounds.core.words import MONTHS, day_name, moment, plain, plural, quoted
from rounds.report.entries import Entry, entries_between, entry_json, entry_text
from rounds.report.wrapping import wrapped

_MONTH = re.compile(r"[0-9]{4}-[0-9]{2}", re.ASCII)


class Period(msgspec.Struct, frozen=True):
    """A day or a month of round days."""

    first: date
    last: date

    @property
    def days(self) -> list[date]:
        return [self.first + number * ONE_DAY for number in range((self.last - self.first).days + 1)]

    @property
    def name(self) -> str:
        """``Wed 4 Mar 2026`` or ``Mar 2026``"""
        if self.first == self.last:
            return f"{day_name(self.first)} {self.first.year}"
        return f"{MONTHS[self.first.month - 1]} {self.first.year}"


class Review(msgspec.Struct, frozen=True, kw_only=True):
    """What a review is about."""

    period: Period
    found: tuple[Judged, ...]
    tasks: tuple[Completion, ...]
    """What was late or not done most often first."""
    entries: tuple[Entry, ...]
    texts: tuple[str, ...]
    """The entries in words."""
    signed: tuple[Record, ...]
    """The reviews of one of its days that were signed before, the oldest first."""

    @property
    def counts(self) -> dict[str, int]:
        return dict(Counter(each.outcome for each in self.found))


def day_period(day: date) -> Period:
    """One round day."""
    return Period(day, day)


def month_period(day: date, today: date) -> Period:
    """The month of a day, as far as it has begun."""
    first = day.replace(day=1)
    return Period(first, min((first + 31 * ONE_DAY).replace(day=1) - ONE_DAY, today))


def parse_period(text: str | None, calendar: Calendar, now: datetime) -> Period:
    """A day such as ``2026-03-04`` or a month such as ``2026-03``, as far as it has begun; None: the present day.

    Raises `CannotRead`, and `Refused` for one that has not begun.
    """
    today = calendar.round_day(now)
    try:
        if text is None:
            period = day_period(today)
        elif _MONTH.fullmatch(text.strip()):
            period = month_period(date.fromisoformat(f"{text.strip()}-01"), date.max)
        else:
            period = day_period(date.fromisoformat(text.strip()))
    except (ValueError, OverflowError):
        raise CannotRead(f"{quoted(text)} is no day and no month; write for example 2026-03-04 or 2026-03") from None
    if period.first > today:
        raise Refused(f"{period.name} has not begun; review a day up to {day_name(today)} {today.year}")
    return Period(period.first, min(period.last, today))


def review(room: Room, history: History, period: Period, now: datetime, signed: Iterable[Record] = ()) -> Review:
    """The review of a period as it stands at `now`; raises `Incomplete` where not enough of the history was kept."""
    begin, end = room.calendar.start(period.first), room.calendar.end(period.last)
    found = judged(room, history, begin, end, now)
    days = {_about(day) for day in period.days}
    entries = tuple(entries_between(history, begin, min(end, now)))
    return Review(
        period=period,
        found=tuple(found),
        tasks=tuple(completions(room, history, found, begin, end)),
        entries=entries,
        texts=tuple(entry_text(room, history, each, now) for each in entries),
        signed=tuple(each for each in signed if any(point.about in days for point in each.points)),
    )


def day_points(room: Room, found: Review) -> list[Point]:
    """A line for each day, as it is signed."""
    calendar = room.calendar
    counts = {day: Counter[str]() for day in found.period.days}
    for each in found.found:
        counts[each.day][each.outcome] += 1
    for entry in found.entries:
        day = calendar.round_day((entry.strike or entry.record).at)
        if day in counts:
            counts[day][f"{entry.what} entries"] += 1
    return [
        Point(about=_about(day), text=f"{day_name(day)} {day.year}: {_counts(of_day)}")
        for day, of_day in counts.items()
    ]


def draft_signed(room: Room, found: Review, by: str, at: datetime, note: str = "") -> Draft:
    """The signature of a keeper under a review.

    Asks first when its last day is not over, and when the same keeper has signed all of its days before.
    """
    questions = []
    if at < room.calendar.end(found.period.last):
        questions.append(f"{day_period(found.period.last).name} is not over; sign it as it stands?")
    days = {_about(day) for day in found.period.days}
    before = [each for each in found.signed if each.by == by and days <= {point.about for point in each.points}]
    if before:
        when = moment(room.calendar, before[-1].at, at)
        questions.append(f"{found.period.name}: {plain(by)} signed its review {when}; sign it again?")
    return draft_review(day_points(room, found), at, note, tuple(questions))


def _about(day: date) -> str:
    return f"day:{day.isoformat()}"


def _counts(counts: Counter[str]) -> str:
    due = sum(counts[outcome] for outcome in OUTCOMES)
    said = [f"{counts[outcome]} {outcome}" for outcome in OUTCOMES if counts[outcome]]
    said += [f"{number} {what}" for what, number in sorted(counts.items()) if what not in OUTCOMES]
    return ", ".join([f"{due} due", *said])


def review_json(room: Room, found: Review) -> dict[str, Any]:
    """As plain values; seconds, times with the room's offset."""
    stamp = room.calendar.stamp
    return {
        "room": room.name,
        "from": found.period.first.isoformat(),
        "to": found.period.last.isoformat(),
        **_counts_json(found.counts),
        "tasks": [
            {
                "id": each.task.id,
                "title": each.task.title,
                "importance": each.task.importance,
                **_counts_json(each.counts),
                "causes": [{"cause": cause, "times": times} for cause, times in each.causes],
            }
            for each in found.tasks
        ],
        "late": [
            {
                "id": each.task.id,
                "outcome": each.outcome,
                "due_at": stamp(each.due_at),
                "late_by": int(each.late_by.total_seconds()),
            }
            for each in found.found
            if each.outcome in FAILED
        ],
        "days": [
            {"day": point.about.removeprefix("day:"), "text": point.text} for point in day_points(room, found)
        ],
        "entries": [
            {**entry_json(room, each), "text": text} for each, text in zip(found.entries, found.texts, strict=True)
        ],
        "signed": [{"id": each.id, "by": each.by, "at": stamp(each.at), "note": each.note or None}
                   for each in found.signed],
    }  # fmt: skip


def _counts_json(counts: dict[str, int]) -> dict[str, int]:
    named = {outcome.replace(" ", "_"): counts.get(outcome, 0) for outcome in OUTCOMES}
    return {"due": sum(counts.values()), **named}


class Said(msgspec.Struct, frozen=True):
    """A line of a review in words."""

    text: str
    why: str = ""
    """Its causes; empty: none are known."""


def review_head(room: Room, found: Review, now: datetime) -> list[str]:
    """The counts, and who signed the review before."""
    lines = [f"{_counts(Counter(found.counts))}."]
    for each in found.signed:
        words = f': "{plain(each.note)}"' if each.note else ""
        of = plural(len(each.points), "day")
        lines.append(f"Reviewed {moment(room.calendar, each.at, now)} by {plain(each.by)}, {of}{words}.")
    return lines if found.signed else [*lines, "Not reviewed yet."]


def review_sections(room: Room, found: Review) -> list[tuple[str, list[Said]]]:
    """Title and lines of each section: by task, what was late or not done most often first; then the entries."""
    return [
        ("Late, not done or missed, most often first", [_task(room, each) for each in found.tasks if each.failed]),
        ("Late, struck and flagged entries", [Said(text) for text in found.texts]),
        ("Everything else that came due", [_task(room, each) for each in found.tasks if not each.failed]),
    ]


def review_text(room: Room, found: Review, now: datetime) -> str:
    """Head and sections, 80 columns wide."""
    lines = [plain(room.name), f"Review of {found.period.name}"]
    lines += [part for sentence in review_head(room, found, now) for part in wrapped(sentence, rest=" " * 4)]
    for title, said in review_sections(room, found):
        lines += ["", title.upper()]
        lines += [part for each in said for part in _said(each)] or ["  Nothing."]
    return "\n".join(lines) + "\n"


def _task(room: Room, each: Completion) -> Said:
    task = each.task
    where = place_name(room, task.system, task.station)
    alike = [f"{number} {outcome}" for outcome, number in each.counts.items()]
    said = alike[0] if len(alike) == 1 else _counts(Counter(each.counts))
    why = "; ".join(f"{plain(cause)}{f' ({times} times)' if times > 1 else ''}" for cause, times in each.causes)
    return Said(f"{where}: {plain(task.title)}: {said}", why)


def _said(each: Said) -> Iterator[str]:
    yield from wrapped(each.text, " " * 2, " " * 6)
    if each.why:
        yield from wrapped(each.why, " " * 6, " " * 10)
