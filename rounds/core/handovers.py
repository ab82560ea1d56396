"""Handovers as they were signed, read back and accepted.

The outgoing keeper prepares and signs, the incoming one goes through it item by item and accepts, in words and in
writing: HSE (UK), human factors: shift handover; US DOE-STD-1038-93, guide to good practices for operations turnover.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Room
from rounds.core.off_normal import OffNormal
from rounds.core.record import ACCEPTED, HANDOVER, Point, Record
from rounds.core.recording import Draft, clean
from rounds.core.words import moment, plain, quoted

SHIFT = "shift"
MID_SHIFT = "mid-shift"
UNATTENDED = "unattended"
HANDOVER_KINDS = (SHIFT, MID_SHIFT, UNATTENDED)
"""At the end of a shift, within one, and with nobody there to take over (DOE-STD-1038-93 knows all three)."""

REVIEW = "review"
"""The reason of an acceptance that is an owner's review of days."""


class Handover(msgspec.Struct, frozen=True):
    """A handover that was signed, and what became of it."""

    record: Record
    """`reason` is the shift's name, `note` the words of the outgoing, `points` its lines."""
    acceptances: tuple[Record, ...] = ()
    """In history order; more than one where two devices did not know of each other."""

    @property
    def id(self) -> str:
        return self.record.id

    @property
    def kind(self) -> str:
        """One of `HANDOVER_KINDS`."""
        return next((word for word in self.record.words if word in HANDOVER_KINDS), SHIFT)

    @property
    def accepted(self) -> Record | None:
        """The first acceptance; None: nobody has accepted it."""
        return self.acceptances[0] if self.acceptances else None

    @property
    def open(self) -> tuple[Point, ...]:
        """What the incoming keeper confirms or questions, numbered from 1 in this order."""
        return tuple(point for point in self.record.points if point.open)

    @property
    def questions(self) -> tuple[Point, ...]:
        """What was questioned, with the question as `answer`."""
        return tuple(point for record in self.acceptances for point in record.points if point.answer)


def handovers(records: Iterable[Record], now: datetime) -> list[Handover]:
    """Every handover signed by `now`, the oldest first, out of records that stand in any order."""
    known = sorted({record.id: record for record in records if record.at <= now}.values(), key=lambda each: each.key)
    accepted: dict[str, list[Record]] = {}
    for record in known:
        if record.kind == ACCEPTED and record.ref is not None:
            accepted.setdefault(record.ref, []).append(record)
    return [Handover(record, tuple(accepted.get(record.id, ()))) for record in known if record.kind == HANDOVER]


def reviews(records: Iterable[Record], now: datetime) -> list[Record]:
    """The days that were reviewed and signed by `now`, the oldest first; a point for each day is about its date."""
    found = (each for each in records if each.kind == ACCEPTED and each.ref is None and each.reason == REVIEW)
    return sorted((each for each in found if each.at <= now), key=lambda each: each.key)


def draft_handover(
    room: Room,
    shift: str,
    kind: str,
    points: Sequence[Point],
    at: datetime,
    note: str = "",
    *,
    left: Iterable[OffNormal] = (),
    again: Handover | None = None,
) -> Draft:
    """The handover of a shift, with every line of its report.

    Asks first when something is `left` off normal, and when the shift was handed over already: `again`.
    """
    if kind not in HANDOVER_KINDS:
        raise Refused(f"{quoted(kind)} is no kind of handover; write one of {', '.join(HANDOVER_KINDS)}")
    questions = [
        f"{plain(each.name)} is {each.state}, to be put back by {moment(room.calendar, each.until, at)}; "
        f"{'leave the room' if kind == UNATTENDED else 'hand over'} with it so?"
        for each in left
    ]
    if again is not None:
        when = moment(room.calendar, again.record.at, at)
        questions.append(f"{plain(again.record.by)} signed the handover of this shift {when}; sign another?")
    return Draft(
        kind=HANDOVER, at=at, note=clean(note), reason=clean(shift), words=(kind,), points=tuple(points),
        questions=tuple(questions),
    )  # fmt: skip


def to_accept(last: Handover | None) -> Handover:
    """The handover signed last; raises `Refused` when there is none, or it was accepted already."""
    if last is None:
        raise Refused("no handover is signed; the outgoing keeper signs it with rounds handover --sign")
    if last.accepted is not None:
        raise Refused(
            f"the handover signed last was accepted already, by {plain(last.accepted.by)}; sign the next one with "
            "rounds handover --sign, or name another with --read ID"
        )
    return last


def draft_accepted(
    room: Room, handover: Handover, answers: Mapping[str, str], by: str, at: datetime, note: str = ""
) -> Draft:
    """The acceptance of a handover by `by`: each open line confirmed, or questioned by its `answers`.

    A line is named by what it is about or by its number. Asks first when the keeper who signed accepts, except
    where the room was left unattended, or when it was accepted before. Raises `Refused` for a line that is not there.
    """
    signed = handover.record
    if at < signed.at:
        raise Refused("that is before it was signed; give a later time")
    said = {_line(handover, key).about: clean(text) for key, text in answers.items()}
    points = tuple(
        Point(about=point.about, text=point.text, answer=said.get(point.about, ""), open=point.open)
        for point in signed.points
        if point.open or point.about in said
    )
    questions = []
    if by == signed.by and handover.kind != UNATTENDED:
        questions.append(f"{plain(by)} signed this handover; accept it oneself?")
    if handover.accepted is not None:
        when = moment(room.calendar, handover.accepted.at, at)
        questions.append(f"{plain(handover.accepted.by)} accepted it {when}; accept it again?")
    return Draft(
        kind=ACCEPTED, at=at, ref=signed.id, note=clean(note), reason=signed.reason, points=points,
        questions=tuple(questions),
    )  # fmt: skip


def _line(handover: Handover, key: str) -> Point:
    """The line of the handover that a number or a key names."""
    if key.isascii() and key.isdigit() and 0 < int(key) <= len(handover.open):
        return handover.open[int(key) - 1]
    found = next((point for point in handover.record.points if point.about == key), None)
    if found is None:
        raise Refused(
            f"no line of the handover is {quoted(key)}; write its number or its key, as rounds handover --read shows"
        )
    return found


def draft_review(days: Sequence[Point], at: datetime, note: str = "", questions: tuple[str, ...] = ()) -> Draft:
    """The review of some days, one point for each; raises `Refused` when there is none."""
    if not days:
        raise Refused("none of these days has begun; there is nothing to review")
    return Draft(kind=ACCEPTED, at=at, note=clean(note), reason=REVIEW, points=tuple(days), questions=questions)
