"""Changes made in steps: a dose or the light, step by step, held or taken back; each a record of its own.

A step keeps two values under the id of what was changed: what it was before and what it is from then on.
The two are alike where a step was held; a step taken back names the record it takes back.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import msgspec

from rounds.core.history import History
from rounds.core.record import CHANGE_STEP, Record, Value
from rounds.core.recording import Draft

MADE = "made"
HELD = "held"
TAKEN_BACK = "taken back"


class Setting(msgspec.Struct, frozen=True):
    """What something is set to."""

    value: float
    unit: str
    shown: str
    """As a keeper reads it: ``70 mL/day``."""


class Step(msgspec.Struct, frozen=True):
    """One record of a change in steps."""

    record: Record
    before: float
    after: float

    @property
    def outcome(self) -> str:
        """`MADE`, `HELD` or `TAKEN_BACK`."""
        if self.before == self.after:
            return HELD
        return TAKEN_BACK if self.record.ref is not None else MADE


def draft_step(
    what: tuple[str, str, str],
    before: Setting,
    after: Setting,
    at: datetime,
    why: str,
    *,
    ref: str | None = None,
    until: datetime | None = None,
) -> Draft:
    """The record of one step of `what` (full id, system, station), `why` in words; `ref` is a step taken back.

    `until` is how long a step is held.
    """
    id, system, station = what
    values = tuple(
        Value(reading=id, entered=setting.shown, value=setting.value, unit=setting.unit) for setting in (before, after)
    )
    return Draft(
        kind=CHANGE_STEP, at=at, system=system, station=station or None, task=id, values=values,
        note=why, ref=ref, until=until,
    )  # fmt: skip


def steps(history: History, id: str, now: datetime) -> list[Step]:
    """Every step of what has the full id `id` up to `now`, the oldest first."""
    found = []
    for record in history.valued(id).latest(now):
        values = [each.value for each in record.values if each.reading == id and each.value is not None]
        if record.kind == CHANGE_STEP and len(values) == 2:
            found.append(Step(record, *values))
    return found[::-1]


def setting_at(history: History, id: str, at: datetime, now: datetime) -> float | None:
    """What it was set to at `at`, by the steps known at `now`; None when no step says so."""
    known = steps(history, id, now)
    made = [step for step in known if step.record.at <= at]
    if made:
        return made[-1].after
    return known[0].before if known else None


def last_made(found: Sequence[Step]) -> Step | None:
    """Of steps in order, the last that was made and was not taken back."""
    taken_back = {step.record.ref for step in found}
    return next((step for step in reversed(found) if step.outcome == MADE and step.record.id not in taken_back), None)


def held_at(found: Sequence[Step], now: datetime) -> Step | None:
    """The hold that stands at `now`: no step was made since, and its time has not passed."""
    last = found[-1] if found else None
    if last is None or last.outcome != HELD:
        return None
    until = last.record.until
    return last if until is None or until > now else None


def draft_hold(last: Step, until: datetime, at: datetime, why: str) -> Draft:
    """What was changed in steps stays as the `last` one left it, until a time."""
    setting = _after(last)
    return draft_step(_what(last.record), setting, setting, at, _said(f"held at {setting.shown}", why), until=until)


def draft_taken_back(step: Step, at: datetime, why: str) -> Draft:
    """It is again as it was before `step`."""
    before, after = _before(step), _after(step)
    said = _said(f"step taken back, {after.shown} to {before.shown}", why)
    return draft_step(_what(step.record), after, before, at, said, ref=step.record.id)


def _what(record: Record) -> tuple[str, str, str]:
    return record.task or "", record.system or "", record.station or ""


def _before(step: Step) -> Setting:
    return _setting(step.record.values[0], step.before)


def _after(step: Step) -> Setting:
    return _setting(step.record.values[1], step.after)


def _setting(value: Value, number: float) -> Setting:
    return Setting(number, value.unit, value.entered)


def _said(what: str, why: str) -> str:
    return f"{what}: {why}" if why else what
