"""The balance of a water from its room and records, and as lines to read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime

import msgspec

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Reading, Room, System
from rounds.core.record import DONE, Record
from rounds.core.series import bearing_on, steps_of
from rounds.core.units import to_canonical
from rounds.core.waters import Turn, Water, part_of, valves, waters
from rounds.core.words import plain, plural
from rounds.report.past import Past
from rounds.report.series import day_of, tank_reading, when
from rounds.report.sources import LOOK_BACK, Failing, Source, Sources, sources_of
from rounds.water.balance import Balance, Break, Point, Stretch, WaterChange, balance, latest_stretch
from rounds.water.trend import TrendValue


class SystemBalance(msgspec.Struct, frozen=True, kw_only=True):
    """The balance of one water, with what it was worked out from."""

    water: Water
    system: System
    """What stands in that water."""
    reading: Reading
    """The alkalinity it is worked out from."""
    balance: Balance
    tests: tuple[Point, ...]
    """All that lie within reach, also those outside its stretch; dKH at salinity 35."""
    failing: tuple[Failing, ...]
    """Containers that give another dose than is set."""
    failing_beside: tuple[Failing, ...]
    """Such of the calcium that is given in step with the alkalinity."""
    assumed: tuple[str, ...]
    """What had to be taken for granted, in sentences."""


def balanced_waters(room: Room, history: History, now: datetime) -> list[Water]:
    """The waters of systems with alkalinity tests that something supplies, in walking order."""
    return [
        water
        for system in room.systems
        if system.volume and tank_reading(system, "alkalinity") is not None
        for water in waters(history, system, now)
        if sources_of(part_of(system, water))
    ]


def system_balance(room: Room, past: Past, system: System, now: datetime, water: Water | None = None) -> SystemBalance:
    """Supply, change and consumption of one water of the system over its latest stretch of tests.

    `water` is one of its waters at `now`; None: what is left of it without its tanks that are apart. What each
    container gives is what its levels say at `now`. Raises `Refused` with what is missing.
    """
    known = valves(past.history, system, now)
    water = water or known.waters(now)[0]
    system = part_of(system, water)
    reading = tank_reading(system, "alkalinity")
    if reading is None or not system.volume:
        raise Refused(f"{system.name} has no alkalinity reading or no volume; add them to its file")
    sources = Sources(room, past, system, now)
    read = past.corrected(room, reading, water.from_its_time(now - LOOK_BACK), now)
    tests = tuple(_test(reading, value) for value in read)
    breaks = [*sources.breaks(), *kit_breaks(room, past, reading, now)]
    stretch = _stretch(room, tests, breaks, _turn(known.turns, water, now - LOOK_BACK), now)
    supplies = [sources.supply(source, stretch.begin, stretch.end, tests) for source in sources.all]
    changes, left_out = _water_changes(room, past, system, stretch)
    result = balance(system.volume, supplies, stretch, changes)
    unread = [] if any(value.salinity for value in read) else [
        "No salinity was read: the tests stand as they are, not at salinity 35"
    ]  # fmt: skip
    return SystemBalance(
        water=water,
        system=system,
        reading=reading,
        balance=result,
        tests=tests,
        failing=_failing(sources, sources.all),
        failing_beside=_failing(sources, (tank for tank in system.reservoirs if tank.doses == "calcium")),
        assumed=tuple(dict.fromkeys([*unread, *left_out, *sources.assumed])),
    )


def _failing(sources: Sources, given: Iterable[Source]) -> tuple[Failing, ...]:
    return tuple(each for source in given if (each := sources.failing(source)) is not None)


def _turn(turns: Sequence[Turn], water: Water, begin: datetime) -> Turn | None:
    """What made the water what it is; None: nothing from `begin` on."""
    return next((turn for turn in reversed(turns) if turn.at == water.since and turn.at >= begin), None)


def _stretch(room: Room, tests: Sequence[Point], breaks: Sequence[Break], turn: Turn | None, now: datetime) -> Stretch:
    """The latest tests of the water that are enough to judge by; those since the `turn` that made it what it is."""
    if turn is None:
        return latest_stretch(tests, breaks, now)
    try:
        return latest_stretch(tests, [*breaks, Break(when(turn.record), turn.said)], now)
    except Refused as too_few:
        since = f"{turn.said}, {day_of(room, turn.at)}"
        raise Refused(f"{since}: older tests are of another water; {too_few}") from None


def kit_breaks(room: Room, past: Past, reading: Reading, now: datetime) -> list[Break]:
    """The steps of the instrument of a reading that cannot be taken out: values before and after are no one line."""
    steps = steps_of(room, reading, past.about(bearing_on(room, reading)), now)
    return [Break(each.at.astimezone(UTC), each.what) for each in steps if each.instrument and each.offset is None]


def _test(reading: Reading, value: TrendValue) -> Point:
    """In dKH."""
    assert value.corrected is not None
    return Point(
        value.at.astimezone(UTC), to_canonical(reading.quantity, value.corrected, reading.unit) * DKH_PER_MEQ, value.id
    )


def _water_changes(room: Room, past: Past, system: System, stretch: Stretch) -> tuple[list[WaterChange], list[str]]:
    """Those that lie in the stretch, and what is said about those that cannot be counted."""
    found: list[WaterChange] = []
    left_out: list[str] = []
    for task in system.tasks:
        if task.water_change is None:
            continue
        closings = past.history.closings(task.id).between(stretch.begin, stretch.end)
        done = [record for record in closings if record.kind == DONE]
        if task.new_alkalinity is not None:
            new = task.new_alkalinity * DKH_PER_MEQ
            for record in done:
                litres = _litres(room, record, task.water_change)
                found.append(WaterChange(when(record), min(1.0, litres / (system.volume or litres)), new))
        elif done:
            left_out.append(
                f"{plural(len(done), 'water change')} left out: the alkalinity of the new water is not known; "
                f'add new_alkalinity = "8.6 dKH" to {task.id}'
            )
    return found, left_out


def _litres(room: Room, record: Record, usual: float) -> float:
    """How much was changed, where the record says so."""
    for value in record.values:
        reading = room.readings.get(value.reading)
        if reading is not None and reading.quantity == "volume" and value.value is not None and value.bound is None:
            return value.value
    return usual


# -- as text -----------------------------------------------------------------------------------------------


def balance_lines(room: Room, found: SystemBalance) -> list[str]:
    """The balance with its arithmetic."""
    result, volume = found.balance, found.balance.volume
    lines = [f"{plain(found.system.name)}, {volume:g} L: alkalinity balance, dKH at salinity 35"]
    for each in result.supplies:
        lines.append(f"  {each.name}: {each.how} = {each.dkh(volume):.3f} dKH a day")
    lines.append(f"  supply together: {result.meq(result.supply):.0f} meq = {result.supply:.3f} dKH a day")
    stretch = result.stretch
    changes = (
        f", {plural(len(result.changes), 'water change')} taken out ({result.changed:+.2f} dKH)"
        if result.changes
        else ""
    )
    lines.append(
        f"  change: {result.slope:+.3f} dKH a day ({result.slope_low:+.3f} to {result.slope_high:+.3f}, 95 %), "
        f"Theil–Sen over {len(stretch.tests)} tests from {day_of(room, stretch.begin)} to {day_of(room, stretch.end)}"
        f"{changes}"
    )
    lines.append(
        f"  consumption = supply − change = {result.consumption:.3f} dKH a day ({result.low:.3f} to {result.high:.3f}) "
        f"= {result.meq(result.consumption):.0f} meq a day; the interval is that of the tests alone"
    )
    failing = (each.said for each in (*found.failing, *found.failing_beside))
    told = [*_stretch_notes(room, stretch), *failing, *found.assumed]
    return lines + [f"  {text}" for text in told]


def _stretch_notes(room: Room, stretch: Stretch) -> list[str]:
    found = []
    if stretch.since is not None:
        found.append(f"judged from {day_of(room, stretch.since.at)} on: {stretch.since.what}")
    if stretch.waiting is not None:
        found.append(
            f"too few tests since {day_of(room, stretch.waiting.at)} ({stretch.waiting.what}): "
            "judged by those before it"
        )
    return found
