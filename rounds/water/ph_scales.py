"""One pH on another scale, by PyCO2SYS (Humphreys M.P. et al. 2022, Geosci. Model Dev. 15, 15-43).

A probe calibrated in NBS (NIST) buffers is compared by the activity of hydrogen ions in sea water of
Takahashi et al. (1982), measured at salinity 20 to 40; a junction of its own can add 0.01 or more.
"""

from __future__ import annotations

from typing import Any

SCALES = {"pH total": 1, "pH seawater": 2, "pH free": 3, "pH": 4}
"""Units of pH and the number PyCO2SYS gives their scale; ``pH`` alone is NBS."""

_RESULTS = {"pH total": "pH_total", "pH seawater": "pH_sws", "pH free": "pH_free", "pH": "pH_nbs"}
_IS_PH = 3


def on_scale(ph: float, scale: str, to: str, salinity: float, temperature: float) -> float:
    """A pH of one of `SCALES` on another, in water of a practical salinity at `temperature` °C."""
    if scale == to:
        return ph
    import PyCO2SYS

    found: dict[str, Any] = PyCO2SYS.sys(
        par1=ph, par1_type=_IS_PH, salinity=salinity, temperature=temperature, opt_pH_scale=SCALES[scale]
    )
    return float(found[_RESULTS[to]])
