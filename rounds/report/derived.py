"""What a reading comes to together with others of its water: un-ionised ammonia, CO2 and aragonite, oxygen as a share.

Each with the values it is worked out from and their times, to be checked by hand. How far apart in time two values
may lie and still belong together is common practice, without a source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.errors import Refused
from rounds.core.model import Reading, Room
from rounds.core.series import Point, bearing_on
from rounds.core.units import show
from rounds.core.words import length, moment, plain
from rounds.report.past import Past
from rounds.report.series import tank_reading
from rounds.water import practice

_TOGETHER = {
    "pH": timedelta(hours=12),
    "pH total": timedelta(hours=12),
    "temperature": timedelta(hours=24),
    "alkalinity": timedelta(days=3),
    "salinity": timedelta(days=14),
}
"""So far from the reading in time another value may lie: the sooner it changes, the less."""
_SCALES = {"pH": "nbs", "pH total": "total"}
_CARBONATE = ("pH", "pH total", "alkalinity", "temperature", "salinity")
_NEEDS = {
    "ammonia": ("pH", "pH total", "temperature", "salinity"),
    "pH": _CARBONATE,
    "pH total": _CARBONATE,
    "alkalinity": _CARBONATE,
    "oxygen": ("temperature", "salinity"),
}
"""By quantity, those of other readings that it is taken together with."""


class Derived(msgspec.Struct, frozen=True, kw_only=True):
    """One value that nobody reads off an instrument."""

    name: str
    """As in JSON and as the calculators name it: ``un_ionised``."""
    value: float
    unit: str
    said: str
    """With its arithmetic, in a sentence; of values that come out together the first says it."""


class _Missing(Exception):
    """What is needed beside the reading and was not read near it, in words; empty: the room never reads it."""


def beside(room: Room, reading: Reading) -> frozenset[str]:
    """Ids of everything whose records bear on what is derived from the reading."""
    found = {reading.id}
    for quantity in _NEEDS.get(reading.quantity, ()):
        other = tank_reading(room.system[reading.system], quantity)
        found.update(bearing_on(room, other) if other is not None else ())
    return frozenset(found)


def derived(room: Room, past: Past, reading: Reading, now: datetime) -> tuple[list[Derived], str]:
    """What comes of the last value of the reading, and what is missing for it (empty: nothing).

    `past` has the records of `beside`.
    """
    work = _WORK.get(reading.quantity)
    if work is None or not _in_the_water(room, reading):
        return [], ""
    values = past.numbers(room, reading, now - 90 * ONE_DAY, now)
    if not values:
        return [], ""
    try:
        return list(work(_Together(room, past, reading, values[-1], now))), ""
    except _Missing as missing:
        return [], str(missing)
    except Refused as refused:
        return [], f"{plain(str(refused))}."


def derived_lines(room: Room, past: Past, reading: Reading, now: datetime) -> list[str]:
    """The same as sentences."""
    found, missing = derived(room, past, reading, now)
    return [each.said for each in found if each.said] + ([missing] if missing else [])


def derived_json(room: Room, past: Past, reading: Reading, now: datetime) -> list[dict[str, Any]]:
    """The same as plain values, unrounded."""
    found, _ = derived(room, past, reading, now)
    return [{"name": each.name, "value": each.value, "unit": each.unit} for each in found]


def _in_the_water(room: Room, reading: Reading) -> bool:
    """Whether it is read of the tank's water, and not of what comes out of a reactor."""
    return tank_reading(room.system[reading.system], reading.quantity) == reading


class _Together:
    """A value and those that were read near it in the same water."""

    def __init__(self, room: Room, past: Past, reading: Reading, value: Point, now: datetime) -> None:
        self._room, self._past, self._reading, self._now = room, past, reading, now
        self._system = room.system[reading.system]
        self.number = value.value
        self._at = value.at
        self.shown = [self._show(reading, value)]
        """The values used so far, with their times."""

    def of(self, quantity: str) -> float:
        """The value of that quantity nearest in time, canonical; raises `_Missing`."""
        if quantity == self._reading.quantity:
            return self.number
        other, reach = tank_reading(self._system, quantity), _TOGETHER[quantity]
        if other is None:
            raise _Missing
        near = self._past.numbers(self._room, other, self._at - reach, min(self._at + reach, self._now))
        if not near:
            raise _Missing(
                f"What follows from it is not worked out: no {plain(other.name)} was read within {length(reach)} of it."
            )
        nearest = min(near, key=lambda each: abs(each.at - self._at))
        self.shown.append(self._show(other, nearest))
        return nearest.value

    def ph(self) -> tuple[float, str]:
        """The pH and its scale: a probe calibrated in NBS buffers, or one that reads the total scale."""
        quantity = next((each for each in _SCALES if tank_reading(self._system, each) is not None), "pH")
        if self._reading.quantity in _SCALES:
            quantity = self._reading.quantity
        return self.of(quantity), _SCALES[quantity]

    def by(self) -> str:
        """``from pH 8.1 08:00, temperature 25.1 °C 08:00``"""
        return f"from {', '.join(self.shown)}"

    def _show(self, reading: Reading, value: Point) -> str:
        name, text = plain(reading.name), show(reading, value.value)
        return f"{name} {text} {moment(self._room.calendar, value.at, self._now)}"


def _ammonia(found: _Together) -> Iterator[Derived]:
    from rounds.water.ammonia import unionised

    ph, scale = found.ph()
    share = unionised(ph, found.of("salinity"), found.of("temperature"), scale=scale).fraction
    amount = found.number * share
    usual, act = practice.UNIONISED_USUAL, practice.UNIONISED_ACT
    where = (
        f"above {act} mg/L N: change water, stop feed, find what died"
        if amount > act
        else f"above the usual {usual} mg/L N"
        if amount > usual
        else f"within the usual {usual} mg/L N"
    )
    yield Derived(
        name="un_ionised",
        value=amount,
        unit="mg/L N",
        said=f"Un-ionised ammonia {amount:.4f} mg/L N, {where} (common practice, no source): {found.number:.3f} mg/L N "
        f"× {100 * share:.2f} % (Clegg and Whitfield 1995), {found.by()}.",
    )


def _carbonate(found: _Together) -> Iterator[Derived]:
    from rounds.water.carbonate import alkalinity_per_kilogram, carbonate

    (ph, scale), alkalinity = found.ph(), found.of("alkalinity")
    temperature, salinity = found.of("temperature"), found.of("salinity")
    water = carbonate(
        ph, alkalinity_per_kilogram(alkalinity, salinity, temperature), salinity, temperature, scale=scale
    )
    much = water.xco2_ppm > practice.ROOM_CO2_USUAL
    air = (
        f"as under air of {water.xco2_ppm:.0f} ppm, more than the {practice.ROOM_CO2_USUAL} ppm of a well-aired room: "
        "let in outside air, do not dose for the pH"
        if much
        else f"as under air of {water.xco2_ppm:.0f} ppm (open air {practice.OUTDOOR_CO2})"
    )
    yield Derived(
        name="pco2_uatm",
        value=water.pco2_uatm,
        unit="µatm",
        said=f"CO2 {water.pco2_uatm:.0f} µatm, {air}; aragonite saturation {water.omega_aragonite:.2f} (PyCO2SYS, pH "
        f"scale {scale}), {found.by()}.",
    )
    yield Derived(name="omega_aragonite", value=water.omega_aragonite, unit="", said="")


def _oxygen(found: _Together) -> Iterator[Derived]:
    from rounds.water.oxygen import saturation

    temperature, salinity = found.of("temperature"), found.of("salinity")
    full = saturation(salinity, temperature)
    share = 100 * found.number / full
    yield Derived(
        name="per_cent",
        value=share,
        unit="%",
        said=f"{share:.0f} % of saturation, {full:.2f} mg/L (Garcia and Gordon 1992), {found.by()}.",
    )


_WORK: dict[str, Callable[[_Together], Iterator[Derived]]] = {
    "ammonia": _ammonia,
    "pH": _carbonate,
    "pH total": _carbonate,
    "alkalinity": _carbonate,
    "oxygen": _oxygen,
}
