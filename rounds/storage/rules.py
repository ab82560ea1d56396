"""The rule of a task, read from its table."""

from __future__ import annotations

from datetime import date, datetime

from rounds.core.durations import parse_span
from rounds.core.model import AgainAfter, Called, Once, OnDates, Rule
from rounds.core.recurrence import RRule
from rounds.core.rrule_text import check_occurs, parse_rrule
from rounds.storage.faults import Missing
from rounds.storage.tables import Table

RULES = ("again_after", "rrule", "once", "called", "on_dates")


def read_rule(table: Table, start: date, *, required: bool) -> Rule | None:
    """Exactly one of `RULES`; None where there is none and none is required, or where it is faulty."""
    given = [key for key in RULES if table.has(key)]
    again_after, rrule = table.text("again_after"), table.text("rrule")
    once, called, listed = table.raw("once"), table.flag("called"), table.days("on_dates")
    if len(given) != 1:
        wanted = f"write exactly one of {', '.join(RULES)}"
        if given:
            table.fault(given[-1], f"{' and '.join(given)} stand together; {wanted}")
        elif required:
            table.fault("", f"a rule is missing; {wanted}", Missing(RULES[0]))
        return None
    if given == ["again_after"]:
        span = table.read("again_after", again_after, parse_span) if isinstance(table.raw("again_after"), str) else None
        return AgainAfter(span) if span else None
    if given == ["rrule"]:
        found = (
            table.read("rrule", rrule, lambda text: _occurring(text, start))
            if isinstance(table.raw("rrule"), str)
            else None
        )
        return OnDates(found) if found else None
    if given == ["on_dates"]:
        return _listed(table, listed, start)
    if given == ["once"]:
        if not isinstance(once, date) or (isinstance(once, datetime) and once.tzinfo is not None):
            table.fault("once", "once is a date or a local date and time, without quotes and offset: once = 2026-12-01")
            return None
        if not 1900 <= once.year <= 2200:
            table.fault("once", f"{once} lies outside the years 1900 to 2200; write another date")
            return None
        if isinstance(once, datetime):
            return Once(once.date(), once.time().replace(microsecond=0))
        return Once(once)
    if not called:
        if table.raw("called") is not False:
            return None
        table.fault("called", "called = false is no rule; write called = true or another rule")
        return None
    return Called()


def check_at(table: Table, rule: Rule | None, *, listed: bool) -> None:
    """Times of day go with some rules only; `listed` where they are a list."""
    if not table.has("at") or rule is None:
        return
    if listed and not isinstance(rule, OnDates):
        table.fault("at", 'a list of times goes with on_dates and rrule only; write one time: at = "09:00"')
    if isinstance(rule, AgainAfter) and rule.span.exact:
        table.fault("at", f'"{rule.span}" counts elapsed time and takes no time of day; take at away')
    if isinstance(rule, Once) and rule.clock is not None:
        table.fault("at", "once has a time of its own; take at away")


def check_ends(table: Table, rule: Rule | None, begins: datetime | None, until: datetime | None) -> None:
    """The first and the last moment of a rule, where `from` and `until` say them."""
    if begins is not None:
        if table.has("first_day"):
            table.fault("from", "from says the first time already; take first_day away")
        if rule is not None and not (isinstance(rule, AgainAfter) and rule.span.exact):
            table.fault("from", "from goes with again_after in minutes or hours; write first_day = 2026-11-26 instead")
    if until is None:
        return
    if table.has("last_day"):
        table.fault("until", "until says the end already; take last_day away")
    if isinstance(rule, Called):
        table.fault("until", "what is called has no end of its own; take until away")
    if begins is not None and until <= begins:
        table.fault("until", "until lies before from; exchange or correct them")


def _occurring(text: str, start: date) -> RRule:
    rule = parse_rrule(text)
    check_occurs(rule, start)
    return rule


def _listed(table: Table, days: tuple[date, ...], start: date) -> OnDates | None:
    """The days from `start` on; that none of them is left is a fault."""
    if days and days[-1] < start:
        table.fault("on_dates", f"all these days lie before {start}; add one that is still to come, or delete the task")
        return None
    return OnDates(days) if days else None
