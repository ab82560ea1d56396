"""One entry of a day sheet: what happened, when, by whom; never edited, only struck."""

from __future__ import annotations

from datetime import datetime

import msgspec

DONE = "done"
NOT_NEEDED = "not needed"
COULD_NOT = "could not"
POSTPONED = "postponed"
READING = "reading"
REFILL = "refill"
NOTE = "note"
CONCERN = "concern"
CONCERN_UPDATE = "concern update"
CONCERN_CLOSED = "concern closed"
OFF_NORMAL = "off normal"
BACK_TO_NORMAL = "back to normal"
PROTOCOL = "protocol"
HANDOVER = "handover"
ACCEPTED = "accepted"
CHANGE_STEP = "change step"
COVER = "cover"
BATCH = "batch"
BATCH_MOVED = "batch moved"
BATCH_COUNTED = "batch counted"
BATCH_CLOSED = "batch closed"
VALVED = "valved"
STOCK = "stock"
STRIKE = "strike"

APART = "apart"
JOINED = "joined"
"""How a record of the kind "valved" leaves a tank: one of its words."""

KINDS = frozenset(
    (
        DONE, NOT_NEEDED, COULD_NOT, POSTPONED, READING, REFILL, NOTE, CONCERN, CONCERN_UPDATE,
        CONCERN_CLOSED, OFF_NORMAL, BACK_TO_NORMAL, PROTOCOL, HANDOVER, ACCEPTED, CHANGE_STEP,
        COVER, BATCH, BATCH_MOVED, BATCH_COUNTED, BATCH_CLOSED, VALVED, STOCK, STRIKE,
    )
)  # fmt: skip
"""Other kinds, from a newer version, are kept and passed over."""

BATCH_KINDS = frozenset((BATCH, BATCH_MOVED, BATCH_COUNTED, BATCH_CLOSED))
"""What says how many of what stand where."""


class Value(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One measured number."""

    reading: str
    """Full id of the reading."""
    entered: str = ""
    """As typed, with its unit."""
    value: float | None = None
    """In the canonical unit of its quantity; for a value beyond the kit's limit, that limit."""
    unit: str = ""
    """The canonical unit."""
    bound: str | None = None
    """``<`` or ``>`` when the value lies beyond the limit, never a number to calculate with."""
    flag: str | None = None
    """Why it is doubtful, for example ``implausible``; None: nothing odd."""


class Point(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One line of a handover or a review, as it was signed, or the answer to it."""

    about: str
    """What it is about: a key that stays the same from signing to accepting."""
    text: str = ""
    """As it was shown."""
    answer: str = ""
    """Of the one who accepts: empty: confirmed; otherwise the question or remark."""
    open: bool = False
    """Whether the one who accepts has to answer it."""
    strong: bool = False
    """Whether it stands out: a time has passed, or it is time to act."""


class Record(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One entry."""

    id: str
    """UUIDv7 from the real clock."""
    kind: str
    at: datetime
    """When it happened, with its offset."""
    recorded: datetime
    """When it was written down."""
    by: str = ""
    """The keeper's initials."""
    device: str = ""
    system: str | None = None
    station: str | None = None
    task: str | None = None
    """Full id of the task, reading, ``-level`` or ``-refill``; of a batch that was combined, the id of the other."""
    values: tuple[Value, ...] = ()
    note: str = ""
    words: tuple[str, ...] = ()
    """Condition words of the trade found in the note; of a tank, `APART` or `JOINED`."""
    reason: str = ""
    until: datetime | None = None
    ref: str | None = None
    """Id of the record this one strikes, updates, closes, puts back or accepts; of a batch, what it was split from."""
    keepers: tuple[str, ...] = ()
    """Of a cover: who is absent and who covers."""
    points: tuple[Point, ...] = ()
    """Of a handover or a review: its lines, and on acceptance the answers."""

    @property
    def key(self) -> tuple[datetime, datetime, str]:
        """Place in history."""
        return (self.at, self.recorded, self.id)

    def canonical(self) -> bytes:
        """The one JSON form by which two contents of the same id are told apart."""
        return msgspec.json.encode(self, order="sorted")


def short(id: str) -> str:
    """The end of a record's id, by which keepers can tell one from another: twelve characters."""
    return id.replace("-", "")[-12:]
