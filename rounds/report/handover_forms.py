"""A handover as a document to read or print and as plain values."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime
from typing import Any

from rounds.core.handovers import Handover
from rounds.core.model import Room
from rounds.core.record import Record
from rounds.report.handover import HEAD, TITLES, Line, Report, head, sections, signatures, stands, title
from rounds.report.printable import WRITERS, Block, Document, Entry, Heading, Paragraph, ToFillIn


def written(form: str, room: Room, report: Report, now: datetime) -> str:
    """The report as text, Markdown, HTML or JSON; times are said as at `now`."""
    if form == "json":
        return json.dumps(handover_json(room, report), ensure_ascii=False, indent=2) + "\n"
    return WRITERS[form](handover_document(room, report, now))


# -- to read or print ------------------------------------------------------------------------------


def handover_document(room: Room, report: Report, now: datetime) -> Document:
    """The report in sections; what the incoming keeper answers is numbered, what stands out is strong."""
    names = "".join(f": {line.text}" for line in report.section("room"))
    return Document(
        title=f"{title(report)}{names}",
        blocks=(*_head_blocks(room, report, now), *_section_blocks(report), *_to_sign(report)),
    )


def _head_blocks(room: Room, report: Report, now: datetime) -> Iterator[Block]:
    shifts = (line.text for line in report.section("shift"))
    for place, said in enumerate((*shifts, stands(room, report), *signatures(room, report, now))):
        yield Paragraph(said, close=place > 0)
    for label, lines in head(report):
        first, *others = lines
        yield Entry(f"{label}: {first.text}", tuple(line.text for line in others), strong=first.strong)


def _section_blocks(report: Report) -> Iterator[Block]:
    for name, lines in sections(report):
        yield Heading(name)
        if not lines:
            yield Paragraph("Nothing.", close=True)
        yield from map(_entry, lines)


def _entry(line: Line) -> Entry:
    answers = (f"? {line.answer}",) if line.answer else ()
    return Entry(line.text, answers, strong=line.strong, number=line.number)


def _to_sign(report: Report) -> Iterator[Block]:
    """Lines for both to sign on paper, as long as it is not signed here."""
    if not report.read_back:
        yield Heading("To sign, with the time")
        yield ToFillIn("Outgoing keeper")
        yield ToFillIn("Incoming keeper")


# -- as values -------------------------------------------------------------------------------------


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
