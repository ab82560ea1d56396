"""Refills that come due by themselves, because a forecast says so."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.items import Forecast
from rounds.core.model import Reservoir, Room
from rounds.core.words import moment, plain
from rounds.water.forecast import last_whole_day, reached, steps_of
from rounds.water.levels import Levels, Measured, amount, level_amount
from rounds.water.stretches import fills

AHEAD = timedelta(days=14)
"""A refill that comes due later than this is not spoken of yet."""


class Refills:
    """The forecasts of a room; remembers them until a record changes them or a minute has passed."""

    def __init__(self) -> None:
        self._levels = Levels()
        self._found: list[Forecast] = []
        self._for: tuple[Room, History, tuple[tuple[int, ...], datetime]] | None = None

    def forecasts(self, room: Room, history: History, now: datetime) -> list[Forecast]:
        """What has to be refilled or emptied in the coming two weeks, and what was refilled in this round day.

        While the use is out of the ordinary high, the newest counts. A refill is due at the beginning of the last shift
        (without shifts: at the start) of the last whole round day before the reserve is reached, but not before the
        level that shows it was read; it is fine until the reserve is reached. When no other shift begins before that,
        it is life support. Raises `Incomplete` where not enough of the history was kept.
        """
        now = now.astimezone(UTC)
        state = self._levels.state(room, history)
        key = (state, now.replace(second=0, microsecond=0))
        known = self._for
        if known is None or known[0] is not room or known[1] is not history or known[2] != key:
            self._found = self._work_out(room, history, now)
            self._for = (room, history, key)
        return self._found

    def _work_out(self, room: Room, history: History, now: datetime) -> list[Forecast]:
        found: list[Forecast] = []
        for tank in room.reservoirs.values():
            task = room.tasks[f"{tank.id}-refill"]
            if not room.runs(task):
                continue
            begin = room.calendar.start(room.calendar.round_day(now))
            refills = history.closings(task.id).through(begin, now)
            if refills:
                before = self._levels.measured_before(room, history, tank, refills[0])
                found += self._forecast(room, history, before, refills[0].at.astimezone(UTC), closed=True)
            found += self._forecast(room, history, self._levels.measured(room, history, tank, now), now)
        return found

    def _forecast(
        self, room: Room, history: History, measured: Measured, now: datetime, *, closed: bool = False
    ) -> list[Forecast]:
        """The one forecast for a reservoir, if there is any."""
        steps = steps_of(self._levels, room, history, measured, now, AHEAD + timedelta(days=3))
        at = reached(measured, measured.limit, steps, measured.counted_use)
        if at is None:
            return []
        calendar = room.calendar
        day = last_whole_day(room, at)
        due = max((calendar.wall(day, shift.begins) for shift in room.shifts), default=calendar.start(day))
        known = [point.at for point in measured.stretches[-1] if point.at <= at]
        due = min(at, max(due, known[-1])) if known else at
        if due >= calendar.end(calendar.round_day(now)) + AHEAD:
            return []
        pressing = at < _next_shift(room, now)
        return [
            Forecast(
                task=f"{measured.tank.id}-refill",
                due_at=due,
                fine_until=at,
                importance="life support" if pressing else room.tasks[f"{measured.tank.id}-refill"].importance,
                why=_why(room, measured, at, now, pressing=pressing),
                closed=closed,
            )
        ]


def _next_shift(room: Room, now: datetime) -> datetime:
    """When the next shift begins; without shifts, the next round day."""
    calendar = room.calendar
    today = calendar.round_day(now)
    begins = (calendar.wall(day, shift.begins) for day in (today, today + ONE_DAY) for shift in room.shifts)
    return min((each for each in begins if each > now), default=calendar.end(today))


def _why(room: Room, measured: Measured, at: datetime, now: datetime, *, pressing: bool) -> str:
    """The numbers of the forecast, for a keeper to check by hand."""
    said = arithmetic(room, measured, measured.limit, mark(measured.tank), at, now)
    if pressing and at > now:
        said += f". {'No shift' if room.shifts else 'No round day'} begins before that"
    return f"{said}."


def arithmetic(room: Room, measured: Measured, limit: float, name: str, at: datetime, now: datetime) -> str:
    """How it comes that the level is at `limit` litres, called `name`, at an instant; without its full stop."""
    tank, last = measured.tank, measured.last
    assert last is not None
    shown, level = amount(room, limit), level_amount(room, tank, last.litres)
    read = f"{level} {'once refilled' if last.at > now else 'read'} {moment(room.calendar, last.at, now)}"
    when = moment(room.calendar, at, now)
    beyond = (limit - last.litres) * (-1 if fills(tank) else 1) >= 0
    if measured.bound is not None and measured.proves(limit):
        at_most = f"{'More' if fills(tank) else 'Less'} than {amount(room, measured.bound.litres)}"
        seen = moment(room.calendar, measured.bound.at, now)
        said = f"{at_most} read {seen}: {'above' if fills(tank) else 'below'} its {name} of {shown}"
    elif beyond:
        said = f"{read}: {'above' if fills(tank) else 'below'} its {name} of {shown}, passed about {when}"
    elif (rate := _rate_to(measured, limit, at)) is not None:
        days = (at - last.at) / ONE_DAY
        first, second = (shown, level) if fills(tank) else (level, shown)
        usual = f" by its newest levels, usually {amount(room, measured.use.steady or 0.0)},"
        said = (
            f"{read}; it {'gains' if fills(tank) else 'loses'} {amount(room, rate)} a day"
            f"{usual if rate == measured.high_use else ''} and comes to its "
            f"{name} of {shown} about {when}: ({first} − {second}) / {amount(room, rate)} = {days:.1f} days"
        )
    else:
        said = f"{read}; planned work brings it to its {name} of {shown} about {when}"
    return plain(said)


def _rate_to(measured: Measured, limit: float, at: datetime) -> float | None:
    """The use a day that alone brings the level to `limit` litres at that instant; None: none of those known does."""
    rates = (measured.use.steady, measured.high_use)
    return next((rate for rate in rates if rate and at == reached(measured, limit, (), rate)), None)


def mark(tank: Reservoir) -> str:
    """What its limit is called."""
    if fills(tank):
        return "mark"
    return "reserve" if tank.reserve else "lowest level"
