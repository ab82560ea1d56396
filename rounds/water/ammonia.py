"""The share of total ammonia that is un-ionised (NH3), the poisonous form.

Sea water: Clegg S.L. and Whitfield M. (1995), Geochim. Cosmochim. Acta 59, 2403–2421, equation 18, pK on
the total scale. Fresh water: Emerson K., Russo R.C., Lund R.E. and Thurston R.V. (1975), J. Fish. Res.
Board Can. 32, 2379–2383, for a probe calibrated in NBS buffers.

Two forms of the sea water constant are in use. `SOLUTION` multiplies K by 1 − 0.001005 S, so that it goes
with a total-scale pH in mol per kg of solution, as PyCO2SYS does; `MOLAL` leaves K per kg of water, as
some software prints it, and gives about 3.5 per cent more NH3 at salinity 35. `SOLUTION` is used unless
the other is asked for, because pH from this program is per kg of solution.
"""

from __future__ import annotations

from math import log10, sqrt

import msgspec

from rounds.core.constants import KELVIN
from rounds.core.errors import Refused
from rounds.water.ph_scales import on_scale

SOLUTION, MOLAL = "solution", "molal"
FORMS = (SOLUTION, MOLAL)

FRESH_BELOW = 5.0
"""Below this salinity a pH from NBS buffers goes with Emerson's constant: the offset to the total scale was
measured at 20 to 40 and would understate NH3 by a third in fresh water. The limit itself is a choice."""

TEMPERATURES = (-2.0, 40.0)
SALINITIES = (0.0, 45.0)
"""Clegg and Whitfield fitted −2 to 40 °C and salinity 0 to 40; a little beyond is let pass."""


class Unionised(msgspec.Struct, frozen=True):
    """How total ammonia divides."""

    fraction: float
    pk: float
    ph: float
    """On the scale of `pk`."""
    fresh: bool
    """By Emerson et al., in fresh water; else Clegg and Whitfield."""


def unionised(
    ph: float,
    salinity: float,
    temperature: float,
    *,
    scale: str = "nbs",
    form: str = SOLUTION,
    zero: float = KELVIN,
) -> Unionised:
    """From pH on a scale of `ph_scales.NUMBERS`, practical salinity and °C; `zero` is 0 °C in kelvin, for Emerson.

    Raises `Refused` outside `TEMPERATURES` and `SALINITIES`.
    """
    for value, what, (low, high) in (
        (salinity, "salinity", SALINITIES),
        (temperature, "temperature in °C", TEMPERATURES),
    ):
        if not low <= value <= high:
            raise Refused(f"{value:g} is outside what is known of ammonia; the {what} must be {low:g} to {high:g}")
    fresh = scale == "nbs" and salinity < FRESH_BELOW
    if fresh:
        pk = emerson_pk(temperature, zero)
    else:
        ph, pk = on_scale(ph, scale, "total", salinity, temperature), clegg_whitfield_pk(salinity, temperature, form)
    return Unionised(1 / (1 + 10 ** (pk - ph)), pk, ph, fresh)


def emerson_pk(temperature: float, zero: float = KELVIN) -> float:
    """pKa of ammonium in fresh water."""
    return 0.09018 + 2729.92 / (temperature + zero)


def clegg_whitfield_pk(salinity: float, temperature: float, form: str = SOLUTION) -> float:
    """pK* of ammonium on the total scale, at one of `FORMS`."""
    kelvin, root = temperature + KELVIN, sqrt(temperature + KELVIN)
    pk = (
        9.244605
        - 2729.33 * (1 / 298.15 - 1 / kelvin)
        + (0.04203362 - 11.24742 / kelvin) * sqrt(sqrt(salinity))
        + (-13.6416 + 1.176949 * root - 0.02860785 * kelvin + 545.4834 / kelvin) * sqrt(salinity)
        + (-0.1462507 + 0.0090226468 * root - 0.0001471361 * kelvin + 10.5425 / kelvin) * salinity * sqrt(salinity)
        + (0.004669309 - 0.0001691742 * root - 0.5677934 / kelvin) * salinity**2
        + (-2.354039e-05 + 0.009698623 / kelvin) * salinity**2 * sqrt(salinity)
    )
    return pk if form == MOLAL else pk - log10(1 - 0.001005 * salinity)
