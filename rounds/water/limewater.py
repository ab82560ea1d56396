"""Limewater: what saturated calcium hydroxide solution brings, and how it falls off with warmth.

Solubility at 25 °C: 20.3 mmol/kg, Bates R.G., Bower V.E. and Smith E.R. (1956), J. Res. Natl. Bur. Stand.
56, 305–312; Lambert I. and Clever H.L. (1992), IUPAC Solubility Data Series 52. Older handbook series give
up to 11 per cent more; their fall with temperature is used, scaled to the value at 25 °C. A litre is taken
as a kilogram, which is right within 0.2 per cent. CO2 of the air weakens limewater: what comes out here is
the most a litre can bring.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from rounds.core.constants import CALCIUM, DKH_PER_MEQ
from rounds.core.errors import Refused

SATURATED = 0.0203
"""mol/kg at 25 °C."""

MEQ_PER_MMOL = 2
"""Alkalinity of a mole of calcium hydroxide."""

SATURATED_MEQ = SATURATED * MEQ_PER_MMOL * 1000
"""meq/L at 25 °C."""

SATURATED_CONDUCTIVITY = 8600.0
"""µS/cm at 25 °C, computed with PHREEQC (pitzer.dat), no measured value was found; a meter may show 8,000 to 9,500."""

_HANDBOOKS = ((0, 0.185), (10, 0.176), (30, 0.153), (40, 0.141 * 0.153 / 0.160), (60, 0.121 * 0.153 / 0.160),
              (100, 0.076 * 0.153 / 0.160))  # fmt: skip
"""°C and g per 100 g of water: the older series to 30 °C, beyond it Lange's brought to the same value there."""

_PH = ((0, 13.423), (5, 13.207), (10, 13.003), (15, 12.810), (20, 12.627), (25, 12.454), (30, 12.289), (35, 12.133),
       (40, 11.984), (45, 11.841), (50, 11.705), (55, 11.574), (60, 11.449))  # fmt: skip
"""°C and pH of the saturated solution as a buffer: Bates (1962); Buck et al. (2002), from memory."""


def solubility(temperature: float) -> float:
    """mol of calcium hydroxide per kg of saturated solution, 0 to 100 °C; `Refused` outside."""
    if not 0 <= temperature <= 100:
        raise Refused(f"{temperature:g} °C is no temperature of liquid limewater; give one between 0 and 100 °C")
    return SATURATED * _between(_HANDBOOKS, temperature) / _between(_HANDBOOKS, 25)


def saturated_ph(temperature: float) -> float | None:
    """pH of the saturated solution, to check a meter or the feed with; None above 60 °C."""
    return _between(_PH, temperature) if temperature <= 60 else None


def calcium_per_litre(temperature: float, strength: float = 1.0) -> float:
    """mg of calcium in a litre of limewater; `strength` is its share of saturation."""
    return solubility(temperature) * strength * CALCIUM * 1000


def alkalinity_per_litre(temperature: float, strength: float = 1.0) -> float:
    """meq in a litre of limewater."""
    return solubility(temperature) * strength * MEQ_PER_MMOL * 1000


def rise(meq: float, system: float) -> float:
    """dKH by which so much alkalinity lifts a system of so many litres."""
    return meq / system * DKH_PER_MEQ


def strength_from_conductivity(conductivity: float, saturated: float = SATURATED_CONDUCTIVITY) -> float:
    """Share of saturation from conductivities in µS/cm compensated to 25 °C, in proportion; 1 at most.

    `saturated` is what the meter shows in saturated limewater; without it good to about 12 per cent.
    """
    return min(1.0, conductivity / saturated)


def _between(table: Sequence[tuple[float, float]], at: float) -> float:
    """Read from a table by straight lines."""
    place = min(bisect_right([x for x, _ in table], at), len(table) - 1)
    (x0, y0), (x1, y1) = table[place - 1], table[place]
    return y0 + (y1 - y0) * (at - x0) / (x1 - x0)
