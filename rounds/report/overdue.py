"""What is overdue across all systems, and the load of the coming days, as JSON and as text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import msgspec

from rounds.core.ahead import Coming
from rounds.core.items import DUE, OVERDUE, DueItem, overdue_order
from rounds.core.load import DayLoad, Earlier, Load
from rounds.core.model import IMPORTANCES, Room, Task
from rounds.core.record import Record
from rounds.core.shifts import Cover, Covering, covering_at, doers, doers_text, own_work
from rounds.core.walk import place_name
from rounds.core.why import state_text, why
from rounds.core.words import day_name, full_moment, moment, plain, plural
from rounds.report.sheet import item_json
from rounds.report.wrapping import wrapped


class Choice(msgspec.Struct, frozen=True, kw_only=True):
    """Which work is asked about; None: all of it."""

    system: str | None = None
    keeper: str | None = None
    """Initials: what is this keeper's, and what is nobody's in particular and so everyone's."""
    importance: str | None = None

    @property
    def everything(self) -> bool:
        return self == Choice()

    def has(self, task: Task, covering: Covering = own_work) -> bool:
        """Whether the task is among it; `covering` says who does the work of a keeper, which may be another."""
        return (
            (self.system is None or task.system == self.system)
            and (self.importance is None or task.importance == self.importance)
            and (self.keeper is None or self.keeper in (doers(task, covering) or (self.keeper,)))
        )


class Overdue(msgspec.Struct, frozen=True, kw_only=True):
    """What is late, in the order in which it is looked at."""

    off_normal: tuple[DueItem, ...]
    """What should have been put back; it stands first."""
    items: tuple[DueItem, ...]
    """By importance, then by how many of its intervals each is late."""
    out_of_service: tuple[DueItem, ...]
    """What would be late if its equipment were in service."""
    covering: Covering
    """Who does the work of each keeper now."""


def overdue(
    items: Iterable[DueItem], now: datetime, choice: Choice | None = None, covering: Covering = own_work
) -> Overdue:
    """Of all the items at `now` those that are late."""
    wanted = choice or Choice()
    chosen = [item for item in items if wanted.has(item.task, covering)]
    return Overdue(
        off_normal=tuple(item for item in chosen if _to_put_back(item) and item.state in (DUE, OVERDUE)),
        items=tuple(item for item in overdue_order(chosen) if not _to_put_back(item)),
        out_of_service=tuple(item for item in chosen if _would_be_late(item, now)),
        covering=covering,
    )


def can_be_postponed(item: DueItem) -> bool:
    """Whether it is due or overdue, and is not something off normal, which is extended instead."""
    return item.state in (DUE, OVERDUE) and not _to_put_back(item)


def _put_off(item: DueItem) -> Record | None:
    """By what it was put off all the same."""
    return item.put_off if item.state == OVERDUE else None


def _to_put_back(item: DueItem) -> bool:
    return item.task.source == "put back"


def _would_be_late(item: DueItem, now: datetime) -> bool:
    open_late = item.closed_at is None and item.fine_until is not None and item.fine_until < now
    return item.out_of_service is not None and open_late


# -- what is late ----------------------------------------------------------------------------------


def overdue_json(room: Room, found: Overdue, now: datetime) -> dict[str, Any]:
    """The lists as plain values; times are RFC 3339 with the room's offset."""

    def listed(items: Iterable[DueItem]) -> list[dict[str, Any]]:
        return [
            {
                **item_json(room, item, now),
                "place": _where(room, item.task),
                "who": doers(item.task, found.covering),
                "out_of_service": item.out_of_service,
                "put_off": _put_off_json(room, _put_off(item)),
            }
            for item in items
        ]

    return {
        "room": room.name,
        "at": room.calendar.stamp(now),
        "round_day": room.calendar.round_day(now).isoformat(),
        "off_normal": listed(found.off_normal),
        "overdue": listed(found.items),
        "out_of_service": listed(found.out_of_service),
    }


def _put_off_json(room: Room, record: Record | None) -> dict[str, Any] | None:
    if record is None:
        return None
    return {"until": room.calendar.stamp(record.until), "by": record.by, "reason": record.reason}


def overdue_text(room: Room, found: Overdue, now: datetime) -> str:
    """The lists with a heading for each importance; every item with why it stands as it does."""
    when = full_moment(room.calendar, now)
    count = len(found.off_normal) + len(found.items)
    lines = [plain(room.name), f"Overdue on {when}: {plural(count, 'item') if count else 'nothing'}"]
    headed = [("Off normal, past its time", found.off_normal)]
    headed += [
        (importance.capitalize(), tuple(item for item in found.items if item.task.importance == importance))
        for importance in IMPORTANCES
    ]
    headed.append(("Not in service, so not counted as late", found.out_of_service))
    for heading, items in headed:
        if items:
            lines += ["", heading]
        for item in items:
            lines += wrapped(item_line(room, item, now, found.covering), "  ", "    ")
            lines += wrapped(why(room, item, now), "      ", "      ")
    return "\n".join(lines) + "\n"


def item_line(room: Room, item: DueItem, now: datetime, covering: Covering = own_work) -> str:
    """``Reef, sump: Rinse the cup; 2 days late; 1 time missed since; keeper IK for TV; last Mon 10:00 by TV``"""
    details = [f"{_where(room, item.task)}: {plain(item.task.title)}"]
    if item.out_of_service is None:
        details.append(state_text(room, item, now))
    else:
        details.append(f"{plain(item.out_of_service)} not in service")
    if item.missed:
        details.append(f"{plural(item.missed, 'time')} missed since")
    if item.could_not is not None:
        details.append(f"could not: {plain(item.could_not)}")
    if (put_off := _put_off(item)) is not None and put_off.until is not None:
        cause = f": {plain(put_off.reason)}" if put_off.reason else ""
        until = moment(room.calendar, put_off.until, now)
        said = f"put off to {until} all the same" if put_off.until > now else f"was put off to {until}"
        details.append(f"{said} ({plain(put_off.by)}{cause})")
    if who := doers_text(item.task, covering):
        details.append(f"keeper {who}")
    if item.last_done is not None:
        details.append(f"last {moment(room.calendar, item.last_done.at, now)} by {plain(item.last_done.by)}")
    elif item.task.source not in ("put back", "look", "step"):
        details.append("never done")
    return "; ".join(details)


# -- the load --------------------------------------------------------------------------------------


def load_json(room: Room, load: Load, earlier: Iterable[Earlier]) -> dict[str, Any]:
    """The minutes of each day, and what is proposed to be done earlier."""
    stamp = room.calendar.stamp
    return {
        "limit": load.limit,
        "because": load.because,
        "days": [{**msgspec.structs.asdict(day), "day": day.day.isoformat()} for day in load.days],
        "earlier": [
            {
                "id": each.task.id,
                "title": each.task.title,
                "place": _where(room, each.task),
                "minutes": each.minutes,
                "from_day": each.from_day.isoformat(),
                "to_day": each.to_day.isoformat(),
                "at": stamp(each.at),
                "due_at": stamp(each.due_at),
                "fine_until": stamp(each.fine_until),
                "why": each.why,
            }
            for each in earlier
        ],
    }


def load_text(room: Room, load: Load, earlier: Iterable[Earlier]) -> str:
    """A line a day, and under them what is proposed to be done earlier."""
    lines = [f"Load of the coming {plural(len(load.days), 'day')}; of today what is left", ""]
    lines += [f"{'day':<12}{'minutes':>8}{'tasks':>7}", *(_day_line(day) for day in load.days), ""]
    lines.append(f"A day is too full above {load.limit} minutes: {load.because}.")
    proposals = [
        line
        for each in earlier
        for line in (
            *wrapped(earlier_line(room, each), "  ", "    "),
            *wrapped(each.why, "      ", "      "),
        )
    ]
    if proposals:
        lines += ["", "Done earlier, these would level it; nothing is recorded for it:", *proposals]
    elif any(day.too_full for day in load.days):
        lines.append("Nothing on those days can be brought forward to an earlier, lighter one.")
    return "\n".join(lines) + "\n"


def _day_line(day: DayLoad) -> str:
    remarks = [f"{day.without_minutes} without minutes"] if day.without_minutes else []
    if day.too_full:
        remarks.insert(0, "too full")
    return f"{day_name(day.day):<12}{day.minutes:>8}{day.tasks:>7}  {'; '.join(remarks)}".rstrip()


def earlier_line(room: Room, each: Earlier) -> str:
    """``Reef, sump: Clean the pump heads, 25 min: on Mon 30 Nov instead of Fri 4 Dec``"""
    days = f"on {day_name(each.to_day)} instead of {day_name(each.from_day, each.to_day)}"
    return f"{_where(room, each.task)}: {plain(each.task.title)}, {each.minutes} min: {days}"


def chosen(ahead: Iterable[Coming], choice: Choice, covers: Sequence[Cover] = ()) -> list[Coming]:
    """What is chosen of the coming days; of the `covers` counts who covers when it is done."""
    return [each for each in ahead if choice.has(each.task, covering_at(covers, each.at))]


def _where(room: Room, task: Task) -> str:
    return place_name(room, task.system, task.station)
