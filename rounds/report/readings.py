"""Every reading as it stands: last value, band, where it is heading; what asks for a look comes first.

When a drift is worth a look, a month before the band is left, is common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from itertools import islice

import msgspec

from rounds.core.bands import moved, standing
from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.log import Incomplete
from rounds.core.model import Reading, Room
from rounds.core.record import Record, Value
from rounds.core.units import from_canonical, show, show_band
from rounds.core.words import length
from rounds.report.past import Past
from rounds.report.trend import TOO_FEW, direction, sparkline, time_to_leave
from rounds.water.trend import Trend

ACT, OUTSIDE, LEAVING, WITHIN, NO_BAND, UNKNOWN = "act now", "outside", "leaving", "within", "no band", "unknown"
"""From what is looked at first to what was never read."""

SOON = timedelta(days=30)
"""A band that is left by then is said to be left, and the reading comes before those that stay."""

SPARK = 10
"""Columns of a sparkline."""

_LATEST = 12
"""So many values back is looked for a limit that counts on several tests, or for a change that was too fast."""


class ReadingRow(msgspec.Struct, frozen=True, kw_only=True):
    """One reading in the list of all."""

    reading: Reading
    system: str
    """Its name."""
    state: str
    """`ACT`, `OUTSIDE`, `LEAVING`, `WITHIN`, `NO_BAND` or `UNKNOWN`."""
    below: bool
    """With the first three: at the lower end of the band."""
    words: str
    """The state: ``below its band``, ``leaves in about 4 days (1 to 7)``."""
    last: str
    """The last value with its unit; empty: none yet."""
    at: datetime | None
    """When that was."""
    band: str
    """``7.5 to 8.6 dKH``; empty without one."""
    slope: str = ""
    """``falling 0.020 a day``; empty as long as the trend is not worked out."""
    spark: str = ""
    """The values of the trend's window, drawn within the band."""
    rank: tuple[int, float, int]
    """Rows in this order: by state, those that leave their band by when they do, then as they are walked past."""


def rows_of(room: Room, system: str, past: Past, now: datetime) -> list[ReadingRow]:
    """The readings of a system with their trends."""
    rows = []
    for place, reading in enumerate(room.readings.values()):
        if reading.system == system:
            latest = latest_values(reading, reversed(past.about((reading.id,))), now)
            rows.append(_row(room, reading, place, latest, now, past.trend(room, reading, now)))
    return rows


def first_rows(room: Room, history: History, now: datetime, systems: Collection[str] | None = None) -> list[ReadingRow]:
    """Every reading by what is at hand, without a trend: at once, whatever the age of the room.

    `systems`: those of these systems only.
    """
    rows = []
    for place, reading in enumerate(room.readings.values()):
        if systems is not None and reading.system not in systems:
            continue
        records: list[Record] = []
        with suppress(Incomplete):
            records.extend(islice(history.valued(reading.id).latest(now), _LATEST))
        rows.append(_row(room, reading, place, latest_values(reading, records, now), now, None))
    return rows


def until_worked_out(row: ReadingRow, before: ReadingRow | None) -> ReadingRow:
    """The row of a value just recorded, with the trend as it was before until that is worked out again."""
    if before is None:
        return row
    if (before.state, row.state) == (LEAVING, WITHIN):
        return msgspec.structs.replace(before, last=row.last, at=row.at)
    return msgspec.structs.replace(row, slope=before.slope, spark=before.spark)


Dated = tuple[datetime, Value]


def latest_values(reading: Reading, records: Iterable[Record], now: datetime) -> list[Dated]:
    """The last values, the latest first; `records` likewise."""
    found = (
        (record.at, value)
        for record in records
        if record.at <= now
        for value in reversed(record.values)
        if value.reading == reading.id and value.value is not None
    )
    return list(islice(found, _LATEST))


def _row(
    room: Room, reading: Reading, place: int, latest: Sequence[Dated], now: datetime, trend: Trend | None
) -> ReadingRow:
    """`place`: of the reading among all of the room."""
    state, below, words = _state(reading, latest, now, trend)
    first = latest[0] if latest else None
    order = (ACT, OUTSIDE, LEAVING).index(state) if state in (ACT, OUTSIDE, LEAVING) else 3
    leaves = trend.leaves if trend is not None else None
    return ReadingRow(
        reading=reading,
        system=room.system[reading.system].name,
        state=state,
        below=below,
        words=words,
        last=_shown(reading, first[1]) if first is not None else "",
        at=first[0] if first is not None else None,
        band=show_band(reading, reading.low, reading.high),
        slope=_slope(reading, trend, now, state) if trend is not None else "",
        spark=sparkline(trend, SPARK, _ends(reading, trend)) if trend is not None and trend.used else "",
        rank=(
            order + (order == 3 and is_level(reading)),
            (leaves.at - now) / ONE_DAY if state == LEAVING and leaves is not None else 0.0,
            place,
        ),
    )


def is_level(reading: Reading) -> bool:
    """Whether it is the level of a reservoir: it always falls, and a refill ends that."""
    return reading.quantity == "level"


def _state(reading: Reading, latest: Sequence[Dated], now: datetime, trend: Trend | None) -> tuple[str, bool, str]:
    """State, whether at the lower end, and the state in words."""
    if not latest:
        return UNKNOWN, False, "no value yet"
    at, value = latest[0]
    found = standing(reading, value, (each for _, each in latest[1:]))
    below = any(limit is not None and _number(value) <= limit.canonical for limit in (reading.low, reading.act_low))
    side = "below" if below else "above"
    if found is not None and found.act:
        limit = reading.act_low if below else reading.act_high
        return ACT, below, f"act now: {side} {show(reading, limit.canonical)}" if limit is not None else "act now"
    if (fast := moved(reading, value, at, latest[1:])) is not None:
        return ACT, _number(value) < _number(latest[1][1]), f"act now: {fast.sentence}"
    if found is not None:
        return OUTSIDE, below, f"{side} its band"
    leaves = trend.leaves if trend is not None and not is_level(reading) else None
    if leaves is not None and leaves.at - now <= SOON:
        if leaves.outside or leaves.at <= now:
            side = "below" if leaves.below else "above"
            return LEAVING, leaves.below, f"{side} its band by the line through its values"
        return LEAVING, leaves.below, f"leaves in {time_to_leave(leaves, now)}"
    if reading.low is None and reading.high is None:
        return NO_BAND, False, "no band"
    return WITHIN, False, "in its band"


def _slope(reading: Reading, trend: Trend, now: datetime, state: str) -> str:
    """Where it is heading, and when it leaves its band where the state does not say so already."""
    said = direction(trend, unit=False)
    if is_level(reading):
        return said if said == TOO_FEW else f"{said} since its refill"
    leaves = trend.leaves
    if state == WITHIN and leaves is not None and not leaves.outside:
        said += f", leaves in {time_to_leave(leaves, now)}"
    return said


def _number(value: Value) -> float:
    assert value.value is not None  # others were left out
    return value.value


def _shown(reading: Reading, value: Value) -> str:
    return (value.bound or "") + show(reading, _number(value))


def _ends(reading: Reading, trend: Trend) -> list[float]:
    """The ends of the band in the unit of the trend."""
    limits = [limit for limit in (reading.low, reading.high) if limit is not None]
    return [from_canonical(reading.quantity, limit.canonical, trend.unit, reading=reading) for limit in limits]


def age(row: ReadingRow, now: datetime) -> str:
    """``3 hours ago``"""
    if row.at is None:
        return ""
    return f"{length(now - row.at)} ago" if now - row.at >= timedelta(minutes=1) else "just now"


def summary(rows: Sequence[ReadingRow]) -> list[tuple[str, int]]:
    """How many readings are in each state, in the order of states; states of none are left out."""
    counts = [(state, sum(row.state == state for row in rows)) for state in (ACT, OUTSIDE, LEAVING, WITHIN)]
    return [(state, count) for state, count in counts if count]
