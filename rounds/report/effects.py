"""What a change of the room's files does to the coming two weeks, in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime

from rounds.core.ahead import DAYS, Coming, coming
from rounds.core.history import History
from rounds.core.items import Forecast
from rounds.core.model import Room
from rounds.core.renamed import present, present_id
from rounds.core.words import full_moment, plain, plural

SHOWN_TIMES = 4

Foreseen = Callable[[Room, History], Sequence[Forecast]]
"""The refills that the levels of a room call for."""


def effect(before: Room, after: Room, history: History, now: datetime, foreseen: Foreseen) -> list[str]:
    """What comes due in the next two weeks that did not, no longer does, or does at other times.

    `history` is under the ids of `before`; raises `Incomplete` where not enough of it was kept.
    """
    past = _by_task(before, coming(before, history, now, DAYS, foreseen(before, history)), after)
    if after.formerly != before.formerly:
        history = History(present(record, after.formerly) for record in history.known())
    future = _by_task(after, coming(after, history, now, DAYS, foreseen(after, history)), after)
    return [*_compared(before, after, past, future, now)] or [f"Nothing changes in the coming {DAYS} days."]


def _by_task(room: Room, found: Iterable[Coming], after: Room) -> dict[str, list[Coming]]:
    """By full id as it will be, in walking order."""
    by_task: dict[str, list[Coming]] = {}
    for each in found:
        by_task.setdefault(present_id(each.task.id, after.formerly), []).append(each)
    order = {id: place for place, id in enumerate(room.tasks)}
    return dict(sorted(by_task.items(), key=lambda pair: order.get(pair[1][0].task.id, len(order))))


def _compared(
    before: Room, after: Room, past: dict[str, list[Coming]], future: dict[str, list[Coming]], now: datetime
) -> Iterator[str]:
    for id, each in future.items():
        if id not in past:
            yield f"Added: {_title(each)}, {_times(after, each, now)}"
        elif [one.at for one in past[id]] != [one.at for one in each]:
            yield f"Moved: {_title(each)}: now {_times(after, each, now)}; before {_times(before, past[id], now)}"
    for id, each in past.items():
        if id not in future:
            yield f"Gone: {_title(each)}, {_times(before, each, now)}"


def _title(found: list[Coming]) -> str:
    return plain(found[0].task.title)


def _times(room: Room, found: list[Coming], now: datetime) -> str:
    """``7 times: Wed 25 Nov 09:00, Thu 26 Nov 09:00 …``"""
    said = [full_moment(room.calendar, one.at, now) for one in found[:SHOWN_TIMES]]
    return f"{plural(len(found), 'time')}: {', '.join(said)}{' …' if len(found) > SHOWN_TIMES else ''}"
