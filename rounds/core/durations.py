"""Spans such as ``"3 days"``: one whole number and one unit."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, timedelta

import msgspec

from rounds.core.errors import CannotRead
from rounds.core.words import quoted

UNITS = ("minutes", "hours", "days", "weeks", "months", "years")
"""In rising order; the first two are exact, the others keep the wall clock."""

GRACE_UNITS = UNITS[:4]

_LENGTH = {
    "minutes": timedelta(minutes=1),
    "hours": timedelta(hours=1),
    "days": timedelta(days=1),
    "weeks": timedelta(weeks=1),
    "months": timedelta(days=30),
    "years": timedelta(days=365),
}
LONGEST = timedelta(days=36_525)
"""One hundred years."""

_TEXT = re.compile(r"\s*([0-9]{1,9})\s+([a-z]+)\s*", re.ASCII)


class Span(msgspec.Struct, frozen=True):
    """A number of units of time, as written."""

    number: int
    """At least 1."""
    unit: str
    """One of ``UNITS``."""

    @property
    def exact(self) -> bool:
        """True for minutes and hours, which are elapsed time; false where the wall clock is kept."""
        return self.unit in ("minutes", "hours")

    @property
    def nominal(self) -> timedelta:
        """The elapsed time this stands for when intervals are compared: month 30 days, year 365."""
        return self.number * _LENGTH[self.unit]

    def after(self, day: date) -> date:
        """The day so many days, weeks, months or years later; the 31st becomes the last day of a shorter month."""
        if self.unit in ("days", "weeks"):
            return day + self.nominal
        months = day.year * 12 + day.month - 1 + self.number * (12 if self.unit == "years" else 1)
        year, month = months // 12, months % 12 + 1
        return date(year, month, min(day.day, monthrange(year, month)[1]))

    @property
    def every(self) -> str:
        """How often it comes again: ``every day``, ``every 3 days``."""
        return f"every {self}" if self.number != 1 else f"every {self.unit[:-1]}"

    def __str__(self) -> str:
        return f"{self.number} {self.unit if self.number != 1 else self.unit[:-1]}"


def parse_span(text: str, units: tuple[str, ...] = UNITS) -> Span:
    """Read ``"3 days"``; raise `CannotRead` with what is allowed."""
    found = _TEXT.fullmatch(text)
    if found:
        number, word = int(found[1]), found[2]
        unit = word if word.endswith("s") else word + "s"
        if unit in units and number >= 1:
            if number * _LENGTH[unit] > LONGEST:
                raise CannotRead(f"{quoted(text)} is longer than 100 years; write a shorter span")
            return Span(number, unit)
    allowed = ", ".join(units[:-1]) + " or " + units[-1]
    raise CannotRead(
        f"{quoted(text)} is not a span of time; "
        f'write one whole number from 1 up and one unit ({allowed}), such as "3 days"'
    )


def parse_elapsed(text: str) -> timedelta:
    """Read a grace, an early or a lapse: minutes to weeks, a day being 24 hours."""
    return parse_span(text, GRACE_UNITS).nominal
