"""Daily light integral.

Korczynski P.C., Logan J. and Faust J.E. (2002), HortTechnology 12, 12–16; Torres A.P. and Lopez R.G.
(2010), Purdue Extension HO-238-W.
"""

from __future__ import annotations

from math import pi

LINEAR, SINE = "linear", "sine"
RAMPS = {LINEAR: 1 / 2, SINE: 2 / pi}
"""Mean of a ramp as a share of its peak: straight, or a quarter of a sine (two of them: a half-sine day)."""

SECONDS = 3600


def daily_light_integral(
    ppfd: float, ramp_up: float, plateau: float, ramp_down: float, *, ramps: str = LINEAR
) -> float:
    """mol/m2/day from the peak in µmol/m2/s and hours of ramps and plateau."""
    return ppfd * (RAMPS[ramps] * (ramp_up + ramp_down) + plateau) * SECONDS / 1e6
