"""A handover as plain text, 80 columns wide: to read on a terminal, print or have read aloud."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from textwrap import wrap

from rounds.core.model import Room
from rounds.report.handover import Line, Report, head, sections, signatures, stands, title

WIDTH = 80

_LABEL = 16
"""Columns of the labels at the head."""


def handover_text(room: Room, report: Report, now: datetime) -> str:
    """The report in sections; ``!`` before what stands out, a number before what the incoming keeper answers."""
    names, shifts = ([line.text for line in report.section(key)] for key in ("room", "shift"))
    sentences = [*names, title(report), *shifts, stands(room, report), *signatures(room, report, now)]
    lines = [part for sentence in sentences for part in _wrapped(sentence, "", "")]
    if labelled := head(report):
        lines.append("")
    for label, found in labelled:
        for place, line in enumerate(found):
            lines += _wrapped(line.text, f"{label if place == 0 else '':<{_LABEL}}", " " * _LABEL)
    for name, found_lines in sections(report):
        lines += ["", name.upper()]
        lines += [part for line in found_lines for part in _line(line)] or ["  Nothing."]
    return "\n".join(lines) + "\n"


def _line(line: Line) -> Iterator[str]:
    number = f"{line.number}." if line.number is not None else "-"
    first = f"{'!' if line.strong else ' '} {number:<4}"
    yield from _wrapped(line.text, first, " " * len(first))
    if line.answer:
        yield from _wrapped(line.answer, "      ? ", " " * 8)


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    found = wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return found or [first.rstrip()]
