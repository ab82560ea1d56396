"""Practical salinity from specific gravity and from conductivity, by TEOS-10 (``gsw``).

IOC, SCOR and IAPSO (2010), The international thermodynamic equation of seawater; PSS-78 as in UNESCO
Technical Papers in Marine Science 44 (1983).
"""

from __future__ import annotations

from functools import lru_cache

from rounds.core.errors import CannotRead, Refused

REFERENCE_PAIRS = {"SG 20/20": (20.0, 20.0), "SG 25/25": (25.0, 25.0), "SG 60/60F": (140 / 9, 140 / 9)}
"""Temperature of the sample and of the pure water, °C."""

_TO_ABSOLUTE = 35.16504 / 35
"""Absolute salinity (g/kg) of Reference-Composition sea water per unit of practical salinity."""


def practical_salinity(value: float, unit: str, temperature: float | None = None) -> float:
    """PSS-78 salinity from a specific gravity at a reference pair, or from mS/cm at `temperature` °C.

    Raises `Refused` outside sea water.
    """
    if unit == "mS/cm":
        return _from_conductivity(value, temperature)
    try:
        sample, pure = REFERENCE_PAIRS[unit]
    except KeyError:
        raise CannotRead(f"{unit!r} is no measure of salinity; write one of {', '.join(REFERENCE_PAIRS)}") from None
    if not 0.99 < value < 1.06:
        raise Refused(
            f"{value:g} is no specific gravity of sea water, which lies between 1.000 and 1.050; type it again"
        )
    low, high = -5.0, 80.0
    for _ in range(60):
        middle = (low + high) / 2
        if _gravity(middle, sample, pure) < value:
            low = middle
        else:
            high = middle
    return round((low + high) / 2, 12)


def specific_gravity(salinity: float, unit: str) -> float:
    """The specific gravity of sea water of a practical salinity at a reference pair."""
    return _gravity(salinity, *REFERENCE_PAIRS[unit])


@lru_cache(maxsize=512)
def _gravity(salinity: float, sample: float, pure: float) -> float:
    import gsw

    if salinity < 0:  # the equation of state ends at fresh water; go on along its slope
        return 2 * _gravity(0.0, sample, pure) - _gravity(-salinity, sample, pure)
    return float(gsw.rho_t_exact(salinity * _TO_ABSOLUTE, sample, 0) / gsw.rho_t_exact(0, pure, 0))


def _from_conductivity(value: float, temperature: float | None) -> float:
    import gsw

    if temperature is None:
        raise Refused(f"{value:g} mS/cm needs a temperature; type that too")
    salinity = float(gsw.SP_from_C(value, temperature, 0))
    if salinity != salinity:
        raise Refused(f"{value:g} mS/cm at {temperature:g} °C is no sea water; type it again")
    return salinity
