"""The trend of a reading as JSON and as a plain account with its arithmetic."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from math import floor, log10
from statistics import median
from typing import Any

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.constants import STANDARD_SALINITY
from rounds.core.due import interval_of
from rounds.core.history import History
from rounds.core.items import OPEN_STATES
from rounds.core.model import Reading, Room
from rounds.core.plan import items_of
from rounds.core.series import DILUTED
from rounds.core.units import from_canonical, show_band, shown_unit, to_canonical
from rounds.core.words import length, moment, plain, plural
from rounds.report.wrapping import wrapped
from rounds.water.trend import FEWEST, Leaving, Line, Trend, next_test

BLOCKS = "▁▂▃▄▅▆▇█"
COLUMNS = 60
"""A sparkline is no wider."""

STEADY, NOT_SURE, TOO_FEW = "steady", "no sure direction", "too few values for a slope"


class Outlook(msgspec.Struct, frozen=True, kw_only=True):
    """A trend and what follows from it for the next test."""

    trend: Trend
    due: datetime | None
    """When the reading's rules ask for a test, by itself or with another task; None: they do not."""
    test_next: datetime | None
    """See `rounds.water.trend.next_test`."""


def outlook(room: Room, history: History, reading: Reading, trend: Trend, now: datetime) -> Outlook:
    """The trend with the next test by the rules of every task that takes the reading."""
    day = room.calendar.round_day(now)
    tasks = [task for task in room.running if reading.id in task.takes]
    due = min(
        (
            item.due_at
            for task in tasks
            for item in items_of(room, history, task, now, day)
            if item.state in OPEN_STATES and item.due_at is not None
        ),
        default=None,
    )
    interval = min((interval_of(room, task, now) for task in tasks), default=ONE_DAY)
    return Outlook(trend=trend, due=due, test_next=next_test(trend, now, due, interval))


def trend_json(room: Room, reading: Reading, found: Outlook, now: datetime) -> dict[str, Any]:
    """Plain values, unrounded, in the unit shown; times are RFC 3339 with the room's offset."""
    trend, line, leaves = found.trend, found.trend.line, found.trend.leaves
    stamp = room.calendar.stamp
    used, latest = trend.used, trend.latest
    return {
        "reading": reading.id,
        "name": reading.name,
        "at": stamp(now),
        "n": len(used),
        "unit": trend.unit,
        "latest": latest.value if latest is not None else None,
        "latest_at": stamp(latest.at) if latest is not None else None,
        "slope_per_day": line.slope if line is not None else None,
        "slope_low": line.low if line is not None else None,
        "slope_high": line.high if line is not None else None,
        "confidence": line.confidence if line is not None else None,
        "on_the_line": line.at(latest.at) if line is not None and latest is not None else None,
        "leaves_band_at": stamp(leaves.at) if leaves is not None else None,
        "leaves_band_earliest": stamp(leaves.earliest) if leaves is not None else None,
        "leaves_band_latest": stamp(leaves.latest) if leaves is not None else None,
        "outside_band": leaves is not None and leaves.outside,
        "due_at": stamp(found.due),
        "test_next_at": stamp(found.test_next),
        "flagged": list(trend.flagged),
        "window": {
            "since": stamp(trend.values[0].at) if trend.values else None,
            "begins_with": plain(trend.begins_with.what) if trend.begins_with is not None else None,
        },
        "corrected_to_salinity": STANDARD_SALINITY if trend.at_35 else None,
        "sentence": sentence(trend, now),
        "values": [
            {
                "id": value.id,
                "at": stamp(value.at),
                "value": value.value,
                "corrected": value.corrected,
                "bound": value.bound,
                "used": value.used,
                "flagged": value.flagged,
                "salinity": value.salinity,
            }
            for value in trend.values
        ],
    }


def trend_text(room: Room, reading: Reading, found: Outlook, now: datetime, comes_to: Sequence[str] = ()) -> str:
    """What a keeper reads, and below it how it comes about, to be checked by hand.

    `comes_to` is what the reading comes to together with others, in sentences.
    """
    trend = found.trend
    lines = [f"{plain(room.system[reading.system].name)}, {plain(reading.name)}"]
    lines += wrapped(_capital(sentence(trend, now)) + ".", rest="  ")
    if trend.used:
        lines += ["", f"  {sparkline(trend)}", ""]
    for part in (*comes_to, *account(room, reading, found, now)):
        lines += wrapped(part, "  ", "    ")
    return "\n".join(lines) + "\n"


def account(room: Room, reading: Reading, found: Outlook, now: datetime) -> list[str]:
    """Which values count, how the slope comes about, what was left out, when to test next: each can be checked."""
    told = _Account(room, reading, found.trend, now)
    return [*told.values(), *told.method(), *told.left_out(), told.next_test(found)]


def arithmetic(room: Room, reading: Reading, trend: Trend, now: datetime) -> list[str]:
    """How the slope and the way to the limit that is left come about."""
    return list(_Account(room, reading, trend, now).method())


def sentence(trend: Trend, now: datetime) -> str:
    """``falling 0.03 dKH a day (0.02 to 0.04), leaves the usual band in about 5 days (4 to 8)``"""
    line, used = trend.line, len(trend.used)
    if line is None:
        said = f"{plural(used, 'usable value') if used else 'no usable value'}; a slope needs {FEWEST}"
        if used >= FEWEST:
            said = "every usable value is of the same instant, which gives no slope"
        return said + (f"; {_leaving(trend.leaves, now)}" if trend.leaves is not None else "")
    decimals = _decimals(line)
    said = direction(trend)
    if said == NOT_SURE:
        ends = f"{line.low:+.{decimals}f} and {line.high:+.{decimals}f}".replace("-", "−")
        said += f", between {ends}{_unit(trend)} a day"
    elif said != STEADY:
        low, high = sorted((abs(line.low), abs(line.high)))
        said += f" ({low:.{decimals}f} to {high:.{decimals}f})"
    return said + (f", {_leaving(trend.leaves, now)}" if trend.leaves is not None else "")


def direction(trend: Trend, *, unit: bool = True) -> str:
    """``falling 0.03 dKH a day``, without its `unit` beside a value; else `STEADY`, `NOT_SURE` or `TOO_FEW`."""
    line = trend.line
    if line is None:
        return TOO_FEW
    if line.slope == line.low == line.high == 0:
        return STEADY
    if line.direction == 0:
        return NOT_SURE
    word = "rising" if line.slope > 0 else "falling"
    return f"{word} {abs(line.slope):.{_decimals(line)}f}{_unit(trend) if unit else ''} a day"


def _leaving(leaves: Leaving, now: datetime) -> str:
    side = "below" if leaves.below else "above"
    if leaves.outside:
        return f"{side} the usual band already"
    if leaves.at <= now:
        return f"{side} the usual band since about {length(now - leaves.at)} ago by the line"
    return f"leaves the usual band in {time_to_leave(leaves, now)}"


def time_to_leave(leaves: Leaving, now: datetime) -> str:
    """``about 4 days (1 to 7)``, for a band that is left after `now`."""
    days = (leaves.at - now) / ONE_DAY
    unit, size = ("hour", timedelta(hours=1)) if days < 2 else ("day", ONE_DAY)
    first = max(0, round((leaves.earliest - now) / size))
    last = f" to {round((leaves.latest - now) / size)}" if leaves.latest is not None else " or more"
    about = max(1, round((leaves.at - now) / size))
    return f"about {plural(about, unit)} ({first}{last})"


def sparkline(trend: Trend, columns: int = COLUMNS, band: Sequence[float] = ()) -> str:
    """The used values from the oldest to the latest; neighbours joined into their median where there are many.

    From the lowest to the highest of them; with the ends of a `band` that too is inside, so that what is well within
    its band looks flat.
    """
    numbers = [value.corrected for value in trend.used if value.corrected is not None]
    columns = min(len(numbers), columns)
    bars = [median(numbers[len(numbers) * i // columns : len(numbers) * (i + 1) // columns]) for i in range(columns)]
    low, high = min((*bars, *band), default=0.0), max((*bars, *band), default=0.0)
    if high == low:
        return BLOCKS[3] * columns
    return "".join(BLOCKS[round((bar - low) / (high - low) * 7)] for bar in bars)


class _Account:
    """The sentences below a trend, each one thing that can be checked."""

    def __init__(self, room: Room, reading: Reading, trend: Trend, now: datetime) -> None:
        self._room, self._reading, self._trend, self._now = room, reading, trend, now
        self._decimals = shown_unit(reading).decimals

    def values(self) -> Iterator[str]:
        """Which values, and what was done to them."""
        trend, used, latest = self._trend, self._trend.used, self._trend.latest
        step = trend.begins_with
        if latest is None:
            if step is not None:
                what = f"{self._when(step.at)} ({plain(step.what)})"
                yield f"Nothing was read since the step of {what}; values from before it do not count."
            return
        since = f", all since the step of {self._when(step.at)} ({plain(step.what)})" if step is not None else ""
        yield (
            f"{_capital(plural(len(used), 'value'))}, {self._when(used[0].at)} to {self._when(latest.at)}{since}; "
            f"the latest {self._number(latest.value)}."
        )
        known = [value.salinity for value in used if value.salinity is not None]
        if trend.at_35:
            assumed = trend.assumed_salinity
            yield (
                f"Corrected to salinity {STANDARD_SALINITY:g}: value × {STANDARD_SALINITY:g} / salinity at that time "
                f"({min(known):.1f} to {max(known):.1f})"
                + (f"; where none was read near it, {assumed:.1f}, the middle of the others." if assumed else ".")
            )
        elif self._reading.quantity in DILUTED:
            yield "As measured: the salinity at that time is not known, or not that of the ocean."
        for step in trend.taken_out:
            offset = self._difference(step.offset or 0.0)
            yield f"Instrument, not water: {plain(step.what)} on {self._when(step.at)}; {offset} to older values."

    def method(self) -> Iterator[str]:
        """How the slope and the way to the end of the band come about."""
        trend, line, latest = self._trend, self._trend.line, self._trend.latest
        if line is None or latest is None:
            return
        what = "values" if trend.joined is None else f"medians of {'a day' if trend.joined == ONE_DAY else 'a week'}"
        yield (
            f"Slope: the median of the slopes of all {line.pairs} pairs of {what} (Theil–Sen); "
            f"{100 * line.confidence:.0f} % interval by Kendall's tau (Sen 1968)"
            + (", the most that so few values allow." if line.confidence < 0.95 else ".")
        )
        leaves = trend.leaves
        if leaves is not None and not leaves.outside:
            slope = f"{line.slope:.{_decimals(line)}f}".replace("-", "−")
            yield (
                f"On the line {self._number(line.at(latest.at), 1)} at the latest value; "
                f"({self._number(leaves.limit, 1)} − {self._number(line.at(latest.at), 1)}) / ({slope} a day) = "
                f"{(leaves.at - latest.at) / ONE_DAY:.1f} days after it: {self._when(leaves.at)}."
            )

    def left_out(self) -> Iterator[str]:
        """What is listed but no number, and what is off the line."""
        bounds = [value for value in self._trend.values if value.bound is not None]
        if bounds:
            shown = ", ".join(f"{v.bound}{self._number(v.value)} {self._when(v.at)}" for v in bounds[-5:])
            last = "the last of them " if len(bounds) > 5 else ""
            yield f"{plural(len(bounds), 'value')} beyond the kit's limit, not calculated with: {last}{shown}."
        for value in self._trend.values:
            if value.flagged:
                score = f"modified z {value.score:.1f}".replace("-", "−") if value.score is not None else ""
                why = "; ".join(part for part in (plain(value.doubt or ""), score) if part)
                yield f"Flagged: {self._number(value.value)}, {self._when(value.at)} ({why}); id {value.id}"

    def next_test(self, found: Outlook) -> str:
        band = show_band(self._reading, self._reading.low, self._reading.high)
        usual = f"Usual band {band}. " if band else ""
        if found.test_next is None:
            return f"{usual}No rule asks for a test."
        if found.test_next == found.due:
            return f"{usual}Test next {self._when(found.test_next)}, as due."
        due = f"; due only {self._when(found.due)}" if found.due is not None else ""
        why = "it is outside the band" if self._trend.leaves and self._trend.leaves.outside else "it may leave the band"
        return f"{usual}Test next by {self._when(found.test_next)}, because {why}{due}."

    def _when(self, at: datetime) -> str:
        return moment(self._room.calendar, at, self._now)

    def _number(self, shown: float, finer: int = 0) -> str:
        return f"{shown:.{self._decimals + finer}f}{_unit(self._trend)}"

    def _difference(self, canonical: float) -> str:
        """A canonical difference in the unit shown, with its sign, as it is at the latest value."""
        reading, unit, latest = self._reading, self._trend.unit, self._trend.latest
        shown = latest.value if latest is not None else 0.0
        at = to_canonical(reading.quantity, shown, unit, reading=reading) - canonical
        shown -= from_canonical(reading.quantity, at, unit, reading=reading)
        return f"{shown:+.{self._decimals + 1}f}{_unit(self._trend)}".replace("-", "−")


def _unit(trend: Trend) -> str:
    return "" if trend.unit in ("", "pH") else f" {trend.unit}"


def _decimals(line: Line) -> int:
    """So many that the first doubtful digit is shown, and of the slope one digit at least and never more than two."""
    size = max((line.high - line.low) / 2, abs(line.slope) / 10)
    decimals = min(max(-floor(log10(size)), 0), 6) if size else 0
    while line.slope and decimals < 6 and not round(line.slope, decimals):
        decimals += 1
    return decimals


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
