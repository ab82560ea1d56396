"""What a plot of a reading shows: its values, band and limits, line and forecast, and what happened meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from math import ceil, floor, log10

import msgspec

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.model import ROOM, Quantity, Reading, Room
from rounds.core.record import CHANGE_STEP, CONCERN, DONE, REFILL, Record
from rounds.core.series import bearing_on
from rounds.core.units import find_unit, from_canonical
from rounds.core.windows import USUAL, WINDOWS
from rounds.core.words import DAYS, MONTHS, plain
from rounds.report.past import Past
from rounds.water.trend import Leaving, Trend, TrendValue, values_since

VALUE, BEFORE, FLAGGED = "value", "before", "flagged"
"""What a mark stands for; a value beyond the kit's limit has ``<`` or ``>`` instead."""

DOSE, LIGHT, CARBON, INSTRUMENT, STEP, WORRY, CHANGE, FILLED = (
    "dose", "light", "carbon", "instrument", "step", "concern", "water change", "refill",
)  # fmt: skip
"""What can happen beside the values."""

EVENTS = (DOSE, LIGHT, CARBON, INSTRUMENT, STEP, WORRY, CHANGE, FILLED)
"""What tells most comes first."""

ROUTINE = frozenset((CHANGE, FILLED))
"""What happens so often that it stands in a line of its own."""

_EVER = datetime.min.replace(tzinfo=UTC)

_FORWARD = 1 / 3
"""Of the time behind, at most so much is shown ahead."""
_AHEAD = 1 / 40
"""And at least so much."""

_YEARS = 330
"""Days from which on a day is told with its year."""


class Mark(msgspec.Struct, frozen=True):
    """One value."""

    at: datetime
    value: float
    kind: str
    """`VALUE`, `BEFORE` (of a time before the line's window), `FLAGGED`, ``<`` or ``>``."""


class Limit(msgspec.Struct, frozen=True):
    """An end of the band, or a limit beyond which to act at once."""

    value: float
    name: str
    """``low``, ``high``, ``act``."""

    @property
    def acts(self) -> bool:
        return self.name == "act"


class Event(msgspec.Struct, frozen=True):
    """Something that happened to the system or to the instrument."""

    at: datetime
    kind: str
    """One of `EVENTS`."""
    what: str


class Plot(msgspec.Struct, frozen=True, kw_only=True):
    """A reading over a stretch of time; every number in the unit of its trend."""

    reading: Reading
    system: str
    """Its name."""
    unit: str
    begin: datetime
    now: datetime
    end: datetime
    """After `now`: as far as the forecast is shown."""
    marks: tuple[Mark, ...]
    limits: tuple[Limit, ...]
    line: tuple[Mark, Mark] | None
    """Both ends of the line through the values; None: too few of them."""
    forecast: tuple[Mark, Mark] | None
    """From the end of the line on; None where the direction is not sure."""
    leaves: Leaving | None
    events: tuple[Event, ...]
    at_35: bool
    """Whether the values are those corrected to salinity 35."""


def plot_of(room: Room, reading: Reading, past: Past, trend: Trend, now: datetime, window: str = USUAL) -> Plot:
    """The plot of a reading over a window of `WINDOWS`, with the trend worked out for it."""
    records = past.about(bearing_on(room, reading))
    reach = WINDOWS[window]
    begin = _begin(trend, now - reach) if reach is not None else _EVER
    values = values_since(room, reading, records, now, begin, at_35=trend.at_35)
    if reach is None:
        begin = min((value.at for value in values), default=now)
    begin = min(begin, now - ONE_DAY)
    end = _end(trend, begin, now)
    line = _line(trend)
    return Plot(
        reading=reading,
        system=room.system[reading.system].name,
        unit=trend.unit,
        begin=begin,
        now=now,
        end=end,
        marks=tuple(_marks(trend, values)),
        limits=tuple(_limits(reading, trend)),
        line=line,
        forecast=_forecast(trend, line, end),
        leaves=trend.leaves,
        events=tuple(events_of(room, reading, past.records, begin, now)),
        at_35=trend.at_35,
    )


def window_of(window: str) -> timedelta | None:
    """The window in which a trend is worked out for a plot."""
    if window == USUAL:
        return None
    return WINDOWS[window] or timedelta.max


def _begin(trend: Trend, begin: datetime) -> datetime:
    """Earlier where the trend reaches further back, and at its first value where the latest is that old."""
    return min((begin, *(value.at for value in trend.values)))


def _end(trend: Trend, begin: datetime, now: datetime) -> datetime:
    behind, leaves = now - begin, trend.leaves
    ahead = behind * _AHEAD
    if leaves is not None and leaves.at > now:
        ahead = max(ahead, ((leaves.latest or leaves.at) - now) * 1.1)
    return now + min(ahead, behind * _FORWARD)


def _marks(trend: Trend, values: Sequence[TrendValue]) -> Iterable[Mark]:
    judged = {(value.id, value.at, value.value): value for value in trend.values}
    for value in values:
        known = judged.get((value.id, value.at, value.value))
        if value.bound is not None:
            kind = value.bound
        elif (known or value).flagged or value.corrected is None:
            kind = FLAGGED
        else:
            kind = VALUE if known is not None else BEFORE
        number = known.corrected if known is not None else value.corrected
        yield Mark(value.at, value.value if number is None else number, kind)


def _limits(reading: Reading, trend: Trend) -> Iterable[Limit]:
    def shown(limit: Quantity) -> float:
        return from_canonical(reading.quantity, limit.canonical, trend.unit, reading=reading)

    for limit, name in (
        (reading.act_low, "act"),
        (reading.low, "low"),
        (reading.high, "high"),
        (reading.act_high, "act"),
    ):
        if limit is not None:
            yield Limit(shown(limit), name)


def _line(trend: Trend) -> tuple[Mark, Mark] | None:
    if trend.line is None:
        return None
    first, last = trend.used[0].at, trend.used[-1].at
    return Mark(first, trend.line.at(first), VALUE), Mark(last, trend.line.at(last), VALUE)


def _forecast(trend: Trend, line: tuple[Mark, Mark] | None, end: datetime) -> tuple[Mark, Mark] | None:
    if trend.line is None or line is None or not trend.line.direction or line[1].at >= end:
        return None
    return line[1], Mark(end, trend.line.at(end), VALUE)


# -- what happened ---------------------------------------------------------------------------------------


def events_of(room: Room, reading: Reading, records: Iterable[Record], begin: datetime, now: datetime) -> list[Event]:
    """What happened to the system of a reading, and to its instrument, from `begin` up to `now`.

    Emptying a waste container changes no water, and what is filled or renewed beside the systems changes none of
    theirs: such things show with their own level only.
    """
    found = []
    for record in records:
        if begin <= record.at <= now and (kind := _kind(room, reading, record)) is not None:
            found.append(Event(record.at, kind, _what(room, record, kind)))
    return sorted(found, key=lambda event: event.at)


def _kind(room: Room, reading: Reading, record: Record) -> str | None:
    if record.kind == CHANGE_STEP and record.task in room.instruments:
        return INSTRUMENT if record.task == reading.instrument else None
    if record.system != reading.system:
        return None
    if record.kind == CONCERN:
        return WORRY
    if record.kind == CHANGE_STEP:
        return _step(room, record)
    if record.kind == REFILL and any(value.reading == reading.id for value in record.values):
        return FILLED
    if record.system == ROOM:
        return None
    if record.kind == REFILL:
        tank = room.reservoirs.get((record.task or "").removesuffix("-refill"))
        return FILLED if tank is None or tank.kind != "waste" else None
    return _work(room, record) if record.kind == DONE else None


def _step(room: Room, record: Record) -> str:
    """A step of the light, of what is dosed, of a reading's own instrument that nothing names, or another."""
    ids = {id for id in (record.task, *(value.reading for value in record.values)) if id is not None}
    if any(id in room.lights or (id in room.readings and room.readings[id].quantity == "light") for id in ids):
        return LIGHT
    tanks = (room.reservoirs.get(id.removesuffix("-level")) for id in ids)
    if any(tank is not None and tank.kind in ("dosing", "limewater") for tank in tanks):
        return DOSE
    return INSTRUMENT if record.task in room.readings else STEP


def _work(room: Room, record: Record) -> str | None:
    """What a piece of work does to the water or the light, by what the room's files say of it."""
    task = room.tasks.get(record.task or "")
    if task is None:
        return None
    drawn = (room.reservoirs.get(draw.reservoir) for draw in task.draws)
    if task.water_change is not None or any(tank is not None and tank.kind == "salt water" for tank in drawn):
        return CHANGE
    if not task.light_step:
        return None
    here = {each.kind for each in room.system[task.system].equipment if each.station == task.station}
    return CARBON if "media reactor" in here and "light" not in here else LIGHT


def _what(room: Room, record: Record, kind: str) -> str:
    """What it was in the keeper's own words, after what they stand beside."""
    task, name = room.tasks.get(record.task or ""), ""
    if kind == FILLED:
        tank = room.reservoirs.get((record.task or "").removesuffix("-refill"))
        name = tank.name if tank is not None else ""
    elif record.kind == DONE and task is not None:
        name = task.title
    elif kind == INSTRUMENT and record.task in room.instruments:
        name = room.instruments[record.task].name
    return plain("; ".join(part for part in (name, record.reason, record.note) if part) or kind)


# -- how it is laid out -----------------------------------------------------------------------------------


_TALL = 14
"""Rows from which an act-now limit as far off as the band is wide leaves the values legible."""


class Scale(msgspec.Struct, frozen=True):
    """The stretch of values that a plot shows."""

    low: float
    high: float
    beyond: tuple[Limit, ...] = ()
    """Limits so far off that they would press everything else flat."""


def scale_of(plot: Plot, rows: int, *, alone: bool = True) -> Scale:
    """From the lowest to the highest of values, band and line; with the act-now limits where there is room for them.

    Not `alone` another reading lies over it: then only values and band count.
    """
    numbers = [mark.value for mark in plot.marks if plot.begin <= mark.at <= plot.end]
    numbers += [limit.value for limit in plot.limits if not limit.acts]
    if alone:
        numbers += [mark.value for ends in (plot.line, plot.forecast) if ends is not None for mark in ends]
    if not numbers:
        numbers = [limit.value for limit in plot.limits] or [0.0]
    low, high = min(numbers), max(numbers)
    span = high - low
    least = 4 * 10.0 ** -_decimals(plot)
    if span < least:
        low, high, span = low - (least - span) / 2, high + (least - span) / 2, least
    spare = span * (1.0 if rows >= _TALL else 0.6)
    acts = [limit for limit in plot.limits if limit.acts and alone]
    near = [limit for limit in acts if low - spare <= limit.value <= high + spare]
    low, high = min((low, *(limit.value for limit in near))), max((high, *(limit.value for limit in near)))
    margin = (high - low) / max(rows, 4) / 2
    return Scale(low - margin, high + margin, tuple(limit for limit in acts if limit not in near))


def together(first: Plot, second: Plot, rows: int) -> tuple[Scale, Scale]:
    """Scales that lay the band of one reading over the band of the other; without a band, all of its values."""
    frames = (_frame(first, rows), _frame(second, rows))
    scales = (scale_of(first, rows, alone=False), scale_of(second, rows, alone=False))
    shares = [
        ((scale.low - low) / (high - low), (scale.high - low) / (high - low))
        for scale, (low, high) in zip(scales, frames, strict=True)
    ]
    bottom, top = min(share[0] for share in shares), max(share[1] for share in shares)
    one, other = (
        Scale(low + bottom * (high - low), low + top * (high - low), scale.beyond)
        for scale, (low, high) in zip(scales, frames, strict=True)
    )
    return one, other


def meetings(first: Plot, second: Plot, scales: tuple[Scale, Scale], columns: int, rows: int) -> list[Mark]:
    """The marks of one reading that stand where one of the other does, in the time that the first one shows."""

    def place(mark: Mark, scale: Scale) -> tuple[int, int]:
        across = (mark.at - first.begin) / (first.end - first.begin)
        up = (mark.value - scale.low) / (scale.high - scale.low)
        return floor(0.5 + (columns - 1) * across), floor(0.5 + (rows - 1) * up)

    taken = {place(mark, scales[1]) for mark in second.marks}
    return [mark for mark in first.marks if mark.at >= first.begin and place(mark, scales[0]) in taken]


def _frame(plot: Plot, rows: int) -> tuple[float, float]:
    ends = [limit.value for limit in plot.limits if not limit.acts]
    scale = scale_of(plot, rows, alone=False)
    return (ends[0], ends[1]) if len(ends) == 2 and ends[0] < ends[1] else (scale.low, scale.high)


def value_ticks(plot: Plot, scale: Scale, rows: int, *, alone: bool = True) -> list[tuple[float, str]]:
    """Where to write numbers at the side, with the names of limits; no two closer than a row.

    Not `alone`, act-now limits have no line and are not named.
    """
    row = (scale.high - scale.low) / max(rows - 1, 1)
    decimals = _decimals(plot)
    ticks: list[tuple[float, str]] = []

    def put(value: float, name: str, places: int) -> None:
        if scale.low <= value <= scale.high and all(abs(value - other) >= row for other, _ in ticks):
            ticks.append((value, f"{name} {value:.{places}f}".strip()))

    for limit in sorted(plot.limits, key=lambda limit: limit.acts):
        if alone or not limit.acts:
            put(limit.value, limit.name, decimals)
    step = _nice((scale.high - scale.low) / max(rows / 4, _WIDEST_STEP))
    for count in range(ceil(scale.low / step), floor(scale.high / step) + 1):
        put(count * step, "", max(decimals, -floor(log10(step))))
    return sorted(ticks)


def time_ticks(calendar: Calendar, plot: Plot, columns: int) -> list[tuple[datetime, str]]:
    """Where to write days below a plot, and where now is; labels do not run into each other."""
    span = plot.end - plot.begin
    days = max(1, round(span / ONE_DAY))
    wide = 12 if days > _YEARS else 9
    apart = max(1, ceil(days / max(columns // wide, 1)))
    step = next((nice for nice in (1, 2, 3, 7, 14, 28, 56, 91, 182, 365) if nice >= apart), apart)
    label = span / max(columns, 1) * wide
    today = calendar.local(plot.now).date()
    ticks = [(plot.now, "now")]
    for back in range(step, days + 1, step):
        day = today - back * ONE_DAY
        at = calendar.instant(day, time())
        if plot.begin + label / 4 <= at <= plot.now - label * 3 / 4:
            year = f" {day.year}" if days > _YEARS else ""
            name = DAYS[day.weekday()] if days <= 10 else f"{day.day} {MONTHS[day.month - 1]}{year}"
            ticks.append((at, name))
    return sorted(ticks)


_WIDEST_STEP = 2.5
"""A nice number is at most so many times what it stands for: with a step no wider than the scale, one lies on it."""


def _nice(step: float) -> float:
    """The next of 1, 2, 5 times a power of ten."""
    power = 10.0 ** floor(log10(step))
    return next(nice * power for nice in (1, 2, 5, 10) if nice * power >= step * (1 - 1e-9))


def _decimals(plot: Plot) -> int:
    """Of the unit, more where the limits have more."""
    decimals = find_unit(plot.reading.quantity, plot.unit).decimals
    gaps = [abs(b.value - a.value) for a, b in pairwise(plot.limits) if a.value != b.value]
    while gaps and decimals < 4 and min(gaps) < 1.5 * 10.0**-decimals:
        decimals += 1
    return decimals
