"""Rules fixed in the calendar: the part of RFC 5545 section 3.3.10 that dates need.

Dates are expanded in blocks of periods that start at a computed period, so that neither the age
of a rule nor the distance of the day asked for costs anything. dateutil, which the tests compare
with, cannot be used for this: it looks for the next match without a bound, up to the year 9999.
"""

from __future__ import annotations

from bisect import bisect_right
from calendar import monthrange
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from functools import lru_cache

import msgspec

_BLOCK = {"DAILY": 64, "WEEKLY": 26, "MONTHLY": 24, "YEARLY": 8}
"""Periods expanded at a time."""

_SEARCH = timedelta(days=36_525)
"""How far the next date is looked for."""

_LAST_YEAR = 9000
_LAST_DAY = date(_LAST_YEAR, 1, 1)
"""Far enough before the year 9999 that no arithmetic on dates overflows."""


class RRule(msgspec.Struct, frozen=True, kw_only=True):
    """A recurrence rule over dates, checked."""

    text: str
    """As written, in capitals."""
    freq: str
    interval: int = 1
    count: int | None = None
    until: date | None = None
    """The last day, included."""
    wkst: int = 0
    """The weekday that begins a week, Monday 0."""
    byday: tuple[tuple[int, int], ...] = ()
    """(weekday, n): the nth of the period, 0 for every one."""
    bymonthday: tuple[int, ...] = ()
    bymonth: tuple[int, ...] = ()
    bysetpos: tuple[int, ...] = ()
    byyearday: tuple[int, ...] = ()
    byweekno: tuple[int, ...] = ()


class Dates:
    """The dates of one rule from one start, in order, expanded as they are asked for."""

    def __init__(self, rule: RRule, start: date) -> None:
        self.rule = rule
        self.start = start
        self._blocks: dict[int, tuple[date, ...]] = {}
        self._week = start - timedelta(days=(start.weekday() - rule.wkst) % 7)
        self._monthdays, self._weekdays = _with_start(rule, start)
        self._months: Sequence[int] = sorted(set(rule.bymonth)) or range(1, 13)
        if rule.freq == "YEARLY" and not (rule.byday or rule.bymonthday or rule.byyearday or rule.byweekno):
            self._months = sorted(set(rule.bymonth)) or [start.month]
        self._last = rule.until
        if rule.count is not None and rule.freq == "DAILY" and not (rule.byday or rule.bymonthday or rule.bymonth):
            self._last = _limited(start, (rule.count - 1) * rule.interval)
        self._counts = [0]
        """How many dates lie before each block, as far as that was needed for COUNT."""

    @property
    def first(self) -> date | None:
        """The first date; None when there is none."""
        return next(self.after(self.start - timedelta(days=1)), None)

    def after(self, day: date) -> Iterator[date]:
        """The dates later than `day`, in rising order."""
        day = max(day, self.start - timedelta(days=1))
        block = self._block_of(day)
        seen = day
        while self._block_start(block) - seen <= self._reach and not self._beyond(block):
            for found in self._block(block):
                if found > day:
                    if self._last is not None and found > self._last:
                        return
                    seen = found
                    yield found
            block += 1

    def until(self, day: date) -> Iterator[date]:
        """The dates up to and with `day`, in falling order."""
        if self.rule.count is not None:
            self._before(self._block_of(day) + 1)  # which finds the last date when it comes before that
        if self._last is not None:
            day = min(day, self._last)
        for block in range(self._block_of(day), -1, -1):
            if day - self._block_start(block + 1) > self._reach:
                return
            for found in reversed(self._block(block)):
                if found <= day:
                    day = found
                    yield found

    @property
    def _reach(self) -> timedelta:
        """How long a gap is crossed before the rule counts as ended."""
        return max(_SEARCH, 2 * _BLOCK[self.rule.freq] * (self._period_start(1) - self._period_start(0)))

    def _block_of(self, day: date) -> int:
        rule = self.rule
        if rule.freq == "DAILY":
            period = (day - self.start).days
        elif rule.freq == "WEEKLY":
            period = (day - self._week).days // 7
        elif rule.freq == "MONTHLY":
            period = (day.year - self.start.year) * 12 + day.month - self.start.month
        else:
            period = day.year - self.start.year
        return max(0, period // (rule.interval * _BLOCK[rule.freq]))

    def _block_start(self, block: int) -> date:
        return self._period_start(block * _BLOCK[self.rule.freq])

    def _beyond(self, block: int) -> bool:
        return self._block_start(block).year >= _LAST_YEAR

    def _period_start(self, number: int) -> date:
        """The first day of the period that lies `number` intervals after the start's own."""
        step = number * self.rule.interval
        if self.rule.freq == "DAILY":
            return _limited(self.start, step)
        if self.rule.freq == "WEEKLY":
            return _limited(self._week, 7 * step)
        if self.rule.freq == "MONTHLY":
            months = self.start.year * 12 + self.start.month - 1 + step
            return date(months // 12, months % 12 + 1, 1) if months // 12 < _LAST_YEAR else _LAST_DAY
        return date(self.start.year + step, 1, 1) if self.start.year + step < _LAST_YEAR else _LAST_DAY

    def _block(self, block: int) -> tuple[date, ...]:
        """The dates of one block, those beyond COUNT left out."""
        dates = self._expanded(block)
        if self.rule.count is not None and self._last is None:
            dates = dates[: self.rule.count - self._before(block)]
        return dates

    def _before(self, block: int) -> int:
        """How many dates lie before the block; counted once, and only up to COUNT."""
        count, counts = self.rule.count or 0, self._counts
        while self._last is None and len(counts) <= block:
            dates = self._expanded(len(counts) - 1)
            if counts[-1] + len(dates) >= count:
                self._last = dates[count - counts[-1] - 1]
            counts.append(counts[-1] + len(dates))
        return counts[min(block, len(counts) - 1)]

    def _expanded(self, block: int) -> tuple[date, ...]:
        found = self._blocks.get(block)
        if found is None:
            size = _BLOCK[self.rule.freq]
            periods = range(block * size, (block + 1) * size)
            found = tuple(day for number in periods for day in self._period(number) if day >= self.start)
            self._blocks[block] = found
        return found

    def _period(self, number: int) -> list[date]:
        """The dates of one period, before the start's own limits: RFC 5545 section 3.3.10."""
        rule, begin = self.rule, self._period_start(number)
        if rule.freq == "YEARLY":
            days = [day for month in self._months for day in _month(begin.year, month)]
        elif rule.bymonth and rule.freq in ("MONTHLY", "DAILY") and begin.month not in rule.bymonth:
            return []
        elif rule.freq == "MONTHLY":
            days = _month(begin.year, begin.month)
        else:
            days = [begin + timedelta(days=n) for n in range(7 if rule.freq == "WEEKLY" else 1)]
            if rule.bymonth:
                days = [day for day in days if day.month in rule.bymonth]
        if self._monthdays:
            days = [day for day in days if _listed(day.day, _month_length(day.year, day.month), self._monthdays)]
        if rule.byyearday:
            days = [day for day in days if _listed(_yearday(day), _yearday(date(day.year, 12, 31)), rule.byyearday)]
        if rule.byweekno:
            days = [day for day in days if _listed(*_week_number(day, rule.wkst), rule.byweekno)]
        if self._weekdays:
            monthly = rule.freq == "MONTHLY" or bool(rule.bymonth)
            days = [
                day for day in days if any(_falls_on(day, weekday, nth, monthly) for weekday, nth in self._weekdays)
            ]
        if rule.bysetpos:
            picked = {position - 1 if position > 0 else len(days) + position for position in rule.bysetpos}
            days = [day for index, day in enumerate(days) if index in picked]
        return days


def _limited(day: date, days: int) -> date:
    """So many days later, at the most the last day of all."""
    return date.fromordinal(min(day.toordinal() + days, _LAST_DAY.toordinal()))


def _month_length(year: int, month: int) -> int:
    return monthrange(year, month)[1]


def _month(year: int, month: int) -> list[date]:
    return [date(year, month, day) for day in range(1, _month_length(year, month) + 1)]


def _yearday(day: date) -> int:
    return day.timetuple().tm_yday


def _listed(number: int, of: int, numbers: tuple[int, ...]) -> bool:
    """Whether the `number`th of `of` is named, from the front or from the back."""
    return number in numbers or number - of - 1 in numbers


def _week_number(day: date, wkst: int) -> tuple[int, int]:
    """The number of the week that holds `day`, and how many weeks its year has.

    Week 1 is the first with four days in the year: the year of a week is that of its fourth day.
    """
    fourth = day + timedelta(days=3 - (day.weekday() - wkst) % 7)
    last = date(fourth.year, 12, 28)
    last_fourth = last + timedelta(days=3 - (last.weekday() - wkst) % 7)
    return (_yearday(fourth) - 1) // 7 + 1, (_yearday(last_fourth) - 1) // 7 + 1


def _falls_on(day: date, weekday: int, nth: int, monthly: bool) -> bool:
    """Whether `day` is the weekday, and its nth in the month (or year) when a number is given."""
    if day.weekday() != weekday:
        return False
    if nth == 0:
        return True
    number, of = (
        (day.day, _month_length(day.year, day.month)) if monthly else (_yearday(day), _yearday(date(day.year, 12, 31)))
    )
    return nth == (number - 1) // 7 + 1 if nth > 0 else -nth == (of - number) // 7 + 1


def _with_start(rule: RRule, start: date) -> tuple[tuple[int, ...], tuple[tuple[int, int], ...]]:
    """Days of the month and weekdays of the rule, with what it takes from its start written out."""
    if rule.byday or rule.bymonthday or rule.byyearday or rule.freq == "DAILY":
        return rule.bymonthday, rule.byday
    if rule.freq == "WEEKLY" or rule.byweekno:
        return (), ((start.weekday(), 0),)
    return (start.day,), ()


class ListedDates:
    """Dates that are listed one by one, from a start on, asked as those of a rule are."""

    def __init__(self, days: Sequence[date], start: date) -> None:
        """`days` in rising order."""
        self._days = [day for day in days if day >= start]

    @property
    def first(self) -> date | None:
        """The first date; None when there is none."""
        return self._days[0] if self._days else None

    def after(self, day: date) -> Iterator[date]:
        """The dates later than `day`, in rising order."""
        return iter(self._days[bisect_right(self._days, day) :])

    def until(self, day: date) -> Iterator[date]:
        """The dates up to and with `day`, in falling order."""
        return reversed(self._days[: bisect_right(self._days, day)])


@lru_cache(maxsize=4096)
def dates_of(rule: RRule | tuple[date, ...], start: date) -> Dates | ListedDates:
    """The dates of `rule` from `start`; one object for each distinct rule and start."""
    return ListedDates(rule, start) if isinstance(rule, tuple) else Dates(rule, start)
