"""What is asked of `rounds convert`, read from what was typed."""

from __future__ import annotations

import math
import re

from rounds.core.errors import CannotRead
from rounds.core.numbers import NUMERAL, read_number
from rounds.core.units import named_unit
from rounds.core.words import quoted
from rounds.water.convert import Request, Vessel, convert
from rounds.water.ways import Water

_REQUEST = re.compile(
    rf"(?P<bound>[<>])?\s*(?P<number>{NUMERAL})\s*(?P<unit>\S.*?) to (?P<to>.+?)(?: (?:at|with) (?P<water>.+))?"
)
_MEASURED = re.compile(rf"(?P<salinity>S\s*=?\s*)?(?P<number>{NUMERAL})\s*(?P<unit>.*)")
_PARTS = re.compile(r"\s*(?:,(?![0-9])|(?<![0-9]),|;|\band\b|\bwith\b|\bat\b)\s*")
_VESSEL = re.compile(rf"\s(?:with\s+)?(?P<key>capacity|litres_per_cm)\s*=\s*(?P<number>{NUMERAL})(?P<unit>[^=]*?)"
                     r"(?=\s+(?:at|with|capacity|litres_per_cm)\b|$)")  # fmt: skip


def read_request(text: str) -> Request:
    """``VALUE UNIT to UNIT [at "25 °C, 35 PSU"] [capacity=80] [litres_per_cm=2.4]`` as typed.

    Raises `CannotRead` where it is not that.
    """
    line = " ".join(text.split())
    found = _REQUEST.fullmatch(_VESSEL.sub("", line))
    if not found:
        raise CannotRead(
            f'{quoted(text)} is no conversion; write VALUE UNIT to UNIT, such as: 1.0264 "SG 25/25" to PSU'
        )
    return Request(
        value=_number(found["number"]),
        unit=found["unit"].strip(),
        to=found["to"].strip(),
        water=read_water(found["water"]) if found["water"] else Water(),
        vessel=_vessel(line),
        bound=found["bound"],
    )


def read_water(text: str) -> Water:
    """``25 °C``, ``77 °F, 33 PSU``, ``20 °C, 2000 dbar``; a bare number is °C first, then PSU."""
    known: dict[str, float] = {}
    for part in _PARTS.split(text.strip()):
        found = _MEASURED.fullmatch(part)
        if not found:
            raise CannotRead(f'{quoted(text)} does not tell the water; write for example at "25 °C, 35 PSU"')
        unit = found["unit"] or ("PSU" if found["salinity"] or "temperature" in known else "°C")
        of, canonical = next((each for each in _OF_WATER if named_unit(each[0], unit)), ("salinity", "PSU"))
        if of in known:
            raise CannotRead(f'{quoted(text)} tells the same thing twice; write for example at "25 °C, 35 PSU"')
        known[of] = convert(Request(_number(found["number"]), unit, canonical, Water(known.get("temperature")))).value
    return Water(**known)


_OF_WATER = (("temperature", "°C"), ("pressure", "dbar"))
"""What is told of a water beside its salinity, and its unit there."""


def _vessel(line: str) -> Vessel | None:
    given = {}
    for found in _VESSEL.finditer(line):
        number, unit = _number(found["number"]), found["unit"].strip()
        if found["key"] == "capacity" and unit:
            number = convert(Request(number, unit, "L")).value
        elif unit not in ("", "L", "L/cm"):
            raise CannotRead(
                f"{quoted(unit)} is no unit of litres_per_cm; write the litres alone, such as litres_per_cm=2.4"
            )
        if not number > 0:
            raise CannotRead(f"{found['key']}={found['number']} is no vessel; give a number above 0")
        given[found["key"]] = number
    return Vessel(**given) if given else None


def _number(text: str) -> float:
    number = read_number(text)
    if not math.isfinite(number):
        raise CannotRead(f"{text} is too large a number to convert; write a smaller one")
    return number
