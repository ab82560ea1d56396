"""Every reservoir as it stands: level, use, when it runs low, and what is out of the ordinary, in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.model import Reservoir, Room
from rounds.core.off_normal import OffNormal, off_normal_at
from rounds.core.words import day_name, moment, plain, plural
from rounds.water.departures import DOSE_MATTERS, MATTERS, Departure
from rounds.water.forecast import last_whole_day, level_at, reached, steps_of
from rounds.water.levels import Levels, Measured, amount, level_amount
from rounds.water.stretches import Drawn, Point, fills
from rounds.water.top_off import FRESH, STEADY_SALINITY, full_at_once, salinity_change, warnings


class Reaching(msgspec.Struct, frozen=True, kw_only=True):
    """When a level comes to a limit; may have passed."""

    limit: float
    """Litres."""
    at: datetime | None
    """None: not in ten years, or not known."""
    earliest: datetime | None
    """With the upper end of the use, or the newest use while that is high; None also where neither is known."""
    latest: datetime | None
    """With the lower end of the use, or the usual while only the newest is known beside it; None: also never."""
    counted: datetime | None
    """What a refill is planned by: with the newest use while that is high, else `at`."""


class ReservoirLevel(msgspec.Struct, frozen=True, kw_only=True):
    """One reservoir at one instant; litres, days and instants in UTC. None: not known."""

    tank: Reservoir
    level: float | None
    """As last recorded."""
    as_of: datetime | None
    level_now: float | None
    """Carried on from the last level with the use."""
    use_per_day: float | None
    """Of a waste container, how fast it fills."""
    use_interval: tuple[float, float] | None
    """95 %; None where the use does not come from levels."""
    reserve: float
    """Litres at which it has to be refilled, or emptied."""
    reserve_at: datetime | None
    """When it comes to its reserve; may have passed. None: not in ten years, or not known."""
    days_to_reserve: float | None
    """From now; 0 when it has passed."""
    days_low: float | None
    """Until the earliest, as in `Reaching`."""
    days_high: float | None
    """Until the latest."""
    days_to_end: float | None
    """Until nothing can be drawn any more, or nothing goes in."""
    refill_before: datetime | None
    """When it comes to its reserve with the newest use while that is high, else `reserve_at`."""
    refill_by: date | None
    """The last whole round day before that."""
    abnormal: str | None
    """What is out of the ordinary with its likely cause."""
    basis: str
    """Where the use comes from."""
    full_at_once: float | None
    """Salinity of its system when a full container of fresh water is let in at once."""
    remarks: tuple[str, ...]

    @property
    def share(self) -> float | None:
        """Of its capacity that is in it now."""
        return self.level_now / self.tank.capacity if self.level_now is not None else None


def reservoir_levels(levels: Levels, room: Room, history: History, now: datetime) -> list[ReservoirLevel]:
    """Every reservoir of the room, what runs out first at the head, those of which that is not known at the end.

    Raises `Incomplete` where not enough of the history was kept.
    """
    found = [reservoir_level(levels, room, history, tank, now) for tank in room.reservoirs.values()]
    return sorted(found, key=lambda each: (each.refill_before is None, each.refill_before or now))


def reservoir_level(levels: Levels, room: Room, history: History, tank: Reservoir, now: datetime) -> ReservoirLevel:
    now = now.astimezone(UTC)
    measured = levels.measured(room, history, tank, now)
    steps = steps_of(levels, room, history, measured, now)
    use, last = measured.use, measured.last
    reserve = reaching(measured, measured.limit, steps)
    at = reserve.at

    def days(end: datetime | None) -> float | None:
        return max(0.0, (end - now) / ONE_DAY) if end is not None else None

    return ReservoirLevel(
        tank=tank,
        level=last.litres if last is not None else None,
        as_of=last.at if last is not None else None,
        level_now=level_at(measured, steps, now),
        use_per_day=use.per_day,
        use_interval=use.interval,
        reserve=measured.limit,
        reserve_at=at,
        days_to_reserve=days(at),
        days_low=days(reserve.earliest),
        days_high=days(reserve.latest),
        days_to_end=days(reached(measured, measured.end, steps, use.steady)),
        refill_before=reserve.counted,
        refill_by=last_whole_day(room, reserve.counted) if reserve.counted is not None else None,
        abnormal=abnormal(levels, room, history, measured, now),
        basis=basis(levels, room, measured, steps, now),
        full_at_once=full_at_once(room, history, tank, now),
        remarks=tuple(warnings(room, history, tank, now)),
    )


def reaching(measured: Measured, limit: float, steps: Sequence[Drawn]) -> Reaching:
    """When the level comes to `limit` litres, with the range of its use; `steps` as for `reached`."""
    use = measured.use
    low, high = use.interval or (None, None)

    def with_use(other: float | None) -> datetime | None:
        if other is None or use.steady is None or use.per_day is None:
            return None
        return reached(measured, limit, steps, use.steady + other - use.per_day)

    at, earliest, latest = reached(measured, limit, steps, use.steady), with_use(high), with_use(low)
    if measured.high_use is None:
        return Reaching(limit=limit, at=at, earliest=earliest, latest=latest, counted=at)
    newest = reached(measured, limit, steps, measured.high_use)
    return Reaching(
        limit=limit,
        at=at,
        earliest=min((each for each in (newest, earliest) if each is not None), default=None),
        latest=latest if use.interval is not None else at,
        counted=newest,
    )


def as_refilled(measured: Measured, at: datetime) -> Measured:
    """The same reservoir as it would be if it were filled (of waste: emptied) at an instant."""
    level = 0.0 if fills(measured.tank) else measured.tank.capacity
    full = Point(at.astimezone(UTC), level, True)
    return msgspec.structs.replace(measured, stretches=((full,),), drawn=(), departure=None, bound=None)


# -- in words --------------------------------------------------------------------------------------


def basis(levels: Levels, room: Room, measured: Measured, steps: Sequence[Drawn], now: datetime) -> str:
    """Where the use comes from, in a sentence."""
    use, tank = measured.use, measured.tank
    points = sum(len(stretch) for stretch in measured.stretches)
    what = "fills" if fills(tank) else "loses"
    if use.per_day is not None and use.interval is not None:
        since = room.calendar.local(measured.stretches[0][0].at).date()
        parts = sum(1 for stretch in measured.stretches if len(stretch) > 1)
        said = (
            f"it {what} {amount(room, use.per_day)} a day ({_interval(room, use.interval)}) by {points} levels in "
            f"{parts} {'stretch' if parts == 1 else 'stretches'} between refills since {day_name(since)}"
        )
    elif use.by == "room file" and tank.use is not None:
        said = f"it {what} {amount(room, tank.use)} a day as the room's file says; {_too_few(points)}"
    elif use.per_day is not None:
        names = [each.id for each in levels.fed(tank)] + [task.id for task, _ in levels.works(tank)]
        said = f"{amount(room, use.per_day)} a day are taken out of it by {plain(', '.join(names))}"
        if tank.makes:
            said += f"; the unit can make {amount(room, tank.makes)} a day"
    elif measured.falls and use.steady is not None:
        said = f"it loses {amount(room, use.steady)} a day by {points} levels; what is taken out is not known"
    else:
        said = f"its use is not known: {_too_few(points)}"
    if measured.bound is not None:
        than = "less" if measured.bound.sign == "<" else "more"
        seen = moment(room.calendar, measured.bound.at, now)
        said += f"; {than} than {amount(room, measured.bound.litres)} was read {seen}"
    if measured.unrecorded and not tank.makes:
        said += f"; {plural(measured.unrecorded, 'rise')} taken for refills that nobody recorded"
    planned = [each for each in steps if each.at >= now]
    if planned:
        first = min(planned)
        said += f"; next {amount(room, first.litres)} by planned work {moment(room.calendar, first.at, now)}"
    return f"{said[:1].upper()}{said[1:]}."


def _interval(room: Room, interval: tuple[float, float]) -> str:
    return f"{amount(room, interval[0])} to {amount(room, interval[1])}"


def _too_few(points: int) -> str:
    if not points:
        return "no level is recorded yet"
    return f"{plural(points, 'level')} {'is' if points == 1 else 'are'} too few, it takes three between two refills"


def abnormal(levels: Levels, room: Room, history: History, measured: Measured, now: datetime) -> str | None:
    """What is out of the ordinary about the levels, with its likely cause; None: nothing."""
    told = [
        _falling_store(room, measured) if measured.falls else "",
        _departed(room, history, measured, now) if measured.departure is not None else "",
        out_of_step(levels, room, history, measured, now),
    ]
    if not any(told):
        told.append(_not_as_known(room, measured))
    said = " ".join(each for each in told if each)
    return said or None


def _falling_store(room: Room, measured: Measured) -> str:
    makes, use = measured.tank.makes or 0.0, measured.use
    if use.per_day is not None and use.per_day > makes:
        return ""
    return (
        f"It falls by {amount(room, use.steady or 0.0)} a day though the unit can make {amount(room, makes)}: "
        f"is the unit running, its float free, the membrane sound, is a tap open?"
    )


def _departed(room: Room, history: History, measured: Measured, now: datetime) -> str:
    found, tank, calendar = measured.departure, measured.tank, room.calendar
    assert found is not None
    between = (
        f"{level_amount(room, tank, found.before.litres)} {moment(calendar, found.before.at, now)} to "
        f"{level_amount(room, tank, found.after.litres)} {moment(calendar, found.after.at, now)}"
    )
    how = "high" if found.high else "low"
    return (
        f"{how.capitalize()} use: {between} is {amount(room, found.recent)} a day, usually "
        f"{amount(room, found.usual)}. {_cause(room, history, tank, found, now)}"
    )


def _cause(room: Room, history: History, tank: Reservoir, found: Departure, now: datetime) -> str:
    if (left := _left_so(room, history, tank, found)) is not None:
        when = moment(room.calendar, left.since, now)
        return f"It was left {left.state} {when} by {plain(left.first.by)}: {plain(left.reason)}."
    if tank.kind not in FRESH:
        return _CAUSES[(tank.kind, found.high)]
    change = salinity_change(room, history, tank, found.before.at, now)
    if change is None:
        return "Test the salinity now: falling, fresh water floods in; rising, too little comes."
    way = "steady" if abs(change) < STEADY_SALINITY else "falling" if change < 0 else "rising"
    moved = f"by {abs(change):.1f} " if way != "steady" else ""
    return f"Salinity is {way} {moved}since: {_FRESH_CAUSES[(found.high, way)]}"


def _left_so(room: Room, history: History, tank: Reservoir, found: Departure) -> OffNormal | None:
    """How it was recorded as left in the time of the departure, where that is a reason for it."""
    for record in history.left_log(tank.id).latest(found.after.at):
        for left in off_normal_at(room, history, tank.id, record.at):
            if left.state in _REASONS[found.high]:
                return left
        if record.at <= found.before.at:
            break
    return None


_REASONS = {True: ("open", "running"), False: ("shut", "off")}
"""States off normal that are a reason for high use, and for low."""

_FRESH_CAUSES = {
    (True, "falling"): "a valve stuck open, a salt-water leak made up with fresh water, or wet skimming.",
    (True, "steady"): "more evaporation, by drier air, a fan, or warmer water.",
    (True, "rising"): "the water leaves the container without reaching the system: a leak of container or line.",
    (False, "falling"): "other fresh water gets in.",
    (False, "steady"): "less evaporation, by humid air, covers, or cooler water.",
    (False, "rising"): "a valve stuck shut, an empty line or an air lock.",
}
"""Read together with the salinity; common practice, no source."""

_CAUSES = {
    ("dosing", True): "Look for a leak, a siphon through the head, or a dose that was raised.",
    ("dosing", False): "Look for a failed head, a blocked or loose line, or a dose that was lowered.",
    ("salt water", True): "Look for a leak, or a water change that nobody recorded.",
    ("salt water", False): "Look for salt water that came from elsewhere.",
    ("purified water", True): "Look for an open tap, a leak, or refills that nobody recorded.",
    ("purified water", False): "Look for water that came from elsewhere.",
    ("waste", True): "The skimmer runs wet, or water gets in.",
    ("waste", False): "The skimmer runs dry, is off or is blocked.",
}


def _not_as_known(room: Room, measured: Measured) -> str:
    """Where the levels do not fall by the known use; empty: they do, or cannot tell."""
    known, use = measured.tank.use, measured.use
    if known is None or use.per_day is None or use.interval is None:
        return ""
    matters = DOSE_MATTERS if measured.tank.kind == "dosing" else MATTERS
    if use.interval[0] <= known <= use.interval[1] or abs(use.per_day - known) <= matters * known:
        return ""
    return (
        f"The levels change by {amount(room, use.per_day)} a day ({_interval(room, use.interval)}), "
        f"not by the {amount(room, known)} that is set: check pump, line and setting."
    )


# -- dosing pairs ----------------------------------------------------------------------------------


def out_of_step(levels: Levels, room: Room, history: History, measured: Measured, now: datetime) -> str:
    """Where a container does not fall in step with the one it is paired with; empty: it does, or cannot tell."""
    pair = _pair_of(room, measured.tank)
    return _paired(room, measured, levels.measured(room, history, pair, now)) if pair is not None else ""


def _pair_of(room: Room, tank: Reservoir) -> Reservoir | None:
    if tank.paired_with is not None:
        return room.reservoirs[tank.paired_with]
    return next((each for each in room.reservoirs.values() if each.paired_with == tank.id), None)


def _paired(room: Room, mine: Measured, other: Measured) -> str:
    """Where the containers of a pair do not fall in step; empty: they do, or cannot tell."""
    me, its = _share(mine), _share(other)
    if me is None or its is None or abs(me - its) <= MATTERS or (mine.departure is None and other.departure is None):
        return _out_of_step(room, mine, other)
    name = plain(other.tank.name)
    if max(me, its) <= 1 + MATTERS:  # one falls as it should
        failed = "the head of this one" if me < its else f"the head of the {name}"
        how = f"does not fall in step with the {name}" if me < its else "falls alone"
        return f"It {how}: {failed} has failed, or its line is blocked or loose."
    fast, slow = ("it", f"the {name}") if me > its else (f"the {name}", "this one")
    return f"{fast[:1].upper()}{fast[1:]} falls faster than {slow}: a leak, a siphon, or a head that runs on."


def _share(measured: Measured) -> float | None:
    """The newest use as a share of the usual; 1 where nothing is out of the ordinary. None: not known."""
    found = measured.departure
    if found is None:
        return 1.0 if measured.use.per_day is not None else None
    return found.recent / found.usual if found.usual > 0 else None


def _out_of_step(room: Room, mine: Measured, other: Measured) -> str:
    """Where over weeks the one falls by another share of its set dose than the other."""
    scaled = []
    for each, beside in ((mine, other), (other, mine)):
        use = each.use
        if use.per_day is None or use.interval is None:
            return ""
        whole = each.tank.use if each.tank.use and beside.tank.use else 1.0
        scaled.append((use.interval[0] / whole, use.per_day / whole, use.interval[1] / whole))
    (low, me, high), (its_low, its, its_high) = scaled
    if (low <= its_high and its_low <= high) or abs(me - its) <= DOSE_MATTERS * max(me, its):
        return ""
    return (
        f"It falls by {amount(room, mine.use.per_day or 0.0)} a day, the {plain(other.tank.name)} by "
        f"{amount(room, other.use.per_day or 0.0)}: out of step, check the head of the one that is not as set."
    )
