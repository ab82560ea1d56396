"""Numbers as keepers type and read them."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.numbers import DECIMAL, NUMERAL, figures, read_number


@given(st.floats(-1e30, 1e30))
def test_a_shown_number_reads_back_within_its_six_figures(value):
    text = figures(value)
    assert re.fullmatch(NUMERAL, text)
    assert read_number(text) == pytest.approx(value, rel=5.1e-6, abs=0)


@given(st.floats(1e-9, 1e14))
def test_it_is_shown_without_an_exponent(value):
    assert re.fullmatch(r"[0-9]+(\.[0-9]*[1-9])?", figures(value))


@pytest.mark.parametrize(
    ("value", "shown"),
    [(0, "0"), (8, "8"), (-0.04, "-0.04"), (11550, "11550"), (1 / 3, "0.333333"), (1234567.8, "1234568"),
     (2e-4 / 3, "0.0000666667"), (1.5e-12, "1.50000e-12")],
)  # fmt: skip
def test_six_figures(value, shown):
    assert figures(value) == shown


@pytest.mark.parametrize(
    ("text", "value"), [("8.1", 8.1), ("8,1", 8.1), (",5", 0.5), ("−0,04", -0.04), ("+3", 3), ("7.", 7)]
)
def test_ways_to_write_a_number(text, value):
    assert re.fullmatch(DECIMAL, text)
    assert read_number(text) == value


@pytest.mark.parametrize("text", ["", ".", "8.1.2", "--1", "1 000", "e5"])
def test_what_is_no_number(text):
    assert not re.fullmatch(NUMERAL, text)
