"""When the work of a new room is done for the first time, so that not everything comes at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime, time

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.founding import WEEKS, Answers
from rounds.core.model import PROTECTING, AgainAfter, Room, Task
from rounds.core.shifts import Duty, duties_on

_RARE = 5
"""Days: work that comes back more often than this is not spread."""
_URGENT_WITHIN = 7
"""Days within which what protects people and animals is done for the first time."""
_LATE_FROM = time(12)
"""From when a room without shifts begins on the next day; common practice, no source."""
_MINUTES = 5
"""What a task is taken for that does not say how long it takes."""


def first_days(room: Room) -> dict[str, date]:
    """By task, the day on which what comes back after `_RARE` days or more is done for the first time.

    A new room knows of no last time, so that everything would be due on its first day. Each task is put on the day
    with the least work within its interval, `WEEKS` weeks at most; what protects people and animals within a week.
    """
    minutes = [0] * (WEEKS * 7)
    found = {}
    for task, every in sorted(_returning(room), key=_least_free_first):
        day = min(range(_within(task, every)), key=lambda place: minutes[place])
        for place in range(day, len(minutes), every):
            minutes[place] += task.minutes or _MINUTES
        if day:
            found[task.id] = room.began + day * ONE_DAY
    return found


def _returning(room: Room) -> Iterator[tuple[Task, int]]:
    """The tasks that come back some days after they were done, with how many."""
    for task in room.tasks.values():
        if isinstance(task.rule, AgainAfter) and task.rule.span.nominal >= ONE_DAY and task.first_day is None:
            yield task, task.rule.span.nominal // ONE_DAY


def _least_free_first(returning: tuple[Task, int]) -> tuple[int, int]:
    """What has the fewest days to go to comes first, of those the longest: the short ones fill what is left."""
    task, every = returning
    return _within(task, every), -(task.minutes or _MINUTES)


def _within(task: Task, every: int) -> int:
    """Days, one of which is the first: 1 for what is not spread."""
    if every < _RARE:
        return 1
    return min(every, _URGENT_WITHIN if task.importance in PROTECTING else WEEKS * 7)


def fitted_times(room: Room) -> dict[str, tuple[time, ...]]:
    """By task, its times of day where one of them has to be another for the room's shifts.

    What is late before anybody comes would be late every day: it is due when the next shift begins. A time stays
    where no shift comes after it, and where two times of a task would fall into one shift.
    """
    duties = duties_on(room, room.began) if room.shifts else []
    fitted = ((task.id, _fitted(room, task, duties)) for task in room.tasks.values() if task.grace is not None)
    return {id: times for id, times in fitted if times != room.tasks[id].times}


def _fitted(room: Room, task: Task, duties: Sequence[Duty]) -> tuple[time, ...]:
    found: list[time] = []
    used: list[Duty] = []
    for each in task.times:
        due = room.calendar.wall(room.began, each)
        duty = next((duty for duty in duties if duty.ends > due), None)
        if duty in used:
            return task.times
        if duty is not None:
            used.append(duty)
        late = duty is not None and task.grace is not None and duty.begins >= due + task.grace
        found.append(duty.shift.begins if late and duty is not None and duty.shift is not None else each)
    return tuple(found)


def usual_first_day(answers: Answers, calendar: Calendar, now: datetime) -> date:
    """The first round day where none was answered: the current one, unless its work would begin late.

    It would once the last shift has begun, and in a room without shifts from noon on.
    """
    today = calendar.round_day(now)
    begins = [calendar.wall(today, shift.begins) for shift in answers.shifts]
    late = now > max(begins) if begins else now >= calendar.wall(today, _LATE_FROM)
    return today + ONE_DAY if late else today
