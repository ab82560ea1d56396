"""A value in any other unit of its quantity, with the method and every constant it took.

What is proportional is multiplied out by the factors of `rounds.core.units`; what takes the properties
of the water (conductivity, density, per kilogram, pH scales, per cent of saturation) goes by way of the
quantity's canonical unit. Per kilogram and per litre meet only over a density, which the answer names.
"""

from __future__ import annotations

import math
import re

import msgspec

from rounds.core.constants import KELVIN
from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import NUMERAL, figures, read_number
from rounds.core.units import QUANTITIES, Kind, Need, Unit, difference, named_unit, reference_pair, unclear
from rounds.water import seawater
from rounds.water.ways import Water, from_canonical, method, settle, to_canonical

_APART = ("oxygen saturation", "pH total", "level")
"""Quantities of readings only: their units stand under oxygen, pH and volume too, or take a vessel."""

_STEADY: tuple[Need | None, ...] = (None, "per kilogram", "saturation")
"""Needs that leave equal steps equal, in one water."""


class Request(msgspec.Struct, frozen=True):
    """What was asked."""

    value: float
    unit: str
    to: str
    water: Water = Water()
    bound: str | None = None
    """``<`` or ``>``: the value lies beyond a kit's limit, and so does the answer."""


class Converted(msgspec.Struct, frozen=True, kw_only=True):
    """The answer."""

    value: float
    unit: str
    quantity: str | None
    """None: the answer is the same for every quantity that has both units."""
    method: str
    arithmetic: tuple[str, ...]
    """Each step with its constants, to be checked by hand."""
    assumed: tuple[str, ...] = ()
    """What was not given and taken for granted."""


def convert(request: Request) -> Converted:
    """The value in the other unit.

    Raises `CannotRead` for what is no unit, `Refused` for units of two quantities, for a factor that
    depends on the substance, for an impossible value, for an answer beyond any number and where the
    temperature of the water is missing.
    """
    (unit, apart), (to, to_apart) = _name_and_difference(request.unit), _name_and_difference(request.to)
    if to_apart and not apart:
        raise Refused(f"{unit} is no difference and {to} is one; write {unit} difference to {to} difference")
    within = _difference if apart else _absolute
    candidates = _quantities(unit, to)
    found: list[Converted] = []
    refusals: list[Refused] = []
    for quantity in candidates:
        try:
            found.append(within(quantity, request, _unit(quantity, unit), _unit(quantity, to)))
        except Refused as refusal:
            refusals.append(refusal)
    if not found:
        raise refusals[0]
    first = found[0]
    if not math.isfinite(first.value):
        raise Refused(f"{request.value:g} {request.unit} is too large a number to convert; write a smaller one")
    if any(not math.isclose(other.value, first.value, rel_tol=1e-9) for other in found):
        raise Refused(_which(unit, to, candidates))
    if len(found) == 1:
        return first
    name = first.unit if len({other.unit for other in found}) == 1 else to  # mg/L N is NO3-N of one, NH3-N of another
    return msgspec.structs.replace(first, unit=name, quantity=None)


def read_request(text: str) -> Request:
    """``VALUE UNIT to UNIT [at "25 °C, 35 PSU"]`` as typed; raise `CannotRead` where it is not that."""
    found = _REQUEST.fullmatch(" ".join(text.split()))
    if not found:
        raise CannotRead(f'{text!r} is no conversion; write VALUE UNIT to UNIT, such as: 1.0264 "SG 25/25" to PSU')
    return Request(
        value=_number(found["number"]),
        unit=found["unit"].strip(),
        to=found["to"].strip(),
        water=read_water(found["water"]) if found["water"] else Water(),
        bound=found["bound"],
    )


def read_water(text: str) -> Water:
    """``25 °C``, ``77 °F, 33 PSU``, ``25 °C, 1.0264 SG 25/25``; a bare number is °C first, then PSU."""
    temperature: float | None = None
    salinity: float | None = None
    for part in _PARTS.split(text.strip()):
        found = _MEASURED.fullmatch(part)
        if not found:
            raise CannotRead(f'{text!r} does not tell the water; write for example at "25 °C, 35 PSU"')
        value = _number(found["number"])
        unit = found["unit"] or ("PSU" if found["salinity"] or temperature is not None else "°C")
        if named_unit("temperature", unit) and temperature is None:
            temperature = convert(Request(value, unit, "°C")).value
        elif not named_unit("temperature", unit) and salinity is None:
            salinity = convert(Request(value, unit, "PSU", Water(temperature))).value
        else:
            raise CannotRead(f'{text!r} tells the same thing twice; write for example at "25 °C, 35 PSU"')
    return Water(temperature, salinity)


_REQUEST = re.compile(
    rf"(?P<bound>[<>])?\s*(?P<number>{NUMERAL})\s*(?P<unit>\S.*?) to (?P<to>.+?)(?: (?:at|with) (?P<water>.+))?"
)
_MEASURED = re.compile(rf"(?P<salinity>S\s*=?\s*)?(?P<number>{NUMERAL})\s*(?P<unit>.*)")
_PARTS = re.compile(r"\s*(?:,(?![0-9])|(?<![0-9]),|;|\band\b|\bwith\b|\bat\b)\s*")
_DIFFERENCE = re.compile(r"(?:(?:Δ|delta )\s*(.+)|(.+?)\s*\b(?:differences?|apart))", re.IGNORECASE)


def _number(text: str) -> float:
    number = read_number(text)
    if not math.isfinite(number):
        raise CannotRead(f"{text} is too large a number to convert; write a smaller one")
    return number


def _name_and_difference(text: str) -> tuple[str, bool]:
    """The unit without its mark of a difference, and whether it had one: ``Δ°C``, ``°C difference``."""
    found = _DIFFERENCE.fullmatch(text.strip())
    return (found[1] or found[2], True) if found else (text.strip(), False)


def _quantities(unit: str, to: str) -> list[str]:
    """The quantities that have both units; raise where there is none."""
    every = {
        name: [quantity for quantity in QUANTITIES if quantity not in _APART and _find(quantity, name)]
        for name in (unit, to)
    }
    if both := [quantity for quantity in every[unit] if quantity in every[to]]:
        return both
    for name, found in every.items():
        if not found:
            raise CannotRead(unclear(name) or f"{name!r} is no unit known here; rounds convert alone lists them")
    raise Refused(
        f"{unit} is a unit of {_listed(every[unit])} and {to} one of {_listed(every[to])}; "
        "convert to a unit of the same quantity"
    )


def _find(quantity: str, name: str) -> Unit | None:
    """The unit of a quantity; of salinity also a specific gravity at any pair of temperatures."""
    unit = named_unit(quantity, name)
    if unit is None and quantity == "salinity" and re.match(r"SG\s*\(?[0-9]", name, re.IGNORECASE):
        low, high = seawater.TEMPERATURES
        if not all(low <= each <= high for each in reference_pair(name)):
            raise Refused(f"{name} lies outside {low:g} to {high:g} °C; write both temperatures, such as SG 25C/60F")
        return Unit(" ".join(name.split()), None, needs="reference pair")
    return unit


def _unit(quantity: str, name: str) -> Unit:
    unit = _find(quantity, name)
    assert unit is not None, "the quantity was chosen because it has the unit"
    return unit


def _difference(quantity: str, request: Request, unit: Unit, to: Unit) -> Converted:
    """Two values so far apart, in steps of the other unit."""
    kind = QUANTITIES[quantity]
    if unit.needs in _STEADY and to.needs in _STEADY and unit.needs != to.needs:
        water = settle(request.water, (unit, to))
        one = from_canonical(to_canonical(1, unit, water), to, water)
        source, assumed = "; ".join(method(each, kind, water) for each in (unit, to)), water.assumed
    elif unit.needs == to.needs == "per kilogram":
        one, source, assumed = unit.scale / to.scale, kind.source, ()
    else:
        one, source, assumed = difference(quantity, 1, unit.name, to.name), kind.source, ()
    return Converted(
        value=request.value * one,
        unit=f"{to.name} difference",
        quantity=quantity,
        method=source,
        arithmetic=(f"a step of 1 {unit.name} is one of {figures(one)} {to.name}: {source}",),
        assumed=assumed,
    )


def _absolute(quantity: str, request: Request, unit: Unit, to: Unit) -> Converted:
    """A value of one quantity, straight or by way of the canonical unit."""
    kind = QUANTITIES[quantity]
    if unit.needs == to.needs and unit.needs not in ("reference pair", "pH scale"):
        return _proportional(quantity, kind, request.value, unit, to)
    water = settle(request.water, (unit, to))
    middle = to_canonical(request.value, unit, water)
    low, high = kind.possible
    if not low - 1e-9 <= middle <= high:
        raise Refused(
            f"{request.value:g} {unit.name} cannot be {quantity}, which lies between {low:g} and {high:g} "
            f"{kind.canonical}; check the number and its unit"
        )
    result = from_canonical(middle, to, water)
    if not math.isfinite(result):
        raise Refused(f"{request.value:g} {unit.name} has no {to.name} at {water}; check the numbers and their units")
    steps = (
        (unit, f"{figures(request.value)} {unit.name} = {figures(middle)} {kind.canonical}"),
        (to, f"{figures(middle)} {kind.canonical} = {figures(result)} {to.name}"),
    )
    methods = [(line, method(each, kind, water)) for each, line in steps if each.name != kind.canonical]
    return Converted(
        value=result,
        unit=to.name,
        quantity=quantity,
        method="; ".join(dict.fromkeys(how for _, how in methods)),
        arithmetic=tuple(f"{line}: {how}" for line, how in methods),
        assumed=water.assumed,
    )


def _proportional(quantity: str, kind: Kind, value: float, unit: Unit, to: Unit) -> Converted:
    """Between two units that take nothing of the water, or the same."""
    lowest = -KELVIN if quantity == "temperature" else kind.possible[0]
    if unit.factor is None or to.factor is None:
        ratio = unit.scale / to.scale
        canonical, result = value, value * ratio
        before, after = figures(value), ""
    else:
        ratio = unit.factor / to.factor
        canonical = unit.factor * (value - unit.zero)
        result = canonical / to.factor + to.zero
        before = f"({figures(value)} − {figures(unit.zero)})" if unit.zero else figures(value)
        after = f" + {figures(to.zero)}" if to.zero else ""
    if canonical < lowest - 1e-9:
        raise Refused(
            f"{value:g} {unit.name} cannot be, there is no {quantity} so low; "
            f'check the number, or write "{unit.name} difference" if it is one'
        )
    source = "by definition" if unit.needs in ("conductivity", "density") else kind.source
    line = f"{before} × {figures(ratio)}{after} = {figures(result)}: {source}"
    return Converted(value=result, unit=to.name, quantity=quantity, method=source, arithmetic=(line,))


def _which(unit: str, to: str, candidates: list[str]) -> str:
    """What to write where the factor depends on the substance."""
    examples = sorted(
        {
            each.name
            for quantity in candidates
            for each in QUANTITIES[quantity].every_unit
            for bare in (unit, to)
            if each.name.casefold().startswith(f"{bare.casefold()} ")
        }
    )
    say = f"name it in the unit: {', '.join(examples)}" if examples else "convert to a unit that names it"
    return f"{unit} to {to} is not the same for {_listed(candidates)}; {say}"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
