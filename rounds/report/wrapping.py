"""Plain text broken into lines, alike in every report."""

from __future__ import annotations

from textwrap import wrap

WIDTH = 80


def wrapped(text: str, first: str = "", rest: str = "", *, whole_words: bool = False) -> list[str]:
    """Lines of at most `WIDTH` characters, one at least: `first` begins the first, `rest` the others.

    With `whole_words` a word may be longer than a line.
    """
    lines = wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False,
        break_long_words=not whole_words,
    )  # fmt: skip
    return lines or [first + text]
