"""Concerns: something to keep an eye on until it is closed."""

from __future__ import annotations

from datetime import datetime, timedelta

import msgspec

from rounds.core.history import History
from rounds.core.record import CONCERN_CLOSED, Record


class Concern(msgspec.Struct, frozen=True, kw_only=True):
    """A concern as it stands at one instant."""

    record: Record
    """That opened it: `note` is what was seen, `reason` what to look for."""
    updates: tuple[Record, ...] = ()
    """What was recorded about it since, in history order, its end included."""
    closed: Record | None = None
    """None: open."""

    @property
    def id(self) -> str:
        return self.record.id

    @property
    def last(self) -> Record:
        """The last word on it."""
        return self.updates[-1] if self.updates else self.record

    @property
    def look_at(self) -> datetime | None:
        """When to look again; None: no time was set, or it is closed."""
        return self.last.until if self.closed is None else None

    @property
    def look_for(self) -> str:
        """What to look for, as it was said last."""
        said = (record.reason for record in reversed((self.record, *self.updates)) if record.kind != CONCERN_CLOSED)
        return next((reason for reason in said if reason), "")

    def age(self, now: datetime) -> timedelta:
        """How long it has been open."""
        return now - self.record.at


def concern(history: History, record: Record, now: datetime) -> Concern:
    """The concern that `record` opened."""
    followed = history.followed(record.id, now)
    return Concern(record=record, updates=tuple(followed), closed=history.ended(record.id, now))


def open_concerns(history: History, now: datetime) -> list[Concern]:
    """Those open at `now`, the oldest first; raises `Incomplete` where not enough of the history was kept."""
    return [concern(history, record, now) for record in history.concerns(now)]
