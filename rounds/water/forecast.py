"""When a reservoir runs low: its last level carried on by its use and by what is planned to be drawn at a stroke.

Litres and days; a waste container fills, and runs low when it is nearly full.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime, timedelta

from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.items import OPEN_STATES
from rounds.core.model import AgainAfter, OnDates, Reservoir, Room, Task
from rounds.core.plan import items_of
from rounds.water.levels import Levels, Measured, occurring
from rounds.water.stretches import Drawn, Point, fills

FAR = timedelta(days=3650)
"""What is further off than this does not run out."""
PLANNED = timedelta(days=60)
"""So far ahead planned work is looked at."""


def steps_of(
    levels: Levels, room: Room, history: History, measured: Measured, now: datetime, ahead: timedelta = PLANNED
) -> list[Drawn]:
    """What is drawn at a stroke after the last level: what was recorded, then what is planned for the time ahead."""
    last = measured.last
    if last is None or measured.falls:
        return []
    recorded = [each for each in measured.drawn if each.at > last.at]
    if not levels.works(measured.tank):
        return recorded
    return recorded + planned_work(levels, room, history, measured.tank, now, now + ahead)


def planned_work(
    levels: Levels, room: Room, history: History, tank: Reservoir, now: datetime, until: datetime
) -> list[Drawn]:
    """What planned work will take from the reservoir up to an instant, by the rules of the tasks; what is late, now."""
    found: list[Drawn] = []
    for task, litres in levels.works(tank):
        if room.runs(task):
            found += (Drawn(at, litres) for at in _planned(room, history, task, now, until))
    return sorted(found)


def _planned(room: Room, history: History, task: Task, now: datetime, until: datetime) -> Iterator[datetime]:
    items = items_of(room, history, task, now, room.calendar.round_day(now))
    due = min((item.due_at for item in items if item.state in OPEN_STATES and item.due_at is not None), default=None)
    if due is None or due > until:
        return
    yield max(due, now)
    if isinstance(task.rule, OnDates):
        yield from occurring(room, task, max(due, now), until)
    elif isinstance(task.rule, AgainAfter):
        due = max(due, now) + task.rule.span.nominal
        while due <= until:
            yield due
            due += task.rule.span.nominal


def reached(measured: Measured, limit: float, steps: Sequence[Drawn], rate: float | None) -> datetime | None:
    """When the level comes to `limit` litres, at `rate` litres a day and with steps after the last level.

    A limit that was passed between two levels is dated by the straight line between them, or by the first of them
    where all lie beyond it; at the latest when a level was read as less (of waste more) than it.
    None: not in ten years, or nothing is known.
    """
    last = measured.last
    if last is None:
        return None
    if measured.bound is not None and measured.proves(limit):
        reckoned = _reached(measured, last, limit, steps, rate)
        return min(reckoned or measured.bound.at, measured.bound.at)
    return _reached(measured, last, limit, steps, rate)


def _reached(
    measured: Measured, last: Point, limit: float, steps: Sequence[Drawn], rate: float | None
) -> datetime | None:
    tank = measured.tank
    sign = -1.0 if fills(tank) else 1.0
    left = sign * (last.litres - limit)
    if left <= 0:
        return _passed(measured.stretches[-1], limit, sign)
    if rate is None:
        rate = 0.0
    most = sign * (tank.capacity - limit) if sign > 0 else limit
    at = last.at
    for step in (*steps, None):
        if rate > 0 and (step is None or left / rate <= (step.at - at) / ONE_DAY):
            days = left / rate
            return at + timedelta(days=days) if days < FAR.days else None
        if step is None:
            return None
        left = min(most, left - rate * ((step.at - at) / ONE_DAY)) - step.litres
        at = step.at
        if left <= 0:
            return at
    return None


def _passed(stretch: Sequence[Point], limit: float, sign: float) -> datetime:
    """When a stretch that ends beyond the limit has passed it."""
    beyond = stretch[-1]
    for point in reversed(stretch):
        if sign * (point.litres - limit) > 0:
            share = (point.litres - limit) / (point.litres - beyond.litres)
            return point.at + (beyond.at - point.at) * share
        beyond = point
    return beyond.at


def level_at(measured: Measured, steps: Sequence[Drawn], now: datetime) -> float | None:
    """Litres that are in it at `now` by its use, not below what cannot be drawn; None: never read."""
    last = measured.last
    if last is None:
        return None
    sign = -1.0 if fills(measured.tank) else 1.0
    gone = (measured.use.steady or 0.0) * (max(timedelta(0), now - last.at) / ONE_DAY)
    gone += sum(each.litres for each in steps if last.at < each.at <= now)
    litres = last.litres - sign * gone
    if sign < 0:
        return max(last.litres, min(litres, measured.tank.capacity)) if gone > 0 else litres
    lowest = min(last.litres, measured.tank.dead)
    return min(max(litres, lowest), max(last.litres, measured.tank.capacity))


def last_whole_day(room: Room, at: datetime) -> date:
    """The last round day that has ended by an instant."""
    return room.calendar.round_day(at) - ONE_DAY
