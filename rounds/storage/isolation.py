"""How long what arrives stays apart, read from a system's file."""

from __future__ import annotations

from rounds.core.durations import parse_span
from rounds.core.words import quoted
from rounds.storage.tables import Table

FISH = 76
"""Days where fish are or were: cysts of a common parasite are reported to last 72 (Colorni and Burgess 1997)."""

LONGEST = 180
"""Days; an isolation is worked out from what is remembered of batches."""


def read_isolation(table: Table) -> tuple[int | None, int]:
    """Days without and with fish; None where the system is no quarantine."""
    days, fish = _days(table, "isolation"), _days(table, "isolation_fish")
    if days is None:
        if fish is not None:
            table.fault("isolation_fish", 'isolation_fish goes with isolation; add isolation = "45 days"')
        return None, 0
    if fish is not None and fish < days:
        table.fault("isolation_fish", "isolation_fish is shorter than isolation; exchange or correct them")
    return days, max(days, FISH) if fish is None else fish


def _days(table: Table, key: str) -> int | None:
    text = table.text(key)
    span = table.read(key, text, lambda text: parse_span(text, ("days", "weeks"))) if text else None
    if span is not None and span.nominal.days > LONGEST:
        table.fault(key, f"{quoted(text)} is longer than {LONGEST} days; write a shorter span")
    return span.nominal.days if span is not None else None
