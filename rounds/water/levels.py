"""What the levels of a reservoir say: how much it loses in a day, and when that is out of the ordinary.

The use is the robust slope of `rounds.water.pooled` over the stretches between refills. Litres and days; for a
waste container, which fills, the use is the rate of filling and the reserve its upper limit. What other refills and
planned work have taken is known: it is added back before the slope is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from statistics import median

import msgspec

from rounds.core.due import occurrences_of
from rounds.core.history import History
from rounds.core.model import AgainAfter, OnDates, Reservoir, Room, Task
from rounds.core.record import DONE, Record
from rounds.core.units import SMALL_VESSEL, from_canonical
from rounds.water.departures import DOUBT, Departure, departure_of
from rounds.water.pooled import PooledSlope, median_slope, pooled_slope
from rounds.water.robust import MEDIAN_DEVIATION, OUTLIER
from rounds.water.stretches import Bound, Drawn, Point, fills, flattened, in_days, newest_bound, read_to, stretches_of

WORKS_COUNTED = 6
"""Of work that draws from a reservoir so many of the newest times are looked at."""

LEAST_SPAN = timedelta(hours=6)
"""Levels read within less say nothing of a day."""
FOUR_WEEKS = timedelta(days=28)


class Use(msgspec.Struct, frozen=True, kw_only=True):
    """Litres a day; all None where nothing is known."""

    per_day: float | None = None
    interval: tuple[float, float] | None = None
    """95 %; None where the use does not come from levels."""
    steady: float | None = None
    """What forecasts reckon with beside planned work: less than nothing where it fills."""
    refills: float = 0.0
    """What of `steady` refills of others take, beside what the levels themselves fall by."""
    by: str = ""
    """``levels``, ``room file`` or ``taken``: from what is taken out of it; empty: not known."""


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """What the records say of one reservoir; holds until another record comes."""

    tank: Reservoir
    stretches: tuple[tuple[Point, ...], ...]
    use: Use
    drawn: tuple[Drawn, ...]
    """What refills of others and planned work took, in order."""
    departure: Departure | None
    falls: bool = False
    """Only of a store with a purified-water unit: its level falls in spite of it."""
    unrecorded: int = 0
    """Rises that nobody has recorded as refills."""

    bound: Bound | None = None
    """A level beyond a mark that was read after the newest number."""

    def proves(self, limit: float) -> bool:
        """Whether the newest level, though no number, shows that `limit` is passed."""
        if self.bound is None:
            return False
        if fills(self.tank):
            return self.bound.sign == ">" and self.bound.litres >= limit
        return self.bound.sign == "<" and self.bound.litres <= limit

    @property
    def high_use(self) -> float | None:
        """What a forecast reckons with at the newest use, where that is out of the ordinary high; None: it is not."""
        if self.departure is None or not self.departure.high:
            return None
        newest = self.departure.recent + self.use.refills
        return newest if newest > (self.use.steady or 0.0) else None

    @property
    def counted_use(self) -> float | None:
        """What a refill is planned by: the newest use while that is high, else the usual."""
        return self.high_use if self.high_use is not None else self.use.steady

    @property
    def last(self) -> Point | None:
        """The newest level; None: never read."""
        return self.stretches[-1][-1] if self.stretches else None

    @property
    def limit(self) -> float:
        """Litres at which it has to be refilled or emptied."""
        tank = self.tank
        if fills(tank):
            return tank.reserve if tank.reserve is not None else tank.capacity
        return max(tank.reserve or 0.0, tank.dead)

    @property
    def end(self) -> float:
        """Litres at which nothing can be drawn any more, or nothing goes in."""
        return self.tank.capacity if fills(self.tank) else self.tank.dead


class Levels:
    """Answers from the levels of a room, and remembers what is known of each reservoir until a record changes it."""

    def __init__(self) -> None:
        self._room: Room | None = None
        self._history: History | None = None
        self._fed: dict[str, list[Reservoir]] = {}
        self._works: dict[str, list[tuple[Task, float]]] = {}
        self._watched: dict[str, tuple[str, ...]] = {}
        self._all_watched: tuple[str, ...] = ()
        self._known: dict[str, _Known] = {}

    def measured(self, room: Room, history: History, tank: Reservoir, now: datetime) -> Measured:
        """What the records up to `now` say of the reservoir; raises `Incomplete` where not enough was kept."""
        self._turn_to(room, history)
        versions = tuple(history.version(id) for id in self._watched[tank.id])
        known = self._known.get(tank.id)
        if known is None or known.versions != versions or not known.since <= now < known.until:
            turns = (at for id in self._watched[tank.id] for at in history.turns(id, now))
            until = min(turns, default=datetime.max.replace(tzinfo=UTC))
            known = _Known(self._measure(history, tank, now), versions, now, until)
            self._known[tank.id] = known
        return known.measured

    def measured_before(self, room: Room, history: History, tank: Reservoir, record: Record) -> Measured:
        """The same as it was known just before a record."""
        self._turn_to(room, history)
        return self._measure(history, tank, record.at, record)

    def state(self, room: Room, history: History) -> tuple[int, ...]:
        """Numbers that change whenever a record changes what is known of any reservoir or of its refills."""
        self._turn_to(room, history)
        return tuple(history.version(id) for id in self._all_watched)

    def works(self, tank: Reservoir) -> list[tuple[Task, float]]:
        """Work that draws from the reservoir, with the litres of one time."""
        return self._works.get(tank.id, [])

    def fed(self, tank: Reservoir) -> list[Reservoir]:
        """The reservoirs whose refills come from it."""
        return self._fed.get(tank.id, [])

    def watched(self, room: Room, tank: Reservoir) -> tuple[str, ...]:
        """Ids of the readings and tasks whose records say something of the reservoir."""
        self._turn_to_room(room)
        return self._watched[tank.id]

    def _turn_to(self, room: Room, history: History) -> None:
        self._turn_to_room(room)
        if history is not self._history:
            self._history, self._known = history, {}

    def _turn_to_room(self, room: Room) -> None:
        if room is self._room:
            return
        self._room, self._known, self._fed, self._works = room, {}, {}, {}
        for tank in room.reservoirs.values():
            if tank.fed_by is not None:
                self._fed.setdefault(tank.fed_by, []).append(tank)
        for task in room.tasks.values():
            for draw in task.draws:
                self._works.setdefault(draw.reservoir, []).append((task, draw.litres))
        self._watched = {tank.id: tuple(self._ids(tank)) for tank in room.reservoirs.values()}
        refills = (f"{tank.id}-refill" for tank in room.reservoirs.values())
        self._all_watched = tuple(dict.fromkeys([id for ids in self._watched.values() for id in ids] + [*refills]))

    def _ids(self, tank: Reservoir) -> Iterator[str]:
        yield f"{tank.id}-level"
        yield from (task.id for task, _ in self.works(tank))
        for each in self.fed(tank):
            yield from self._ids(each)

    def _measure(self, history: History, tank: Reservoir, now: datetime, before: Record | None = None) -> Measured:
        stretches, unrecorded, reach = stretches_of(history, tank, now, before)
        drawn: list[Drawn] = []
        for each in self.fed(tank):
            taken, since = self._taken_by(history, each, now)
            drawn += taken
            reach = _later(reach, since)
        works = []
        for task, litres in self.works(tank):
            times = list(islice(history.closings(task.id).latest(now), WORKS_COUNTED))
            works += [Drawn(record.at.astimezone(UTC), litres) for record in times if record.kind == DONE]
            if len(times) == WORKS_COUNTED:
                reach = _later(reach, times[-1].at.astimezone(UTC))
        if reach is not None:
            newest = tuple(stretch[-1:] for stretch in stretches[-1:])
            kept = (tuple(point for point in stretch if point.at >= reach) for stretch in stretches)
            stretches = tuple(stretch for stretch in kept if stretch) or newest
        both = tuple(sorted(drawn + works))
        flat = flattened(tank, stretches, both)
        use, falls = self._use(history, tank, now, stretches, flat, drawn)
        return Measured(
            tank=tank,
            stretches=stretches,
            use=use,
            drawn=both,
            departure=None if tank.makes else departure_of(tank, stretches, flat),
            falls=falls,
            unrecorded=unrecorded,
            bound=newest_bound(history, tank, now, before),
        )

    def _taken_by(self, history: History, tank: Reservoir, now: datetime) -> tuple[list[Drawn], datetime | None]:
        """What the refills of the reservoir took from where they came, and how far back that is known."""
        stretches, _, reach = stretches_of(history, tank, now)
        fall = median_slope(flattened(tank, stretches, ()))
        found = []
        for earlier, later in pairwise(stretches):
            last, first = earlier[-1], later[0]
            left = last.litres - (fall or 0.0) * in_days(first.at - last.at)
            found.append(Drawn(first.at, max(0.0, first.litres - max(tank.dead, left))))
        return found, reach

    def _use(
        self, history: History, tank: Reservoir, now: datetime, stretches: Sequence[Sequence[Point]],
        flat: Sequence[Sequence[tuple[float, float]]], drawn: Sequence[Drawn],
    ) -> tuple[Use, bool]:  # fmt: skip
        """The use, and whether a store falls in spite of its purified-water unit."""
        if tank.makes:
            return self._use_of_store(history, tank, now, stretches)
        stretches, flat = _in_use(tank, stretches, flat)
        days = sum(in_days(stretch[-1].at - stretch[0].at) for stretch in stretches)
        slope = _slope(stretches, flat)
        if slope is not None:
            refills = _within(drawn, stretches) / days
            own, taken = slope.slope, refills + self._work_a_day(tank, now)
            interval = (slope.low + taken, slope.high + taken)
            steady = own + refills
            return Use(per_day=own + taken, interval=interval, steady=steady, refills=refills, by="levels"), False
        work = self._work_a_day(tank, now)
        if tank.use is not None:
            return Use(per_day=tank.use + work, steady=tank.use, by="room file"), False
        refills, complete = self._refills_a_day(history, tank, now)
        if complete and refills + work > 0:
            return Use(per_day=refills + work, steady=refills, by="taken"), False
        return Use(), False

    def _use_of_store(
        self, history: History, tank: Reservoir, now: datetime, stretches: Sequence[Sequence[Point]]
    ) -> tuple[Use, bool]:
        """Of a store that a unit fills the levels hide what is taken: it is what is fed from it uses."""
        assert tank.makes is not None
        refills, complete = self._refills_a_day(history, tank, now)
        refills += tank.use or 0.0
        taken = refills + self._work_a_day(tank, now)
        known = complete and taken > 0
        slope = _slope(stretches, flattened(tank, stretches, ()))
        falls = slope is not None and slope.low > 0
        if slope is not None and falls:
            return Use(per_day=taken if known else None, steady=slope.slope, by="taken" if known else ""), True
        if not known:
            return Use(), False
        return Use(per_day=taken, steady=refills - tank.makes, by="taken"), False

    def _refills_a_day(self, history: History, tank: Reservoir, now: datetime) -> tuple[float, bool]:
        """Litres a day that the reservoirs fed from it use, and whether that of each is known."""
        assert self._room is not None
        uses = [self.measured(self._room, history, each, now).use.per_day for each in self.fed(tank)]
        return sum(max(0.0, use) for use in uses if use is not None), None not in uses

    def _work_a_day(self, tank: Reservoir, now: datetime) -> float:
        """Litres a day that planned work takes: by its interval, or by how often it comes in the coming four weeks."""
        room = self._room
        assert room is not None
        litres_a_day = 0.0
        for task, litres in self.works(tank):
            if not room.runs(task):
                continue
            if isinstance(task.rule, AgainAfter):
                litres_a_day += litres / in_days(task.rule.span.nominal)
            elif isinstance(task.rule, OnDates):
                litres_a_day += (
                    litres * sum(1 for _ in occurring(room, task, now, now + FOUR_WEEKS)) / in_days(FOUR_WEEKS)
                )
        return litres_a_day


class _Known(msgspec.Struct):
    """What was measured, and for which records and times."""

    measured: Measured
    versions: tuple[int, ...]
    since: datetime
    until: datetime


def _in_use(
    tank: Reservoir, stretches: Sequence[Sequence[Point]], flat: Sequence[Sequence[tuple[float, float]]]
) -> tuple[list[Sequence[Point]], list[Sequence[tuple[float, float]]]]:
    """The stretches parted where hardly anything was used: a tap that was shut says nothing of the use.

    What was used too fast stays in: a forecast must not count on it that a leak has ended.
    """
    usual = median_slope(flat) or 0.0
    off = [abs(y1 - y0 - usual * (x1 - x0)) for stretch in flat for (x0, y0), (x1, y1) in pairwise(stretch)]
    points: list[Sequence[Point]] = []
    values: list[Sequence[tuple[float, float]]] = []
    spread = max(DOUBT * tank.capacity, read_to(tank, stretches) / 2, median(off) / MEDIAN_DEVIATION if off else 0.0)
    for stretch, line in zip(stretches, flat, strict=True):
        first = 0
        for place, ((x0, y0), (x1, y1)) in enumerate(pairwise(line), 1):
            gone, expected = y1 - y0, usual * (x1 - x0)
            if gone < expected / 2 and expected - gone > OUTLIER * spread:
                points.append(stretch[first:place])
                values.append(line[first:place])
                first = place
        points.append(stretch[first:])
        values.append(line[first:])
    return points, values


def _slope(stretches: Sequence[Sequence[Point]], flat: Sequence[Sequence[tuple[float, float]]]) -> PooledSlope | None:
    """Litres gone a day; None where the levels are too few or too near to one another."""
    if all(stretch[-1].at - stretch[0].at < LEAST_SPAN for stretch in stretches):
        return None
    return pooled_slope(flat)


def _within(drawn: Iterable[Drawn], stretches: Sequence[Sequence[Point]]) -> float:
    """Litres drawn between two levels of one stretch."""
    return sum(each.litres for each in drawn for stretch in stretches if stretch[0].at < each.at <= stretch[-1].at)


def occurring(room: Room, task: Task, after: datetime, until: datetime) -> Iterator[datetime]:
    """When a rule fixed in the calendar comes due, later than one instant and up to another."""
    occurrences = occurrences_of(room, task)
    each = occurrences.due_from(after + timedelta(microseconds=1))
    while each is not None and each.due <= until:
        yield each.due
        each = occurrences.next(each)


def amount(room: Room, litres: float, *, finer: bool = False) -> str:
    """``5.3 L``, ``70 mL``, or in the room's unit of volume; `finer`: to a hundredth."""
    unit = room.units.get("volume", "L")
    if unit == "L" and abs(litres) < 0.9995:
        return f"{litres * 1000:.0f} mL"
    value = from_canonical("volume", litres, unit)
    return f"{value:.{0 if abs(value) >= 100 else 2 if finer else 1}f} {unit}"


def level_amount(room: Room, tank: Reservoir, litres: float) -> str:
    """What is in it: of a small container as fine as its use of a day is seen, ``2.83 L``."""
    return amount(room, litres, finer=tank.capacity < SMALL_VESSEL)


def _later(one: datetime | None, other: datetime | None) -> datetime | None:
    if one is None or other is None:
        return one or other
    return max(one, other)
