"""Shifts on the clock: which one runs, which one comes; who is on, who covers whom, who is on call."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime
from functools import partial

import msgspec

from rounds.core.calendar import INSTANT, ONE_DAY
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Room, Shift, Task
from rounds.core.record import COVER, Record
from rounds.core.recording import Draft, clean
from rounds.core.words import moment, plain, quoted

ROUND_DAY = "round day"
"""The name of the shift of a room without shifts."""

Covering = Callable[[str], str]
"""Who does the work of the keeper with these initials."""


class Duty(msgspec.Struct, frozen=True, kw_only=True):
    """One shift on one round day; in a room without shifts, the whole round day."""

    shift: Shift | None
    """None: the room has no shifts."""
    day: date
    """Its round day."""
    begins: datetime
    ends: datetime

    @property
    def name(self) -> str:
        return self.shift.name if self.shift is not None else ROUND_DAY

    @property
    def keepers(self) -> tuple[str, ...]:
        """Initials of who usually has it."""
        return self.shift.keepers if self.shift is not None else ()


def duties_on(room: Room, day: date) -> list[Duty]:
    """Every shift of a round day by when it begins, then by when it ends."""
    calendar = room.calendar
    if not room.shifts:
        return [Duty(shift=None, day=day, begins=calendar.start(day), ends=calendar.end(day))]
    found = [
        Duty(
            shift=shift,
            day=day,
            begins=calendar.wall(day, shift.begins),
            ends=calendar.shift_end(day, shift.begins, shift.ends),
        )
        for shift in room.shifts
    ]
    return sorted(found, key=lambda duty: (duty.begins, duty.ends))


def duty_at(room: Room, now: datetime, name: str | None = None) -> Duty:
    """The shift that a handover at `now` is of.

    Of those running the one that ends first, else the one that ended last; with a `name` the shift of that name
    that began last. Raises `Refused` for a name that no shift has.
    """
    day = room.calendar.round_day(now)
    begun = [duty for each in (day - ONE_DAY, day) for duty in duties_on(room, each) if duty.begins <= now]
    if name is not None:
        named = [duty for duty in begun if duty.name.casefold() == name.strip().casefold()]
        if not named:
            known = ", ".join(shift.name for shift in room.shifts) or "none; leave --shift out"
            raise Refused(f"the shift {quoted(name)} does not exist in this room (there are: {known})")
        return named[-1]
    running = [duty for duty in begun if now < duty.ends]
    if running:
        return min(running, key=lambda duty: duty.ends)
    return max(begun, key=lambda duty: duty.ends)


def next_duty(room: Room, duty: Duty) -> Duty:
    """The shift that carries on after `duty`: of those that end later, the one that begins first."""
    following = (each for ahead in (0, 1) for each in duties_on(room, duty.day + ahead * ONE_DAY))
    return next(each for each in following if each.ends > duty.ends)


def duty_before(room: Room, duty: Duty) -> Duty:
    """The shift that handed over to `duty`: of those that end earlier, the one that ends last."""
    earlier = [each for ago in (1, 0) for each in duties_on(room, duty.day - ago * ONE_DAY) if each.ends < duty.ends]
    return max(earlier, key=lambda each: each.ends)


def span_of(room: Room, duty: Duty, now: datetime) -> tuple[datetime, datetime]:
    """From when to when what was recorded belongs to the shift, as far as `now`.

    What was done between two shifts belongs to the one it follows until that is handed over, and is told by the
    next one too, so that nothing lies between them.
    """
    begin = min(duty.begins, duty_before(room, duty).ends)
    return begin, min(now, max(duty.ends, next_duty(room, duty).begins))


# -- who covers whom -------------------------------------------------------------------------------


class Cover(msgspec.Struct, frozen=True):
    """One keeper doing the work of another for a time."""

    record: Record

    @property
    def absent(self) -> str:
        return self.record.keepers[0]

    @property
    def covering(self) -> str:
        return self.record.keepers[1]

    @property
    def since(self) -> datetime:
        return self.record.at

    @property
    def until(self) -> datetime:
        """The first instant at which it no longer holds."""
        return self.record.until or self.record.at


def covers(history: History, now: datetime) -> list[Cover]:
    """Who covers whom at `now`, the oldest first; raises `Incomplete` where not enough of the history was kept."""
    return covers_from(history, now, now)


def covers_from(history: History, begin: datetime, until: datetime) -> list[Cover]:
    """Who covers whom at `begin` or at some time from then up to `until`, the oldest first."""
    found = [Cover(record) for record in history.opened(COVER, until) if len(record.keepers) == 2]
    return [cover for cover in found if begin < cover.until]


def covering(standing: Iterable[Cover], keeper: str) -> str:
    """Who does the work of `keeper`, whatever the number of covers in between; the keeper's own where nobody covers.

    Of two covers for one keeper the later one holds; keepers who cover each other do their own work.
    """
    by_absent = {cover.absent: cover.covering for cover in standing}
    asked = [keeper]
    while (other := by_absent.get(asked[-1])) is not None:
        if other in asked:
            return keeper
        asked.append(other)
    return asked[-1]


def covering_at(standing: Iterable[Cover], at: datetime) -> Covering:
    """Who does the work of each keeper at `at`, of covers of any time."""
    return partial(covering, [each for each in standing if each.since <= at < each.until])


def own_work(keeper: str) -> str:
    """Nobody covers for anybody."""
    return keeper


def usual_doers(task: Task) -> tuple[str, ...]:
    """Whose work the task is: its keeper's, else those of its shift; nobody's in particular is everyone's."""
    if task.keeper is not None:
        return (task.keeper,)
    return task.shift.keepers if task.shift is not None else ()


def doers(task: Task, covering: Covering = own_work) -> tuple[str, ...]:
    """Who does the task, those who cover in the place of those who are absent; nobody in particular: everyone."""
    return tuple(covering(keeper) for keeper in usual_doers(task))


def doers_text(task: Task, covering: Covering = own_work) -> str:
    """``IK for TV``; empty: everyone."""
    pairs = ((covering(keeper), keeper) for keeper in usual_doers(task))
    return ", ".join(plain(there if there == keeper else f"{there} for {keeper}") for there, keeper in pairs)


def draft_cover(
    room: Room, history: History, keepers: tuple[str, str], at: datetime, until: datetime, why: str
) -> Draft:
    """The second of the `keepers` does the work of the first from `at` until a later time.

    Asks first where the first is covered already. Raises `Refused` for a time that is not later, and for a keeper
    who would cover their own absence, directly or by others.
    """
    absent, covers_for = keepers
    if until <= at:
        raise Refused("the cover would end before it begins; give a later time with --until")
    standing = covers(history, at)
    if absent == covers_for or covering(standing, covers_for) == absent:
        raise Refused(f"{absent} would cover {absent}'s own absence; name another keeper")
    questions = tuple(
        f"{each.covering} covers {absent} until {moment(room.calendar, each.until, at)}; instead?"
        for each in standing
        if each.absent == absent
    )
    return Draft(kind=COVER, at=at, keepers=keepers, until=until, reason=clean(why), questions=questions)


# -- who is on -------------------------------------------------------------------------------------


class Hand(msgspec.Struct, frozen=True, kw_only=True):
    """Someone who is on, comes next or is on call."""

    initials: str
    name: str
    """Empty for initials that are no keeper's."""
    covers_for: str = ""
    """Initials of the absent keeper; empty: nobody."""
    recorded: bool = False
    """Not on by the room's file, but recorded in the shift."""


def on_duty(room: Room, history: History, duty: Duty, now: datetime) -> list[Hand]:
    """Who has the shift at `now`, or when it begins: its keepers with covers in their place, then who else recorded."""
    at = min(max(now, duty.begins), duty.ends - INSTANT)
    found = _with_covers(room, history, duty.keepers, at)
    known = {hand.initials for hand in found}
    if now < duty.begins:
        return found
    records = history.since(duty.begins, min(now, duty.ends - INSTANT))
    others = [by for by in dict.fromkeys(record.by for record in records) if by and by not in known]
    return [*found, *(_hand(room, by, recorded=True) for by in others)]


def on_call(room: Room, history: History, now: datetime) -> list[Hand]:
    """Who is called between the shifts at `now`, first to last, with covers in their place."""
    return _with_covers(room, history, room.on_call, now)


def _with_covers(room: Room, history: History, keepers: Iterable[str], at: datetime) -> list[Hand]:
    standing = covers(history, at)
    found: dict[str, Hand] = {}
    for keeper in keepers:
        there = covering(standing, keeper)
        found.setdefault(there, _hand(room, there, covers_for=keeper if there != keeper else ""))
    return list(found.values())


def _hand(room: Room, initials: str, *, covers_for: str = "", recorded: bool = False) -> Hand:
    name = next((keeper.name for keeper in room.keepers if keeper.initials == initials), "")
    return Hand(initials=initials, name=name, covers_for=covers_for, recorded=recorded)
