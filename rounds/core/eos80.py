"""Density and specific gravity of sea water at the surface: the international equation of state, EOS-80.

Millero F.J. and Poisson A. (1981), Deep-Sea Research 28A, 625-629; UNESCO Technical Papers in Marine
Science 44 (1983), 15-19. It takes practical salinity (fitted from 0 to 42) and was fitted to
temperatures on IPTS-68, from −2 to 40 °C. Hydrometers and refractometers are scaled by it, and it is a
handful of products, so that a room that thinks in specific gravity is shown without loading anything;
TEOS-10 differs by 2 parts in a million.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from rounds.core.errors import Refused

IPTS_68 = 1.00024
"""A temperature on the scale of 1968 per one on today's, ITS-90."""

_PURE = (999.842594, 6.793952e-2, -9.095290e-3, 1.001685e-4, -1.120083e-6, 6.536332e-9)
_A = (8.24493e-1, -4.0899e-3, 7.6438e-5, -8.2467e-7, 5.3875e-9)
_B = (-5.72466e-3, 1.0227e-4, -1.6546e-6)
_C = 4.8314e-4

_FRESHEST, _SALTIEST = -5.0, 90.0


def density(salinity: float, temperature: float) -> float:
    """kg/m3 at a practical salinity and a temperature in °C (ITS-90)."""
    if salinity < 0:  # the equation ends at fresh water; go on along its slope, for a probe that reads a hair too low
        return 2 * density(0.0, temperature) - density(-salinity, temperature)
    t, root = IPTS_68 * temperature, math.sqrt(salinity)
    return _polynomial(_PURE, t) + salinity * (_polynomial(_A, t) + _polynomial(_B, t) * root + _C * salinity)


def gravity(salinity: float, sample: float, pure: float) -> float:
    """Density of sea water at `sample` °C over that of pure water at `pure` °C."""
    return density(salinity, sample) / density(0.0, pure)


def salinity_of_gravity(value: float, sample: float, pure: float) -> float:
    """Practical salinity from a specific gravity; raise `Refused` where it is none of sea water."""
    if not 0.99 < value < 1.06:
        raise Refused(
            f"{value:g} is no specific gravity of sea water, which lies between 1.000 and 1.050; type it again"
        )
    return solve(lambda salinity: gravity(salinity, sample, pure), value)


def solve(rising: Callable[[float], float], wanted: float) -> float:
    """The salinity at which a quantity that rises with it has the wanted value; beyond fresh and brine their ends."""
    low, high = _FRESHEST, _SALTIEST
    for _ in range(60):
        middle = (low + high) / 2
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return round((low + high) / 2, 12)


def _polynomial(coefficients: tuple[float, ...], x: float) -> float:
    total = 0.0
    for coefficient in reversed(coefficients):
        total = total * x + coefficient
    return total
