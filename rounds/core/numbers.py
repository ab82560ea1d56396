"""How a number is written and read: a comma or a point for decimals, a hyphen or a minus before it."""

from __future__ import annotations

import math
import re

DECIMAL = r"[+\-−]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)"
"""Pattern of a number as keepers type it: ``8.1``, ``8,1``, ``−0.04``."""
NUMERAL = rf"{DECIMAL}(?:[eE][+\-]?[0-9]+)?"
"""The same, also with an exponent."""

AMOUNT = re.compile(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*(.*?)\s*", re.ASCII | re.DOTALL)
"""A number without a sign and what follows it, such as a unit: ``7 kg``, ``0,5 L``."""

_FIGURES = 6
_SHORTEST, _LONGEST = 1e-9, 1e15
"""Beyond these a number without an exponent cannot be read at a glance."""


def read_number(text: str) -> float:
    """The value of what matches `NUMERAL`."""
    return float(text.replace(",", ".").replace("−", "-"))


def figures(value: float) -> str:
    """A number for people: six significant figures, without trailing noughts; an exponent only at the extremes."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    if not _SHORTEST <= abs(value) < _LONGEST:
        return f"{value:.{_FIGURES - 1}e}"
    decimals = max(0, _FIGURES - 1 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
