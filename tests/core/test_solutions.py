"""The strength of a solution as its label says it."""

from __future__ import annotations

import pytest

from rounds.core.errors import CannotRead
from rounds.core.solutions import parse_strength


@pytest.mark.parametrize(
    ("text", "doses", "per_litre"),
    [
        ("1.0 meq/mL", "alkalinity", 1000),
        ("850 meq/L", "alkalinity", 850),
        ("1.0 meq/mL", "calcium", 20_039),
        ("20.039 mg/mL", "calcium", 20_039),
        ("36 g/L", "calcium", 36_000),
        ("1 meq/mL", "magnesium", 12_152.5),
    ],
)
def test_strength_of_a_litre(text: str, doses: str, per_litre: float) -> None:
    """meq of alkalinity or mg of metal; 20.039 mg of calcium a meq (published check T04: 40.078 ÷ 2)."""
    assert parse_strength(text, doses) == pytest.approx(per_litre)


@pytest.mark.parametrize(
    ("text", "doses"),
    [
        ("strong", "calcium"),
        ("20 mg/mL", "alkalinity"),
        ("0 meq/mL", "alkalinity"),
        ("1.0", "calcium"),
        ("-1 g/L", "calcium"),
    ],
)
def test_what_is_no_strength_is_refused(text: str, doses: str) -> None:
    with pytest.raises(CannotRead, match="strength"):
        parse_strength(text, doses)
