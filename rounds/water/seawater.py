"""Salinity, density and dissolved oxygen of sea water.

Conductivity (PSS-78), TEOS-10 density and oxygen come from ``gsw``; specific gravity is that of EOS-80,
the equation hydrometers and refractometers are scaled by (`rounds.core.eos80`). Temperatures are ITS-90.
"""

from __future__ import annotations

from rounds.core.constants import OXYGEN_GAS, REFERENCE_SALINITY, STANDARD_SALINITY
from rounds.core.errors import Refused

TEMPERATURES = (-2.0, 40.0)
"""°C between which the equations of sea water were fitted."""

_TO_ABSOLUTE = REFERENCE_SALINITY / STANDARD_SALINITY
"""Absolute salinity (g/kg) of Reference-Composition sea water per unit of practical salinity."""

_SODIUM_D = 589.3
"""nm; the light of a refractometer's scale."""


def practical_salinity(conductivity: float, temperature: float, pressure: float = 0.0) -> float:
    """PSS-78 salinity from mS/cm at `temperature` °C under `pressure` dbar of water: UNESCO 44 (1983).

    Raises `Refused` outside sea water.
    """
    import gsw

    salinity = float(gsw.SP_from_C(conductivity, temperature, pressure))
    if salinity != salinity:
        raise Refused(f"{conductivity:g} mS/cm at {temperature:g} °C is no sea water; type it again")
    return salinity


def conductivity(salinity: float, temperature: float, pressure: float = 0.0) -> float:
    """mS/cm of sea water of a practical salinity at `temperature` °C under `pressure` dbar: the inverse."""
    import gsw

    return float(gsw.C_from_SP(salinity, temperature, pressure))


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
