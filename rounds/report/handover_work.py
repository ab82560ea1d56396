"""What a handover says of the work: not done, missed, to come, done, and the entries to look at."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from rounds.core.due import occurrences_of
from rounds.core.items import DUE, LATER, OPEN_STATES, OVERDUE, POSTPONED, DueItem
from rounds.core.model import IMPORTANCES, OnDates
from rounds.core.record import (
    BACK_TO_NORMAL,
    CHANGE_STEP,
    CONCERN_CLOSED,
    CONCERN_UPDATE,
    DONE,
    NOT_NEEDED,
    NOTE,
    PROTOCOL,
    READING,
    REFILL,
    Record,
    short,
)
from rounds.core.why import state_text
from rounds.core.words import plain, plural
from rounds.report.entries import entries_between, entry_json, entry_text, record_text
from rounds.report.handover import Line
from rounds.report.handover_shift import ShiftState, line, pressing, protecting

_TOLD_ELSEWHERE = ("look", "put back", "refill")
"""Sources of items whose concern, equipment off normal or reservoir has a line of its own."""

_DONE_KINDS = frozenset((DONE, NOT_NEEDED, READING, REFILL, NOTE, BACK_TO_NORMAL, CONCERN_UPDATE, CONCERN_CLOSED,
                         CHANGE_STEP))  # fmt: skip

_MOMENT = timedelta(microseconds=1)


def not_done_section(shift: ShiftState) -> Iterator[Line]:
    """What was due and is open, with the reason where one was given; what another shift has just begun is not."""
    found = [
        item
        for item in shift.items
        if item.state in (DUE, OVERDUE, POSTPONED) and item.task.source not in _TOLD_ELSEWHERE
    ]
    found += [item for item in shift.items if item.out_of_service is not None and item.state == NOT_NEEDED]
    by_task: dict[str, DueItem] = {}
    for item in found:
        by_task.setdefault(item.task.id, item)
    for item in sorted(by_task.values(), key=pressing):
        if shift.of_next(item):
            continue
        yield line(
            "not_done",
            item.task.id,
            f"{shift.item(item)}: {'; '.join(_why_open(shift, item))}",
            open=item.out_of_service is None,
            strong=item.state == OVERDUE and protecting(item),
            system=item.task.system,
            data=shift.item_json(item),
        )


def _why_open(shift: ShiftState, item: DueItem) -> Iterator[str]:
    task = item.task
    if item.out_of_service is not None:
        yield f"not in service: {plain(item.out_of_service)} is off"
        return
    if item.state != POSTPONED:
        state = state_text(shift.room, item, shift.now)
        yield f"still open, {state}" if item.state == DUE else f"{state}, due {shift.when(item.due_at)}"
    if (put := item.put_off) is not None and put.until is not None:
        because = f": {plain(put.reason)}" if put.reason else ""
        was = "" if put.until > shift.now else "was "
        yield f"{was}postponed to {shift.when(put.until)} by {plain(put.by)}{because}"
    if item.state == POSTPONED:
        yield f"it was due {shift.when(item.due_at)}"
    if item.could_not is not None:
        tried = shift.history.could_nots(task.id).last(shift.now)
        who = f" ({plain(tried.by)} {shift.when(tried.at)})" if tried is not None else ""
        yield f"could not: {plain(item.could_not)}{who}"
    if item.missed:
        yield f"{plural(item.missed, 'time')} missed since"


def missed_section(shift: ShiftState) -> Iterator[Line]:
    for item in sorted(shift.missed_items(), key=pressing):
        why = f"; could not: {plain(item.could_not)}" if item.could_not else ""
        yield line(
            "missed",
            f"{item.task.id}@{shift.calendar.stamp(item.due_at)}",
            f"{shift.item(item)}: {state_text(shift.room, item, shift.now)}{why}",
            strong=protecting(item),
            system=item.task.system,
            data=shift.item_json(item),
        )


def next_due_section(shift: ShiftState) -> Iterator[Line]:
    """What comes due until the next shift ends, and what it has begun with already."""
    found = []
    for item in shift.items:
        if item.task.source == "refill" or item.due_at is None or item.state not in OPEN_STATES:
            continue
        times = list(_coming(shift, item)) if item.state == LATER else [item.due_at] if shift.of_next(item) else []
        if times:
            found.append((times, item))
    found.sort(key=lambda pair: (IMPORTANCES.index(pair[1].task.importance), pair[0][0]))
    joined: dict[str, tuple[list[datetime], DueItem]] = {}
    for times, item in found:
        joined.setdefault(item.task.id, ([], item))[0].extend(times)
    for times, item in joined.values():
        each_once = list(dict.fromkeys(times))
        yield line(
            "next_due",
            item.task.id,
            f"{shift.item(item)}: {', '.join(shift.when(at) for at in each_once)}",
            system=item.task.system,
            data={**shift.item_json(item), "times": [shift.calendar.stamp(at) for at in each_once]},
        )


def _coming(shift: ShiftState, item: DueItem) -> Iterator[datetime]:
    """When a later item, and each of its occurrences after it, comes due until the next shift ends."""
    due = item.due_at
    if due is None or due >= shift.next.ends:
        return
    yield due
    if isinstance(item.task.rule, OnDates):
        occurrences = occurrences_of(shift.room, item.task)
        first = occurrences.due_from(due)
        if first is not None:
            yield from (each.due for each in occurrences.following(first, shift.next.ends - _MOMENT))


def done_section(shift: ShiftState) -> Iterator[Line]:
    counts = shift.counts()
    yield Line(about="done:counts", text=_counts_text(counts), data=counts)
    found = [record for record in _records(shift) if record.kind in _DONE_KINDS or _ended(record)]
    for record in sorted(found, key=lambda record: (_importance(shift, record) > 1, record.key)):
        yield line(
            "done",
            short(record.id),
            record_text(shift.room, shift.history, record, shift.now),
            system=record.system,
            data={"id": record.id, "kind": record.kind, "at": shift.calendar.stamp(record.at), "by": record.by,
                  "task": record.task},
        )  # fmt: skip


def _records(shift: ShiftState) -> list[Record]:
    return shift.history.since(shift.begin, shift.end)


def _importance(shift: ShiftState, record: Record) -> int:
    task = shift.room.tasks.get(record.task or "")
    return IMPORTANCES.index(task.importance) if task is not None else len(IMPORTANCES)


def _ended(record: Record) -> bool:
    """Whether it is the end of a protocol."""
    return record.kind == PROTOCOL and record.ref is not None


def _counts_text(counts: dict[str, int]) -> str:
    text = f"{counts['done']} done, {counts['not_needed']} not needed, {counts['left']} left of {counts['round']}"
    return f"{text} in the round; {counts['late']} late, {counts['missed']} missed"


def entry_section(shift: ShiftState) -> Iterator[Line]:
    """Of the shift: what was written late, what is doubtful, and what was struck, each with why."""
    for entry in entries_between(shift.history, shift.begin, shift.end):
        record = entry.record
        text = entry_text(shift.room, shift.history, entry, shift.now)
        data = entry_json(shift.room, entry)
        yield line("entries", short(record.id), text, system=record.system, data=data)
