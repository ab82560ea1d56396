"""Why an item stands as it does, in sentences a keeper can check by hand."""

from __future__ import annotations

from datetime import date, datetime

from rounds.core.items import DONE, LATER, MISSED, OVERDUE, POSTPONED, DueItem
from rounds.core.model import AgainAfter, Once, OnDates, Room, Task
from rounds.core.record import NOT_NEEDED
from rounds.core.recurrence import RRule
from rounds.core.words import DAYS, MONTHS, clock, day_name, full_moment, length, moment, plain, plural

_ORDINALS = {1: "first", 2: "second", 3: "third", 4: "fourth", 5: "fifth", -1: "last", -2: "second to last"}
_LISTED_AT_MOST = 6
"""So many listed days are named one by one."""

_EVERY = {"DAILY": "day", "WEEKLY": "week", "MONTHLY": "month", "YEARLY": "year"}


def rule_text(task: Task) -> str:
    """The rule in words: ``again 3 days after the last time``, with its end where it has one."""
    until = task.until
    end = f", until {day_name(until.date())} {until.hour:02}:{until.minute:02}" if until is not None else ""
    return f"{_rule_text(task)}{end}"


def _rule_text(task: Task) -> str:
    rule = task.rule
    times = " and ".join(f"{t.hour:02}:{t.minute:02}" for t in task.times)
    at = f" at {times}" if times else f" in the {plain(task.shift.name)} shift" if task.shift else ""
    if isinstance(rule, AgainAfter):
        return f"again {rule.span} after the last time{at}"
    if isinstance(rule, OnDates):
        return f"{dates_text(rule.dates)}{at}"
    if isinstance(rule, Once):
        return f"once{at}"
    return "when it is called"


def state_text(room: Room, item: DueItem, now: datetime) -> str:
    """What the keeper reads beside an item: ``fine until 22:00``, ``2 days late``."""
    calendar = room.calendar
    if item.state == LATER:
        assert item.due_at is not None
        if item.in_round:
            return f"later today, {clock(calendar, item.due_at)}"
        return f"due {moment(calendar, item.due_at, now)}"
    if item.state == OVERDUE:
        return f"{length(item.late_by)} late"
    if item.out_of_service is not None:
        return _out_of_service(room, item, now)
    if item.state == POSTPONED and item.postponed_until is not None:
        return f"postponed to {moment(calendar, item.postponed_until, now)}"
    if item.state in (DONE, NOT_NEEDED) and item.closed_at is not None:
        return f"{item.state} {moment(calendar, item.closed_at, now)} {plain(item.closed_by or '')}".rstrip()
    if item.state == MISSED and item.due_at is not None:
        return f"missed {moment(calendar, item.due_at, now)}"
    assert item.fine_until is not None
    return f"fine until {moment(calendar, item.fine_until, now)}"


def _out_of_service(room: Room, item: DueItem, now: datetime) -> str:
    name = plain(item.out_of_service or "")
    if item.state != POSTPONED or item.postponed_until is None:
        return f"not needed, {name} was off"
    return f"{name} is off, to be put back {moment(room.calendar, item.postponed_until, now)}"


def why(room: Room, item: DueItem, now: datetime) -> str:
    """The rule, who did it last and when, when that made it due, until when it is fine."""
    task = item.task
    sentences = [item.because or f"{_capital(rule_text(task))}."]

    def when(at: datetime | None) -> str:
        return full_moment(room.calendar, at, now) if at is not None else "never"

    last = item.last_closed
    if item.state == NOT_NEEDED and item.out_of_service is not None:
        sentences.append(f"It was due {when(item.due_at)}; {plain(item.out_of_service)} was off.")
        return " ".join(sentences)
    if item.state in (DONE, NOT_NEEDED):
        sentences.append(f"{plain(item.closed_by or 'Somebody')} closed it as {item.state} {when(item.closed_at)}.")
        if item.due_at is not None:
            sentences.append(f"It had been due {when(item.due_at)}.")
        if item.next_due_at is not None:
            sentences.append(f"Next due {when(item.next_due_at)}.")
        return " ".join(sentences)
    if last is None:
        sentences.append("Nobody has recorded it yet.")
    else:
        did = "said it was not needed" if last.kind == NOT_NEEDED else "did it last"
        sentences.append(f"{plain(last.by or 'Somebody')} {did} {when(last.at)}.")
    if item.state == MISSED:
        sentences.append(f"It was due {when(item.due_at)} and is not made up.")
    elif item.due_at is not None:
        so = "so it is" if isinstance(task.rule, AgainAfter) and last is not None else "It is"
        sentences.append(f"{_capital(so)} due {when(item.due_at)} and fine until {when(item.fine_until)}.")
    if item.missed:
        sentences.append(
            f"{_capital(plural(item.missed, 'later time'))} came meanwhile; doing it once clears them all."
        )
    if item.state == OVERDUE:
        recurs = isinstance(task.rule, AgainAfter | OnDates)
        part = f", {item.late_intervals:.1f} of its interval" if recurs else ""
        sentences.append(f"It is {length(item.late_by)} late{part}.")
    if item.out_of_service is not None:
        sentences.append(f"{_capital(plain(item.out_of_service))} is off; it waits until that is put back.")
    elif (put_off := _put_off(room, item, now)) is not None:
        sentences.append(put_off)
    if item.could_not is not None:
        sentences.append(f"Could not be done: {plain(item.could_not)}.")
    if isinstance(task.rule, OnDates) and item.state != MISSED:
        sentences.append("Missed times are made up." if task.make_up else "A missed time is not made up.")
    return " ".join(sentences)


def _put_off(room: Room, item: DueItem, now: datetime) -> str | None:
    """To when and why it was postponed last."""
    until = item.put_off.until if item.put_off is not None else None
    if item.put_off is None or until is None:
        return None
    because = f" ({plain(item.put_off.reason)})" if item.put_off.reason else ""
    said = f"{full_moment(room.calendar, until, now)}{because}"
    return f"Postponed to {said}; that does not make it less late." if until > now else f"It was postponed to {said}."


def dates_text(rule: RRule | tuple[date, ...]) -> str:
    """The dates of a rule in words: ``every week on Mon, Thu``."""
    if isinstance(rule, tuple):
        return _listed_text(rule)
    every = f"every {_EVERY[rule.freq]}" if rule.interval == 1 else f"every {rule.interval} {_EVERY[rule.freq]}s"
    parts = [every]
    if rule.byday:
        days = ", ".join(f"the {_ordinal(nth)} {DAYS[day]}" if nth else DAYS[day] for day, nth in rule.byday)
        parts.append(f"on {days}")
    if rule.bymonthday:
        parts.append("on day " + ", ".join(_month_day(day) for day in rule.bymonthday))
    if rule.byyearday:
        parts.append("on day " + ", ".join(str(day) for day in rule.byyearday) + " of the year")
    if rule.byweekno:
        parts.append("in week " + ", ".join(str(week) for week in rule.byweekno))
    if rule.bymonth:
        parts.append("in " + ", ".join(MONTHS[month - 1] for month in rule.bymonth))
    if rule.bysetpos:
        parts.append("of these the " + ", ".join(_ordinal(position) for position in rule.bysetpos))
    if rule.count:
        parts.append(f"{rule.count} times")
    if rule.until:
        parts.append(f"until {rule.until.isoformat()}")
    return " ".join(parts)


def _listed_text(days: tuple[date, ...]) -> str:
    """``on 3 Dec 2026, 4 Dec 2026 and 7 Dec 2026``, a long list by its ends."""
    shown = [f"{day.day} {MONTHS[day.month - 1]} {day.year}" for day in days]
    if len(shown) > _LISTED_AT_MOST:
        return f"on {len(shown)} listed days from {shown[0]} to {shown[-1]}"
    return f"on {' and '.join([', '.join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)}"


def _month_day(day: int) -> str:
    return str(day) if day > 0 else "last" if day == -1 else f"{-day} from the end"


def _ordinal(number: int) -> str:
    return _ORDINALS.get(number) or (f"number {number}" if number > 0 else f"number {-number} from the end")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
