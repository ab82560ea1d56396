"""The stretches of time over which a reading is looked at."""

from __future__ import annotations

from datetime import timedelta

WINDOWS: dict[str, timedelta | None] = {
    "7": timedelta(days=7),
    "30": timedelta(days=30),
    "90": timedelta(days=90),
    "all": None,
}
"""By name, the shortest first: how far it reaches back from now; None: to the first value."""

USUAL = "30"
"""The window in which the list works out its trends: it reaches further back where there are too few values."""
