"""What an absence asks for: what can be done before leaving, what somebody has to do meanwhile, what can wait."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime, timedelta

import msgspec

from rounds.core.ahead import Coming, again, coming
from rounds.core.calendar import ONE_DAY
from rounds.core.due import occurrences_of
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import PROTECTING, AgainAfter, OnDates, Room, Task
from rounds.core.shifts import covering, covers
from rounds.core.words import moment

LONGEST = timedelta(days=366)
"""A longer absence is no absence: the room has another keeper."""


class Absence(msgspec.Struct, frozen=True, kw_only=True):
    """The time in which the room is left; instants in UTC."""

    begin: datetime
    end: datetime
    """The first instant at which somebody is back."""
    sitter: str = ""
    """Who looks after the room meanwhile; empty: nobody was named."""


class Early(msgspec.Struct, frozen=True, kw_only=True):
    """Work that comes due by the return, and can be done just before leaving."""

    task: Task
    due_at: datetime
    """When it would come due; not after the beginning of the absence: it is due by then anyway."""
    fine_until: datetime
    again_at: datetime | None
    """When it comes due next if it is done just before leaving; None: never again."""
    can_wait: bool
    """Whether it would still be fine on return."""


class Needed(msgspec.Struct, frozen=True, kw_only=True):
    """Work that cannot be done early, or comes again, and is late before the return."""

    task: Task
    day: date
    """Its round day."""
    at: datetime
    """From when on it is to be done."""
    due_at: datetime
    fine_until: datetime
    who: str
    """Initials; empty: nobody is named."""
    may_skip: bool
    """Whether it may be left out if there is no time: nothing living depends on it, and it is made up on return."""
    why: str = ""
    """What a forecast says, or on what it depends; empty: its rule asks for it."""


class Waiting(msgspec.Struct, frozen=True, kw_only=True):
    """Work that comes due meanwhile and is to be done on return."""

    task: Task
    due_at: datetime
    fine_until: datetime
    if_skipped: bool
    """Only if it was left out meanwhile."""


class Work(msgspec.Struct, frozen=True, kw_only=True):
    """The work of an absence."""

    early: tuple[Early, ...] = ()
    """In walking order."""
    needed: tuple[Needed, ...] = ()
    """By round day."""
    waiting: tuple[Waiting, ...] = ()
    """In walking order, one for each task."""


def absence_of(room: Room, begin: datetime, end: datetime, now: datetime, sitter: str = "") -> Absence:
    """The absence from `begin` to `end`; what of it has passed in the current round day is left out.

    Raises `Refused` for one that ends before it begins, begins before the current round day or is too long.
    """
    calendar = room.calendar
    if begin < calendar.start(calendar.round_day(now)):
        raise Refused(
            f"the absence would begin {moment(calendar, begin, now)}, which is past; give a time from now on, and "
            f"look back with rounds history"
        )
    begin = max(begin, now)
    if end <= begin:
        raise Refused(
            f"the absence would end {moment(calendar, end, now)}, not after it begins {moment(calendar, begin, now)}; "
            f"give the time of leaving first, then that of the return"
        )
    if end - begin > LONGEST:
        raise Refused(f"an absence of more than {LONGEST.days} days cannot be planned; give an earlier return")
    return Absence(begin=begin, end=end, sitter=sitter)


def work_of(room: Room, history: History, absence: Absence, pressing: Collection[str] = ()) -> Work:
    """What the absence asks for by the rules of the tasks and by what was recorded.

    What is due when it begins is taken as done then, everything else as done when it is due. Nothing about what is
    `pressing` (full ids of readings and tasks) may be left out. Raises `Incomplete` where not enough was kept.
    """
    early: list[Early] = []
    meanwhile: list[Coming] = []
    for times in _by_task(room, history, absence):
        first, left = _parted(room, times, absence)
        early += first
        meanwhile += left
    needed = [_needed(room, history, each, absence, pressing) for each in meanwhile if each.fine_until < absence.end]

    def walked(task: Task) -> int:
        return room.places[task.system, task.station]

    return Work(
        early=tuple(sorted(early, key=lambda each: walked(each.task))),
        needed=tuple(sorted(needed, key=lambda each: (each.day, walked(each.task)))),
        waiting=tuple(sorted(_waiting(meanwhile, needed, absence), key=lambda each: walked(each.task))),
    )


def who_does(room: Room, history: History, task: Task, at: datetime, sitter: str = "") -> str:
    """Initials of who does a task at an instant: the sitter, else its keeper or who covers; empty: nobody is named.

    Work of a shift that one keeper usually has is that keeper's.
    """
    if sitter:
        return sitter
    usual = task.shift.keepers if task.shift is not None and len(task.shift.keepers) == 1 else ()
    keeper = task.keeper or next(iter(usual), "")
    return covering(covers(history, at), keeper) if keeper else ""


def _by_task(room: Room, history: History, absence: Absence) -> list[list[Coming]]:
    """The times at which each task is to be done during the absence."""
    days = (room.calendar.round_day(absence.end) - room.calendar.round_day(absence.begin)) // ONE_DAY + 1
    found: dict[str, list[Coming]] = {}
    for each in coming(room, history, absence.begin, days):
        if each.due_at < absence.end:
            found.setdefault(each.task.id, []).append(each)
    return list(found.values())


def _parted(room: Room, times: list[Coming], absence: Absence) -> tuple[list[Early], list[Coming]]:
    """Of one task what is done just before leaving, and what is left of it for the absence."""
    first, *later = times
    task, begin = first.task, absence.begin
    if task.source in ("look", "put back"):
        return [], later if first.due_at <= begin else times  # all of them are looked at before leaving, due or not
    if first.due_at <= begin or (isinstance(task.rule, OnDates) and _open_at(room, task, first, begin)):
        return [_early(room, first, absence)], later
    if isinstance(task.rule, AgainAfter):
        following = next(again(room, task, begin), None)
        if following is None or following.fine_until >= absence.end:
            left = [following] if following is not None and following.due_at < absence.end else []
            return [_early(room, first, absence)], left
    return [], times


def _open_at(room: Room, task: Task, each: Coming, at: datetime) -> bool:
    """Whether the window of an occurrence has begun at an instant, so that it can be done then."""
    held = occurrences_of(room, task).holding(at)
    return held is not None and held.due >= each.due_at


def _early(room: Room, each: Coming, absence: Absence) -> Early:
    return Early(
        task=each.task,
        due_at=each.due_at,
        fine_until=each.fine_until,
        again_at=_next_due(room, each.task, absence.begin),
        can_wait=each.due_at > absence.begin and each.fine_until >= absence.end,
    )


def _next_due(room: Room, task: Task, at: datetime) -> datetime | None:
    """When a task done at an instant comes due again."""
    if isinstance(task.rule, AgainAfter):
        following = next(again(room, task, at), None)
        return following.due_at if following is not None else None
    if not isinstance(task.rule, OnDates):
        return None
    occurrences = occurrences_of(room, task)
    held = occurrences.holding(at)
    after = occurrences.next(held) if held is not None else occurrences.first
    return after.due if after is not None else None


def _needed(room: Room, history: History, each: Coming, absence: Absence, pressing: Collection[str]) -> Needed:
    task = each.task
    return Needed(
        task=task,
        day=each.day,
        at=each.at,
        due_at=each.due_at,
        fine_until=each.fine_until,
        who=who_does(room, history, task, each.at, absence.sitter),
        may_skip=_may_skip(task) and not any(id in pressing for id in (task.id, *task.takes)),
        why="Unless it was put back before leaving." if task.source == "put back" else "",
    )


def _may_skip(task: Task) -> bool:
    """Whether nothing living depends on the task being done in time, and it is made up afterwards."""
    called = task.source == "step"  # a course of treatment is not to be thinned out
    return task.importance not in PROTECTING and not task.feed and task.make_up and not called


def _waiting(meanwhile: Iterable[Coming], needed: Iterable[Needed], absence: Absence) -> list[Waiting]:
    """What comes due and is still fine on return, and what may have been left out; each task once."""
    found = {
        each.task.id: Waiting(task=each.task, due_at=each.at, fine_until=each.fine_until, if_skipped=True)
        for each in needed
        if each.may_skip
    }
    for each in meanwhile:
        if each.fine_until >= absence.end:
            found[each.task.id] = Waiting(
                task=each.task, due_at=each.due_at, fine_until=each.fine_until, if_skipped=False
            )
    return list(found.values())
