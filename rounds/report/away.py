"""An absence: what to do before leaving, what somebody has to do meanwhile, what fails first if nobody comes, and then.

What fails is forecast from levels and trends as they stand, with the range of the use or the slope; work that is
due when the absence begins is taken as done then.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, date, datetime

import msgspec

from rounds.core.absence import Absence, Early, Needed, Waiting, Work, who_does, work_of
from rounds.core.concerns import open_concerns
from rounds.core.errand import place
from rounds.core.history import History
from rounds.core.model import IMPORTANCES, PROTECTING, ROOM, Quantity, Reading, Reservoir, Room, System, Task
from rounds.core.off_normal import off_normal
from rounds.core.stock import EXPIRES
from rounds.core.units import show
from rounds.core.words import day_name, full_moment, plain
from rounds.report.following import concern_lines
from rounds.report.past import Past
from rounds.report.readings import is_level
from rounds.report.trend import arithmetic as trend_arithmetic
from rounds.report.trend import sentence
from rounds.water.forecast import last_whole_day, steps_of
from rounds.water.levels import Levels, Measured, amount
from rounds.water.refills import arithmetic as level_arithmetic
from rounds.water.refills import mark
from rounds.water.reserves import Reaching, abnormal, as_refilled, reaching
from rounds.water.stretches import fills
from rounds.water.trend import Leaving, Trend, leaving

PUT_BACK, LOOK, REFILL, TASK, TEST, LEVEL, KIT = "put back", "look", "refill", "task", "test", "level", "kit"
"""What there is to do before leaving."""

HANDOVER = "handover"
"""What there is to do first on return, besides `LOOK`, `TASK` and `TEST`."""

READING, OFF_NORMAL = "reading", "off normal"
"""What can fail, besides `LEVEL` and `TASK`."""


class Before(msgspec.Struct, frozen=True, kw_only=True):
    """Something to do before leaving."""

    kind: str
    """`PUT_BACK`, `LOOK`, `REFILL`, `TASK`, `TEST`, `LEVEL` or `KIT`."""
    id: str
    """Full id of the task, reading, reservoir or kit; of a concern or of what is off normal the id of its record."""
    system: str
    station: str
    """Empty: the system as a whole."""
    title: str
    minutes: int | None = None
    due_at: datetime | None = None
    """When it would come due, run low or leave its band; None: whenever, but before leaving."""
    again_at: datetime | None = None
    """When it comes due, or runs low, next if it is done just before leaving; None: not known, or never."""
    can_wait: bool = False
    """Whether it would still be fine on return."""
    why: str


class Failing(msgspec.Struct, frozen=True, kw_only=True):
    """Something that fails by the return if nobody comes."""

    kind: str
    """`LEVEL`, `READING`, `TASK` or `OFF_NORMAL`."""
    id: str
    """Full id of the reservoir, reading, task or equipment."""
    system: str
    station: str
    what: str
    """``Barrel comes to its reserve of 25.0 L``"""
    at: datetime
    """May have passed."""
    earliest: datetime | None = None
    """With the steeper end of the use or slope; None: it is certain, or its range is not known."""
    latest: datetime | None = None
    """With the flatter end; None with an `earliest`: perhaps never."""
    importance: str
    """One of `IMPORTANCES`."""
    why: str
    """The arithmetic."""
    if_prepared_at: datetime | None = None
    """Of a level: when it would be if it were refilled just before leaving; None: not known, or not at all."""


class After(msgspec.Struct, frozen=True, kw_only=True):
    """Something to do on return."""

    kind: str
    """`HANDOVER`, `LOOK`, `TEST` or `TASK`."""
    id: str
    """Full id of the task or reading; the id of the system; of the handover ``handover``."""
    system: str
    station: str
    title: str
    due_at: datetime | None = None
    fine_until: datetime | None = None
    why: str = ""


class Away(msgspec.Struct, frozen=True, kw_only=True):
    """Everything about an absence."""

    absence: Absence
    now: datetime
    before: tuple[Before, ...]
    """In walking order."""
    during: tuple[Needed, ...]
    """By day; there people and life support first, then in walking order."""
    fails_first: tuple[Failing, ...]
    """By when; what matters most first where that is the same."""
    after: tuple[After, ...]
    """What comes first at the head."""


class _Tank(msgspec.Struct, frozen=True):
    """A reservoir as far as the absence matters to it."""

    measured: Measured
    reserve: Reaching
    refill: Task
    low: bool
    """Whether it may come to its reserve before the return."""


def away(room: Room, history: History, pasts: Mapping[str, Past], absence: Absence, now: datetime) -> Away:
    """The absence as it stands at `now`; `pasts` are the records that stand of each system, and of the room's kits.

    Raises `Incomplete` where not enough of the history was kept.
    """
    now = now.astimezone(UTC)
    levels = Levels()
    tanks = [_tank(levels, room, history, tank, absence, now) for tank in room.reservoirs.values()]
    tanks = [tank for tank in tanks if room.runs(tank.refill)]
    drifting = [each for system in room.systems for each in _drifting(room, pasts, system, absence, now)]
    failing = [
        *(each for tank in tanks for each in _levels_failing(room, tank, absence, now)),
        *drifting,
        *_left_failing(room, history, absence, now),
    ]
    pressing = {each.id for each in failing} | {f"{each.id}-level" for each in failing if each.kind == LEVEL}
    work = work_of(room, history, absence, pressing)
    failing += _work_failing(room, work, absence, now)
    refills = [each for tank in tanks for each in _refills(levels, room, history, tank, absence, now)]
    before = [
        *_to_put_back(room, history, absence, now),
        *_to_look_at(room, history, now),
        *_to_find_out(levels, room, history, tanks, now),
        *_to_refill(levels, room, history, tanks, absence, now),
        *(_early(room, each, absence, now) for each in work.early if not _is_kit(room, each.task)),
        *_to_test(room, work, drifting, now),
        *_kits(room, absence),
    ]
    return Away(
        absence=absence,
        now=now,
        before=tuple(sorted(before, key=lambda each: room.places[each.system, each.station])),
        during=tuple(sorted([*work.needed, *refills], key=lambda each: _by_day(room, each))),
        fails_first=tuple(sorted(failing, key=lambda each: (each.at, IMPORTANCES.index(each.importance)))),
        after=tuple(_after(room, work, drifting, now)),
    )


def _by_day(room: Room, each: Needed) -> tuple[date, int, int, datetime]:
    task = each.task
    rank = min(IMPORTANCES.index(task.importance), len(PROTECTING))
    return (each.day, rank, room.places[task.system, task.station], each.at)


# -- levels ----------------------------------------------------------------------------------------


def _tank(levels: Levels, room: Room, history: History, tank: Reservoir, absence: Absence, now: datetime) -> _Tank:
    measured = levels.measured(room, history, tank, now)
    reserve = reaching(measured, measured.limit, steps_of(levels, room, history, measured, now))
    return _Tank(measured, reserve, room.tasks[f"{tank.id}-refill"], _may_come(reserve, absence))


def _may_come(when: Reaching, absence: Absence) -> bool:
    return any(at is not None and at < absence.end for at in (when.at, when.earliest))


def _low_again(levels: Levels, room: Room, history: History, full: Measured, at: datetime) -> datetime | None:
    """When a container that was refilled (of waste: emptied) at an instant comes to its reserve."""
    return reaching(full, full.limit, steps_of(levels, room, history, full, at)).at


def _levels_failing(room: Room, each: _Tank, absence: Absence, now: datetime) -> Iterator[Failing]:
    """The limits that are passed by use alone: planned work is not done when nobody comes."""
    measured, tank = each.measured, each.measured.tank
    last_read = measured.last
    taken = [step for step in measured.drawn if last_read is not None and step.at > last_read.at]
    full = as_refilled(measured, absence.begin)
    ends = (measured.limit, measured.end) if measured.limit != measured.end else (measured.end,)
    for limit in ends:
        when = reaching(measured, limit, taken)
        at = when.at or when.counted
        if at is None or not _may_come(when, absence):
            continue
        last = limit == measured.end
        name = _end_name(tank) if last else mark(tank)
        yield Failing(
            kind=LEVEL,
            id=tank.id,
            system=tank.system,
            station=tank.station,
            what=_level_words(room, tank, limit, last=last),
            at=at,
            earliest=when.earliest,
            latest=when.latest,
            importance="life support" if last else "husbandry",
            why=f"{level_arithmetic(room, measured, limit, name, at, now)}.",
            if_prepared_at=reaching(full, limit, ()).at,
        )


def _end_name(tank: Reservoir) -> str:
    return "brim" if fills(tank) else "lowest level"


def _level_words(room: Room, tank: Reservoir, limit: float, *, last: bool) -> str:
    name = plain(tank.name)
    if fills(tank):
        return f"{name} overflows" if last else f"{name} comes to its mark of {amount(room, limit)}"
    if not last:
        return f"{name} comes to its reserve of {amount(room, limit)}"
    stays = f"; {amount(room, limit)} cannot be drawn" if limit else ""
    return f"{name} is empty{stays}"


def _to_find_out(
    levels: Levels, room: Room, history: History, tanks: Iterable[_Tank], now: datetime
) -> Iterator[Before]:
    """What a level that is out of the ordinary comes of: whether a forecast holds hangs on it."""
    for each in tanks:
        tank, why = each.measured.tank, abnormal(levels, room, history, each.measured, now)
        if why is not None:
            yield Before(
                kind=LOOK, id=f"{tank.id}-level", system=tank.system, station=tank.station,
                title=f"Look at the {tank.name}", why=why,
            )  # fmt: skip


def _to_refill(
    levels: Levels, room: Room, history: History, tanks: Iterable[_Tank], absence: Absence, now: datetime
) -> Iterator[Before]:
    for each in tanks:
        measured, tank = each.measured, each.measured.tank
        if each.reserve.at is None and not each.low:
            if measured.last is None or measured.use.steady is None:
                why = "how long it lasts is not known; read it, and again before leaving."
                yield Before(
                    kind=LEVEL, id=f"{tank.id}-level", system=tank.system, station=tank.station,
                    title=f"Read the {tank.name} level", why=why,
                )  # fmt: skip
            continue
        if each.low:
            full = as_refilled(measured, absence.begin)
            at = each.reserve.counted or each.reserve.earliest
            assert at is not None
            yield Before(
                kind=REFILL,
                id=each.refill.id,
                system=tank.system,
                station=tank.station,
                title=each.refill.title,
                minutes=each.refill.minutes,
                due_at=at,
                again_at=_low_again(levels, room, history, full, absence.begin),
                why=f"{level_arithmetic(room, measured, measured.limit, mark(tank), at, now)}.",
            )


def _refills(
    levels: Levels, room: Room, history: History, each: _Tank, absence: Absence, now: datetime
) -> Iterator[Needed]:
    """The refills that even a full container needs before the return, each on the last whole day before its reserve."""
    measured, calendar = each.measured, room.calendar
    if not each.low:
        return
    filled_at = absence.begin
    while True:
        full = as_refilled(measured, filled_at)
        when = _low_again(levels, room, history, full, filled_at)
        if when is None or when >= absence.end or when <= filled_at:
            return
        whole = calendar.start(last_whole_day(room, when))
        at = whole if whole > filled_at else when
        yield Needed(
            task=each.refill,
            day=calendar.round_day(at),
            at=at,
            due_at=at,
            fine_until=when,
            who=who_does(room, history, each.refill, at, absence.sitter),
            may_skip=False,
            why=f"{level_arithmetic(room, full, measured.limit, mark(measured.tank), when, now)}.",
        )
        filled_at = at


# -- readings --------------------------------------------------------------------------------------


def _drifting(
    room: Room, pasts: Mapping[str, Past], system: System, absence: Absence, now: datetime
) -> Iterator[Failing]:
    """The readings that leave their usual band, or pass an act-now limit, by their trend."""
    limited = [reading for reading in system.readings if not is_level(reading) and _limited(reading)]
    if system.drained or not limited:
        return  # what it recorded need not be read at all
    known = pasts[system.id]
    for reading in limited:
        trend = known.trend(room, reading, now)
        for low, high, what, importance in (
            (reading.low, reading.high, "its usual band", "husbandry"),
            (reading.act_low, reading.act_high, "its act-now limit", "life support"),
        ):
            leaves = leaving(reading, trend, low, high)
            if leaves is not None and leaves.earliest < absence.end:
                yield _drift(room, reading, trend, leaves, (low if leaves.below else high, what, importance), now)


def _limited(reading: Reading) -> bool:
    return any((reading.low, reading.high, reading.act_low, reading.act_high))


def _drift(
    room: Room, reading: Reading, trend: Trend, leaves: Leaving, limit: tuple[Quantity | None, str, str], now: datetime
) -> Failing:
    quantity, name, importance = limit
    shown = f" of {show(reading, quantity.canonical)}" if quantity is not None else ""
    side = "below" if leaves.below else "above"
    already = " already" if leaves.outside else ""
    arithmetic = trend_arithmetic(room, reading, msgspec.structs.replace(trend, leaves=leaves), now)
    said = sentence(msgspec.structs.replace(trend, leaves=None), now)
    return Failing(
        kind=READING,
        id=reading.id,
        system=reading.system,
        station=reading.station,
        what=f"{plain(reading.name)} {'is' if leaves.outside else 'goes'} {side} {name}{shown}{already}",
        at=leaves.at,
        earliest=leaves.earliest if not leaves.outside else None,
        latest=leaves.latest if not leaves.outside else None,
        importance=importance,
        why=" ".join([f"{said[:1].upper()}{said[1:]}.", *arithmetic]),
    )


def _to_test(room: Room, work: Work, drifting: Sequence[Failing], now: datetime) -> Iterator[Before]:
    """The readings that drift out, where no other work before leaving takes them."""
    taken = {id for each in work.early for id in each.task.takes}
    for id, each in {each.id: each for each in reversed(drifting)}.items():
        if id not in taken:
            reading = room.readings[id]
            yield Before(
                kind=TEST, id=id, system=each.system, station=each.station, title=f"Test {reading.name}",
                due_at=each.at, why=f"{_drift_words(room, each, now)} {each.why}",
            )  # fmt: skip


def _drift_words(room: Room, each: Failing, now: datetime) -> str:
    if each.earliest is None:
        return f"{each.what}."
    local = room.calendar.local
    return f"{each.what} about {day_name(local(each.at).date(), local(now).date())}."


def _is_kit(room: Room, task: Task) -> bool:
    """Whether the work is to renew a kit, which `_kits` tells of."""
    return task.id.removesuffix(f"-{EXPIRES}") in room.instruments


def _kits(room: Room, absence: Absence) -> Iterator[Before]:
    """Kits that are past their last good day before the return."""
    end = room.calendar.round_day(absence.end)
    for kit in room.instruments.values():
        if kit.expires is not None and kit.expires < end:
            batch = f" (batch {plain(kit.batch)})" if kit.batch else ""
            yield Before(
                kind=KIT, id=kit.id, system=kit.system, station="", title=f"Have a new {kit.name} ready",
                why=f"{plain(kit.name)}{batch} is good up to and with {day_name(kit.expires)} {kit.expires.year}.",
            )  # fmt: skip


# -- tasks, concerns, what is off normal -----------------------------------------------------------


def _early(room: Room, each: Early, absence: Absence, now: datetime) -> Before:
    calendar, task = room.calendar, each.task
    due = full_moment(calendar, each.due_at, now)
    said = f"Due {due}" if each.due_at > absence.begin else f"Due by then, since {due}"
    if each.can_wait:
        said += ", and still fine on return"
    if each.again_at is not None:
        said += f"; done just before leaving it comes due again {full_moment(calendar, each.again_at, now)}"
    return Before(
        kind=TASK, id=task.id, system=task.system, station=task.station, title=task.title, minutes=task.minutes,
        due_at=each.due_at, again_at=each.again_at, can_wait=each.can_wait, why=f"{said}.",
    )  # fmt: skip


def _to_put_back(room: Room, history: History, absence: Absence, now: datetime) -> Iterator[Before]:
    for left in off_normal(room, history, now):
        system, station = place(room, left.first.system, left.first.station)
        yield Before(
            kind=PUT_BACK,
            id=left.first.id,
            system=system,
            station=station,
            title=f"Put back: {left.name} ({left.state})",
            due_at=left.until,
            can_wait=left.until >= absence.end,
            why=f"{plain(left.last.by)} left it so {full_moment(room.calendar, left.since, now)}: "
            f"{plain(left.reason)}; to be put back by {full_moment(room.calendar, left.until, now)}.",
        )


def _to_look_at(room: Room, history: History, now: datetime) -> Iterator[Before]:
    for concern in open_concerns(history, now):
        system, station = place(room, concern.record.system, concern.record.station)
        _, *lines = concern_lines(room, concern, now)
        yield Before(
            kind=LOOK, id=concern.id, system=system, station=station, title=f"Look at: {concern.record.note}",
            due_at=concern.look_at, why=f"{'; '.join(lines)}.",
        )  # fmt: skip


def _left_failing(room: Room, history: History, absence: Absence, now: datetime) -> Iterator[Failing]:
    """What is off normal and should be put back before the return."""
    for left in off_normal(room, history, now):
        if left.until < absence.end:
            system, station = place(room, left.first.system, left.first.station)
            when = full_moment(room.calendar, left.until, now)
            yield Failing(
                kind=OFF_NORMAL,
                id=left.thing,
                system=system,
                station=station,
                what=f"{plain(left.name)} is still {left.state}",
                at=left.until,
                importance="life support",
                why=f"It was to be put back by {when}; {plain(left.last.by)} left it so: {plain(left.reason)}.",
            )


def _work_failing(room: Room, work: Work, absence: Absence, now: datetime) -> Iterator[Failing]:
    """The first time at which each task that protects people or animals is no longer fine."""
    again = {each.task.id for each in work.needed}
    first: dict[str, Early | Needed] = {
        each.task.id: each for each in work.early if each.due_at > absence.begin and not each.can_wait
    }
    for needed in work.needed:
        first.setdefault(needed.task.id, needed)
    for each in first.values():
        task = each.task
        prepared = "" if task.id in again else "; done just before leaving it is fine until the return"
        if task.importance in PROTECTING and task.source != "put back":
            due, fine = full_moment(room.calendar, each.due_at, now), full_moment(room.calendar, each.fine_until, now)
            yield Failing(
                kind=TASK,
                id=task.id,
                system=task.system,
                station=task.station,
                what=f"{plain(task.title)} is late",
                at=each.fine_until,
                importance=task.importance,
                why=f"Due {due}, fine until {fine}{prepared}.",
            )


# -- on return -------------------------------------------------------------------------------------


def _after(room: Room, work: Work, drifting: Sequence[Failing], now: datetime) -> Iterator[After]:
    yield After(
        kind=HANDOVER, id=HANDOVER, system=ROOM, station="",
        title="Go through the handover with whoever was there, and accept it",
        why="What was seen and not written down is lost with the first round.",
    )  # fmt: skip
    for system in room.systems:
        if system.id != ROOM and not system.drained:
            yield After(
                kind=LOOK, id=system.id, system=system.id, station="", title=f"Look over {system.name}",
                why="Flow, temperature, water marks, every animal, wet floor, what is switched off.",
            )  # fmt: skip
    tests = {each.id: each for each in reversed(drifting)}
    for each in room.readings.values():
        if (drift := tests.get(each.id)) is not None:
            yield After(
                kind=TEST, id=each.id, system=each.system, station=each.station, title=f"Test {each.name}",
                due_at=drift.at, why=_drift_words(room, drift, now),
            )  # fmt: skip
    yield from (_waiting(room, each, now) for each in work.waiting if each.task.id not in tests)


def _waiting(room: Room, each: Waiting, now: datetime) -> After:
    calendar, task = room.calendar, each.task
    due, fine = full_moment(calendar, each.due_at, now), full_moment(calendar, each.fine_until, now)
    why = f"If it was left out: due {due}." if each.if_skipped else f"Due {due}, fine until {fine}."
    return After(
        kind=TEST if task.source == "reading" else TASK, id=task.id, system=task.system, station=task.station,
        title=task.title, due_at=each.due_at, fine_until=each.fine_until, why=why,
    )  # fmt: skip
