"""A handover as Markdown; whatever a keeper typed shows as typed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from textwrap import wrap

from rounds.core.model import Room
from rounds.report.handover import Line, Report, head, sections, signatures, stands, title

WIDTH = 80

_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;"}

_SPECIAL = re.compile(r"""[\\`*_{}\[\]#|~$@=]|[&<>]|:(?=[A-Za-z+/_-])|\.(?=[A-Za-z])|(?<!\S)[-+](?=\s|[-+]|$)|
                          (?<!\S)[0-9]+[.)](?=\s|$)""", re.VERBOSE)  # fmt: skip
"""What CommonMark and GitHub's dialect may read as more than itself.

Anywhere in a line: emphasis, code, links, tables, headings, tags, mentions, formulas, addresses that link by
themselves, names of pictures between colons; and what makes a list where a line is broken before it.
"""


def markdown(text: str) -> str:
    """Text of a user that every reader of Markdown shows as it stands (CommonMark 0.31, section 2.4)."""
    return _SPECIAL.sub(lambda found: _as_typed(found.group()), text)


def _as_typed(found: str) -> str:
    if found in _ENTITIES:
        return _ENTITIES[found]
    return f"\\{found}" if len(found) == 1 else f"{found[:-1]}\\{found[-1]}"


def handover_markdown(room: Room, report: Report, now: datetime) -> str:
    """The report with a heading for each section, and its lines as lists; what stands out is bold."""
    name = "".join(f"{markdown(line.text)}: " for line in report.section("room"))
    lines = [f"# {name}{markdown(_small(title(report)) if name else title(report))}", ""]
    shift = [f"{line.text}." for line in report.section("shift")]
    lines += [
        part for said in (*shift, stands(room, report), *signatures(room, report, now)) for part in _paragraph(said)
    ]
    for label, found in head(report):
        lines += [part for line in found for part in _item(f"- {label}: ", line)]
    for heading, found_lines in sections(report):
        lines += ["", f"## {heading}", ""]
        lines += [part for line in found_lines for part in _line(line)] or ["Nothing."]
    return "\n".join(lines) + "\n"


def _paragraph(text: str) -> list[str]:
    return [*_wrapped(markdown(text), "", ""), ""]


def _line(line: Line) -> Iterator[str]:
    yield from _item(f"- ({line.number}) " if line.number is not None else "- ", line)
    if line.answer:
        yield from _wrapped(markdown(line.answer), "  - ", "    ")


def _item(first: str, line: Line) -> list[str]:
    text = markdown(line.text.strip())
    return _wrapped(f"**{text}**" if line.strong else text, first, "  ")


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    """A word that is longer than a line stays whole, so that nothing in it is parted from its backslash."""
    return wrap(
        text.strip(),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    )
