"""From the records of a room to the lines of a shift's report; see `rounds.report.handover`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from rounds.core.calendar import ONE_DAY
from rounds.core.concerns import open_concerns
from rounds.core.handovers import MID_SHIFT, SHIFT, UNATTENDED, Handover
from rounds.core.history import History
from rounds.core.model import IMPORTANCES, ROOM, OnDates, Room, System
from rounds.core.off_normal import off_normal
from rounds.core.plan import (
    DUE,
    LATER,
    OPEN_STATES,
    OVERDUE,
    POSTPONED,
    DueItem,
    Forecast,
    due_items,
    lapsed_at,
    occurrences_of,
)
from rounds.core.protocols import running, short
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
)
from rounds.core.shifts import Duty, Hand, covering, covers, duty_at, next_duty, on_call, on_duty, span_of
from rounds.core.staged import HELD, Step, steps
from rounds.core.walk import place_name
from rounds.core.why import state_text
from rounds.core.words import clock, day_name, moment, plain, plural
from rounds.report.entries import entries_between, entry_json, entry_text, record_text
from rounds.report.following import (
    concern_json,
    concern_lines,
    off_normal_json,
    off_normal_line,
    protocol_json,
    protocol_line,
)
from rounds.report.handover import ANSWERED, Line, Report, interval, list_line, numbered
from rounds.report.past import Past, past_of
from rounds.report.readings import ACT, LEAVING, OUTSIDE, ReadingRow, is_level, rows_of

if TYPE_CHECKING:
    from rounds.storage.room import RoomFolder

STAGED_WITHIN = timedelta(days=14)
"""A change made in steps is told so long after its last step; common practice, without a source."""

_OF_RECORDS = ("look", "put back")
"""Items whose concern, or what is off normal, has a line of its own."""

_DONE_KINDS = frozenset((DONE, NOT_NEEDED, READING, REFILL, NOTE, BACK_TO_NORMAL, CONCERN_UPDATE, CONCERN_CLOSED,
                         CHANGE_STEP))  # fmt: skip

PastOf = Callable[[str], Past]
"""The records that stand of one system."""


def prepared(folder: RoomFolder, now: datetime, *, shift: str | None = None, kind: str = SHIFT) -> Report:
    """The report that a handover at `now` would sign; `shift` names another than the one that ends first.

    Raises `Refused` for a shift that is not there. Reads the archive of every system; the app asks for those in a
    thread (`RoomFolder.standing_of`) and then for `shift_report`.
    """
    room = folder.model
    duty = duty_at(room, now, shift)
    pasts: dict[str, Past] = {}

    def known(system: str) -> Past:
        if system not in pasts:
            pasts[system] = past_of(folder, room.system[system])
        return pasts[system]

    signed = folder.last_handover(now)
    begin = min(span_of(room, duty, now)[0], room.calendar.start(room.calendar.round_day(now))) - ONE_DAY
    return folder.ask(
        lambda history: shift_report(room, history, now, duty, kind, folder.forecasts(history, now), known, signed),
        begin,
        now,
    )


def shift_report(
    room: Room,
    history: History,
    now: datetime,
    duty: Duty,
    kind: str,
    forecasts: Sequence[Forecast],
    past_of: PastOf,
    signed: Handover | None,
) -> Report:
    """The report of the shift `duty` as it stands at `now`; `signed` is the handover that was signed last.

    Raises `Incomplete` where not enough of the history was kept.
    """
    found = _Shift(room, history, now, duty, kind, due_items(room, history, now, forecasts), forecasts, past_of)
    lines = [
        Line(about="room:name", text=plain(room.name)),
        *found.head(signed),
        *found.off_normal(),
        *found.not_done(),
        *found.missed(),
        *found.out_of_band(),
        *found.concerns(),
        *found.protocols(),
        *found.staged(),
        *found.refills(),
        *found.next_due(),
        *found.done(),
    ]
    lines += [*_systems(found, lines), *found.entries()]
    return Report(
        lines=numbered(lines), at=now, kind=kind, shift=duty.name, begins=duty.begins, ends=duty.ends, signed=signed
    )


class _Shift:
    """What the sections of one report are made of; each method gives the lines of one section."""

    def __init__(
        self,
        room: Room,
        history: History,
        now: datetime,
        duty: Duty,
        kind: str,
        items: Sequence[DueItem],
        forecasts: Sequence[Forecast],
        past_of: PastOf,
    ) -> None:
        self.room, self.history, self.now = room, history, now
        self.duty, self.kind = duty, kind
        self.items, self.forecasts, self.past_of = items, forecasts, past_of
        self.next = duty if kind == MID_SHIFT else next_duty(room, duty)
        self.begin, self.end = span_of(room, duty, now)
        self._calendar = room.calendar
        self._covers = covers(history, now)

    # -- who and when ----------------------------------------------------------------------------------

    def head(self, signed: Handover | None) -> Iterator[Line]:
        room, duty = self.room, self.duty
        yield Line(
            about=f"shift:{interval(self._calendar, duty.begins, duty.ends)}",
            text=self._span(duty),
            data={"name": duty.name},
        )
        for hand in self._on():
            yield Line(about=f"on:{hand.initials}", text=_hand_text(hand), data=_hand_json(hand))
        yield self._next_line()
        for hand in on_call(room, self.history, self.now):
            yield Line(about=f"on_call:{hand.initials}", text=_hand_text(hand), data=_hand_json(hand))
        if signed is not None:
            yield from self._last(signed)

    def _on(self) -> list[Hand]:
        """Who has the shift; who has recorded in it because the next one has begun already is not among them."""
        coming = {hand.initials for hand in on_duty(self.room, self.history, self.next, self.now) if not hand.recorded}
        hands = on_duty(self.room, self.history, self.duty, self.now)
        return [hand for hand in hands if not (hand.recorded and hand.initials in coming)]

    def _next_line(self) -> Line:
        after = self.next
        who = [hand for hand in on_duty(self.room, self.history, after, self.now) if not hand.recorded]
        names = "; ".join(_hand_text(hand) for hand in who) or "nobody is named"
        said = f"{self._span(after)}: {names}"
        if after is self.duty:
            said = f"this shift goes on until {moment(self._calendar, after.ends, self.now)}"
        if self.kind == UNATTENDED:
            said = f"nobody until {moment(self._calendar, after.begins, self.now)}; then {said}"
        return Line(
            about=f"next:{interval(self._calendar, after.begins, after.ends)}",
            text=said,
            data={
                "shift": after.name,
                "from": self._calendar.stamp(after.begins),
                "to": self._calendar.stamp(after.ends),
                "keepers": [_hand_json(hand) for hand in who],
            },
        )

    def _last(self, signed: Handover) -> Iterator[Line]:
        about = f"last:{short(signed.id)}"
        yield Line(about=about, text=list_line(self.room, signed, self.now), strong=signed.accepted is None)
        for record in signed.acceptances:
            for number, point in enumerate(point for point in record.points if point.answer):
                asked = f"{plain(record.by)} asks: {plain(point.answer)} (about: {plain(point.text)})"
                yield Line(about=f"{about}-{short(record.id)}-{number + 1}", text=asked)

    def _span(self, duty: Duty) -> str:
        """``early shift, Wed 4 Mar 2026, 07:00 to 13:00``"""
        name = f"{plain(duty.name)} shift" if duty.shift is not None else duty.name
        begins, ends = clock(self._calendar, duty.begins), clock(self._calendar, duty.ends)
        return f"{name}, {day_name(duty.day)} {duty.day.year}, {begins} to {ends}"

    # -- what is not as it should be -------------------------------------------------------------------

    def off_normal(self) -> Iterator[Line]:
        for left in off_normal(self.room, self.history, self.now):
            yield _line(
                "off_normal",
                left.thing if "/" in left.thing else short(left.thing),
                off_normal_line(self.room, left, self.now),
                strong=left.passed(self.now),
                system=left.first.system,
                data=off_normal_json(self.room, left, self.now),
            )

    def not_done(self) -> Iterator[Line]:
        """What was due and is open, with the reason where one was given; what another shift has just begun is not."""
        found = [item for item in self.items if item.state in (DUE, OVERDUE, POSTPONED) and not self._told(item)]
        found += [item for item in self.items if item.out_of_service is not None and item.state == NOT_NEEDED]
        by_task: dict[str, DueItem] = {}
        for item in found:
            by_task.setdefault(item.task.id, item)
        for item in sorted(by_task.values(), key=_pressing):
            if self._of_next(item):
                continue
            yield _line(
                "not_done",
                item.task.id,
                f"{self._item(item)}: {'; '.join(self._why_open(item))}",
                open=item.out_of_service is None,
                strong=item.state == OVERDUE and _first(item),
                system=item.task.system,
                data=self._item_json(item),
            )

    def _told(self, item: DueItem) -> bool:
        """Whether a line of its own speaks of it elsewhere: of the concern, of what is off normal, of the refill."""
        return item.task.source in (*_OF_RECORDS, "refill")

    def _of_next(self, item: DueItem) -> bool:
        """Whether it came due for the next shift, which has begun already, and nobody tried it yet."""
        shift = item.task.shift
        return (
            self.next is not self.duty
            and item.state == DUE
            and shift is not None
            and shift.name == self.next.name
            and item.due_at is not None
            and item.due_at >= self.next.begins
            and item.could_not is None
        )

    def _why_open(self, item: DueItem) -> Iterator[str]:
        task = item.task
        if item.out_of_service is not None:
            yield f"not in service: {plain(item.out_of_service)} is off"
            return
        if item.state != POSTPONED:
            still = f"still open, {state_text(self.room, item, self.now)}"
            yield (
                still
                if item.state == DUE
                else f"{state_text(self.room, item, self.now)}, due {self._when(item.due_at)}"
            )
        if (put := self._put_off(item)) is not None and put.until is not None:
            because = f": {plain(put.reason)}" if put.reason else ""
            yield f"postponed to {self._when(put.until)} by {plain(put.by)}{because}"
        if item.state == POSTPONED:
            yield f"it was due {self._when(item.due_at)}"
        if item.could_not is not None:
            tried = self.history.could_nots(task.id).last(self.now)
            who = f" ({plain(tried.by)} {self._when(tried.at)})" if tried is not None else ""
            yield f"could not: {plain(item.could_not)}{who}"
        if item.missed:
            yield f"{plural(item.missed, 'time')} missed since"

    def _put_off(self, item: DueItem) -> Record | None:
        """The postponement that still names a time to come, also of what is late by now."""
        put = self.history.postponements(item.task.id).last(self.now)
        if put is None or put.until is None or put.until <= self.now:
            return None
        return put if item.last_closed is None or put.key > item.last_closed.key else None

    def missed_items(self) -> list[DueItem]:
        """What lapsed in the shift and is not made up."""
        lapsed = ((item, lapsed_at(self.room, item)) for item in self.items)
        return [item for item, at in lapsed if at is not None and at > self.begin]

    def missed(self) -> Iterator[Line]:
        for item in sorted(self.missed_items(), key=_pressing):
            why = f"; could not: {plain(item.could_not)}" if item.could_not else ""
            yield _line(
                "missed",
                f"{item.task.id}@{self._calendar.stamp(item.due_at)}",
                f"{self._item(item)}: {state_text(self.room, item, self.now)}{why}",
                strong=_first(item),
                system=item.task.system,
                data=self._item_json(item),
            )

    def out_of_band(self) -> Iterator[Line]:
        """The last value of each reading that lies outside its band, or leaves it before the next shift ends."""
        rows = [
            row
            for system in self.room.systems
            for row in rows_of(self.room, system.id, self.past_of(system.id), self.now)
        ]
        for row in sorted(rows, key=lambda row: row.rank):
            if is_level(row.reading) or not (row.state in (ACT, OUTSIDE) or self._leaves_soon(row)):
                continue
            reading = row.reading
            by = next((each.by for each in reversed(self.past_of(reading.system).about((reading.id,)))
                       if each.at == row.at), "")  # fmt: skip
            said = f"{plain(row.system)}, {plain(reading.name)}: {plain(row.last)}, {plain(row.words)}"
            band = f" (band {row.band})" if row.band else ""
            slope = f"; {plain(row.slope)}" if row.slope else ""
            yield _line(
                "out_of_band",
                reading.id,
                f"{said}{band}; {self._when(row.at)} {plain(by)}{slope}".rstrip(),
                strong=row.state == ACT,
                system=reading.system,
                data={
                    "reading": reading.id, "name": reading.name, "state": row.state, "value": row.last,
                    "words": row.words, "band": row.band or None, "taken_at": self._calendar.stamp(row.at),
                    "by": by or None, "trend": row.slope or None,
                },
            )  # fmt: skip

    def _leaves_soon(self, row: ReadingRow) -> bool:
        days = row.rank[1]
        return row.state == LEAVING and self.now + timedelta(days=days) <= self.next.ends

    # -- what goes on ----------------------------------------------------------------------------------

    def concerns(self) -> Iterator[Line]:
        for concern in open_concerns(self.history, self.now):
            yield _line(
                "concerns",
                short(concern.id),
                "; ".join(concern_lines(self.room, concern, self.now)),
                strong=concern.look_at is not None and concern.look_at <= self.now,
                system=concern.record.system,
                data={**concern_json(self.room, concern, self.now), "noted": concern.record.note},
            )

    def protocols(self) -> Iterator[Line]:
        for under in running(self.room, self.history, self.now):
            due = under.next.due_at if under.next is not None else None
            yield _line(
                "protocols",
                short(under.call.id),
                protocol_line(self.room, under, self.now),
                strong=due is not None and due <= self.now,
                system=under.call.system,
                data={**protocol_json(self.room, under), "called_for": under.call.note or None},
            )

    def staged(self) -> Iterator[Line]:
        """Lights and doses with a step of late, and what may come next."""
        for system in self.room.systems:
            if system.lights or any(tank.kind in ("dosing", "limewater") for tank in system.reservoirs):
                known = History(self.past_of(system.id).records)
                yield from self._staged_lights(system, known)
                yield from self._staged_doses(system, known)

    def _staged_lights(self, system: System, known: History) -> Iterator[Line]:
        from rounds.report.light import light_json, light_state

        for lights in system.lights:
            state = light_state(self.room, known, lights, self.now)
            if not state.steps or state.steps[-1].at < self.now - STAGED_WITHIN:
                continue
            last = state.steps[-1]
            yield _line(
                "staged",
                lights.id,
                f"{plain(system.name)}, {plain(lights.name)}: {plain(last.said)} {self._when(last.at)}; "
                f"next: {plain(state.verdict.why)}",
                system=system.id,
                data=light_json(self.room, state),
            )

    def _staged_doses(self, system: System, known: History) -> Iterator[Line]:
        for tank in system.reservoirs:
            made = steps(known, tank.id, self.now)
            if not made or made[-1].record.at < self.now - STAGED_WITHIN:
                continue
            yield _line(
                "staged",
                tank.id,
                f"{plain(system.name)}, {plain(tank.name)}: {self._step(made[-1])}",
                system=system.id,
                data={"id": made[-1].record.id, "before": made[-1].before, "after": made[-1].after,
                      "at": self._calendar.stamp(made[-1].record.at)},
            )  # fmt: skip

    def _step(self, step: Step) -> str:
        record = step.record
        before, after = (plain(value.entered) for value in record.values)
        change = f"held at {after}" if step.outcome == HELD else f"{step.outcome}, {before} to {after}"
        until = f" until {self._when(record.until)}" if record.until is not None else ""
        why = f": {plain(record.note)}" if record.note else ""
        return f"{change}{until} {self._when(record.at)} by {plain(record.by)}{why}; next: test before another step"

    # -- what comes ------------------------------------------------------------------------------------

    def refills(self) -> Iterator[Line]:
        """Reservoirs whose refill comes due before the next shift ends."""
        due = [each for each in self.forecasts if not each.closed and each.due_at <= self.next.ends]
        for forecast in sorted(due, key=lambda each: (IMPORTANCES.index(each.importance), each.fine_until)):
            tank = self.room.reservoirs[forecast.task.removesuffix("-refill")]
            by = "was due" if forecast.fine_until <= self.now else "by"
            yield _line(
                "refills",
                tank.id,
                f"{place_name(self.room, tank.system, tank.station)}: {plain(self.room.tasks[forecast.task].title)}, "
                f"{by} {self._when(forecast.fine_until)}; {plain(forecast.why)}",
                strong=forecast.fine_until <= self.now,
                system=tank.system,
                data={
                    "reservoir": tank.id, "due_at": self._calendar.stamp(forecast.due_at),
                    "refill_by": self._calendar.stamp(forecast.fine_until), "importance": forecast.importance,
                },
            )  # fmt: skip

    def next_due(self) -> Iterator[Line]:
        """What comes due until the next shift ends, and what it has begun with already."""
        found = []
        for item in self.items:
            if item.task.source == "refill" or item.due_at is None or item.state not in OPEN_STATES:
                continue
            times = list(self._coming(item)) if item.state == LATER else [item.due_at] if self._of_next(item) else []
            if times:
                found.append((times, item))
        found.sort(key=lambda pair: (IMPORTANCES.index(pair[1].task.importance), pair[0][0]))
        joined: dict[str, tuple[list[datetime], DueItem]] = {}
        for times, item in found:
            joined.setdefault(item.task.id, ([], item))[0].extend(times)
        for times, item in joined.values():
            each_once = list(dict.fromkeys(times))
            yield _line(
                "next_due",
                item.task.id,
                f"{self._item(item)}: {', '.join(self._when(at) for at in each_once)}",
                system=item.task.system,
                data={**self._item_json(item), "times": [self._calendar.stamp(at) for at in each_once]},
            )

    def _coming(self, item: DueItem) -> Iterator[datetime]:
        """When a later item, and each of its occurrences after it, comes due until the next shift ends."""
        due = item.due_at
        if due is None or due >= self.next.ends:
            return
        yield due
        if isinstance(item.task.rule, OnDates):
            occurrences = occurrences_of(self.room, item.task)
            first = occurrences.due_from(due)
            if first is not None:
                yield from (each.due for each in occurrences.following(first, self.next.ends - _MOMENT))

    # -- what was done ---------------------------------------------------------------------------------

    def records(self) -> list[Record]:
        return self.history.since(self.begin, self.end)

    def done(self) -> Iterator[Line]:
        counts = self.counts()
        yield Line(about="done:counts", text=_counts_text(counts), data=counts)
        found = [record for record in self.records() if record.kind in _DONE_KINDS or _ended(record)]
        for record in sorted(found, key=lambda record: (self._importance(record) > 1, record.key)):
            yield _line(
                "done",
                short(record.id),
                record_text(self.room, self.history, record, self.now),
                system=record.system,
                data={"id": record.id, "kind": record.kind, "at": self._calendar.stamp(record.at), "by": record.by,
                      "task": record.task},
            )  # fmt: skip

    def counts(self, system: str | None = None) -> dict[str, int]:
        """Of the round of this round day: done, not needed, left, late and all of these; missed in the shift."""
        items = [item for item in self.items if item.in_round and system in (None, item.task.system)]
        done = sum(1 for item in items if item.closed_at is not None and item.state == DONE)
        found = {
            "done": done,
            "not_needed": sum(1 for item in items if item.closed_at is not None) - done,
            "left": sum(1 for item in items if item.state in OPEN_STATES),
            "late": sum(1 for item in items if item.state == OVERDUE),
            "missed": sum(1 for item in self.missed_items() if system in (None, item.task.system)),
        }
        found["round"] = found["done"] + found["not_needed"] + found["left"]
        return found

    def _importance(self, record: Record) -> int:
        task = self.room.tasks.get(record.task or "")
        return IMPORTANCES.index(task.importance) if task is not None else len(IMPORTANCES)

    def entries(self) -> Iterator[Line]:
        """Of the shift: what was written late, what is doubtful, and what was struck, each with why."""
        for entry in entries_between(self.history, self.begin, self.end):
            record = entry.record
            text = entry_text(self.room, self.history, entry, self.now)
            data = entry_json(self.room, entry)
            yield _line("entries", short(record.id), text, system=record.system, data=data)

    # -- words -----------------------------------------------------------------------------------------

    def _when(self, at: datetime | None) -> str:
        return moment(self._calendar, at, self.now) if at is not None else "at no known time"

    def _item(self, item: DueItem) -> str:
        """``Reef, Sump: Rinse the cup (life support; for MK, who covers TV)``"""
        task = item.task
        about = [task.importance] if _first(item) else []
        if task.keeper is not None:
            there = covering(self._covers, task.keeper)
            about.append(f"for {plain(there)}" + (f", who covers {plain(task.keeper)}" if there != task.keeper else ""))
        more = f" ({'; '.join(about)})" if about else ""
        return f"{place_name(self.room, task.system, task.station)}: {plain(task.title)}{more}"

    def _item_json(self, item: DueItem) -> dict[str, Any]:
        stamp, task = self._calendar.stamp, item.task
        return {
            "id": task.id,
            "state": item.state,
            "importance": task.importance,
            "due_at": stamp(item.due_at),
            "fine_until": stamp(item.fine_until),
            "postponed_until": stamp(item.postponed_until),
            "could_not": item.could_not,
            "keeper": covering(self._covers, task.keeper) if task.keeper is not None else None,
            "out_of_service": item.out_of_service,
        }


_MOMENT = timedelta(microseconds=1)


def _systems(shift: _Shift, lines: Iterable[Line]) -> Iterator[Line]:
    """The state of each system in a line: ``Reef: 1 off normal, alkalinity 7.4 dKH below its band, 3 left of 27``"""
    by_system: dict[str, list[Line]] = {}
    for line in lines:
        by_system.setdefault(line.system, []).append(line)
    for system in shift.room.systems:
        of_it = by_system.get(system.id, [])
        counts = shift.counts(system.id)
        if system.id == ROOM and not of_it and not counts["round"]:
            continue
        said = [*_troubles(of_it), f"{counts['left']} left of {counts['round']}"]
        if system.paused:
            said.insert(0, "drained" if system.drained else "paused")
        yield Line(
            about=f"systems:{system.id}",
            text=f"{plain(system.name)}: {', '.join(said)}",
            strong=any(line.strong for line in of_it),
            system=system.id,
            data={"system": system.id, **counts},
        )


def _troubles(lines: Sequence[Line]) -> Iterator[str]:
    """What stands out of one system: how many off normal, late, missed, concerns, and each value out of band."""
    for section, one in (("off_normal", "off normal"), ("missed", "missed")):
        if number := sum(1 for line in lines if line.section == section):
            yield f"{number} {one}"
    if late := sum(1 for line in lines if line.section == "not_done" and line.data["state"] == OVERDUE):
        yield f"{late} late"
    for section, one in (("concerns", "concern"), ("protocols", "protocol"), ("refills", "refill")):
        if number := sum(1 for line in lines if line.section == section):
            yield plural(number, one)
    for line in lines:
        if line.section == "out_of_band":
            yield plain(f"{line.data['name']} {line.data['value']} {line.data['words']}")


def _ended(record: Record) -> bool:
    """Whether it is the end of a protocol."""
    return record.kind == PROTOCOL and record.ref is not None


def _counts_text(counts: dict[str, int]) -> str:
    text = f"{counts['done']} done, {counts['not_needed']} not needed, {counts['left']} left of {counts['round']}"
    return f"{text} in the round; {counts['late']} late, {counts['missed']} missed"


def _line(
    section: str,
    what: str,
    text: str,
    *,
    open: bool | None = None,
    strong: bool = False,
    system: str | None,
    data: dict[str, Any],
) -> Line:
    asks = section in ANSWERED if open is None else open
    return Line(about=f"{section}:{what}", text=text, open=asks, strong=strong, system=system or "", data=data)


def _first(item: DueItem) -> bool:
    """Whether it protects people or keeps animals alive."""
    return item.task.importance in IMPORTANCES[:2]


def _pressing(item: DueItem) -> tuple[int, float]:
    """People and life support first, then what is most of its intervals late."""
    return IMPORTANCES.index(item.task.importance), -item.late_intervals


def _hand_text(hand: Hand) -> str:
    text = f"{plain(hand.initials)}, {plain(hand.name)}" if hand.name else plain(hand.initials)
    if hand.covers_for:
        text += f" (covers {plain(hand.covers_for)})"
    return f"{text} (recorded in this shift)" if hand.recorded else text


def _hand_json(hand: Hand) -> dict[str, Any]:
    return {
        "keeper": hand.initials,
        "name": hand.name or None,
        "covers_for": hand.covers_for or None,
        "recorded": hand.recorded,
    }
