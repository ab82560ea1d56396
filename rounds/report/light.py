"""The light over a system as lines and plain values, and its steps as records."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import msgspec

from rounds.core.errors import CannotRead, Refused
from rounds.core.history import History
from rounds.core.model import Lights, Room
from rounds.core.numbers import DECIMAL, figures, read_number
from rounds.core.recording import Draft
from rounds.core.series import Point, numbers_of
from rounds.core.staged import Setting, Step, draft_step, held_at, last_made, steps
from rounds.core.words import clock, plain, quoted
from rounds.report.condition import last_look, light_steps, sightings
from rounds.report.past import in_utc
from rounds.report.series import day_of, when
from rounds.water.programme import (
    RISE,
    LightStep,
    Verdict,
    daily_integral,
    expected,
    may_rise,
    output,
    phase,
)
from rounds.water.prompts import PALE

LOOK_BACK = timedelta(days=60)
MEASURED_WITHIN = timedelta(days=400)
"""An older PAR reading says nothing of these lamps."""
UNIT = "mol/m2/day"


class LightState(msgspec.Struct, frozen=True, kw_only=True):
    """The light over a system at one instant."""

    lights: Lights
    now: datetime
    measured: tuple[datetime, float] | None
    """The last PAR reading, µmol/m²/s."""
    integral: float | None
    """mol/m² a day by that reading."""
    steps: tuple[LightStep, ...]
    """Of the last 60 days."""
    staged: Step | None
    """The last step of the programme that stands, and can be taken back."""
    verdict: Verdict

    @property
    def highest(self) -> float | None:
        """The most the integral may be after the next step."""
        return self.integral * (1 + RISE) if self.integral is not None else None


def light_state(room: Room, history: History, lights: Lights, now: datetime) -> LightState:
    """What the records say about the lights at `now`."""
    begin, system = now - LOOK_BACK, room.system[lights.system]
    changes = light_steps(room, history, lights, begin, now)
    read = _par(room, history, lights, now)
    last = read[-1] if read else None
    staged = steps(history, lights.id, now)
    rule = may_rise(
        room.calendar,
        now,
        steps=changes,
        palings=[(when(record), record.id) for record in sightings(history, system, PALE, begin, now)],
        looked=last_look(history, system, now),
        measured=(last.at, last.id) if last is not None else None,
    )
    return LightState(
        lights=lights,
        now=now,
        measured=(last.at, last.value) if last is not None else None,
        integral=daily_integral(lights, last.value) if last is not None else None,
        steps=tuple(changes),
        staged=last_made(staged),
        verdict=_longer(_held(room, staged, now), rule),
    )


def _par(room: Room, history: History, lights: Lights, now: datetime) -> list[Point]:
    if lights.measured is None:
        return []
    reading = room.readings[lights.measured]
    records = history.valued(reading.id).through(now - MEASURED_WITHIN, now)
    return [in_utc(point) for point in numbers_of(reading, records, now)]


def _held(room: Room, staged: Sequence[Step], now: datetime) -> Verdict | None:
    """What a keeper has said about holding the light, as long as it is held and no step was made since."""
    last = held_at(staged, now)
    if last is None or last.record.until is None:
        return None
    until = last.record.until
    why = f"held until {day_of(room, until, now)} by {plain(last.record.by)}: {plain(last.record.note)}"
    return Verdict(may_rise=False, until=until, why=why, records=(last.record.id,))


def _longer(held: Verdict | None, rule: Verdict) -> Verdict:
    """What a keeper has said comes first, unless the rule keeps the light longer: a week of hold ends no fortnight."""
    if held is None or held.until is None:
        return rule
    return rule if rule.until is not None and rule.until > held.until else held


def light_lines(room: Room, state: LightState) -> list[str]:
    """Output now, the day's integral, the steps of the last 60 days, and whether the light may rise."""
    lights = state.lights
    lines = [f"{plain(lights.name)}, {plain(expected(lights, room.calendar.local(state.now).time()))}"]
    if state.measured is None or state.integral is None:
        lines.append("  no PAR reading: the day's integral is not known")
    else:
        at, value = state.measured
        lines.append(
            f"  {value:.0f} µmol/m2/s read on {day_of(room, at)} = {state.integral:.2f} mol/m2 a day "
            "(ramps count half, plateau whole)"
        )
    for step in state.steps:
        lines.append(f"  {day_of(room, step.at)} {clock(room.calendar, step.at)} {step.said}")
    lines.append(f"  {state.verdict.why}")
    if state.verdict.may_rise and state.highest is not None:
        lines.append(f"  at most {state.highest:.2f} mol/m2 a day after the next step; down at once, any amount")
    return lines


def light_json(room: Room, state: LightState) -> dict[str, Any]:
    """As plain values; per cent by channel now, integral in mol/m² a day, times with the room's offset."""
    wall, stamp = room.calendar.local(state.now).time(), room.calendar.stamp
    return {
        "id": state.lights.id,
        "system": state.lights.system,
        "phase": phase(state.lights, wall),
        "output": {channel.name: output(channel, wall) for channel in state.lights.channels},
        "measured": state.measured[1] if state.measured is not None else None,
        "measured_at": stamp(state.measured[0]) if state.measured is not None else None,
        "integral": state.integral,
        "highest": state.highest,
        "steps": [{"at": stamp(each.at), "said": each.said, "record": each.record} for each in state.steps],
        "may_rise": state.verdict.may_rise,
        "until": stamp(state.verdict.until),
        "why": state.verdict.why,
        "records": list(state.verdict.records),
    }


# -- steps as records ------------------------------------------------------------------------------------


def wanted_integral(state: LightState, text: str) -> float:
    """The integral after the next step as typed, mol/m² a day; raises `CannotRead`, or `Refused` beyond the bound."""
    typed = text.strip()
    wanted = read_number(typed) if re.fullmatch(DECIMAL, typed) else -1.0
    if wanted < 0:
        raise CannotRead(f"{quoted(text)} is no amount of light; write mol/m2 a day, such as 5.5")
    if state.integral is None or state.highest is None:
        raise Refused("how much light there is now is not known; read PAR at the racks first")
    if wanted > state.integral and not state.verdict.may_rise:
        raise Refused(f"the light may not rise: {state.verdict.why}")
    if wanted > round(state.highest, 2):
        raise Refused(
            f"{figures(wanted)} mol/m2 a day is more than {RISE * 100:.0f} % above {state.integral:.2f}; "
            f"write at most {state.highest:.2f}"
        )
    return wanted


def draft_light_step(lights: Lights, before: float, after: float, at: datetime, why: str = "") -> Draft:
    """A step made from one integral to another, mol/m² a day."""
    moved = f"light {'up' if after > before else 'down'}, {before:.2f} to {after:.2f} mol/m2 a day"
    return _draft(lights, before, after, at, _said(moved, why))


def draft_light_held(lights: Lights, integral: float, until: datetime | None, at: datetime, why: str) -> Draft:
    """A rise held where it is, `until` a time or until further notice."""
    return _draft(lights, integral, integral, at, _said(f"light held at {integral:.2f} mol/m2 a day", why), until=until)


def draft_light_taken_back(lights: Lights, step: Step, at: datetime, why: str) -> Draft:
    """The light as it was before `step`."""
    moved = f"light step taken back, {step.after:.2f} to {step.before:.2f} mol/m2 a day"
    return _draft(lights, step.after, step.before, at, _said(moved, why), ref=step.record.id)


def _draft(
    lights: Lights,
    before: float,
    after: float,
    at: datetime,
    note: str,
    *,
    ref: str | None = None,
    until: datetime | None = None,
) -> Draft:
    what = (lights.id, lights.system, lights.station)
    return draft_step(what, _setting(before), _setting(after), at, note, ref=ref, until=until)


def _setting(integral: float) -> Setting:
    return Setting(integral, UNIT, f"{integral:.2f} {UNIT}")


def _said(moved: str, why: str) -> str:
    return f"{moved}: {why}" if why else moved
