"""How an input of a calculator may be written, and the number that is worked with.

A bare number is in the unit of its measure. A comma is a decimal sign in a single number and parts the
numbers of a list; where a list is parted by semicolons, it is a decimal sign there too. What
`rounds.core.quantities` knows is asked there; times, speeds, shares and amounts per kilogram are here.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from difflib import get_close_matches
from typing import Any

import msgspec

from rounds.core.constants import INCH, US_GALLON
from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import NUMERAL, figures, read_number
from rounds.core.quantities import QUANTITIES
from rounds.core.units import find_unit, from_canonical, to_canonical
from rounds.core.words import quoted
from rounds.water.carbonate import alkalinity_per_kilogram
from rounds.water.seawater import practical_salinity

Known = Mapping[str, Any]
"""What was read before this input, by name: conductivity needs the temperature, alkalinity the density."""

_NUMBER = re.compile(rf"({NUMERAL})\s*(.*)", re.DOTALL)
_LONGEST_LIST = 5000
_ALSO = {
    "hr": "h", "hour": "h", "hours": "h", "minute": "min", "minutes": "min",
    "d": "days", "day": "days", "week": "weeks", "umol/kg": "µmol/kg",
}  # fmt: skip
"""Other ways to write the units of this module."""
_LARGEST, _SMALLEST = 1e15, 1e-30
_PER_DAY = re.compile(r"\s*(?:/|\bper\b|\ba\b)\s*(?:d|day)\s*$", re.IGNORECASE)


class Measure(msgspec.Struct, frozen=True):
    """One kind of input."""

    unit: str
    """What a bare number is in and what the arithmetic uses; empty for a pure number or a word."""
    written: str
    """The ways to write it, for the list of calculators."""
    read: Callable[[str, Known], Any]
    """The value of a text; raises `CannotRead` for what is no such value."""
    show: Callable[[Any], str] = str
    """The value as it is shown beside the text it came from."""


def quantity(name: str, unit: str) -> Measure:
    """A quantity of `rounds.core.quantities` in one of its units."""

    def read(text: str, known: Known) -> float:
        number, written = split(text)
        if not written or _same(written, unit):
            return number
        find_unit(name, written)
        canonical = to_canonical(
            name, number, written, temperature=known.get("temperature"), seawater=practical_salinity
        )
        return from_canonical(name, canonical, unit)

    others = [each.name for each in QUANTITIES[name].units if each.name and each.name != unit]
    return _measure(unit, tuple(others), read)


def scaled(what: str, unit: str, **others: float) -> Measure:
    """A number in `unit`, or in `others`, each so many of it."""

    def read(text: str, _: Known) -> float:
        number, written = split(text)
        if not written or _same(written, unit):
            return number
        for other, factor in others.items():
            if _same(written, other):
                return number * factor
        raise CannotRead(f"{quoted(written)} is no unit of {what}; write one of {', '.join((unit, *others))}")

    return _measure(unit, tuple(others), read)


def per_day(measure: Measure) -> Measure:
    """The same a day; ``/day`` may be left out."""

    def read(text: str, known: Known) -> Any:
        return measure.read(_PER_DAY.sub("", text), known)

    return Measure(f"{measure.unit}/day", f"{measure.written}, a day", read, measure.show)


def share(*, bare_per_cent: bool = False) -> Measure:
    """A share from 0 to 1: ``0.1`` or ``10 %``; with `bare_per_cent` a bare number above 1 is per cent."""

    def read(text: str, _: Known) -> float:
        number, written = split(text)
        if written not in ("", "%"):
            raise CannotRead(f"{quoted(written)} is no unit of a share; write 0.1 or 10 %")
        if written == "%" or (bare_per_cent and number > 1):
            number /= 100
        if not 0 <= number <= 1:
            raise Refused(f"{text.strip()} is no share; write 0 to 1, or 0 % to 100 %")
        return number

    return Measure("", "0.5 or 50 %" + (", also 50" if bare_per_cent else ""), read, _shown_as_share)


def number() -> Measure:
    """A pure number."""
    return _measure("", (), _bare)


def choice(*words: str) -> Measure:
    """One of several words."""

    def read(text: str, _: Known) -> str:
        word = text.strip().casefold().replace("_", "-")
        if word in words:
            return word
        raise CannotRead(
            f"{quoted(text.strip())}{did_you_mean(word, words)} is none of {', '.join(words)}; write one of them"
        )

    return Measure("", " | ".join(words), read)


def yes_or_no() -> Measure:
    """``true`` or ``false``."""
    said = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}

    def read(text: str, _: Known) -> bool:
        try:
            return said[text.strip().casefold()]
        except KeyError:
            raise CannotRead(f"{quoted(text.strip())} is neither true nor false; write one of them") from None

    return Measure("", "true | false", read, lambda value: "true" if value else "false")


def several(measure: Measure) -> Measure:
    """A list of such values, parted by commas, semicolons or spaces."""

    def read(text: str, known: Known) -> list[Any]:
        sign = ";" if ";" in text else "," if "," in text else None
        parts = [part.strip() for part in text.split(sign)]
        if not all(parts) or not parts:
            raise CannotRead(
                f"{quoted(text.strip())} has an empty place; write numbers parted by commas, such as 1,2.5,4"
            )
        if len(parts) > _LONGEST_LIST:
            raise Refused(f"{len(parts)} values are too many at once; give {_LONGEST_LIST} at most")
        return [measure.read(part, known) for part in parts]

    def show(values: list[Any]) -> str:
        few = [measure.show(value) for value in values[:12]]
        return ", ".join(few) + (f" … {len(values)} values" if len(values) > len(few) else "")

    return Measure(measure.unit, f"list such as 1,2.5,4 ({measure.written})" if measure.written else "1,2.5,4",
                   read, show)  # fmt: skip


def alkalinity_per_kg() -> Measure:
    """Total alkalinity in µmol/kg; per litre through the density at the salinity and temperature read before."""
    per_kilogram = {"µmol/kg": 1.0, "µeq/kg": 1.0, "mmol/kg": 1000.0, "meq/kg": 1000.0}

    def read(text: str, known: Known) -> float:
        number, written = split(text)
        if not written:
            return number
        for unit, factor in per_kilogram.items():
            if _same(written, unit):
                return number * factor
        try:
            meq_per_litre = to_canonical("alkalinity", number, written)
        except CannotRead:
            raise CannotRead(
                f"{quoted(written)} is no unit of alkalinity; write one of µmol/kg, meq/kg, meq/L, dKH, ppm CaCO3"
            ) from None
        return alkalinity_per_kilogram(meq_per_litre, known["salinity"], known["temperature"])

    return _measure("µmol/kg", ("meq/kg", "meq/L", "dKH", "ppm CaCO3"), read)


def split(text: str) -> tuple[float, str]:
    """The number a text begins with and the unit after it; `CannotRead` without a number."""
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise CannotRead(
            f"{quoted(text.strip())} is no number; write one such as 8.1 or 8,1, with its unit if not the usual"
        )
    value = read_number(found[1])
    if abs(value) > _LARGEST or 0 < abs(value) < _SMALLEST:
        raise Refused(f"{text.strip()} is beyond any quantity; type it again")
    return value, " ".join(found[2].split())


def did_you_mean(word: str, words: tuple[str, ...]) -> str:
    """`` (did you mean plateau?)`` or nothing."""
    near = get_close_matches(word, words, n=1)
    return f" (did you mean {near[0]}?)" if near else ""


def _measure(unit: str, others: tuple[str, ...], read: Callable[[str, Known], float]) -> Measure:
    return Measure(unit, ", ".join(dict.fromkeys(each for each in (unit, *others) if each)), read, figures)


def _bare(text: str, _: Known) -> float:
    number, written = split(text)
    if written:
        raise CannotRead(f"{quoted(written)} after {figures(number)} is no part of a pure number; leave it out")
    return number


def _shown_as_share(value: float) -> str:
    return f"{figures(value)} ({figures(value * 100)} %)"


def _same(written: str, unit: str) -> bool:
    plain = written.replace("²", "2").replace("³", "3")
    return _ALSO.get(plain.casefold(), plain).casefold() == unit.casefold()


PH = quantity("pH", "pH")
TEMPERATURE = quantity("temperature", "°C")
SALINITY = quantity("salinity", "PSU")
VOLUME = quantity("volume", "L")
DKH = quantity("alkalinity", "dKH")
AMMONIA = quantity("ammonia", "mg/L N")
OXYGEN = quantity("oxygen", "mg/L")
PPFD = quantity("light", "µmol/m2/s")
LENGTH = quantity("length", "cm")
DEPTH = quantity("length", "mm")
AREA = quantity("area", "m2")
CONDUCTIVITY = quantity("conductivity", "mS/cm")
PRESSURE = quantity("pressure", "hPa")
HOURS = scaled("time", "h", min=1 / 60)
DAYS = scaled("time", "days", weeks=7.0)
SPEED = scaled("speed", "m/s", **{"cm/s": 0.01, "km/h": 1 / 3.6, "ft/min": 12 * INCH / 100 / 60})
CO2_IN_AIR = scaled("CO2 in air", "ppm", **{"%": 1e4})
GRAMS_PER_LITRE = scaled("salt", "g/L", **{"g/US gal": 1 / US_GALLON, "kg/m3": 1.0})
