"""Round days and wall times of one room, across daylight-saving changes.

Everything handed out is an instant in UTC, so that differences are elapsed time; the wall
clock is only read and written here.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

ONE_DAY = timedelta(days=1)

INSTANT = timedelta(microseconds=1)
"""The shortest time there is: what ends so much after an instant still holds it."""


class Calendar:
    """The room's time zone and the hour at which its day begins."""

    def __init__(self, zone: ZoneInfo, day_begins: time) -> None:
        self.zone = zone
        self.day_begins = day_begins
        self._instants: dict[tuple[date, time], datetime] = {}

    def instant(self, on: date, clock: time) -> datetime:
        """The instant at which the wall shows `clock` on the date `on`.

        A wall time in the gap is read with the offset before it, an ambiguous one is the first
        (RFC 5545 section 3.3.5). With ``fold=0`` zoneinfo answers just so.
        """
        key = (on, clock)
        found = self._instants.get(key)
        if found is None:
            if len(self._instants) > 20_000:
                self._instants.clear()
            found = datetime.combine(on, clock, self.zone).astimezone(UTC)
            self._instants[key] = found
        return found

    def start(self, day: date) -> datetime:
        """The first instant of the round day `day`."""
        return self.instant(day, self.day_begins)

    def end(self, day: date) -> datetime:
        """The first instant after the round day `day`."""
        return self.instant(day + ONE_DAY, self.day_begins)

    def wall(self, day: date, clock: time) -> datetime:
        """The instant of `clock` on the round day `day`: after midnight it is the next date."""
        return self.instant(day if clock >= self.day_begins else day + ONE_DAY, clock)

    def round_day(self, at: datetime) -> date:
        """The round day that holds the instant `at`."""
        day = at.astimezone(self.zone).date() + ONE_DAY
        while self.start(day) > at:
            day -= ONE_DAY
        return day

    def local(self, at: datetime) -> datetime:
        """`at` with the room's offset."""
        return at.astimezone(self.zone)

    def stamp(self, at: datetime | None) -> str | None:
        """``2026-11-25T10:00:00+00:00``: RFC 3339 with the room's offset, whole seconds; None stays None."""
        return self.local(at).isoformat(timespec="seconds") if at is not None else None

    def shift_end(self, day: date, begins: time, ends: time) -> datetime:
        """When a shift of the round day ends; one that would not end after it begins, with the day."""
        end = self.wall(day, ends)
        return end if end > self.wall(day, begins) else self.end(day)
