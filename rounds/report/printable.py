"""A document of headings, paragraphs and lists as plain text, as Markdown and as one printable page of HTML.

Texts of users go in as they are; each form shows them as they were typed, never as markup.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import escape

import msgspec

from rounds.core.words import plain
from rounds.report.wrapping import WIDTH, wrapped


class Heading(msgspec.Struct, frozen=True):
    """The title of what follows."""

    text: str
    level: int = 2
    """2 or 3; 1 is the document's own title."""
    new_page: bool = False
    """Whether what follows begins a page where it is printed."""


class Paragraph(msgspec.Struct, frozen=True):
    """Running text."""

    text: str
    strong: bool = False
    close: bool = False
    """Whether it stands right below what is before it, in plain text without an empty line."""


class Entry(msgspec.Struct, frozen=True):
    """One thing of a list."""

    text: str
    details: tuple[str, ...] = ()
    """Lines below it."""
    box: bool = False
    """Whether it has a box to tick."""
    strong: bool = False
    """Whether it stands out."""
    number: int | None = None
    """Of what has to be answered; a page has a box for the answer beside it."""


class ToFillIn(msgspec.Struct, frozen=True):
    """A line to be filled in by hand."""

    label: str


Block = Heading | Paragraph | Entry | ToFillIn


class Document(msgspec.Struct, frozen=True):
    """What is to be read or printed, from top to bottom."""

    title: str
    blocks: tuple[Block, ...]


# -- plain text ------------------------------------------------------------------------------------


def as_text(document: Document) -> str:
    """Lines of at most `WIDTH` characters."""
    return "\n".join(_text_lines(document)).strip("\n") + "\n"


def _text_lines(document: Document) -> Iterator[str]:
    yield from _wrapped(document.title, "", "")
    before: Block | None = None
    for block in document.blocks:
        if not _close(block, before):
            yield ""
        yield from _text_of(block)
        before = block


def _close(block: Block, before: Block | None) -> bool:
    if isinstance(block, Paragraph):
        return block.close
    return isinstance(block, Entry | ToFillIn) and isinstance(before, Heading | Entry | ToFillIn)


def _text_of(block: Block) -> Iterator[str]:
    match block:
        case Heading(text=text, level=level):
            yield from _wrapped(text, "", "")
            if level == 2:
                yield "-" * min(WIDTH, len(plain(text)))
        case Paragraph(text=text):
            yield from _wrapped(text, "", "")
        case ToFillIn(label=label):
            yield f"  {plain(label)}: ".ljust(WIDTH, "_")
        case Entry(text=text, details=details, strong=strong):
            first = f"{'!' if strong else ' '} {_text_mark(block)}"
            indent = " " * len(first)
            yield from _wrapped(text, first, indent)
            for detail in details:
                yield from _wrapped(detail, indent, indent + "  ")


def _text_mark(entry: Entry) -> str:
    if entry.number is not None:
        return f"{entry.number}.".ljust(4)
    return "[ ] " if entry.box else "- "


def _wrapped(text: str, first: str, rest: str) -> list[str]:
    return wrapped(plain(text), first, rest)


# -- Markdown --------------------------------------------------------------------------------------

_ENTITIES = {"&": "&amp;", "<": "&lt;", ">": "&gt;"}

_SPECIAL = re.compile(r"""[\\`*_{}\[\]#|~$@=]|[&<>]|:(?=[A-Za-z+/_-])|\.(?=[A-Za-z])|(?<!\S)[-+](?=\s|[-+]|$)|
                          (?<!\S)[0-9]+[.)](?=\s|$)""", re.VERBOSE)  # fmt: skip
"""What CommonMark and GitHub's dialect may read as more than itself.

Anywhere in a line: emphasis, code, links, tables, headings, tags, mentions, formulas, addresses that link by
themselves, names of pictures between colons; and what makes a list where a line is broken before it.
"""


def as_markdown(document: Document) -> str:
    """CommonMark; what would be markup in a text is escaped."""
    parts = [f"# {markdown(document.title)}"]
    before: Block | None = None
    for block in document.blocks:
        if not (isinstance(block, Entry) and isinstance(before, Entry)):
            parts.append("")
        parts.append(_markdown_of(block))
        before = block
    return "\n".join(parts) + "\n"


def _markdown_of(block: Block) -> str:
    match block:
        case Heading(text=text, level=level):
            return f"{'#' * level} {markdown(text)}"
        case Paragraph(text=text, strong=strong):
            return _markdown_lines(text, "", "", strong=strong)
        case ToFillIn(label=label):
            return f"{markdown(label)}: " + "\\_" * 30
        case Entry(text=text, details=details, box=box, strong=strong, number=number):
            mark = f"({number}) " if number is not None else "[ ] " if box else ""
            lines = [_markdown_lines(text, f"- {mark}", "  ", strong=strong)]
            return "\n".join([*lines, *(_markdown_lines(each, "  - ", "    ") for each in details)])


def _markdown_lines(text: str, first: str, rest: str, *, strong: bool = False) -> str:
    """Wrapped between words alone, so that nothing is parted from its backslash."""
    shown = markdown(text)
    return "\n".join(wrapped(f"**{shown}**" if strong else shown, first, rest, whole_words=True))


def markdown(text: str) -> str:
    """Text that every reader of Markdown shows as it stands (CommonMark 0.31, section 2.4)."""
    return _SPECIAL.sub(lambda found: _as_typed(found.group()), plain(text).strip())


def _as_typed(found: str) -> str:
    if found in _ENTITIES:
        return _ENTITIES[found]
    return f"\\{found}" if len(found) == 1 else f"{found[:-1]}\\{found[-1]}"


# -- HTML ------------------------------------------------------------------------------------------

STYLE = """\
body { font: 11pt/1.4 sans-serif; color: #000; background: #fff; max-width: 46em; margin: 1.5em auto; padding: 0 1em;
  overflow-wrap: anywhere; }
h1 { font-size: 1.6em; }
h2 { font-size: 1.25em; border-bottom: 1px solid #000; }
h3 { font-size: 1.05em; margin-bottom: 0.2em; }
h1, h2, h3 { page-break-after: avoid; }
ul { list-style: none; padding-left: 0; }
li { margin: 0.5em 0; page-break-inside: avoid; }
li.plain::before { content: "–\\00a0"; }
li > div { margin-left: 1.6em; }
.box { display: inline-block; width: 0.8em; height: 0.8em; border: 1px solid #000; margin-right: 0.5em; }
.line { border-bottom: 1px solid #000; margin: 0.9em 0; padding-bottom: 0.1em; }
@media print { body { margin: 0; max-width: none; font-size: 10pt; } .page { page-break-before: always; } }
@page { size: A4; margin: 16mm; }"""


POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""Were anything to slip through, a browser would neither run nor fetch it."""


def as_html(document: Document) -> str:
    """One file that loads nothing and runs nothing."""
    title = _html(document.title)
    body = "\n".join(_html_lines(document))
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{escape(POLICY)}">\n'
        f'<meta name="viewport" content="width=device-width">\n<title>{title}</title>\n'
        f"<style>\n{STYLE}\n</style>\n</head>\n<body>\n<h1>{title}</h1>\n{body}\n</body>\n</html>\n"
    )


def _html_lines(document: Document) -> Iterator[str]:
    listed = False
    for block in document.blocks:
        entry = isinstance(block, Entry)
        if entry != listed:
            yield "<ul>" if entry else "</ul>"
            listed = entry
        yield _html_of(block)
    if listed:
        yield "</ul>"


def _html_of(block: Block) -> str:
    match block:
        case Heading(text=text, level=level, new_page=new_page):
            page = ' class="page"' if new_page else ""
            return f"<h{level}{page}>{_html(text)}</h{level}>"
        case Paragraph(text=text, strong=strong):
            return f"<p>{_html_text(text, strong=strong)}</p>"
        case ToFillIn(label=label):
            return f'<p class="line">{_html(label)}:</p>'
        case Entry(text=text, details=details, box=box, strong=strong, number=number):
            lines = "".join(f"<div>{_html(each)}</div>" for each in details)
            mark = '<li><span class="box"></span>' if box or number is not None else '<li class="plain">'
            count = f"{number}. " if number is not None else ""
            return f"{mark}{count}{_html_text(text, strong=strong)}{lines}</li>"


def _html_text(text: str, *, strong: bool) -> str:
    return f"<strong>{_html(text)}</strong>" if strong else _html(text)


def _html(text: str) -> str:
    return escape(plain(text), quote=True)


WRITERS = {"text": as_text, "markdown": as_markdown, "html": as_html}
"""How a document is written, by the name of the form."""
