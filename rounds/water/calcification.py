"""Calcium carbonate: two equivalents of alkalinity go with one mole of calcium.

Smith S.V. and Key G.S. (1975), Limnol. Oceanogr. 20, 493–495; Chisholm J.R.M. and Gattuso J.-P. (1991),
Limnol. Oceanogr. 36, 1232–1239. Holds for pure CaCO3: coralline algae take some magnesium, and nitrifying
bacteria take alkalinity without calcium.
"""

from __future__ import annotations

CALCIUM = 40.078
CARBONATE = 100.0869
"""g/mol of CaCO3; atomic weights, IUPAC."""

CALCIUM_PER_MEQ = CALCIUM / 2
"""mg/L of calcium with each meq/L of alkalinity."""


def calcium(meq_per_litre: float) -> float:
    """mg/L of calcium laid down with so much alkalinity."""
    return meq_per_litre * CALCIUM_PER_MEQ


def calcium_carbonate(meq_per_litre: float, litres: float) -> float:
    """Grams of CaCO3 laid down in so many litres."""
    return meq_per_litre * litres * CARBONATE / 2 / 1000
