"""One reservoir in full, as the screen shows it: how full, since when, from where, and what to beware of."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import zip_longest

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.model import Reservoir, Room
from rounds.core.words import length, moment, plain
from rounds.report.levels import system_name
from rounds.water.levels import Levels, amount, level_amount
from rounds.water.reserves import ReservoirLevel, reservoir_levels
from rounds.water.stretches import WINDOW, Point, fills
from rounds.water.top_off import FreshWater, fresh_water

BLOCKS = "▁▂▃▄▅▆▇█"


class LevelAccount(msgspec.Struct, frozen=True, kw_only=True):
    """One reservoir as it stands, with what its numbers come from."""

    level: ReservoirLevel
    points: tuple[Point, ...]
    """The levels of the last weeks, the oldest first."""
    begins: frozenset[datetime]
    """Of those, the times of the ones that begin a stretch: a refill, or a rise nobody recorded."""
    fresh: FreshWater | None
    """The fresh water of its system, where it gives any."""
    feeds: tuple[Reservoir, ...]
    """What is refilled from it."""

    @property
    def tank(self) -> Reservoir:
        return self.level.tank


def bearing_on_levels(room: Room) -> frozenset[str]:
    """Ids of everything whose records bear on the levels: levels, refills, work that draws, salinities, tanks."""
    found = {f"{tank}-{what}" for tank in room.reservoirs for what in ("level", "refill")} | room.tanks.keys()
    found.update(task.id for task in room.tasks.values() if task.draws)
    found.update(reading.id for reading in room.readings.values() if reading.quantity == "salinity")
    return frozenset(found)


def level_accounts(room: Room, history: History, now: datetime) -> list[LevelAccount]:
    """Every reservoir of the room, what runs out first at the head.

    Raises `Incomplete` where not enough of the history was kept.
    """
    levels = Levels()
    waters = {system.id: fresh_water(levels, room, history, system, now) for system in room.systems}
    found = []
    for each in reservoir_levels(levels, room, history, now):
        tank = each.tank
        stretches = levels.measured(room, history, tank, now).stretches
        points = tuple(point for stretch in stretches for point in stretch if now - point.at <= WINDOW)
        fresh = waters[tank.system]
        found.append(
            LevelAccount(
                level=each,
                points=points,
                begins=frozenset(stretch[0].at for stretch in stretches[1:]),
                fresh=fresh if fresh is not None and tank.id in fresh.sources else None,
                feeds=tuple(levels.fed(tank)),
            )
        )
    return found


def gauge(each: ReservoirLevel, width: int) -> str:
    """``█████│··········``: how full it is, ``│`` where its reserve lies; blank where no level is known."""
    if each.share is None:
        return " " * width
    cells = ["█" if place < round(each.share * width) else "·" for place in range(width)]
    if 0 < each.reserve < each.tank.capacity:
        cells[min(width - 1, int(each.reserve / each.tank.capacity * width))] = "│"
    return "".join(cells)


def reckoned_text(room: Room, each: ReservoirLevel, now: datetime) -> str:
    """``11.4 L of 25.0 L by its use; 13.8 L read 21 hours ago``"""
    if each.level is None or each.as_of is None:
        return f"holds {amount(room, each.tank.capacity)}; no level is recorded yet"
    read = f"{level_amount(room, each.tank, each.level)} read {length(now - each.as_of)} ago"
    return f"{now_text(room, each)} by its use; {read}"


def now_text(room: Room, each: ReservoirLevel) -> str:
    """``13.8 L of 25.0 L``: what is in it now by its use."""
    level = level_amount(room, each.tank, each.level_now) if each.level_now is not None else "?"
    return f"{level} of {amount(room, each.tank.capacity)}"


def warnings_text(account: LevelAccount) -> list[str]:
    """What is unsafe about how the container is set up, and litres that cannot be right."""
    found = [plain(remark) for remark in account.level.remarks]
    if account.fresh is not None and account.fresh.doubt:
        found.append(account.fresh.doubt)
    return found


def plumbing_text(room: Room, account: LevelAccount) -> str:
    """``filled from the purified-water store; fills the barrel, the top-off can (Low-light shelf)``"""
    tank = account.tank

    def name(other: Reservoir) -> str:
        away = f" ({system_name(room, other.system)})" if other.system != tank.system else ""
        return f"{plain(other.name)}{away}"

    parts = [f"refilled from {name(room.reservoirs[tank.fed_by])}"] if tank.fed_by is not None else []
    if tank.makes:
        parts.append(f"filled by a unit that makes {amount(room, tank.makes)} a day")
    if account.feeds:
        parts.append(f"fills {', '.join(map(name, account.feeds))}")
    if tank.paired_with is not None:
        parts.append(f"falls in step with {name(room.reservoirs[tank.paired_with])}")
    return "; ".join(parts)


def course(room: Room, account: LevelAccount, now: datetime) -> tuple[str, str, int]:
    """The last level of each round day as a line of blocks, a line of ``↑`` where it was refilled, and the days."""
    today = room.calendar.round_day(now)
    if not account.points:
        return "", "", 0
    last: dict[int, float] = {}
    marks: set[int] = set()
    for point in account.points:
        ago = (today - room.calendar.round_day(point.at)) // ONE_DAY
        last[ago] = point.litres
        if point.at in account.begins or point.after_refill:
            marks.add(ago)
    days = range(max(last), -1, -1)
    top = account.tank.capacity
    blocks = "".join(BLOCKS[min(7, max(0, int(last[ago] / top * 8)))] if ago in last else " " for ago in days)
    mark = "↓" if fills(account.tank) else "↑"
    return blocks, "".join(mark if ago in marks else " " for ago in days).rstrip(), len(days)


def level_lines(room: Room, account: LevelAccount, now: datetime) -> Iterator[str]:
    """The levels of the last weeks, the newest first, each with what was used since the one before."""
    for point, earlier in zip_longest(account.points[::-1], account.points[-2::-1]):
        if point.after_refill:
            said = "emptied" if fills(account.tank) else "refilled"
        elif point.at in account.begins:
            said = "other than before, nobody recorded why"
        elif earlier is not None:
            change = point.litres - earlier.litres
            said = (
                f"{'+' if change > 0 else '−'}{level_amount(room, account.tank, abs(change))}"
                if change
                else "as before"
            )
        else:
            said = ""
        level = level_amount(room, account.tank, point.litres)
        yield f"{moment(room.calendar, point.at, now):<18} {level:>8}  {said}".rstrip()
