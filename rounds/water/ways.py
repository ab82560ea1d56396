"""How units that take the properties of the water become the canonical unit of their quantity, and back."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import msgspec

from rounds.core import eos80
from rounds.core.constants import ATMOSPHERE, REFERENCE_SALINITY, STANDARD_CONDUCTIVITY, STANDARD_SALINITY
from rounds.core.errors import Refused
from rounds.core.quantities import Kind, Need, Unit
from rounds.core.units import reference_pair
from rounds.water import oxygen, seawater
from rounds.water.ph_scales import SCALES, on_scale

ASSUMED_TEMPERATURE = 25.0
ASSUMED_SALINITY = STANDARD_SALINITY
"""What is taken, and said, where nothing was given and the answer hardly depends on it."""
_AIR = (500.0, 1100.0)
"""hPa"""


class Water(msgspec.Struct, frozen=True):
    """The water a value belongs to, as far as it is known."""

    temperature: float | None = None
    """°C"""
    salinity: float | None = None
    """PSU"""
    pressure: float | None = None
    """dbar: of the water above a probe, or of the air where oxygen saturates; None: at the surface, under 1 atm."""


class Known(msgspec.Struct, frozen=True):
    """The water as it is reckoned with."""

    temperature: float = ASSUMED_TEMPERATURE
    salinity: float = ASSUMED_SALINITY
    pressure: float | None = None
    """dbar"""
    assumed: tuple[str, ...] = ()
    """What of it was not given."""

    def __str__(self) -> str:
        return f"{self.temperature:g} °C and salinity {self.salinity:g}"


class Way(msgspec.Struct, frozen=True):
    """From what a need reckons in (mS/cm, kg/m3, per kilogram) to the canonical unit and back, in known water."""

    forth: Callable[[float, Unit, Known], float]
    back: Callable[[float, Unit, Known], float]
    method: Callable[[Unit, Known], str]
    temperature: bool = True
    """Whether it takes the temperature."""
    salinity: bool = False
    """Whether it takes the salinity."""
    hardly: bool = False
    """Whether the answer hardly depends on the temperature, so that one can be assumed."""
    pressure: bool = False
    """Whether it takes the pressure."""
    surface: bool = False
    """Whether it holds at the surface only."""


def settle(water: Water, units: Iterable[Unit]) -> Known:
    """The water as these units take it; raise `Refused` without a temperature where it matters."""
    ways = [(unit.name, WAYS[unit.needs]) for unit in units if unit.needs is not None]
    warm = [name for name, way in ways if way.temperature]
    assumed = []
    if warm and water.temperature is None:
        if unknown := [name for name, way in ways if way.temperature and not way.hardly]:
            raise Refused(f'{unknown[0]} takes the temperature of the water; add it, such as: at "25 °C"')
        assumed.append(f"{ASSUMED_TEMPERATURE:g} °C")
    if water.salinity is None and any(way.salinity for _, way in ways):
        assumed.append(f"salinity {ASSUMED_SALINITY:g}")
    low, high = seawater.TEMPERATURES
    if warm and water.temperature is not None and not low <= water.temperature <= high:
        raise Refused(
            f"{water.temperature:g} °C lies outside {low:g} to {high:g} °C, between which the equations of sea water "
            "hold; give the temperature of the water itself"
        )
    if water.pressure is not None and ways:
        if surface := [name for name, way in ways if way.surface]:
            raise Refused(f"{surface[0]} is worked out at the surface only; leave the pressure out")
        if not any(way.pressure for _, way in ways):
            raise Refused(f"{ways[0][0]} does not depend on the pressure; leave it out")
    return Known(
        ASSUMED_TEMPERATURE if water.temperature is None else water.temperature,
        ASSUMED_SALINITY if water.salinity is None else water.salinity,
        water.pressure,
        tuple(assumed),
    )


def to_canonical(value: float, unit: Unit, water: Known) -> float:
    """Any unit to the canonical one of its quantity."""
    if unit.needs is None:
        assert unit.factor is not None
        return unit.factor * (value - unit.zero)
    return WAYS[unit.needs].forth(value * unit.scale, unit, water)


def from_canonical(value: float, unit: Unit, water: Known) -> float:
    """The canonical unit of a quantity to any other."""
    if unit.needs is None:
        assert unit.factor is not None
        return value / unit.factor + unit.zero
    return WAYS[unit.needs].back(value, unit, water) / unit.scale


def method(unit: Unit, kind: Kind, water: Known) -> str:
    """By what a unit becomes the canonical one, with its constants."""
    return kind.source if unit.needs is None else WAYS[unit.needs].method(unit, water)


def _solved(rising: Callable[[float, float], float]) -> Callable[[float, Unit, Known], float]:
    return lambda value, _, water: eos80.solve(lambda salinity: rising(salinity, water.temperature), value)


def _at_temperature(of_water: Callable[[float, float], float]) -> Callable[[float, Unit, Known], float]:
    return lambda salinity, _, water: of_water(salinity, water.temperature)


def _pair(unit: Unit, _: Known) -> str:
    sample, pure = reference_pair(unit.name)
    return (
        f"EOS-80 (Millero and Poisson 1981), sea water at {sample:.4g} °C over pure water at {pure:.4g} °C "
        f"of {eos80.density(0, pure):.4f} kg/m3"
    )


def _kilograms(water: Known) -> float:
    return seawater.density(water.salinity, water.temperature) / 1000


def _full(water: Known) -> float:
    air = _air(water)
    low, high = _AIR
    if not low <= air <= high:
        raise Refused(f"{air:g} hPa is no pressure of air, which lies between {low:g} and {high:g} hPa; check it")
    return oxygen.saturation(water.salinity, water.temperature, air)


def _air(water: Known) -> float:
    """hPa"""
    return ATMOSPHERE * 10 if water.pressure is None else water.pressure * 100


def _under(water: Known) -> str:
    return f" under {water.pressure:g} dbar" if water.pressure else ""


WAYS: dict[Need, Way] = {
    "reference pair": Way(
        lambda value, unit, _: eos80.salinity_of_gravity(value, *reference_pair(unit.name)),
        lambda salinity, unit, _: eos80.gravity(salinity, *reference_pair(unit.name)),
        _pair,
        temperature=False,
    ),
    "conductivity": Way(
        lambda value, _, water: seawater.practical_salinity(value, water.temperature, water.pressure or 0.0),
        lambda salinity, _, water: seawater.conductivity(salinity, water.temperature, water.pressure or 0.0),
        lambda _, water: (
            f"PSS-78 (UNESCO 44, 1983; gsw) at {water.temperature:g} °C{_under(water)}, "
            f"{STANDARD_CONDUCTIVITY} mS/cm at S 35 and 15 °C"
        ),
        pressure=True,
    ),
    "density": Way(
        _solved(eos80.density),
        _at_temperature(eos80.density),
        lambda _, water: f"EOS-80 (Millero and Poisson 1981) at {water.temperature:g} °C",
        surface=True,
    ),
    "TEOS-10 density": Way(
        _solved(seawater.density),
        _at_temperature(seawater.density),
        lambda _, water: (
            f"TEOS-10 (gsw) at {water.temperature:g} °C, absolute salinity {REFERENCE_SALINITY} g/kg at S 35"
        ),
        surface=True,
    ),
    "refraction": Way(
        _solved(seawater.refractive_index),
        _at_temperature(seawater.refractive_index),
        lambda _, water: f"Quan and Fry (1995) at 589.3 nm and {water.temperature:g} °C",
        surface=True,
    ),
    "per kilogram": Way(
        lambda value, _, water: value * _kilograms(water),
        lambda canonical, _, water: canonical / _kilograms(water),
        lambda unit, water: f"{unit.scale:g} × {_kilograms(water):.5f} kg/L, the density at {water} (TEOS-10, gsw)",
        salinity=True,
        hardly=True,
    ),
    "pH scale": Way(
        lambda value, unit, water: on_scale(value, SCALES[unit.name], "nbs", water.salinity, water.temperature),
        lambda ph, unit, water: on_scale(ph, "nbs", SCALES[unit.name], water.salinity, water.temperature),
        lambda _, water: f"NBS buffers after Takahashi et al. (1982) at {water} (PyCO2SYS)",
        salinity=True,
        hardly=True,
    ),
    "saturation": Way(
        lambda value, _, water: value / 100 * _full(water),
        lambda canonical, _, water: canonical / _full(water) * 100,
        lambda _, water: (
            f"100 % is {_full(water):.4f} mg/L at {water} and {_air(water):g} hPa (Garcia and Gordon 1992; gsw)"
        ),
        salinity=True,
        pressure=True,
    ),
}
