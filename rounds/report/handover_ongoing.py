"""What a handover says of what goes on: off normal, concerns and protocols."""

from __future__ import annotations

from collections.abc import Iterator

from rounds.core.concerns import open_concerns
from rounds.core.off_normal import off_normal
from rounds.core.protocols import running
from rounds.core.record import short
from rounds.report.following import (
    concern_json,
    concern_lines,
    off_normal_json,
    off_normal_line,
    protocol_json,
    protocol_line,
)
from rounds.report.handover import Line
from rounds.report.handover_shift import ShiftState, line


def off_normal_section(shift: ShiftState) -> Iterator[Line]:
    for left in off_normal(shift.room, shift.history, shift.now):
        yield line(
            "off_normal",
            left.thing if "/" in left.thing else short(left.thing),
            off_normal_line(shift.room, left, shift.now),
            strong=left.passed(shift.now),
            system=left.first.system,
            data=off_normal_json(shift.room, left, shift.now),
        )


def concern_section(shift: ShiftState) -> Iterator[Line]:
    for concern in open_concerns(shift.history, shift.now):
        yield line(
            "concerns",
            short(concern.id),
            "; ".join(concern_lines(shift.room, concern, shift.now)),
            strong=concern.look_at is not None and concern.look_at <= shift.now,
            system=concern.record.system,
            data={**concern_json(shift.room, concern, shift.now), "noted": concern.record.note},
        )


def protocol_section(shift: ShiftState) -> Iterator[Line]:
    for under in running(shift.room, shift.history, shift.now):
        due = under.next.due_at if under.next is not None else None
        yield line(
            "protocols",
            short(under.call.id),
            protocol_line(shift.room, under, shift.now),
            strong=due is not None and due <= shift.now,
            system=under.call.system,
            data={**protocol_json(shift.room, under), "called_for": under.call.note or None},
        )
