"""A value in any other unit of its quantity, with the method and every constant it took.

What is proportional is multiplied out by the factors of `rounds.core.quantities`; what takes the properties
of the water (conductivity, density, per kilogram, pH scales, per cent of saturation) goes by way of the
quantity's canonical unit. Per kilogram and per litre meet only over a density, which the answer names.
"""

from __future__ import annotations

import math
import re

import msgspec

from rounds.core.constants import KELVIN
from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import figures
from rounds.core.quantities import QUANTITIES, Kind, Need, Unit
from rounds.core.units import named_unit, reference_pair, unclear
from rounds.core.words import quoted
from rounds.water import seawater
from rounds.water.ways import Known, Water, from_canonical, method, settle, to_canonical

_APART = ("oxygen saturation", "pH total", "level", "carbon dioxide")
"""Quantities of readings only: their units stand under oxygen, pH, volume and others too, or take a vessel."""

_SCALED: tuple[Need | None, ...] = (None, "conductivity", "density", "per kilogram")
"""Needs of units that are multiples of one another, whatever the water."""
_EQUAL_STEPS = 1e-7
"""Steps that differ by no more of themselves are equal: the noise of what is computed, far below any curve."""


class Vessel(msgspec.Struct, frozen=True):
    """What a level is read in."""

    capacity: float | None = None
    """Litres."""
    litres_per_cm: float | None = None


class Request(msgspec.Struct, frozen=True):
    """What was asked."""

    value: float
    unit: str
    to: str
    water: Water = Water()
    vessel: Vessel | None = None
    """None: no level."""
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
    candidates = _quantities(unit, to) if request.vessel is None else ["level"]
    found: list[Converted] = []
    refusals: list[Refused] = []
    for quantity in candidates:
        try:
            found.append(within(quantity, request, *(_unit(quantity, name, request.vessel) for name in (unit, to))))
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


_DIFFERENCE = re.compile(r"(?:(?:Δ|delta )\s*(.+)|(.+?)\s*\b(?:differences?|apart))", re.IGNORECASE)


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
            raise CannotRead(unclear(name) or f"{quoted(name)} is no unit known here; rounds convert alone lists them")
    if _find("level", unit) and _find("level", to):
        for name in (unit, to):
            _in_vessel(_unit("level", name, None), Vessel())
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


def _unit(quantity: str, name: str, vessel: Vessel | None) -> Unit:
    """The unit a quantity was chosen for; of a level in the vessel at hand."""
    unit = _find(quantity, name)
    if unit is None:
        raise CannotRead(f"{quoted(name)} is no unit of a {quantity}; leave out the capacity and the litres_per_cm")
    return unit if vessel is None else _in_vessel(unit, vessel)


def _in_vessel(unit: Unit, vessel: Vessel) -> Unit:
    if unit.needs != "vessel":
        return unit
    key, example, litres = {
        "%": ("capacity", '"80 L"', vessel.capacity and vessel.capacity / 100),
        "cm": ("litres_per_cm", "2.4", vessel.litres_per_cm),
    }[unit.name]
    if litres is None:
        raise Refused(f"a level in {unit.name} takes the {key} of the vessel; add {key}={example}")
    return msgspec.structs.replace(unit, factor=litres, needs=None)


def _difference(quantity: str, request: Request, unit: Unit, to: Unit) -> Converted:
    """Two values so far apart, in steps of the other unit."""
    kind = QUANTITIES[quantity]
    assumed: tuple[str, ...] = ()
    if unit == to or (unit.needs == to.needs and unit.needs in _SCALED):
        one, source = _ratio(unit, to), _source(kind, unit)
    else:
        _equal_steps(kind, unit, to, Known())
        water = settle(request.water, (unit, to))
        one, assumed = _equal_steps(kind, unit, to, water), water.assumed
        source = "; ".join(
            dict.fromkeys(method(each, kind, water) for each in (unit, to) if each.name != kind.canonical)
        )
    value = request.value * one
    step = f"a step of 1 {unit.name} is one of {figures(one)} {to.name}"
    return Converted(
        value=value,
        unit=f"{to.name} difference",
        quantity=quantity,
        method=source,
        arithmetic=(f"{figures(request.value)} × {figures(one)} = {figures(value)}, for {step}: {source}",),
        assumed=assumed,
    )


def _equal_steps(kind: Kind, unit: Unit, to: Unit, water: Known) -> float:
    """Steps of the other unit in one of this; raise `Refused` where that is not the same all over what is plausible."""
    low, high = kind.plausible
    places = [low, (low + high) / 2, high]
    here, there = ([from_canonical(place, each, water) for place in places] for each in (unit, to))
    first, second = ((there[at + 1] - there[at]) / (here[at + 1] - here[at]) for at in (0, 1))
    if not math.isclose(first, second, rel_tol=_EQUAL_STEPS):
        curved = unit if unit.needs is not None else to
        raise Refused(f"a difference in {curved.name} is not the same everywhere; convert the two values and subtract")
    return (first + second) / 2


def _ratio(unit: Unit, to: Unit) -> float:
    """How much of the other unit one of this is, where they are multiples of one another."""
    if unit.factor is None or to.factor is None:
        return unit.scale / to.scale
    return unit.factor / to.factor


def _source(kind: Kind, unit: Unit) -> str:
    return "by definition" if unit.needs in ("conductivity", "density") else kind.source


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
    ratio = _ratio(unit, to)
    if unit.factor is None or to.factor is None:
        canonical, result = value, value * ratio
        before, after = figures(value), ""
    else:
        canonical = unit.factor * (value - unit.zero)
        result = canonical / to.factor + to.zero
        before = f"({figures(value)} − {figures(unit.zero)})" if unit.zero else figures(value)
        after = f" + {figures(to.zero)}" if to.zero else ""
    if canonical < lowest - 1e-9:
        raise Refused(
            f"{value:g} {unit.name} cannot be, there is no {quantity} so low; "
            f'check the number, or write "{unit.name} difference" if it is one'
        )
    source = _source(kind, unit)
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
