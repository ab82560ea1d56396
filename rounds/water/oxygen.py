"""Oxygen that water holds under air.

Garcia H.E. and Gordon L.I. (1992), Limnol. Oceanogr. 37, 1307–1312 (after Benson and Krause 1984), by
``gsw``; at another air pressure in proportion to the pressure less that of water vapour.
"""

from __future__ import annotations

from rounds.water.density import kilograms_per_litre
from rounds.water.evaporation import ATMOSPHERE, vapour_pressure

MILLIGRAMS_PER_MICROMOL = 31.9988 / 1000


def saturation(salinity: float, temperature: float, pressure: float = ATMOSPHERE * 10) -> float:
    """mg/L at saturation under moist air; practical salinity, °C, air pressure in hPa."""
    import gsw

    micromol = float(gsw.O2sol_SP_pt(salinity, temperature))
    vapour = vapour_pressure(temperature)
    share = (pressure / 10 - vapour) / (ATMOSPHERE - vapour)
    return micromol * MILLIGRAMS_PER_MICROMOL * kilograms_per_litre(salinity, temperature) * share
