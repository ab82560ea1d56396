"""What was read of a reservoir: its levels between refills, in litres.

A level beyond a limit (``<``, ``>``) is no number. A refill begins a new stretch with the level it says; so does a
rise of a tenth of the capacity that nobody has recorded as a refill.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import islice
from typing import NamedTuple

from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.model import Reservoir
from rounds.core.record import REFILL, Record

MOST_RECORDS = 32
"""So many of the newest records of a level are looked at: fewer than are kept at hand of it, so that what was
recorded after the instant asked about leaves enough of them;"""
WINDOW = timedelta(days=35)
"""of this time before the newest of them,"""
FEWEST_RECORDS = 12
"""but so many where it is read seldom."""

RISE = 0.1
"""Share of the capacity that nothing but a refill puts in."""
READ_TO = (50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05)
"""Steps of the level's unit to which people read a scale,"""
COARSEST = 0.05
"""none of them more than this share of the capacity."""


class Point(NamedTuple):
    """One level in litres."""

    at: datetime
    """In UTC, so that differences are elapsed time."""
    litres: float
    after_refill: bool


class Bound(NamedTuple):
    """A level that was only read as less or more than so many litres."""

    at: datetime
    litres: float
    sign: str
    """``<`` or ``>``."""


class Drawn(NamedTuple):
    """Litres that were or will be taken at an instant."""

    at: datetime
    """In UTC."""
    litres: float


def fills(tank: Reservoir) -> bool:
    """Whether it has to be emptied before it is full, not filled before it is empty."""
    return tank.kind == "waste"


def stretches_of(
    history: History, tank: Reservoir, now: datetime, before: Record | None = None
) -> tuple[tuple[tuple[Point, ...], ...], int, datetime | None]:
    """The levels between refills, how many rises nobody recorded, and since when all are known (None: ever)."""
    found: list[Record] = []
    whole = True
    known = history.valued(f"{tank.id}-level").latest(now)
    for record in islice((each for each in known if before is None or each.key < before.key), MOST_RECORDS):
        if len(found) >= FEWEST_RECORDS and found[0].at - record.at > WINDOW:
            whole = False
            break
        found.append(record)
    whole = whole and len(found) < MOST_RECORDS
    stretches: list[list[Point]] = []
    parted, unrecorded = True, 0
    for record in reversed(found):
        litres = _litres(record, f"{tank.id}-level")
        refill = record.kind == REFILL and record.task == f"{tank.id}-refill"
        parted = parted or refill
        if litres is None:
            continue
        if not parted and _risen(tank, stretches[-1][-1].litres, litres):
            parted, unrecorded = True, unrecorded + 1
        if parted:
            stretches.append([])
        stretches[-1].append(Point(record.at.astimezone(UTC), litres, refill))
        parted = False
    reach = None if whole or not found else found[-1].at.astimezone(UTC)
    return tuple(tuple(stretch) for stretch in stretches), unrecorded, reach


def _litres(record: Record, level: str) -> float | None:
    """The last level of the record that is a number."""
    numbers = [v.value for v in record.values if v.reading == level and v.value is not None and v.bound is None]
    return numbers[-1] if numbers else None


def newest_bound(history: History, tank: Reservoir, now: datetime, before: Record | None) -> Bound | None:
    """The level beyond a mark that was read last; None when a number was read after it."""
    level = f"{tank.id}-level"
    for record in history.valued(level).latest(now):
        if before is not None and record.key >= before.key:
            continue
        for value in reversed(record.values):
            if value.reading == level and value.value is not None:
                at = record.at.astimezone(UTC)
                return Bound(at, value.value, value.bound) if value.bound is not None else None
    return None


def _risen(tank: Reservoir, before: float, after: float) -> bool:
    """Whether nothing but a refill (of a waste container: emptying it) explains the step."""
    step = before - after if fills(tank) else after - before
    return step > RISE * tank.capacity


def flattened(
    tank: Reservoir, stretches: Sequence[Sequence[Point]], drawn: Sequence[Drawn]
) -> list[list[tuple[float, float]]]:
    """(days, litres gone) of each stretch, without what was drawn at a stroke."""
    if not stretches:
        return []
    start = stretches[0][0].at
    sign = 1.0 if fills(tank) else -1.0
    return [
        [
            (
                in_days(point.at - start),
                sign * point.litres - sum(each.litres for each in drawn if stretch[0].at < each.at <= point.at),
            )
            for point in stretch
        ]
        for stretch in stretches
    ]


def read_to(tank: Reservoir, stretches: Sequence[Sequence[Point]]) -> float:
    """To how many litres the levels are read, as far as their numbers tell."""
    one = {"%": tank.capacity / 100, "cm": tank.litres_per_cm or 1.0, "mL": 0.001}.get(tank.level_unit, 1.0)
    numbers = [point.litres / one for stretch in stretches for point in stretch]
    for step in READ_TO:
        if step * one <= COARSEST * tank.capacity and all(
            abs(number / step - round(number / step)) < 1e-6 for number in numbers
        ):
            return step * one
    return 0.0


def in_days(span: timedelta) -> float:
    """An elapsed time in days."""
    return span / ONE_DAY
