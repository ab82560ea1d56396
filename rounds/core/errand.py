"""One thing that comes due because of what was recorded, as it stands at an instant, and when it came due."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import msgspec

from rounds.core.durations import Span
from rounds.core.model import ROOM, Room, Task
from rounds.core.protocols import due_again
from rounds.core.record import Record


class Errand(msgspec.Struct, frozen=True, kw_only=True):
    """As it stands at one instant."""

    task: Task
    due_at: datetime | None = None
    """None: there is nothing more to do; it was closed in this round day."""
    fine_until: datetime | None = None
    interval: timedelta = timedelta(days=1)
    every: Span | None = None
    """Of a step that is repeated: counted from the last time."""
    left: int = 1
    """How many more times such a step is done, this one included."""
    waits_for: tuple[str, ...] = ()
    """Full ids of such steps that it is planned after: it comes no sooner than one interval after their last time."""
    why: str = ""
    since: datetime
    """When what it comes of was recorded: what was said of its task before has nothing to do with it."""
    closings: tuple[Record, ...] = ()
    """What closed it so far, in history order."""
    was_due: datetime | None = None
    """When what was closed in this round day had been due; None: it was not due, or not closed."""


def times(room: Room, errand: Errand, first: datetime) -> Iterator[tuple[datetime, datetime]]:
    """When it is due after it was done at `first`, and until when it is fine, each done as soon as it is due.

    A look is asked for again after the same time for as long as its concern is open.
    """
    assert errand.due_at is not None
    assert errand.fine_until is not None
    grace, at, left = errand.fine_until - errand.due_at, first, errand.left
    while errand.task.source == "look" or (errand.every is not None and left > 1):
        at = at.astimezone(UTC) + errand.interval if errand.every is None else due_again(room, errand.every, at)
        left -= 1
        yield at, at + grace


class CameDue(NamedTuple):
    """One time that an errand came due."""

    task: Task
    due_at: datetime
    fine_until: datetime
    closing: Record | None
    """What closed it; None: nothing did by the instant asked about."""


def place(room: Room, system: str | None, station: str | None) -> tuple[str, str]:
    """Where a record's errand is walked to: its station, else its system as a whole, else the room."""
    for key in ((system or "", station or ""), (system or "", "")):
        if key in room.places:
            return key
    return ROOM, ""
