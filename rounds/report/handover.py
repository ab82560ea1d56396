"""The report of a shift: sections of lines, as it stands or as it was signed.

What it holds follows public guidance: HSE (UK), human factors: shift handover (prepared by the outgoing, gone through
by both, in words and in writing); US DOE-STD-1038-93 (checklist, off-normal conditions, acceptance), DOE-STD-1035-93
(late entries and corrections shown as such) and DOE-STD-1041-93 (limits beside values, what is out of them marked and
explained, equipment not in service shown as such). How it comes about from the records is in `handover_sections`; the
document that is shown or printed, and JSON, are made of it in `handover_forms`.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import msgspec

from rounds.core.calendar import Calendar
from rounds.core.handovers import MID_SHIFT, SHIFT, UNATTENDED, Handover
from rounds.core.model import Room
from rounds.core.record import Point, Record
from rounds.core.shifts import ROUND_DAY
from rounds.core.words import clock, day_name, moment, plain, plural

HEAD = ("room", "shift", "on", "next", "on_call", "last")
"""Keys of the sections at the head: who and when."""

TITLES = {
    "off_normal": "Off normal",
    "not_done": "Not done, and why",
    "missed": "Missed, not made up",
    "out_of_band": "Out of band",
    "concerns": "Open concerns",
    "protocols": "Protocols under way",
    "staged": "Changes made in steps",
    "refills": "To refill before the next shift ends",
    "next_due": "Due until the next shift ends",
    "done": "Done and seen",
    "systems": "Each system",
    "entries": "Late, struck and flagged entries",
}
"""The sections below the head, in their order; each key is the first part of what its lines are about."""

ANSWERED = frozenset(("off_normal", "not_done", "missed", "out_of_band", "concerns", "protocols", "refills"))
"""Sections whose lines the incoming keeper confirms or questions, one by one."""

LABELS = {"on": "In this shift", "next": "Next", "on_call": "On call", "last": "Last handover"}
"""Of the head, what stands before its lines."""


class Line(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a report; all text is as it may be shown."""

    about: str
    """``section:what``, alike in every report that has the line: ``off_normal:nursery/uv``."""
    text: str
    open: bool = False
    """Whether the incoming keeper has to answer it."""
    strong: bool = False
    """Whether it stands out: a time has passed, or it is time to act."""
    system: str = ""
    """Id of the system it is about; empty: the room, or not known any more."""
    data: dict[str, Any] = {}
    """What else JSON tells of it; not kept when it is signed."""
    number: int | None = None
    """Of an open line, counted from 1 through the whole report."""
    answer: str | None = None
    """None: nobody has accepted it; empty: confirmed; else who asked what."""

    @property
    def section(self) -> str:
        return self.about.partition(":")[0]


class Report(msgspec.Struct, frozen=True, kw_only=True):
    """What one shift tells the next."""

    lines: tuple[Line, ...]
    """In the order of the sections."""
    at: datetime
    """As it stands at this instant; when it was signed."""
    kind: str
    """One of `rounds.core.handovers.HANDOVER_KINDS`."""
    shift: str
    begins: datetime | None
    """Of the shift; None in what was signed without saying so."""
    ends: datetime | None
    signed: Handover | None
    """Of a report as it stands the handover that was signed last; else the one that it is."""
    read_back: bool = False
    """Whether it is shown as it was signed."""

    def section(self, key: str) -> tuple[Line, ...]:
        return tuple(line for line in self.lines if line.section == key)

    @property
    def open(self) -> tuple[Line, ...]:
        """What the incoming keeper confirms or questions."""
        return tuple(line for line in self.lines if line.open)

    @property
    def again(self) -> Handover | None:
        """The handover of the same shift that was signed before; within a shift there may be many."""
        last = self.signed
        same = last is not None and self.begins is not None and last.record.at >= self.begins
        if last is None or not same or MID_SHIFT in (self.kind, last.kind) or last.record.reason != self.shift:
            return None
        return last

    @property
    def points(self) -> tuple[Point, ...]:
        """Its lines as they are signed."""
        return tuple(Point(about=line.about, text=line.text, open=line.open, strong=line.strong) for line in self.lines)


def numbered(lines: Iterable[Line]) -> tuple[Line, ...]:
    """The lines with those that are open numbered from 1."""
    found: list[Line] = []
    number = 0
    for line in lines:
        number += line.open
        found.append(msgspec.structs.replace(line, number=number) if line.open else line)
    return tuple(found)


def signed_report(handover: Handover) -> Report:
    """A handover exactly as it was signed, with the answers of those who accepted it."""
    record = handover.record
    answers: dict[str, list[str]] = {}
    for accepted in handover.acceptances:
        for point in accepted.points:
            asked = [f"{plain(accepted.by)} asks: {plain(point.answer)}"] if point.answer else []
            answers.setdefault(point.about, []).extend(asked)
    lines = [
        Line(
            about=point.about, text=plain(point.text), open=point.open, strong=point.strong,
            answer="; ".join(answers[point.about]) if point.about in answers else None,
        )
        for point in record.points
    ]  # fmt: skip
    begins, ends = _interval(next((p.about for p in record.points if p.about.startswith("shift:")), ""))
    return Report(
        lines=numbered(lines), at=record.at, kind=handover.kind, shift=record.reason or ROUND_DAY,
        begins=begins, ends=ends, signed=handover, read_back=True,
    )  # fmt: skip


def interval(calendar: Calendar, begins: datetime, ends: datetime) -> str:
    """An ISO 8601 interval with the room's offsets; what the line of a shift is about."""
    return f"{calendar.stamp(begins)}/{calendar.stamp(ends)}"


def _interval(about: str) -> tuple[datetime, datetime] | tuple[None, None]:
    """The two ends out of what the line of a shift is about."""
    begins, _, ends = about.partition(":")[2].partition("/")
    try:
        return datetime.fromisoformat(begins), datetime.fromisoformat(ends)
    except ValueError:
        return None, None


# -- what all formats say alike ----------------------------------------------------------------------


def title(report: Report) -> str:
    """``Handover of the early shift``"""
    shift = "the round day" if report.shift == ROUND_DAY else f"the {plain(report.shift)} shift"
    if report.kind == MID_SHIFT:
        return f"Handover within {shift}"
    if report.kind == UNATTENDED:
        return f"Room left unattended after {shift}"
    return f"Handover of {shift}"


def stands(room: Room, report: Report) -> str:
    """``As it stands on Wed 4 Mar 2026 at 12:45.``; for what was signed, as it stood when it was."""
    local = room.calendar.local(report.at)
    when = f"{day_name(local.date())} {local.year} at {clock(room.calendar, report.at)}"
    return f"As it was signed on {when}." if report.read_back else f"As it stands on {when}."


def head(report: Report) -> list[tuple[str, list[Line]]]:
    """Label and lines of who is on, who comes, who is on call, and of the handover before."""
    found = [(label, list(report.section(key))) for key, label in LABELS.items()]
    return [(label, lines) for label, lines in found if lines]


def sections(report: Report) -> list[tuple[str, tuple[Line, ...]]]:
    """Title and lines of every section below the head, empty ones too: that nothing stands there is worth knowing.

    What was signed without lines has none.
    """
    if report.read_back and not report.lines:
        return []
    return [(name, report.section(key)) for key, name in TITLES.items()]


def signatures(room: Room, report: Report, now: datetime) -> list[str]:
    """Of what was signed: who signed it with which words, who accepted it, and how much was questioned."""
    if report.signed is None or not report.read_back:
        return []
    handover, calendar = report.signed, room.calendar
    signed = handover.record
    found = [f"Signed {moment(calendar, signed.at, now)} by {plain(signed.by)}{_words(signed)}."]
    for accepted in handover.acceptances:
        asked = sum(1 for point in accepted.points if point.answer)
        count = f"{len(accepted.points) - asked} confirmed, {asked} questioned" if accepted.points else "read"
        found.append(
            f"Accepted {moment(calendar, accepted.at, now)} by {plain(accepted.by)}: {count}{_words(accepted)}."
        )
    return found if handover.acceptances else [*found, "Not accepted yet."]


def _words(record: Record) -> str:
    return f': "{plain(record.note)}"' if record.note else ""


def list_line(room: Room, handover: Handover, now: datetime) -> str:
    """``yesterday 18:55  late, IK: everything on; accepted 07:04 by OM, 1 question``"""
    signed, accepted = handover.record, handover.accepted
    kind = f"({handover.kind})" if handover.kind != SHIFT else ""
    what = " ".join(part for part in (plain(signed.reason), kind) if part)
    text = f"{moment(room.calendar, signed.at, now)}  {f'{what}, ' if what else ''}{plain(signed.by)}"
    if signed.note:
        text += f": {plain(signed.note)}"
    if accepted is None:
        return f"{text}; not accepted yet"
    questions = f", {plural(len(handover.questions), 'question')}" if handover.questions else ""
    return f"{text}; accepted {moment(room.calendar, accepted.at, now)} by {plain(accepted.by)}{questions}"
