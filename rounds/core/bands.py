"""Where a value lies beside its usual band, its act-now limits and the rate at which it may change.

How soon to test again is common practice, without a source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import islice

import msgspec

from rounds.core.calendar import Calendar
from rounds.core.durations import parse_span
from rounds.core.errors import CannotRead
from rounds.core.model import Quantity, Rate, Reading
from rounds.core.record import Value
from rounds.core.units import find_unit, kind, show, show_band
from rounds.core.words import length, moment, quoted

ACTING_FIRST = frozenset(("temperature", "oxygen", "oxygen saturation", "level"))
"""Quantities that kill faster than a second method answers."""

RETEST_AT_MOST = timedelta(days=3)
"""A value outside its band is looked at again by then, however rarely it is tested."""

_WITHOUT_UNIT = ("pH", "count")

_RATE = re.compile(r"\s*(?:(fall|rise) of\s+)?([0-9]+(?:\.[0-9]+)?)\s*(.*?)\s+in\s+(.*)", re.ASCII)


class Standing(msgspec.Struct, frozen=True):
    """That a value asks for something: it lies outside its band, or has moved too fast."""

    act: bool
    """Beyond an act-now limit, or faster than the rate allowed."""
    sentence: str
    reading: str = ""
    """Full id."""
    steps: tuple[str, ...] = ()
    """What to do, where it is time to act."""
    second_method: bool = False
    """Whether to test again with a second method before acting; False with `act`: acting comes first."""
    retest_at: datetime | None = None
    """By when to test again; None: a test would say nothing new, as with the level of a reservoir."""


def standing(reading: Reading, value: Value, before: Iterable[Value] = ()) -> Standing | None:
    """Where the value lies when it is outside its band; None inside, or where there is no band.

    `before` are the values of the tests before it, the latest first; they are only looked at where the lower
    act-now limit counts on several tests in a row.
    """
    for low, limit, tests in ((True, reading.act_low, reading.act_low_after), (False, reading.act_high, 1)):
        if limit is None or not _beyond(value, limit, low):
            continue
        sentence = f"{_shown(reading, value)} is {'below' if low else 'above'} the act-now limit of "
        sentence += show(reading, limit.canonical)
        earlier = tuple(islice(before, tests - 1))
        if len(earlier) == tests - 1 and all(_beyond(each, limit, low) for each in earlier):
            return _acting(reading, sentence)
        return Standing(False, f"{sentence}, which counts on {tests} tests in a row", reading.id)
    for low, limit in ((True, reading.low), (False, reading.high)):
        if limit is not None and _beyond(value, limit, low):
            band = show_band(reading, reading.low, reading.high)
            word = "below" if low else "above"
            return Standing(False, f"{_shown(reading, value)} is {word} the usual {band}", reading.id)
    return None


def moved(reading: Reading, value: Value, at: datetime, before: Iterable[tuple[datetime, Value]]) -> Standing | None:
    """That the value has changed faster than the reading's rate allows; None when it has not.

    `before` are earlier values with their times, the latest first; it is read no further than the rate reaches.
    """
    rate = reading.rate
    if rate is None or value.value is None or value.bound is not None:
        return None
    found: tuple[float, datetime] | None = None
    for when, earlier in before:
        if at - when > rate.within.nominal:
            break
        if earlier.value is None or earlier.bound is not None:
            continue
        change = value.value - earlier.value
        counts = rate.only != ("rise" if change < 0 else "fall")
        # a whole step of the scale must not be lost to the last binary digit
        if counts and abs(change) > rate.change.canonical * (1 + 1e-9) and abs(change) > abs(found[0] if found else 0):
            found = (change, when)
    if found is None:
        return None
    change, when = found
    return _acting(
        reading,
        f"{'rose' if change > 0 else 'fell'} {_difference(reading, rate, abs(change))} in {length(at - when)}, "
        f"more than {_difference(reading, rate, rate.change.canonical)} in {rate.within}",
    )


def with_retest(standing: Standing, reading: Reading, at: datetime, interval: timedelta) -> Standing:
    """The standing with when to test again, counted from the test at `at`."""
    if reading.quantity == "level":
        return standing
    again = at if standing.act else retest(at, interval)
    return msgspec.structs.replace(standing, retest_at=again)


def retest(at: datetime, interval: timedelta) -> datetime:
    """When to test again what was outside its band at `at`: after half of its interval, at most three days later."""
    return at + min(interval / 2, RETEST_AT_MOST)


def advice(standings: Iterable[Standing], calendar: Calendar, now: datetime) -> list[str]:
    """What to do about what one entry has shown, each sentence once; the kept steps come after it, see `steps`."""
    return list(dict.fromkeys(line for each in standings if (line := _advice(each, calendar, now))))


def steps(standings: Iterable[Standing]) -> list[str]:
    """The steps kept with what has to be acted on, each once."""
    return list(dict.fromkeys(step for each in standings for step in each.steps))


def _advice(standing: Standing, calendar: Calendar, now: datetime) -> str:
    if standing.second_method:
        return "Test again with a second method before acting."
    if standing.act:
        return "Act first, then measure again."
    if standing.retest_at is None:
        return ""
    return f"Test again by {moment(calendar, standing.retest_at, now)}; open a concern if it stays so."


def parse_rate(quantity: str, text: str) -> Rate:
    """Read ``"1.0 °C in 3 hours"`` or ``"fall of 0.02 mg/L in 24 hours"``; raise `CannotRead`."""
    found = _RATE.fullmatch(text)
    if not found:
        raise CannotRead(f'{quoted(text)} is no rate; write a change and a span of time, such as "1.0 °C in 3 hours"')
    only, number, name, span = found.groups()
    unit = find_unit(quantity, name) if name or quantity not in _WITHOUT_UNIT else kind(quantity).units[0]
    if unit.factor is None:
        raise CannotRead(f"a change in {unit.name} is not the same everywhere; write the rate in PSU or litres")
    change = float(number)
    if change <= 0:
        raise CannotRead(f"{quoted(text)} allows no change at all; write a number above zero")
    return Rate(Quantity(change, unit.name, change * unit.factor), parse_span(span), only or "")


def _acting(reading: Reading, sentence: str) -> Standing:
    return Standing(True, sentence, reading.id, reading.act_steps, reading.quantity not in ACTING_FIRST)


def _beyond(value: Value, limit: Quantity, low: bool) -> bool:
    return value.value is not None and surely_beyond(value.value, value.bound, limit.canonical, low=low)


def surely_beyond(number: float, bound: str | None, limit: float, *, low: bool) -> bool:
    """Whether a value surely lies below (or above) a limit in the same unit; a bound may lie exactly on it."""
    if low:
        return bound != ">" and (number <= limit if bound else number < limit)
    return bound != "<" and (number >= limit if bound else number > limit)


def _shown(reading: Reading, value: Value) -> str:
    assert value.value is not None
    return (value.bound or "") + show(reading, value.value)


def _difference(reading: Reading, rate: Rate, canonical: float) -> str:
    """A difference in the unit of the rate, without the offset that a value has in it."""
    unit = find_unit(reading.quantity, rate.change.unit) if rate.change.unit else kind(reading.quantity).units[0]
    decimals = unit.decimals
    while rate.change.value < 10**-decimals and decimals < 4:
        decimals += 1
    return f"{canonical / (unit.factor or 1):.{decimals}f} {unit.name}".rstrip()
