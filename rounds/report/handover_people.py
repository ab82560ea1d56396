"""Who hands over to whom, and when: the head of a handover."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from rounds.core.calendar import ONE_DAY
from rounds.core.handovers import MID_SHIFT, UNATTENDED, Handover, handovers
from rounds.core.record import short
from rounds.core.shifts import Duty, Hand, on_call, on_duty
from rounds.core.words import clock, day_name, moment, plain
from rounds.report.handover import Line, interval, list_line
from rounds.report.handover_shift import ShiftState


def people_section(shift: ShiftState, signed: Handover | None) -> Iterator[Line]:
    room, duty = shift.room, shift.duty
    yield Line(
        about=f"shift:{interval(shift.calendar, duty.begins, duty.ends)}",
        text=_span(shift, duty),
        data={"name": duty.name},
    )
    for hand in _on(shift):
        yield Line(about=f"on:{hand.initials}", text=_hand_text(hand), data=_hand_json(hand))
    yield _next_line(shift)
    for hand in on_call(room, shift.history, shift.now):
        yield Line(about=f"on_call:{hand.initials}", text=_hand_text(hand), data=_hand_json(hand))
    if signed is not None:
        yield from _last(shift, signed)


def _on(shift: ShiftState) -> list[Hand]:
    """Who has the shift; who has recorded in it because the next one has begun already is not among them."""
    coming = {hand.initials for hand in on_duty(shift.room, shift.history, shift.next, shift.now) if not hand.recorded}
    hands = on_duty(shift.room, shift.history, shift.duty, shift.now)
    return [hand for hand in hands if not (hand.recorded and hand.initials in coming)]


def _next_line(shift: ShiftState) -> Line:
    after = shift.next
    who = [hand for hand in on_duty(shift.room, shift.history, after, shift.now) if not hand.recorded]
    names = "; ".join(_hand_text(hand) for hand in who) or "nobody is named"
    said = f"{_span(shift, after)}: {names}"
    if after is shift.duty:
        said = f"this shift goes on until {moment(shift.calendar, after.ends, shift.now)}"
    if shift.kind == UNATTENDED:
        said = f"nobody until {moment(shift.calendar, after.begins, shift.now)}; then {said}"
    return Line(
        about=f"next:{interval(shift.calendar, after.begins, after.ends)}",
        text=said,
        data={
            "shift": after.name,
            "from": shift.calendar.stamp(after.begins),
            "to": shift.calendar.stamp(after.ends),
            "keepers": [_hand_json(hand) for hand in who],
        },
    )


def _last(shift: ShiftState, signed: Handover) -> Iterator[Line]:
    about = f"last:{short(signed.id)}"
    yield Line(about=about, text=list_line(shift.room, signed, shift.now), strong=signed.accepted is None)
    for record in signed.acceptances:
        for number, point in enumerate(point for point in record.points if point.answer):
            asked = f"{plain(record.by)} asks: {plain(point.answer)} (about: {plain(point.text)})"
            yield Line(about=f"{about}-{short(record.id)}-{number + 1}", text=asked)
    for other in _left_open(shift, signed):
        yield Line(about=f"last:{short(other.id)}", text=list_line(shift.room, other, shift.now), strong=True)


def _left_open(shift: ShiftState, last: Handover) -> Iterator[Handover]:
    """What was signed in the half day before the last, and nobody has accepted.

    Within a shift, or by another device that did not know of the last.
    """
    yesterday = shift.calendar.start(shift.calendar.round_day(shift.now)) - ONE_DAY  # so far the report reads anyway
    begin = max(yesterday, last.record.at - ONE_DAY / 2)
    known = handovers(shift.history.since(begin, shift.now), shift.now)
    for place, each in enumerate(known):
        if each.id != last.id and each.accepted is None and not any(_instead(later, each) for later in known[place:]):
            yield each


def _instead(later: Handover, earlier: Handover) -> bool:
    """Whether the shift was handed over once more on the same device, which asked first."""
    one, other = later.record, earlier.record
    same = (one.reason, later.kind, one.device) == (other.reason, earlier.kind, other.device)
    return same and one.id != other.id and later.kind != MID_SHIFT


def _span(shift: ShiftState, duty: Duty) -> str:
    """``early shift, Wed 4 Mar 2026, 07:00 to 13:00``"""
    name = f"{plain(duty.name)} shift" if duty.shift is not None else duty.name
    begins, ends = clock(shift.calendar, duty.begins), clock(shift.calendar, duty.ends)
    return f"{name}, {day_name(duty.day)} {duty.day.year}, {begins} to {ends}"


def _hand_text(hand: Hand) -> str:
    text = f"{plain(hand.initials)}, {plain(hand.name)}" if hand.name else plain(hand.initials)
    if hand.covers_for:
        text += f" (covers {plain(hand.covers_for)})"
    return f"{text} (recorded in this shift)" if hand.recorded else text


def _hand_json(hand: Hand) -> dict[str, Any]:
    return {
        "keeper": hand.initials,
        "name": hand.name or None,
        "covers_for": hand.covers_for or None,
        "recorded": hand.recorded,
    }
