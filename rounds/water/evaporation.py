"""Evaporation from an open water surface.

ASHRAE Handbook, HVAC Applications (Carrier's form) with the activity factor of Smith C.C., Löf G.O.G. and
Jones R.W. (1998), ASHRAE Trans. 104; Shah M.M. (2014), ASHRAE Trans. 120(2), SE-14-001, for a pool nobody
uses. Vapour pressure: Hyland R.W. and Wexler A. (1983), ASHRAE Trans. 89(2A). The lower vapour pressure of
sea water (1.9 per cent at salinity 35) is left out.
"""

from __future__ import annotations

from math import exp, log

import msgspec

from rounds.core.constants import ATMOSPHERE, KELVIN

SECONDS_PER_DAY = 86_400
DRY_AIR = 0.287055
"""Gas constant of dry air, kJ/(kg K)."""

ROOM_CURRENTS = 0.00005
"""kg/m2/h for each Pa of difference in vapour pressure (Shah 2014)."""


class Evaporation(msgspec.Struct, frozen=True):
    """What leaves a surface, with the numbers on the way."""

    water_kpa: float
    """Vapour pressure at the surface."""
    air_kpa: float
    """Of the vapour in the air."""
    driven: float
    """mm a day by the formula, a kilogram per square metre being a millimetre; below 0 where the air would condense."""

    @property
    def mm_per_day(self) -> float:
        """Depth; 0 where the air would condense."""
        return max(0.0, self.driven)


class Convection(msgspec.Struct, frozen=True):
    """What the air at a still surface carries off by being lighter than that of the room (Shah 2014)."""

    factor: float
    dry_density: float
    """Of the air at the surface, kg/m3 of dry air."""
    lift: float
    """By how much that air is lighter, kg/m3."""
    at_water: float
    """Moisture there, kg/kg of dry air."""
    in_air: float

    @property
    def rate(self) -> float:
        """kg/m2/h."""
        return float(self.factor * self.dry_density * self.lift ** (1 / 3) * (self.at_water - self.in_air))


def vapour_pressure(temperature: float) -> float:
    """Of saturated air over liquid water, kPa, 0 to 200 °C (Hyland and Wexler 1983)."""
    kelvin = temperature + KELVIN
    return (
        exp(
            -5.8002206e3 / kelvin
            + 1.3914993
            - 4.8640239e-2 * kelvin
            + 4.1764768e-5 * kelvin**2
            - 1.4452093e-8 * kelvin**3
            + 6.5459673 * log(kelvin)
        )
        / 1000
    )


def latent_heat(temperature: float) -> float:
    """kJ/kg to evaporate water at `temperature` °C: enthalpy of vapour less that of water (ASHRAE Fundamentals)."""
    return 2501 + 1.86 * temperature - 4.186 * temperature


def ashrae(water: float, air: float, humidity: float, *, activity: float, air_speed: float) -> Evaporation:
    """From °C of water and air, relative humidity 0 to 1, activity factor and m/s of air over the surface."""
    at_water, in_air = vapour_pressure(water), humidity * vapour_pressure(air)
    rate = (at_water - in_air) * (0.089 + 0.0782 * air_speed) * activity / latent_heat(water)
    return Evaporation(at_water, in_air, rate * SECONDS_PER_DAY)


def shah(water: float, air: float, humidity: float) -> Evaporation:
    """Still surface in still air: the larger of natural convection and the air currents of the room."""
    at_water, in_air = vapour_pressure(water), humidity * vapour_pressure(air)
    natural = convection(water, air, humidity)
    carried = carried_off(at_water - in_air)
    return Evaporation(at_water, in_air, (max(natural.rate, carried) if natural is not None else carried) * 24)


def carried_off(kpa: float) -> float:
    """kg/m2/h that the air currents of a room take, by the difference of vapour pressure."""
    return ROOM_CURRENTS * kpa * 1000


def convection(water: float, air: float, humidity: float) -> Convection | None:
    """Natural convection over a still surface; None where the air there is the heavier.

    Weights of vapour are per kg of dry air, so the density beside them is that of the dry air; buoyancy goes
    with the density of the moist air.
    """
    at_water, in_air = vapour_pressure(water), humidity * vapour_pressure(air)
    lift = _moist_density(air, in_air) - _moist_density(water, at_water)
    if lift <= 0:
        return None
    return Convection(
        factor=35 if lift > 0.02 else 40,
        dry_density=_dry_density(water, at_water),
        lift=lift,
        at_water=_mixing_ratio(at_water),
        in_air=_mixing_ratio(in_air),
    )


def _mixing_ratio(vapour: float) -> float:
    return 0.621945 * vapour / (ATMOSPHERE - vapour)


def _dry_density(temperature: float, vapour: float) -> float:
    return (ATMOSPHERE - vapour) / (DRY_AIR * (temperature + KELVIN))


def _moist_density(temperature: float, vapour: float) -> float:
    return _dry_density(temperature, vapour) * (1 + _mixing_ratio(vapour))
