"""One pH on another scale, by PyCO2SYS (Humphreys M.P. et al. 2022, Geosci. Model Dev. 15, 15-43).

A probe calibrated in NBS (NIST) buffers is compared by the activity of hydrogen ions in sea water of
Takahashi et al. (1982), measured at salinity 20 to 40; a junction of its own can add 0.01 or more.
"""

from __future__ import annotations

from typing import Any

NUMBERS = {"total": 1, "seawater": 2, "free": 3, "nbs": 4}
"""The number PyCO2SYS gives each scale."""

SCALES = {"pH total": "total", "pH seawater": "seawater", "pH free": "free", "pH": "nbs"}
"""Units of pH and their scale."""

_RESULTS = {"total": "pH_total", "seawater": "pH_sws", "free": "pH_free", "nbs": "pH_nbs"}
_IS_PH, _NO_BUFFERS = 3, 0
"""Buffer factors are not asked for and would take most of the time."""


def on_scale(ph: float, scale: str, to: str, salinity: float, temperature: float) -> float:
    """A pH of one of the scales of `NUMBERS` on another, in water of a practical salinity at `temperature` °C."""
    if scale == to:
        return ph
    import PyCO2SYS

    found: dict[str, Any] = PyCO2SYS.sys(
        par1=ph,
        par1_type=_IS_PH,
        salinity=salinity,
        temperature=temperature,
        opt_pH_scale=NUMBERS[scale],
        opt_buffers_mode=_NO_BUFFERS,
    )
    return float(found[_RESULTS[to]])
