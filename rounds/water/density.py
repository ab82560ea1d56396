"""Density of sea water and fresh water at the surface, by TEOS-10 (``gsw``).

IOC, SCOR and IAPSO (2010), The international thermodynamic equation of seawater. EOS-80 lies within
0.003 kg/m3 of it.
"""

from __future__ import annotations

_TO_ABSOLUTE = 35.16504 / 35
"""Absolute salinity (g/kg) of Reference-Composition sea water per unit of practical salinity."""


def kilograms_per_litre(salinity: float, temperature: float) -> float:
    """Of water of a practical salinity (0 is fresh) at `temperature` °C."""
    import gsw

    return float(gsw.rho_t_exact(salinity * _TO_ABSOLUTE, temperature, 0)) / 1000
