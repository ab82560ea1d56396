"""The light over a system: output at a time of day, the day's integral, and rises bounded by the integral.

Daily light integral = photon flux × (ramp up ÷ 2 + plateau + ramp down ÷ 2), in mol/m² a day (Korczynski,
Logan and Faust 2002, HortTechnology 12, 12–16). The limits of a rise are common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time, timedelta

import msgspec

from rounds.core.calendar import Calendar
from rounds.core.model import Channel, Lights
from rounds.core.words import day_name
from rounds.water.light import daily_light_integral

RISE = 0.10
"""Of the present integral in one step."""
BETWEEN = timedelta(days=7)
HOLD = timedelta(days=14)
"""After any paling."""

OFF, UP, PLATEAU, DOWN = "off", "ramping up", "on the plateau", "ramping down"

_HOUR = timedelta(hours=1)
_DAY = timedelta(days=1)


# -- output at a time of day -------------------------------------------------------------------------


def output(channel: Channel, clock: time) -> float:
    """Per cent of what the lamps of the channel can give, at a wall time."""
    phase, part = _phase(channel, clock)
    return channel.peak * {OFF: 0.0, UP: part, PLATEAU: 1.0, DOWN: 1 - part}[phase]


def phase(lights: Lights, clock: time) -> str:
    """What the lights do at a wall time; a channel that moves says so for all."""
    found = {_phase(channel, clock)[0] for channel in lights.channels}
    return next(each for each in (UP, DOWN, PLATEAU, OFF) if each in found)


def expected(lights: Lights, clock: time) -> str:
    """``10:20: ramping up, blue 45 %, white 20 %``"""
    state = phase(lights, clock)
    shown = [state]
    if state != OFF:
        shown += [f"{channel.name} {output(channel, clock):.0f} %" for channel in lights.channels]
    return f"{clock.hour:02}:{clock.minute:02}: {', '.join(shown)}"


def _phase(channel: Channel, clock: time) -> tuple[str, float]:
    """The part of the channel's day and how far it has come, 0 to 1."""
    since = (_since_midnight(clock) - _since_midnight(channel.begins)) % _DAY
    for name, length in ((UP, channel.ramp_up), (PLATEAU, channel.plateau), (DOWN, channel.ramp_down)):
        if since < length:
            return name, since / length
        since -= length
    return OFF, 0.0


def _since_midnight(clock: time) -> timedelta:
    return timedelta(hours=clock.hour, minutes=clock.minute, seconds=clock.second, microseconds=clock.microsecond)


# -- integral ----------------------------------------------------------------------------------------


def daily_integral(lights: Lights, measured: float) -> float:
    """mol/m² a day where `measured` µmol/m²/s were read with the lights at their ``measured_at``.

    Channels with hours of their own count by their peak per cent; exact where all have the same.
    """
    peak = measured * 100 / lights.measured_at
    total = sum(channel.peak for channel in lights.channels)
    return sum(
        daily_light_integral(
            peak * channel.peak / total, channel.ramp_up / _HOUR, channel.plateau / _HOUR, channel.ramp_down / _HOUR
        )
        for channel in lights.channels
    )


# -- rises -------------------------------------------------------------------------------------------


class LightStep(msgspec.Struct, frozen=True, kw_only=True):
    """Something that made the light over the animals another."""

    at: datetime
    what: str
    """``light step``, ``Renew carbon``."""
    record: str
    planned: bool
    rise: float | None = None
    """Share of the light before; below 0 it was lowered; None: not known."""
    routine: bool = False
    """Whether it is done so often, as wiping lenses is, that it is no reason to hold anything by itself."""

    @property
    def said(self) -> str:
        """``light up 8 %``, ``Renew carbon (counts as a light step)``"""
        if self.rise is None:
            return f"{self.what} (counts as a light step)"
        return f"light {'up' if self.rise > 0 else 'down'} {abs(self.rise) * 100:.0f} %"


class Verdict(msgspec.Struct, frozen=True, kw_only=True):
    """Whether the light may rise now."""

    may_rise: bool
    until: datetime | None
    """The earliest time at which it may; None: now, or when what is missing has been done."""
    why: str
    records: tuple[str, ...]
    """What it stands on."""


def may_rise(
    calendar: Calendar,
    now: datetime,
    *,
    steps: Sequence[LightStep],
    palings: Sequence[tuple[datetime, str]],
    looked: tuple[datetime, str] | None,
    measured: tuple[datetime, str] | None,
) -> Verdict:
    """A tenth a week after a look and a PAR reading; held 14 days after any paling.

    `palings`, the last look over the animals and the last PAR reading are each a time and a record id.
    """

    def day(at: datetime) -> str:
        return day_name(calendar.round_day(at), calendar.round_day(now))

    past = [(at, id) for at, id in palings if at <= now]
    if past and now < (held := max(past)[0] + HOLD):
        at, id = max(past)
        return Verdict(
            may_rise=False, until=held, why=f"held until {day(held)}: paling was seen on {day(at)}", records=(id,)
        )
    rises = sorted((s for s in steps if s.at <= now and (s.rise is None or s.rise > 0)), key=lambda step: step.at)
    last = next((step for step in reversed(rises) if not step.routine), None)
    if last is not None and now < (week := last.at + BETWEEN):
        why = f"wait until {day(week)}: {last.said} on {day(last.at)}"
        return Verdict(may_rise=False, until=week, why=why, records=(last.record,))
    last = rises[-1] if rises else None
    records = () if last is None else (last.record,)
    since = f" since {last.said} on {day(last.at)}" if last is not None else ""
    for what, found in (("a look over the animals", looked), ("a PAR reading", measured)):
        if found is None or (last is not None and found[0] <= last.at):
            return Verdict(may_rise=False, until=None, why=f"{what} is missing{since}: do that first", records=records)
    assert looked is not None
    assert measured is not None
    return Verdict(
        may_rise=True,
        until=None,
        why=f"may rise by {RISE * 100:.0f} % of the integral: looked over on {day(looked[0])}, "
        f"PAR read on {day(measured[0])}",
        records=(*records, looked[1], measured[1]),
    )
