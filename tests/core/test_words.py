"""Days and times in words, and what was typed as a sentence names it."""

from __future__ import annotations

import unicodedata
from datetime import date

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rounds.core.words import day_name, full_moment, quoted
from tests.support import head, instant, room_from


@pytest.mark.parametrize(
    ("today", "said"),
    [(date(2026, 11, 26), "Mon 7 Jun 2027"), (date(2027, 1, 1), "Mon 7 Jun"), (None, "Mon 7 Jun")],
)
def test_a_day_of_another_year_is_named_with_it(today, said):
    """Where it is known what day it is; a list of days that follow one another needs no year."""
    assert day_name(date(2027, 6, 7), today) == said


@pytest.mark.parametrize(
    ("now", "said"), [("2026-12-31 23:00", "Fri 1 Jan 2027 00:30"), ("2027-02-01", "Fri 1 Jan 00:30")]
)
def test_a_time_of_another_year_is_named_with_it(now, said):
    """By the wall clock of the room."""
    calendar = room_from(head()).calendar
    assert full_moment(calendar, instant("2027-01-01 00:30"), instant(now)) == said


@given(st.text())
@example("it's 5\" wide")
@example("C:\\reef")
@example("\x1b[31m8.1\u200b\n")
@example("👩‍🔬 ❤️")
def test_a_text_is_quoted_as_it_was_typed(text: str) -> None:
    """Character by character, with nothing before any of them; what moves or cannot be seen is a dot."""
    said = quoted(text)
    assert said[0] == said[-1]
    assert said[0] in "'\""
    inside = said[1:-1]
    assert len(inside) == len(text)
    for typed, shown in zip(text, inside, strict=True):
        assert shown == typed or (shown in "· " and unicodedata.category(typed)[0] in "CZ")
        assert shown.isprintable() or shown == "\u200d"


@given(st.text(st.characters(exclude_categories=("C", "Z"), exclude_characters="\\")))
def test_plain_texts_have_the_quotes_they_do_not_hold(text: str) -> None:
    """Double ones about a text with an apostrophe."""
    if "'" not in text or '"' not in text:
        assert quoted(text) == repr(text)


@pytest.mark.parametrize(("value", "said"), [(5, "5"), (2.5, "2.5"), (["a"], "['a']"), (True, "True")])
def test_what_is_no_text_has_no_quotes(value: object, said: str) -> None:
    assert quoted(value) == said
