"""How long the work of the coming days takes, and what can be done earlier so that no day takes too long."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import takewhile

import msgspec

from rounds.core.ahead import DAYS, Coming, again
from rounds.core.calendar import ONE_DAY
from rounds.core.due import due_after, shift_end, task_time
from rounds.core.history import History
from rounds.core.model import AgainAfter, Room, Task
from rounds.core.off_normal import not_in_service, off_normal
from rounds.core.walk import cleaner_than
from rounds.core.why import rule_text
from rounds.core.words import day_name, plural

FULLER = 1.25
"""A day that takes more than so many times the median of the days is too full; common practice, without a source."""

REACH = 4
"""Work that does not say how `early` it can be done is brought forward by at most a quarter of its interval, as far as
it may be late by itself."""


class DayLoad(msgspec.Struct, frozen=True, kw_only=True):
    """What one round day asks for."""

    day: date
    minutes: int
    """Of the tasks that say how long they take."""
    tasks: int
    """All of them."""
    without_minutes: int
    """Those that do not say."""
    too_full: bool


class Load(msgspec.Struct, frozen=True, kw_only=True):
    """The load of the coming days; the first is the current one, with what is left of it."""

    days: tuple[DayLoad, ...]
    limit: int
    """Minutes above which a day is too full."""
    because: str
    """Where the limit comes from, as half a sentence."""


class Earlier(msgspec.Struct, frozen=True, kw_only=True):
    """A proposal to do something before it is due."""

    task: Task
    from_day: date
    """The round day on which it is due."""
    to_day: date
    at: datetime
    """When it comes then: the time of the task on that day, today not before now."""
    due_at: datetime
    fine_until: datetime
    minutes: int
    why: str
    """The reason and the arithmetic, in sentences."""


def load(room: Room, ahead: Sequence[Coming], first: date, days: int = DAYS) -> Load:
    """What `coming` found, as minutes of each round day from the `first` on.

    A day is too full above the room's `minutes_a_day`, else above a quarter more than the median of the days that
    take any time.
    """
    found: dict[date, list[int | None]] = {first + number * ONE_DAY: [] for number in range(days)}
    for each in ahead:
        found[each.day].append(each.minutes)
    minutes = {day: sum(each or 0 for each in those) for day, those in found.items()}
    limit, because = _limit(room, minutes)
    return Load(
        days=tuple(
            DayLoad(
                day=day,
                minutes=minutes[day],
                tasks=len(those),
                without_minutes=sum(1 for each in those if each is None),
                too_full=minutes[day] > limit,
            )
            for day, those in found.items()
        ),
        limit=limit,
        because=because,
    )


def _limit(room: Room, minutes: Mapping[date, int]) -> tuple[int, str]:
    from statistics import median

    if room.minutes_a_day is not None:
        return room.minutes_a_day, "minutes_a_day in room.toml"
    middle = median([each for each in minutes.values() if each] or [0])
    return int(middle * FULLER), f"a quarter more than the median of the days, {middle:g} minutes"


def levelling(room: Room, history: History, now: datetime, ahead: Sequence[Coming], load: Load) -> list[Earlier]:
    """What to do earlier so that the days that are too full take less; advice, nothing is recorded.

    Only work counted in days or longer from the last time that makes no light stronger, by at most its `early`, else a
    quarter of its interval, and each task once. Whatever follows from it counts too: no day that takes more than before
    is too full, nothing has to be done more often within these days, nothing comes later than it was due, and nothing
    is brought to today that would lead back from a dirtier zone. `ahead` is what `coming` found at `now`, and `load`
    that of it.
    """
    if not any(day.too_full for day in load.days):
        return []
    return list(_Levelling(room, history, now, ahead, load).proposals())


class _Levelling:
    """The days as they are with the proposals made so far."""

    def __init__(self, room: Room, history: History, now: datetime, ahead: Sequence[Coming], load: Load) -> None:
        calendar = room.calendar
        self._room = room
        self._now = now
        self._days = [each.day for each in load.days]
        self._end = calendar.end(self._days[-1])
        self._limit = load.limit
        self._minutes = {each.day: each.minutes for each in load.days}
        self._times: dict[str, list[Coming]] = {}
        for each in ahead:
            if _can_move(each):
                self._times.setdefault(each.task.id, []).append(each)
        self._order = {id: place for place, id in enumerate(self._times)}
        self._off = not_in_service(off_normal(room, history, now)) if room.served else {}
        self._dirtiest = _dirtiest(room, history, now)

    def proposals(self) -> Iterator[Earlier]:
        for day in self._days:
            while self._minutes[day] > self._limit:
                proposal = self._from(day)
                if proposal is None:
                    break
                yield proposal

    def _from(self, day: date) -> Earlier | None:
        """Bring one task forward from the day: what comes least often first, then what takes longest."""
        there = [each for times in self._times.values() for each in times if each.day == day and each.at == each.due_at]
        there.sort(key=lambda each: (-_days(each.task), -(each.minutes or 0), self._order[each.task.id]))
        for each in there:
            first = max(self._days[0], day - _reach(each.task) * ONE_DAY)
            room_left = self._limit - (each.minutes or 0)
            earlier = [other for other in self._days if first <= other < day and self._minutes[other] <= room_left]
            for target in sorted(earlier, key=lambda other: (self._minutes[other], -other.toordinal())):
                times = self._brought(each, target)
                if times is not None:
                    return self._proposal(each, times)
        return None

    def _brought(self, moved: Coming, target: date) -> list[Coming] | None:
        """The times of the task with this one on an earlier day, and what follows from it; None: that is no gain."""
        task, known = moved.task, self._times[moved.task.id]
        before = [each for each in known if each.at < moved.at]
        at = self._time_on(task, target)
        if at is None or (before and before[-1].day >= target):
            return None
        first = msgspec.structs.replace(moved, day=target, at=at)
        left = self._off.get(task.equipment or "")
        following = again(self._room, task, at, left.until if left is not None else None)
        times = [*before, first, *takewhile(lambda each: each.at < self._end, following)]
        if len(times) != len(known):
            return None
        after = self._with(known, times)
        return times if all(after[day] <= max(self._limit, self._minutes[day]) for day in after) else None

    def _time_on(self, task: Task, day: date) -> datetime | None:
        """When the task can be done on that day; None: it cannot."""
        room = self._room
        at = max(self._now, room.calendar.wall(day, task_time(room, task)))
        left = self._off.get(task.equipment or "")
        if (
            at >= shift_end(room, task, day)
            or (task.first_day is not None and day < task.first_day)
            or (left and at < left.until)
        ):
            return None
        back = day == self._days[0] and cleaner_than(room, room.system[task.system].zone, self._dirtiest)
        return None if back else at

    def _with(self, known: Sequence[Coming], times: Sequence[Coming]) -> dict[date, int]:
        """The minutes of the days, with other times of one task."""
        after = dict(self._minutes)
        for each in known:
            after[each.day] -= each.minutes or 0
        for each in times:
            after[each.day] += each.minutes or 0
        return after

    def _proposal(self, moved: Coming, times: Sequence[Coming]) -> Earlier:
        """The move, made; its task stays from now on where it is."""
        known = self._times.pop(moved.task.id)
        before, after = self._minutes, self._with(known, times)
        self._minutes = after
        new = next(each for each in times if each.due_at == moved.due_at)
        minutes = moved.minutes or 0
        return Earlier(
            task=moved.task,
            from_day=moved.day,
            to_day=new.day,
            at=new.at,
            due_at=moved.due_at,
            fine_until=moved.fine_until,
            minutes=minutes,
            why=(
                f"{day_name(moved.day)} takes {before[moved.day]} minutes, more than {self._limit}; without these "
                f"{minutes} it takes {after[moved.day]}. {day_name(new.day)} takes {before[new.day]} and with them "
                f"{after[new.day]}. {self._what_follows(moved, new)}"
            ),
        )

    def _what_follows(self, moved: Coming, new: Coming) -> str:
        room, task = self._room, moved.task
        early = plural((moved.day - new.day).days, "day")
        then = [due_after(room, task, at) for at in (new.at, moved.at)]
        days = [day_name(room.calendar.round_day(due.due)) for due in then if due is not None]
        following = f", and due again {days[0]} instead of {days[1]}" if len(days) == 2 else ""
        return f"It is due {rule_text(task)}: done {early} before it is due it is never late{following}."


def _can_move(each: Coming) -> bool:
    """Whether it is counted from the last time, can be done some days early, and says how long it takes.

    More light is never brought forward: the animals have to be ready for it.
    """
    task, rule = each.task, each.task.rule
    if not isinstance(rule, AgainAfter) or rule.span.exact or task.light_step:
        return False
    return bool(each.minutes) and _reach(task) > 0


def _reach(task: Task) -> int:
    """By how many days it can be brought forward, never to the day on which it was done."""
    return _days(task) // REACH if task.early is None else min(task.early.days, _days(task) - 1)


def _days(task: Task) -> int:
    """The interval of a task counted from the last time."""
    assert isinstance(task.rule, AgainAfter)
    return task.rule.span.nominal.days


def _dirtiest(room: Room, history: History, now: datetime) -> str | None:
    """The dirtiest zone in which anything was recorded in this round day."""
    order = [zone.id for zone in room.zones]
    begin = room.calendar.start(room.calendar.round_day(now))
    systems = {record.system for record in history.since(begin, now)}
    worked = [zone for id in systems if id in room.system and (zone := room.system[id].zone) in order]
    return max(worked, key=order.index, default=None)
