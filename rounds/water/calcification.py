"""Calcium carbonate: two equivalents of alkalinity go with one mole of calcium.

Smith S.V. and Key G.S. (1975), Limnol. Oceanogr. 20, 493–495; Chisholm J.R.M. and Gattuso J.-P. (1991),
Limnol. Oceanogr. 36, 1232–1239. Holds for pure CaCO3: coralline algae take some magnesium, and nitrifying
bacteria take alkalinity without calcium.
"""

from __future__ import annotations

from rounds.core.constants import CALCIUM_CARBONATE, CALCIUM_PER_MEQ


def calcium(meq_per_litre: float) -> float:
    """mg/L of calcium laid down with so much alkalinity."""
    return meq_per_litre * CALCIUM_PER_MEQ


def calcium_carbonate(meq_per_litre: float, litres: float) -> float:
    """Grams of CaCO3 laid down in so many litres."""
    return meq_per_litre * litres * CALCIUM_CARBONATE / 2 / 1000
