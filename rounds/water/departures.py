"""Use of a reservoir that departs from what it usually is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import msgspec

from rounds.core.model import Reservoir
from rounds.water.pooled import median_slope
from rounds.water.robust import OUTLIER, score
from rounds.water.stretches import Point, read_to

SPANS = (1, 3)
"""Steps between readings over which the newest use is compared with earlier ones."""
KNOWN_SPANS = 5
"""With fewer earlier spans the use has to be double or half to be out of the ordinary."""
DOUBT, DOUBT_AT_FIRST, DOUBT_AFTER_REFILL = 0.0025, 0.01, 0.05
"""No difference of two levels is believed to be surer than this share of the capacity; a container that is said to
be full seldom is so to the litre (common practice, no source)."""
MATTERS = 0.25
"""A smaller share of the usual use is not worth a word; of a set dose a tenth is (common practice, no source)."""
DOSE_MATTERS = 0.1


class Departure(msgspec.Struct, frozen=True, kw_only=True):
    """The newest use where it is out of the ordinary."""

    before: Point
    after: Point
    recent: float
    """Litres a day between the two."""
    usual: float

    @property
    def high(self) -> bool:
        return self.recent > self.usual


class _Span(NamedTuple):
    """What is gone between two levels of one stretch."""

    days: float
    gone: float
    begins: float
    after_refill: bool


def departure_of(
    tank: Reservoir, stretches: Sequence[Sequence[Point]], flat: Sequence[Sequence[tuple[float, float]]]
) -> Departure | None:
    """The newest use where it departs from earlier ones; by the step since the reading before, else over three."""
    place = next((n for n in range(len(flat) - 1, -1, -1) if len(flat[n]) > 1), 0)
    found = _newest(tank, stretches, flat, place)
    return found if found is not None else _going_on(tank, stretches, flat, place)


def _newest(
    tank: Reservoir, stretches: Sequence[Sequence[Point]], flat: Sequence[Sequence[tuple[float, float]]], place: int
) -> Departure | None:
    """The departure with which the stretch at `place` ends."""
    for steps in SPANS:
        if len(flat) <= place or len(flat[place]) <= steps:
            return None
        found = _departing(tank, flat[: place + 1], stretches[: place + 1], steps)
        if found is not None:
            usual, recent = found
            points = stretches[place]
            return Departure(before=points[-1 - steps], after=points[-1], recent=recent, usual=usual)
    return None


def _going_on(
    tank: Reservoir, stretches: Sequence[Sequence[Point]], flat: Sequence[Sequence[tuple[float, float]]], place: int
) -> Departure | None:
    """That of the stretch before, where the first levels after its refill say that it has not ended.

    How full it was filled is doubted, and alone so few levels would say nothing; those after the first tell without it.
    """
    if place == 0 or len(flat) <= place or not 2 <= len(flat[place]) <= max(SPANS) + 1:
        return None
    before = _newest(tank, stretches, flat, place - 1)
    begin = 0 if len(flat[place]) == 2 else 1
    (x0, y0), (x1, y1) = flat[place][begin], flat[place][-1]
    if before is None or x1 <= x0:
        return None
    recent = (y1 - y0) / (x1 - x0)
    if abs(recent - before.recent) >= abs(recent - before.usual):
        return None
    points = stretches[place]
    return Departure(before=points[begin], after=points[-1], recent=recent, usual=before.usual)


def _departing(
    tank: Reservoir, flat: Sequence[Sequence[tuple[float, float]]], stretches: Sequence[Sequence[Point]], steps: int
) -> tuple[float, float] | None:
    """Usual and newest use in litres a day; None where the newest is nothing out of the ordinary."""
    spans = [
        _Span(x1 - x0, y1 - y0, x0, points[n].after_refill)
        for stretch, points in zip(flat, stretches, strict=True)
        for n, ((x0, y0), (x1, y1)) in enumerate(zip(stretch, stretch[steps:], strict=False))
        if x1 > x0
    ]
    if not spans or spans[-1].begins != flat[-1][-1 - steps][0]:
        return None
    newest = spans[-1]
    earlier = [span for span in spans[:-1] if span.begins + span.days <= newest.begins]
    usual = median_slope([[point for point in stretch if point[0] <= newest.begins] for stretch in flat])
    if len(earlier) < 2 or usual is None:
        if tank.use is None or steps > 1:
            return None
        earlier, usual = [], tank.use
    recent = newest.gone / newest.days
    off = [span.gone - usual * span.days for span in earlier] or [0.0]
    enough = len(earlier) >= KNOWN_SPANS
    share = DOUBT_AFTER_REFILL if newest.after_refill else DOUBT if enough else DOUBT_AT_FIRST
    floor = max(share * tank.capacity, read_to(tank, stretches) / 2)
    if abs(score(newest.gone - usual * newest.days, off, floor)) <= OUTLIER:
        return None
    matters = DOSE_MATTERS if tank.kind == "dosing" else MATTERS
    if enough:
        return (usual, recent) if abs(recent - usual) > matters * abs(usual) else None
    return (usual, recent) if not usual / 2 <= recent <= usual * 2 else None
