"""What comes due not by a rule but because of what was recorded: looks, putting back, steps of protocols, stock."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rounds.core.errand import CameDue, Errand
from rounds.core.errands_going_on import (
    called_steps,
    looks,
    times_of_looks,
    times_of_steps,
    times_to_put_back,
    to_put_back,
)
from rounds.core.errands_kept import (
    kit_errands,
    stock_errands,
    times_of_kits,
    times_of_stock,
    times_to_release,
    to_release,
)
from rounds.core.history import History
from rounds.core.model import Room


def errands(room: Room, history: History, now: datetime, begin: datetime) -> list[Errand]:
    """Those open at `now` and those closed since `begin`; raises `Incomplete` where too little was kept.

    A task that several protocols call is one errand, that which comes due first.
    """
    found: dict[str, Errand] = {}
    for each in (
        *looks(room, history, now, begin),
        *to_put_back(room, history, now, begin),
        *called_steps(room, history, now, begin),
        *to_release(room, history, now, begin),
        *stock_errands(room, history, now, begin),
        *kit_errands(room, history, now, begin),
    ):
        other = found.get(each.task.id)
        if other is None or _comes(each) < _comes(other):
            found[each.task.id] = each
    return list(found.values())


def _comes(errand: Errand) -> tuple[bool, datetime]:
    """What is open before what is closed, the earlier first."""
    return errand.due_at is None, errand.due_at or errand.since


def came_due(room: Room, history: History, begin: datetime, end: datetime, now: datetime) -> Iterator[CameDue]:
    """Every errand that came due from `begin` up to `end`, or was open at `begin`.

    Those that are still open only where they came due by `now`. A task that several protocols call is due once, as
    in `errands`. Raises `Incomplete` where too little was kept.
    """
    seen: set[tuple[str, str | None]] = set()
    found = (
        *times_of_looks(room, history, now),
        *times_to_put_back(room, history, begin, now),
        *times_of_steps(room, history, now),
        *times_to_release(room, history, begin, now),
        *times_of_stock(room, history, begin, now),
        *times_of_kits(room, history, now),
    )
    for each in sorted(found, key=lambda each: each.due_at):
        known = each.due_at <= now if each.closing is None else each.closing.at >= begin
        key = (each.task.id, each.closing.id if each.closing is not None else None)
        if known and each.due_at < end and key not in seen:
            seen.add(key)
            yield each
