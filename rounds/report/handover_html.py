"""A handover as one HTML page to print: no script, nothing from elsewhere, everything typed escaped."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import datetime
from html import escape

from rounds.core.model import Room
from rounds.report.handover import Line, Report, head, sections, signatures, stands, title

_STYLE = """
@page { size: A4; margin: 18mm; }
body { color: #000; background: #fff; font: 11pt/1.35 sans-serif; max-width: 46em; margin: 1.5em auto; padding: 0 1em;
  overflow-wrap: anywhere; }
h1 { font-size: 15pt; margin: 0 0 .3em; }
h2 { font-size: 12pt; margin: 1.2em 0 .3em; border-bottom: 1px solid #000;
  break-after: avoid; page-break-after: avoid; }
p { margin: .2em 0; }
ul { list-style: none; margin: 0; padding: 0; }
li { padding: .2em 0 .2em 2.6em; text-indent: -2.6em; break-inside: avoid; page-break-inside: avoid; }
.number { display: inline-block; width: 2.6em; text-indent: 0; }
.answer { text-indent: 0; font-style: italic; }
dl { display: grid; grid-template-columns: 8em 1fr; margin: .6em 0; }
dd { margin: 0; }
.sign { margin-top: 2em; break-inside: avoid; page-break-inside: avoid; }
.sign p { margin-top: 2em; border-top: 1px solid #000; }
@media print { body { margin: 0; padding: 0; max-width: none; } }
"""

_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""Were anything to slip through, a browser would neither run nor fetch it."""


def handover_html(room: Room, report: Report, now: datetime) -> str:
    """The whole page; black on white, no section heading left alone at the foot of a sheet of paper."""
    name = "".join(f"{line.text}: " for line in report.section("room"))
    heading = f"{name}{_small(title(report)) if name else title(report)}"
    body = [
        _tag("h1", heading),
        *(_tag("p", line.text) for line in report.section("shift")),
        *(_tag("p", said) for said in (stands(room, report), *signatures(room, report, now))),
        *_head(report),
        *(part for found in sections(report) for part in _section(*found)),
    ]
    if not report.read_back:
        body += ['<div class="sign">', _tag("p", "Outgoing: name, time"), _tag("p", "Incoming: name, time"), "</div>"]
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{escape(_POLICY)}">',
            '<meta name="viewport" content="width=device-width">',
            _tag("title", heading),
            f"<style>{_STYLE}</style>",
            "</head>",
            "<body>",
            *body,
            "</body>",
            "</html>",
            "",
        ]
    )


def _head(report: Report) -> Iterator[str]:
    labelled = head(report)
    if not labelled:
        return
    yield "<dl>"
    for label, lines in labelled:
        yield _tag("dt", label)
        yield f"<dd>{'<br>'.join(_text(line) for line in lines)}</dd>"
    yield "</dl>"


def _section(name: str, lines: Iterable[Line]) -> Iterator[str]:
    yield _tag("h2", name)
    items = [_item(line) for line in lines]
    yield from ["<ul>", *items, "</ul>"] if items else [_tag("p", "Nothing.")]


def _item(line: Line) -> str:
    number = f"{line.number}. ☐" if line.number is not None else "–"
    answer = f'<div class="answer">{escape(line.answer)}</div>' if line.answer else ""
    return f'<li><span class="number">{number}</span>{_text(line)}{answer}</li>'


def _text(line: Line) -> str:
    return _tag("strong", line.text) if line.strong else escape(line.text)


def _tag(name: str, text: str) -> str:
    return f"<{name}>{escape(text)}</{name}>"


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]
