"""What the levels of a reservoir say: how much it loses in a day, and when that is out of the ordinary.

The use is the robust slope of `rounds.water.pooled` over the stretches between refills. Litres and days; for a
waste container, which fills, the use is the rate of filling and the reserve its upper limit. A level beyond a
limit (``<``, ``>``) is no number. A refill begins a new stretch with the level it says; so does a rise of a
tenth of the capacity that nobody has recorded as a refill. What other refills and planned work have taken is
known: it is added back before the slope is taken.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from itertools import islice, pairwise
from statistics import median
from typing import NamedTuple

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.due import occurrences_of
from rounds.core.history import History
from rounds.core.model import AgainAfter, OnDates, Reservoir, Room, Task
from rounds.core.record import DONE, REFILL, Record
from rounds.core.units import from_canonical
from rounds.water.pooled import PooledSlope, median_slope, pooled_slope
from rounds.water.robust import MEDIAN_DEVIATION, OUTLIER, score

MOST_RECORDS = 32
"""So many of the newest records of a level are looked at: fewer than are kept at hand of it, so that what was
recorded after the instant asked about leaves enough of them;"""
WINDOW = timedelta(days=35)
"""of this time before the newest of them,"""
FEWEST_RECORDS = 12
"""but so many where it is read seldom."""
WORKS_COUNTED = 6
"""Of work that draws from a reservoir so many of the newest times are looked at."""

LEAST_SPAN = timedelta(hours=6)
"""Levels read within less say nothing of a day."""
RISE = 0.1
"""Share of the capacity that nothing but a refill puts in."""
FOUR_WEEKS = timedelta(days=28)

SPANS = (1, 3)
"""Steps between readings over which the newest use is compared with earlier ones."""
KNOWN_SPANS = 5
"""With fewer earlier spans the use has to be double or half to be out of the ordinary."""
DOUBT, DOUBT_AT_FIRST, DOUBT_AFTER_REFILL = 0.0025, 0.01, 0.05
"""No difference of two levels is believed to be surer than this share of the capacity; a container that is said to
be full seldom is so to the litre (common practice, no source)."""
READ_TO = (50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05)
"""Steps of the level's unit to which people read a scale,"""
COARSEST = 0.05
"""none of them more than this share of the capacity."""
MATTERS = 0.25
"""A smaller share of the usual use is not worth a word; of a set dose a tenth is (common practice, no source)."""
DOSE_MATTERS = 0.1


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


class Use(msgspec.Struct, frozen=True, kw_only=True):
    """Litres a day; all None where nothing is known."""

    per_day: float | None = None
    interval: tuple[float, float] | None = None
    """95 %; None where the use does not come from levels."""
    steady: float | None = None
    """What forecasts reckon with beside planned work: less than nothing where it fills."""
    by: str = ""
    """``levels``, ``room file`` or ``taken``: from what is taken out of it; empty: not known."""


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
        stretches, unrecorded, reach = _stretches(history, tank, now, before)
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
        flat = _flattened(tank, stretches, both)
        use, falls = self._use(history, tank, now, stretches, flat, drawn)
        return Measured(
            tank=tank,
            stretches=stretches,
            use=use,
            drawn=both,
            departure=None if tank.makes else _departure(tank, stretches, flat),
            falls=falls,
            unrecorded=unrecorded,
            bound=_newest_bound(history, tank, now, before),
        )

    def _taken_by(self, history: History, tank: Reservoir, now: datetime) -> tuple[list[Drawn], datetime | None]:
        """What the refills of the reservoir took from where they came, and how far back that is known."""
        stretches, _, reach = _stretches(history, tank, now)
        fall = median_slope(_flattened(tank, stretches, ()))
        found = []
        for earlier, later in pairwise(stretches):
            last, first = earlier[-1], later[0]
            left = last.litres - (fall or 0.0) * _days(first.at - last.at)
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
        days = sum(_days(stretch[-1].at - stretch[0].at) for stretch in stretches)
        slope = _slope(stretches, flat)
        if slope is not None:
            refills = _within(drawn, stretches) / days
            own, taken = slope.slope, refills + self._work_a_day(tank, now)
            interval = (slope.low + taken, slope.high + taken)
            return Use(per_day=own + taken, interval=interval, steady=own + refills, by="levels"), False
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
        slope = _slope(stretches, _flattened(tank, stretches, ()))
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
                litres_a_day += litres / _days(task.rule.span.nominal)
            elif isinstance(task.rule, OnDates):
                litres_a_day += (
                    litres * sum(1 for _ in occurring(room, task, now, now + FOUR_WEEKS)) / _days(FOUR_WEEKS)
                )
        return litres_a_day


class _Known(msgspec.Struct):
    """What was measured, and for which records and times."""

    measured: Measured
    versions: tuple[int, ...]
    since: datetime
    until: datetime


def fills(tank: Reservoir) -> bool:
    """Whether it has to be emptied before it is full, not filled before it is empty."""
    return tank.kind == "waste"


# -- what was read ---------------------------------------------------------------------------------


def _stretches(
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


def _newest_bound(history: History, tank: Reservoir, now: datetime, before: Record | None) -> Bound | None:
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


def _flattened(
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
                _days(point.at - start),
                sign * point.litres - sum(each.litres for each in drawn if stretch[0].at < each.at <= point.at),
            )
            for point in stretch
        ]
        for stretch in stretches
    ]


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
    spread = max(DOUBT * tank.capacity, _read_to(tank, stretches) / 2, median(off) / MEDIAN_DEVIATION if off else 0.0)
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


# -- out of the ordinary ---------------------------------------------------------------------------


class _Span(NamedTuple):
    """What is gone between two levels of one stretch."""

    days: float
    gone: float
    begins: float
    after_refill: bool


def _departure(
    tank: Reservoir, stretches: Sequence[Sequence[Point]], flat: Sequence[Sequence[tuple[float, float]]]
) -> Departure | None:
    """The newest use where it departs from earlier ones; by the step since the reading before, else over three."""
    place = next((n for n in range(len(flat) - 1, -1, -1) if len(flat[n]) > 1), 0)
    for steps in SPANS:
        if len(flat) <= place or len(flat[place]) <= steps:
            return None
        found = _departing(tank, flat[: place + 1], stretches[: place + 1], steps)
        if found is not None:
            usual, recent = found
            points = stretches[place]
            return Departure(before=points[-1 - steps], after=points[-1], recent=recent, usual=usual)
    return None


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
    floor = max(share * tank.capacity, _read_to(tank, stretches) / 2)
    if abs(score(newest.gone - usual * newest.days, off, floor)) <= OUTLIER:
        return None
    matters = DOSE_MATTERS if tank.kind == "dosing" else MATTERS
    if enough:
        return (usual, recent) if abs(recent - usual) > matters * abs(usual) else None
    return (usual, recent) if not usual / 2 <= recent <= usual * 2 else None


def _read_to(tank: Reservoir, stretches: Sequence[Sequence[Point]]) -> float:
    """To how many litres the levels are read, as far as their numbers tell."""
    one = {"%": tank.capacity / 100, "cm": tank.litres_per_cm or 1.0, "mL": 0.001}.get(tank.level_unit, 1.0)
    numbers = [point.litres / one for stretch in stretches for point in stretch]
    for step in READ_TO:
        if step * one <= COARSEST * tank.capacity and all(
            abs(number / step - round(number / step)) < 1e-6 for number in numbers
        ):
            return step * one
    return 0.0


def occurring(room: Room, task: Task, after: datetime, until: datetime) -> Iterator[datetime]:
    """When a rule fixed in the calendar comes due, later than one instant and up to another."""
    occurrences = occurrences_of(room, task)
    each = occurrences.due_from(after + timedelta(microseconds=1))
    while each is not None and each.due <= until:
        yield each.due
        each = occurrences.next(each)


def amount(room: Room, litres: float) -> str:
    """``5.3 L``, ``70 mL``, or in the room's unit of volume."""
    unit = room.units.get("volume", "L")
    if unit == "L" and abs(litres) < 0.9995:
        return f"{litres * 1000:.0f} mL"
    value = from_canonical("volume", litres, unit)
    return f"{value:.{0 if abs(value) >= 100 else 1}f} {unit}"


def _days(span: timedelta) -> float:
    return span / ONE_DAY


def _later(one: datetime | None, other: datetime | None) -> datetime | None:
    if one is None or other is None:
        return one or other
    return max(one, other)
