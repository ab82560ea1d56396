"""Evaporation from an open water surface.

ASHRAE Handbook, HVAC Applications (Carrier's form) with the activity factor of Smith C.C., Löf G.O.G. and
Jones R.W. (1998), ASHRAE Trans. 104; Shah M.M. (2014), ASHRAE Trans. 120(2), SE-14-001, for a pool nobody
uses. Vapour pressure: Hyland R.W. and Wexler A. (1983), ASHRAE Trans. 89(2A). The lower vapour pressure of
sea water (1.9 per cent at salinity 35) is left out.
"""

from __future__ import annotations

from math import exp, log

import msgspec

KELVIN = 273.15
SECONDS_PER_DAY = 86_400
ATMOSPHERE = 101.325
"""kPa."""
DRY_AIR = 0.287055
"""Gas constant of dry air, kJ/(kg K)."""

PLAUSIBLE = (1.4, 7.5)
"""mm a day from a surface in a room, from the rows of ASHRAE's form; a check on what is measured, no forecast."""


class Evaporation(msgspec.Struct, frozen=True):
    """What leaves a surface, with the numbers on the way."""

    water_kpa: float
    """Vapour pressure at the surface."""
    air_kpa: float
    """Of the vapour in the air."""
    latent: float
    """Heat of evaporation, kJ/kg; 0 where the form has none."""
    mm_per_day: float
    """Depth; a kilogram per square metre is a millimetre. 0 where the air would condense."""


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
    latent = latent_heat(water)
    rate = (at_water - in_air) * (0.089 + 0.0782 * air_speed) * activity / latent
    return Evaporation(at_water, in_air, latent, max(0.0, rate * SECONDS_PER_DAY))


def shah(water: float, air: float, humidity: float) -> Evaporation:
    """Still surface in still air: the larger of natural convection and the air currents of the room.

    Weights of vapour are per kg of dry air, so the density beside them is that of the dry air; buoyancy goes
    with the density of the moist air.
    """
    at_water, in_air = vapour_pressure(water), humidity * vapour_pressure(air)
    lift = _moist_density(air, in_air) - _moist_density(water, at_water)
    natural = 0.0
    if lift > 0:
        factor = 35 if lift > 0.02 else 40
        natural = (
            factor * _dry_density(water, at_water) * lift ** (1 / 3) * (_mixing_ratio(at_water) - _mixing_ratio(in_air))
        )
    currents = 0.00005 * (at_water - in_air) * 1000
    return Evaporation(at_water, in_air, 0.0, max(0.0, natural, currents) * 24)


def _mixing_ratio(vapour: float) -> float:
    return 0.621945 * vapour / (ATMOSPHERE - vapour)


def _dry_density(temperature: float, vapour: float) -> float:
    return (ATMOSPHERE - vapour) / (DRY_AIR * (temperature + KELVIN))


def _moist_density(temperature: float, vapour: float) -> float:
    return _dry_density(temperature, vapour) * (1 + _mixing_ratio(vapour))
