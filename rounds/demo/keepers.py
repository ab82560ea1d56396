"""Who is in the demo room, and in which order and at which minute they do what is due."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from random import Random
from typing import NamedTuple

from rounds.core.model import AgainAfter, Room, Shift, Task
from rounds.demo.recipe import Cover, Recipe
from rounds.demo.water import Clock

EARLY, LATE = "early", "late"

_MINUTE = timedelta(minutes=1)
_EVENING = time(19)
"""What is due from here on is done when it is due, by whoever closes the room."""
_SETTLING = timedelta(minutes=25)
"""After the beginning of a shift: accepting the room, the first look."""
_USUAL = timedelta(minutes=30)
"""Within so long the work of a usual hour is done."""
_QUARANTINE = timedelta(minutes=130)
"""Before the end of the late shift: from quarantine nobody goes back to the clean zones."""


class ToDo(NamedTuple):
    """An item of the day."""

    task: Task
    due: datetime
    fine_until: datetime


class Planned(NamedTuple):
    """A piece of work and the minute at which it will be finished."""

    at: datetime
    by: str
    task: Task


class _Job(NamedTuple):
    release: datetime
    deadline: datetime
    minutes: float
    place: int
    """Along the route."""
    item: ToDo


class Keepers:
    """The habits of the people in the room."""

    def __init__(self, room: Room, recipe: Recipe, clock: Clock, rng: Random) -> None:
        self._room = room
        self._recipe = recipe
        self._clock = clock
        self._rng = rng
        self._shifts = {shift.name: shift for shift in room.shifts}
        self._place = {id: place for place, id in enumerate(room.tasks)}

    def on(self, number: int, shift: str) -> str:
        """Who has the shift on the day `number`."""
        rota = self._recipe.rota
        for cover in rota.cover:
            if cover.first <= number <= cover.last and cover.shift == shift:
                return cover.by
        return (rota.early if shift == EARLY else rota.late)[self._clock.day(number).weekday()]

    def covered(self, cover: Cover) -> list[str]:
        """Whose shifts they would have been, each once, in order of their names."""
        rota = self._recipe.rota.early if cover.shift == EARLY else self._recipe.rota.late
        days = (self._clock.day(number).weekday() for number in range(cover.first, cover.last + 1))
        return sorted({rota[day] for day in days})

    def who(self, number: int, by: str) -> str:
        """Initials of a shift or the initials themselves."""
        return self.on(number, by) if by in self._shifts else by

    def plan(self, number: int, items: Sequence[ToDo]) -> tuple[list[Planned], list[ToDo]]:
        """What of the day's items is done, and what could wait and is left for tomorrow."""
        jobs: dict[str, list[_Job]] = {EARLY: [], LATE: []}
        night: list[Planned] = []
        left = []
        for item in items:
            shift = self._shift_of(item.task, item.due)
            if self._waits(number, item, shift):
                left.append(item)
            elif item.task.times and self._clock.calendar.local(item.due).time() >= _EVENING:
                day = self._clock.calendar.wall(self._clock.day(number), item.task.times[0])
                at = day + self._rng.uniform(4, 35) * _MINUTE
                night.append(Planned(at, self.on(number, LATE), item.task))
            else:
                jobs[shift].append(self._job(number, item, shift))
        done = [planned for shift, found in jobs.items() for planned in self._walk(self.on(number, shift), found)]
        return done + night, left

    def _shift_of(self, task: Task, due: datetime) -> str:
        if task.shift is not None:
            return task.shift.name
        if not task.times:
            return EARLY
        return EARLY if self._clock.calendar.local(due).time() < self._shifts[LATE].begins else LATE

    def _window(self, day: date, shift: Shift) -> tuple[datetime, datetime]:
        calendar = self._clock.calendar
        return calendar.wall(day, shift.begins), calendar.shift_end(day, shift.begins, shift.ends)

    def _waits(self, number: int, item: ToDo, shift: str) -> bool:
        """Whether the item is left for tomorrow: chosen where it can wait, now and then where it cannot."""
        task, habits = item.task, self._recipe.habits
        begins, ends = self._window(self._clock.day(number + 1), self._shifts[shift])
        can_wait = item.fine_until > begins + (ends - begins) * 0.8
        anchor = self._recipe.anchors.get(task.id)
        if anchor is not None and anchor != number:
            return False
        if any(day.day == number for day in self._recipe.postponed_all):
            return can_wait and task.importance in ("husbandry", "upkeep")
        if anchor is not None:
            return False
        chance = habits.left_for_tomorrow if can_wait else 0.0
        if can_wait and any(c.first <= number <= c.last and c.shift == shift for c in self._recipe.rota.cover):
            chance = 1.0
        small = isinstance(task.rule, AgainAfter) and task.importance in ("husbandry", "upkeep")
        if small and not task.by_value and number <= habits.late_until:
            chance = max(chance, habits.late)
        return self._rng.random() < chance

    def _job(self, number: int, item: ToDo, shift: str) -> _Job:
        _, due, fine = item
        begins, ends = self._window(self._clock.day(number), self._shifts[shift])
        minutes = (item.task.minutes or 3) * self._rng.uniform(0.5, 0.85)
        usual = self._recipe.usual.get(item.task.id)
        if usual is not None:
            release = self._clock.at(number, usual) + self._rng.gauss(0, 4) * _MINUTE
        elif item.task.times and self._clock.calendar.round_day(due) == self._clock.day(number):
            release = due + max(-6.0, self._rng.gauss(2, 4)) * _MINUTE
        else:
            spare = _QUARANTINE if shift == LATE else _SETTLING
            release = begins + _SETTLING + (ends - begins - _SETTLING - spare) * self._rng.random()
        deadline = fine if fine > begins else ends
        if usual is not None:
            deadline = min(deadline, release + _USUAL)
        release = min(release, deadline - (minutes + 6) * _MINUTE)
        return _Job(max(release, begins), deadline, minutes, self._place[item.task.id], item)

    def _walk(self, by: str, jobs: list[_Job]) -> list[Planned]:
        """One pair of hands: on along the route, except to what would otherwise be late."""
        done = []
        waiting = sorted(jobs, key=lambda job: job.release, reverse=True)
        ready: list[_Job] = []
        stands = 0
        cursor = waiting[-1].release if waiting else None
        while cursor is not None and (waiting or ready):
            if not ready:
                cursor = max(cursor, waiting[-1].release)
            while waiting and waiting[-1].release <= cursor:
                ready.append(waiting.pop())
            urgent = [job for job in ready if job.deadline - cursor < (job.minutes + 35) * _MINUTE]
            if urgent:
                job = min(urgent, key=lambda job: job.deadline)
            else:
                job = min(ready, key=lambda job: (job.place < stands, job.place))
                stands = job.place
            ready.remove(job)
            cursor += (job.minutes + self._rng.uniform(0.2, 0.9)) * _MINUTE
            at = cursor
            if at > job.deadline - _MINUTE:  # the other keeper lends a hand
                at = job.deadline - self._rng.uniform(1.2, 5) * _MINUTE
            done.append(Planned(at, by, job.item.task))
        return done
