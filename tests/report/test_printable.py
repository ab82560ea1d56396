"""Documents to read and print: texts stay texts in every form."""

from __future__ import annotations

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from rounds.core.words import plain
from rounds.report.printable import (
    Document,
    Entry,
    Heading,
    Paragraph,
    ToFillIn,
    as_html,
    as_markdown,
    as_text,
)

PAGE = Document(
    title="Sheet",
    blocks=(
        Heading("Fri 27 Nov", new_page=True),
        Heading("Sump", 3),
        Entry("Rinse the cup", ("Pump off", "Look: no foam"), box=True),
        Entry("Nothing else"),
        Paragraph("That is all.", strong=True),
        ToFillIn("Keeper"),
    ),
)


def test_text():
    """Boxes to tick, details below, a line to fill in to the edge of the page."""
    assert as_text(PAGE) == (
        "Sheet\n\nFri 27 Nov\n----------\n\nSump\n  [ ] Rinse the cup\n      Pump off\n      Look: no foam\n"
        "  - Nothing else\n\nThat is all.\n\n  Keeper: " + "_" * 70 + "\n"
    )


def test_markdown():
    """Headings by depth, boxes as task lists, details as lists below."""
    assert as_markdown(PAGE) == (
        "# Sheet\n\n## Fri 27 Nov\n\n### Sump\n\n- [ ] Rinse the cup\n  - Pump off\n  - Look: no foam\n"
        "- Nothing else\n\n**That is all.**\n\nKeeper: " + "\\_" * 30 + "\n"
    )


def test_markup_in_a_text_is_escaped_in_markdown():
    """What begins a list, a heading or a link, and what is a tag or an entity."""
    for typed, written in (
        ("# no heading", "\\# no heading"),
        ("1. no list", "1\\. no list"),
        ("- no list", "\\- no list"),
        ("[x](y) <b> &amp; *a* `c` |", "\\[x\\](y) &lt;b&gt; &amp;amp; \\*a\\* \\`c\\` \\|"),
        ("7.5 to 8.6 dKH: −0.02", "7.5 to 8.6 dKH: −0.02"),
    ):
        assert as_markdown(Document("T", (Paragraph(typed),))) == f"# T\n\n{written}\n"


TO_ANSWER = Document(
    "Handover",
    (
        Heading("Off normal"),
        Entry("Pump off", ("asked: since when?",), strong=True, number=12),
        Entry("Lid open", number=13),
        Entry("Seen", strong=True),
        Heading("Missed"),
        Paragraph("Nothing.", close=True),
    ),
)


def test_what_is_to_be_answered_is_numbered_and_what_stands_out_marked():
    assert as_text(TO_ANSWER) == (
        "Handover\n\nOff normal\n----------\n! 12. Pump off\n      asked: since when?\n  13. Lid open\n! - Seen\n"
        "\nMissed\n------\nNothing.\n"
    )
    assert as_markdown(TO_ANSWER) == (
        "# Handover\n\n## Off normal\n\n- (12) **Pump off**\n  - asked: since when?\n- (13) Lid open\n- **Seen**\n"
        "\n## Missed\n\nNothing.\n"
    )
    page = as_html(TO_ANSWER)
    assert '<li><span class="box"></span>12. <strong>Pump off</strong><div>asked: since when?</div></li>' in page
    assert '<li class="plain"><strong>Seen</strong></li>' in page


def test_markdown_is_wrapped_between_words():
    """A backslash stays with what it escapes, and a long word stays whole."""
    written = as_markdown(Document("T", (Entry("word " * 20 + "_" * 70),)))
    first, second, last = " ".join(["word"] * 15), " ".join(["word"] * 5), "\\_" * 70
    assert written == f"# T\n\n- {first}\n  {second}\n  {last}\n"


class Seen(HTMLParser):
    """Elements as they open and close, and the texts between them."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag + "".join(f" {name}={value}" for name, value in attrs))

    def handle_endtag(self, tag: str) -> None:
        self.tags.append("/" + tag)

    def handle_comment(self, data: str) -> None:
        self.tags.append("comment")

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def seen(document: Document) -> Seen:
    found = Seen()
    found.feed(as_html(document))
    found.close()
    return found


def filled(text: str) -> Document:
    """Every kind of block with the same text."""
    return Document(text, (Heading(text), Paragraph(text), Entry(text, (text,), box=True), ToFillIn(text)))


@given(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=60)
    | st.sampled_from(["</style><script>", "<!-- -->", '" x="'])
)
def test_no_text_changes_the_elements_of_a_page(text: str):
    """The same tags and attributes whatever is typed, and the text itself comes back."""
    found = seen(filled(text))
    assert found.tags == seen(filled("plain")).tags
    if shown := plain(text).strip():
        assert shown in "\n".join(found.texts)
