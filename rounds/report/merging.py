"""What was typed into a list or a part of a form, laid over the file as it is now."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

Table = Mapping[str, Any]


def merged_keys(before: Table, now: Table, typed: Table) -> dict[str, Any]:
    """The keys as they are now, but for those that were typed or left empty since `before`."""
    keys = dict.fromkeys((*now, *typed))
    wanted = {key: (typed if typed.get(key) != before.get(key) else now).get(key) for key in keys}
    return {key: value for key, value in wanted.items() if value is not None}


def merged_rows(
    before: Sequence[Table], now: Sequence[Table], typed: Sequence[Table], came: Sequence[int | None]
) -> tuple[list[Table], tuple[int | None, ...]]:
    """The rows in the order in which they were typed, and which of those that are there `now` each is.

    `came` says which of those `before` each typed one was. What was changed in the file of a row that was not typed
    into stands, what was added there comes last, and what was taken out there is gone unless it was typed into.
    """
    place = _places(before, now)
    found: list[tuple[Table, int | None]] = []
    for row, was in zip(typed, came, strict=True):
        there = place[was] if was is not None else None
        if was is not None and there is not None:
            found.append((merged_keys(before[was], now[there], row), there))
        elif was is None or row != before[was]:
            found.append((row, None))
    found += [(row, there) for there, row in enumerate(now) if there not in place]
    return [row for row, _ in found], tuple(there for _, there in found)


def _places(before: Sequence[Table], now: Sequence[Table]) -> list[int | None]:
    """Where each row is now: those that say the same first; if as many others are left, they are those in turn."""
    left = list(range(len(now)))
    found: list[int | None] = []
    for row in before:
        there = next((place for place in left if now[place] == row), None)
        found.append(there)
        if there is not None:
            left.remove(there)
    gone = [place for place, there in enumerate(found) if there is None]
    if len(gone) == len(left):
        for place, there in zip(gone, left, strict=True):
            found[place] = there
    return found
