"""Salinity, density and dissolved oxygen of sea water at the surface.

Conductivity (PSS-78), TEOS-10 density and oxygen come from ``gsw``; specific gravity is that of EOS-80,
the equation hydrometers and refractometers are scaled by (`rounds.core.eos80`). Temperatures are ITS-90.
"""

from __future__ import annotations

from rounds.core import eos80
from rounds.core.constants import OXYGEN_GAS, REFERENCE_SALINITY, STANDARD_SALINITY
from rounds.core.errors import CannotRead, Refused
from rounds.core.units import SG_UNITS, reference_pair

REFERENCE_PAIRS = {unit: reference_pair(unit) for unit in SG_UNITS}
"""Temperature of the sample and of the pure water, °C."""

TEMPERATURES = (-2.0, 40.0)
"""°C between which the equations of sea water were fitted."""

_TO_ABSOLUTE = REFERENCE_SALINITY / STANDARD_SALINITY
"""Absolute salinity (g/kg) of Reference-Composition sea water per unit of practical salinity."""

_SODIUM_D = 589.3
"""nm; the light of a refractometer's scale."""


def practical_salinity(value: float, unit: str, temperature: float | None = None) -> float:
    """PSS-78 salinity from a specific gravity at a reference pair, or from mS/cm at `temperature` °C.

    Raises `Refused` outside sea water.
    """
    if unit == "mS/cm":
        return _from_conductivity(value, temperature)
    try:
        pair = REFERENCE_PAIRS[unit]
    except KeyError:
        raise CannotRead(f"{unit!r} is no measure of salinity; write one of {', '.join(REFERENCE_PAIRS)}") from None
    return eos80.salinity_of_gravity(value, *pair)


def specific_gravity(salinity: float, unit: str) -> float:
    """The specific gravity of sea water of a practical salinity at a reference pair (EOS-80)."""
    return eos80.gravity(salinity, *REFERENCE_PAIRS[unit])


def conductivity(salinity: float, temperature: float) -> float:
    """mS/cm of sea water of a practical salinity at `temperature` °C: PSS-78, UNESCO 44 (1983)."""
    import gsw

    return float(gsw.C_from_SP(salinity, temperature, 0))


def density(salinity: float, temperature: float) -> float:
    """kg/m3 by TEOS-10: IOC, SCOR and IAPSO (2010), for Reference-Composition sea water."""
    import gsw

    if salinity < 0:  # the equation of state ends at fresh water; go on along its slope
        return 2 * density(0.0, temperature) - density(-salinity, temperature)
    return float(gsw.rho_t_exact(salinity * _TO_ABSOLUTE, temperature, 0))


def oxygen_at_saturation(salinity: float, temperature: float) -> float:
    """mg/L that water holds under moist air at 1013.25 hPa.

    Garcia H.E. and Gordon L.I. (1992), Limnol. Oceanogr. 37, 1307-1312, after Benson and Krause (1984).
    """
    import gsw

    micromol_per_kilogram = float(gsw.O2sol_SP_pt(salinity, temperature))
    return micromol_per_kilogram / 1000 * OXYGEN_GAS * density(salinity, temperature) / 1000


def refractive_index(salinity: float, temperature: float) -> float:
    """Of sea water for sodium light (589.3 nm), from salinity and °C.

    Quan X. and Fry E.S. (1995), Applied Optics 34, 3477-3480; fitted to salinity 0-35 and 0-30 °C.
    """
    t, wave = temperature, _SODIUM_D
    return (
        1.31405
        + (1.779e-4 - 1.05e-6 * t + 1.6e-8 * t**2) * salinity
        - 2.02e-6 * t**2
        + (15.868 + 0.01155 * salinity - 0.00423 * t) / wave
        - 4382 / wave**2
        + 1.1455e6 / wave**3
    )


def _from_conductivity(value: float, temperature: float | None) -> float:
    import gsw

    if temperature is None:
        raise Refused(f"{value:g} mS/cm needs a temperature; type that too")
    salinity = float(gsw.SP_from_C(value, temperature, 0))
    if salinity != salinity:
        raise Refused(f"{value:g} mS/cm at {temperature:g} °C is no sea water; type it again")
    return salinity
