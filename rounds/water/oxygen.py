"""Oxygen that water holds under air.

Garcia H.E. and Gordon L.I. (1992), Limnol. Oceanogr. 37, 1307–1312 (after Benson and Krause 1984), by
``gsw``; at another air pressure in proportion to the pressure less that of water vapour.
"""

from __future__ import annotations

from rounds.core.constants import ATMOSPHERE
from rounds.water.evaporation import vapour_pressure
from rounds.water.seawater import oxygen_at_saturation


def saturation(salinity: float, temperature: float, pressure: float = ATMOSPHERE * 10) -> float:
    """mg/L at saturation under moist air; practical salinity, °C, air pressure in hPa."""
    vapour = vapour_pressure(temperature)
    share = (pressure / 10 - vapour) / (ATMOSPHERE - vapour)
    return oxygen_at_saturation(salinity, temperature) * share
