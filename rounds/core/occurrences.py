"""The occurrences of a rule fixed in the calendar, and the windows that tile time around them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import NamedTuple

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.recurrence import Dates, ListedDates

EARLY_AT_MOST = timedelta(hours=12)

_NEIGHBOURS = 4
"""Dates looked at on either side: enough that the ones used know their own neighbours, also where two
dates fall on one instant because a zone has skipped a day."""


class Occurrence(NamedTuple):
    """One time at which a rule comes due."""

    due: datetime
    day: date
    """Its round day."""
    opens: datetime
    """Beginning of its window."""
    gap: timedelta
    """Its nominal interval: to the next one; for the last from the one before; alone, a day."""


class Occurrences:
    """All occurrences of one task, found from any instant without walking from the start."""

    def __init__(
        self,
        calendar: Calendar,
        dates: Dates | ListedDates,
        times: tuple[time, ...],
        early: timedelta | None,
        last_day: date | None,
        end: datetime | None = None,
    ) -> None:
        """`end`: what would come due at this instant or later does not exist; it lies in the round day `last_day`."""
        self._calendar = calendar
        self._dates = dates
        self._times = times
        self._early = early
        self._last_day = last_day
        self._end = end
        self._around: dict[date, list[Occurrence]] = {}

    @property
    def first(self) -> Occurrence | None:
        """None when the rule has no occurrence at all."""
        first = self._dates.first
        if first is None:
            return None
        return next(iter(self._near(first)), None)

    def holding(self, at: datetime) -> Occurrence | None:
        """The occurrence whose window holds the instant; None before the first window."""
        found = None
        for occurrence in self._near(self._calendar.round_day(at)):
            if occurrence.opens > at:
                break
            found = occurrence
        return found

    def due_from(self, at: datetime) -> Occurrence | None:
        """The first that comes due at the instant or later."""
        return next((o for o in self._near(self._calendar.round_day(at)) if o.due >= at), None)

    def next(self, after: Occurrence) -> Occurrence | None:
        """The one that follows; None after the last."""
        return next((o for o in self._near(after.day) if o.due > after.due), None)

    def following(self, after: Occurrence, until: datetime) -> Iterator[Occurrence]:
        """Those later than `after` that come due by `until`, in order."""
        following = self.next(after)
        while following is not None and following.due <= until:
            yield following
            following = self.next(following)

    def on(self, day: date) -> list[Occurrence]:
        """Those of one round day."""
        return [occurrence for occurrence in self._near(day) if occurrence.day == day]

    def _near(self, day: date) -> list[Occurrence]:
        """The occurrences around a round day, at least two on either side where there are any."""
        found = self._around.get(day)
        if found is None:
            if len(self._around) > 500:
                self._around.clear()
            found = self._around[day] = self._expand(day)
        return found

    def _expand(self, day: date) -> list[Occurrence]:
        before = list(islice(self._dates.until(day), _NEIGHBOURS))
        after = list(islice(self._dates.after(day), _NEIGHBOURS))
        if self._last_day is not None:
            after = [each for each in after if each <= self._last_day]
            if day > self._last_day:
                before = list(islice(self._dates.until(self._last_day), _NEIGHBOURS))
        days: dict[datetime, date] = {}
        for each in (*reversed(before), *after):
            for clock in self._times:
                days.setdefault(self._calendar.wall(each, clock), each)
        instants = sorted(due for due in days if self._end is None or due < self._end)
        whole_before = len(before) < _NEIGHBOURS
        whole_after = len(after) < _NEIGHBOURS
        found = []
        for index, due in enumerate(instants):
            previous = instants[index - 1] if index else None
            following = instants[index + 1] if index + 1 < len(instants) else None
            if (previous is None and not whole_before) or (following is None and not whole_after):
                continue  # its neighbour lies outside what was looked at
            ahead = following - due if following is not None else None
            behind = due - previous if previous is not None else None
            gap = ahead or behind or ONE_DAY
            since = behind or ahead or ONE_DAY
            if self._early is None:
                early = min(since / 4, EARLY_AT_MOST)
            else:
                early = min(self._early, since) if behind or ahead else self._early
            found.append(Occurrence(due, days[due], due - early, gap))
        return found
