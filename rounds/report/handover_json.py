"""A handover as plain values."""

from __future__ import annotations

from typing import Any

from rounds.core.handovers import Handover
from rounds.core.model import Room
from rounds.core.record import Record
from rounds.report.handover import HEAD, TITLES, Line, Report


def handover_json(room: Room, report: Report) -> dict[str, Any]:
    """One list of lines for each section; times are RFC 3339 with the room's offset, what does not apply is null."""
    stamp = room.calendar.stamp
    names = [line.text for line in report.section("room")]
    return {
        "room": names[0] if names else room.name,
        "at": stamp(report.at),
        "shift": report.shift,
        "kind": report.kind,
        "from": stamp(report.begins),
        "to": stamp(report.ends),
        **{key: [_line(line) for line in report.section(key)] for key in (*HEAD[2:], *TITLES)},
        "signed": _signed(room, report.signed),
        "accepted": _accepted(room, report.signed),
    }


def _line(line: Line) -> dict[str, Any]:
    return {
        **line.data,
        "about": line.about,
        "text": line.text,
        "open": line.open,
        "strong": line.strong,
        "number": line.number,
        "answer": line.answer,
    }


def _signed(room: Room, handover: Handover | None) -> dict[str, Any] | None:
    if handover is None:
        return None
    return {**_who(room, handover.record), "shift": handover.record.reason or None, "kind": handover.kind}


def _accepted(room: Room, handover: Handover | None) -> dict[str, Any] | None:
    if handover is None or handover.accepted is None:
        return None
    return {
        **_who(room, handover.accepted),
        "questions": [{"about": point.about, "text": point.text, "question": point.answer}
                      for point in handover.questions],
    }  # fmt: skip


def _who(room: Room, record: Record) -> dict[str, Any]:
    return {"id": record.id, "by": record.by, "at": room.calendar.stamp(record.at), "note": record.note or None}


def list_json(room: Room, handover: Handover) -> dict[str, Any]:
    """One handover of the list: who signed it when, who accepted it when."""
    return {"signed": _signed(room, handover), "accepted": _accepted(room, handover)}
