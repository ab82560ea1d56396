"""Degree heating weeks: heat stress gathered over the last twelve weeks.

Skirving W. et al. (2020), Remote Sens. 12(23), 3856; Liu G., Strong A.E. and Skirving W. (2003), Eos 84,
137–144. Made for reefs, where the usual maximum is a climatology of the warmest month. In a tank it is a
number a keeper sets, so the outcome is gathered heat only; 4 and 8 °C-weeks are thresholds of reefs.
"""

from __future__ import annotations

from collections.abc import Sequence

WINDOW = 84
"""Days."""

COUNTS_FROM = 1.0
"""°C above the usual maximum; a day below this counts nothing, one at or above counts in full."""

_ROUND_OFF = 1e-9
"""26.8 − 25.8 is not quite 1 in binary; a day at the threshold counts."""


def hotspots(temperatures: Sequence[float], usual_maximum: float) -> list[float]:
    """Degrees above the usual maximum, day by day; 0 below it."""
    return [max(0.0, each - usual_maximum) for each in temperatures]


def counts(above: float) -> bool:
    """Whether a day this much above the usual maximum adds to the stress."""
    return above >= COUNTS_FROM - _ROUND_OFF


def heating_weeks(above: Sequence[float]) -> float:
    """°C-weeks from one value a day, the last day last; days before the window do not count."""
    return sum(each for each in above[-WINDOW:] if counts(each)) / 7


def stress(weeks: float, today: float) -> str:
    """What Coral Reef Watch calls it on a reef."""
    if today <= 0:
        return "no stress"
    if not counts(today):
        return "watch"
    return "warning" if weeks < 4 else "alert level 1" if weeks < 8 else "alert level 2"
