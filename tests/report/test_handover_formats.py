"""Whatever was typed shows as typed in every format of a handover, and is nothing more than text."""

from __future__ import annotations

import json
from html.parser import HTMLParser

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from rounds.core.handovers import Handover, draft_accepted, draft_handover
from rounds.core.history import History
from rounds.core.record import CONCERN, HANDOVER, NOTE, OFF_NORMAL, Record
from rounds.core.recording import finish
from rounds.core.shifts import duty_at
from rounds.core.words import plain
from rounds.report.handover import Line, Report, signed_report
from rounds.report.handover_forms import handover_document, handover_json
from rounds.report.handover_sections import shift_report
from rounds.report.printable import as_html, as_markdown, as_text, markdown
from rounds.report.readings import Past
from tests.support import could_not, done, instant, record, room_from

NOW = instant("2026-03-04T12:45")

HOSTILE = [
    "<script>alert(1)</script>",
    "</li></ul></body></html><script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "<!-- -->", "<![CDATA[x]]>", "<style>*{display:none}</style>", "</style><b>x", "</title><b>x",
    "&lt;b&gt; &amp; &#60;b&#62;",
    "# a heading", "## x ##", "> quoted", "- item", "+ item", "* item", "1. one", "12) twelve", "---", "***", "===",
    "| a | b |", "**bold** __bold__ *slanted* _slanted_ ~~gone~~",
    "`code` ``code``", "```", "~~~", "    indented",
    "[a link](http://example.com)", "![a picture](x.png)", "<http://example.com>", "http://example.com www.example.com",
    "a@example.com", "[ref]: http://example.com", "[^1]", "$x^2$", "@somebody #12", ":smile:", "back\\slash \\* \\",
    "[bold]x[/bold]", "line one\nline two", "tab\there", "bell\x07 escape\x1b[31m", "turned \u202e round \u2066 x",
    "x" * 200, "un\ufeffseen", "%s {0} {{x}}",
]  # fmt: skip


def room(text):
    name = json.dumps(plain(text), ensure_ascii=False)
    return room_from(
        f'name = {name}\ntimezone = "Europe/Dublin"\nbegan = 2026-03-02\n'
        f'[[keepers]]\ninitials = "TV"\nname = {name}\n'
        f'[[shifts]]\nname = {name}\nbegins = "07:00"\nends = "13:00"\nkeepers = ["TV"]\n',
        reef=f'name = {name}\n[[stations]]\nid = "sump"\nname = {name}\n'
        f'[[tasks]]\nid = "cup"\nstation = "sump"\ntitle = {name}\nagain_after = "1 day"\nimportance = "life support"\n'
        f'[[tasks]]\nid = "glass"\nstation = "sump"\ntitle = {name}\nagain_after = "1 week"\n'
        f'[[equipment]]\nid = "uv"\nstation = "sump"\nkind = "UV"\nname = {name}\n',
    )  # fmt: skip


def records(text):
    """One of each sort with the text wherever a keeper can type."""
    here = {"system": "reef", "station": "sump"}
    return [
        record(OFF_NORMAL, "reef/uv", "2026-03-04T08:00", words=("off",), until="2026-03-04T12:00", reason=text,
               **here),
        record(OFF_NORMAL, None, "2026-03-04T08:05", words=("open",), until="2026-03-04T14:00", reason=text, note=text,
               **here),
        record(CONCERN, None, "2026-03-04T09:00", note=text, reason=text, **here),
        record(NOTE, None, "2026-03-04T09:10", note=text, **here),
        done("reef/glass", "2026-03-04T09:20", note=text),
        could_not("reef/cup", "2026-03-04T09:30", text),
    ]  # fmt: skip


def report_of(text):
    """The report of such a room, after a handover whose words and questions are the same text."""
    known = room(text)
    history = History(records(text))
    before = Record(id="0001", kind=HANDOVER, at=instant("2026-03-03T12:50"), recorded=instant("2026-03-03T12:50"),
                    by="TV", note=text, reason=text)  # fmt: skip
    live = shift_report(known, history, NOW, duty_at(known, NOW), "shift", (), lambda _: Past(()), Handover(before))
    return known, live


def signed(text):
    """The same signed, and accepted with the text as words and as the question to every open line."""
    known, live = report_of(text)
    draft = draft_handover(known, live.shift, "shift", live.points, NOW, text)
    handover = Handover(finish(draft, id="0002", by="TV", device="a", recorded=NOW, room=known))
    answers = {str(number): text for number in range(1, len(live.open) + 1)}
    draft = draft_accepted(known, handover, answers, "MK", NOW, text)
    accepted = finish(draft, id="0003", by="MK", device="b", recorded=NOW, room=known)
    return known, signed_report(Handover(handover.record, (accepted,)))


class Page(HTMLParser):
    """Elements with their attributes, in order, and the text between them."""

    def __init__(self, page):
        super().__init__(convert_charrefs=True)
        self.elements, self.words, self.others = [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, tuple(attrs)))

    def handle_endtag(self, tag):
        self.elements.append((f"/{tag}", ()))

    def handle_data(self, data):
        self.words.append(data)

    def handle_comment(self, data):
        self.others.append(data)

    def unknown_decl(self, data):
        self.others.append(data)

    def handle_pi(self, data):
        self.others.append(data)

    @property
    def text(self):
        return " ".join("".join(self.words).split())


def squeezed(text):
    return " ".join(plain(text).split())


@pytest.mark.parametrize("made", [report_of, signed])
@pytest.mark.parametrize("text", HOSTILE)
def test_no_element_or_attribute_comes_from_what_was_typed(made, text):
    """The page has the elements of a page of harmless words, and the text as it was typed."""
    page, harmless = (Page(as_html(handover_document(*made(each), NOW))) for each in (text, "harmless"))
    assert page.elements == harmless.elements
    assert page.others == []
    assert page.text.count(squeezed(text)) >= harmless.text.count("harmless")


@pytest.mark.parametrize("made", [report_of, signed])
def test_the_page_stands_alone(made):
    """One file: language and character set named, no script, nothing fetched, made to be printed."""
    page = as_html(handover_document(*made("x"), NOW))
    found = Page(page)
    assert page.startswith("<!DOCTYPE html>")
    assert ("html", (("lang", "en"),)) in found.elements
    assert ("meta", (("charset", "utf-8"),)) in found.elements
    names = {tag for tag, _ in found.elements}
    assert not names & {"script", "link", "img", "iframe", "object", "embed", "form", "base", "svg"}
    attributes = {name for _, attrs in found.elements for name, _ in attrs}
    assert attributes == {"lang", "charset", "http-equiv", "content", "name", "class"}
    assert "url(" not in page
    assert "@import" not in page
    assert "break-inside: avoid" in page
    assert "size: A4" in page


def kinds(text):
    """What a reader of GitHub's Markdown makes of it: its elements, and its text without them."""
    tokens = MarkdownIt("gfm-like").parse(text)
    inline = [each for token in tokens for each in (token.children or ())]
    elements = [token.type for token in tokens]
    words = "".join(" " if each.type in ("softbreak", "hardbreak") else each.content for each in inline)
    breaking = {"softbreak", "text", "text_special"}
    return elements, [each.type for each in inline if each.type not in breaking], " ".join(words.split())


@pytest.mark.parametrize("made", [report_of, signed])
@pytest.mark.parametrize("text", HOSTILE)
def test_markdown_shows_what_was_typed(made, text):
    elements, inline, words = kinds(as_markdown(handover_document(*made(text), NOW)))
    expected, expected_inline, harmless = kinds(as_markdown(handover_document(*made("harmless"), NOW)))
    assert (elements, inline) == (expected, expected_inline)
    assert words.count(squeezed(text)) >= harmless.count("harmless")


@given(st.text(max_size=80))
@example("1.\t2) x")
@example("a -\n+ b")
@example("\\&lt;")
def test_any_text_is_only_text_in_markdown(text):
    shown = plain(text).strip()
    elements, inline, words = kinds(f"- x {markdown(shown)} x\n  {markdown(shown)}\n")
    assert elements == ["bullet_list_open", "list_item_open", "paragraph_open", "inline", "paragraph_close",
                        "list_item_close", "bullet_list_close"]  # fmt: skip
    assert inline == []
    assert words.split() == f"x {shown} x {shown}".split()


@pytest.mark.parametrize("made", [report_of, signed])
@pytest.mark.parametrize("text", HOSTILE)
def test_plain_text_has_no_control_characters(made, text):
    """And is no wider than 80 columns."""
    found = as_text(handover_document(*made(text), NOW))
    assert all(character == "\n" or character.isprintable() for character in found)
    assert all(len(line) <= 80 for line in found.splitlines())


@pytest.mark.parametrize("text", HOSTILE)
def test_json_round_trips(text):
    known, live = report_of(text)
    found = json.loads(json.dumps(handover_json(known, live)))
    assert plain(text) in found["concerns"][0]["text"]


def test_what_stands_out_is_bold():
    line = Line(about="off_normal:x", text="Pump off", strong=True, open=True, number=1)
    report = Report(lines=(line,), at=NOW, kind="shift", shift="early", begins=None, ends=None, signed=None)
    known = room("x")
    assert "\n! 1.  Pump off\n" in as_text(handover_document(known, report, NOW))
    assert "\n- (1) **Pump off**\n" in as_markdown(handover_document(known, report, NOW))
    assert "<strong>Pump off</strong>" in as_html(handover_document(known, report, NOW))


def test_an_empty_section_says_so():
    """That nothing is off normal is worth knowing too."""
    report = Report(lines=(), at=NOW, kind="shift", shift="early", begins=None, ends=None, signed=None)
    known = room("x")
    assert "\nOff normal\n----------\nNothing.\n" in as_text(handover_document(known, report, NOW))
    assert "## Off normal\n\nNothing.\n" in as_markdown(handover_document(known, report, NOW))
    assert "<h2>Off normal</h2>\n<p>Nothing.</p>" in as_html(handover_document(known, report, NOW))


def test_a_handover_signed_without_lines_reads_back_its_words():
    """From a version that kept no lines."""
    known = room("x")
    at = instant("2026-03-03T12:50")
    bare = Record(id="0001", kind=HANDOVER, at=at, recorded=at, by="TV", note="quiet morning")
    text = as_text(handover_document(known, signed_report(Handover(bare)), NOW))
    assert 'Signed yesterday 12:50 by TV: "quiet morning".\nNot accepted yet.' in text
    assert "Nothing." not in text
