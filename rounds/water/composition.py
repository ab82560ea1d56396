"""What sea water of the Reference Composition holds, for comparing a tank with the sea.

Millero F.J., Feistel R., Wright D.G. and McDougall T.J. (2008), Deep-Sea Research I 55, 50-72, Table 4;
atomic weights of IUPAC (2013-2021). The weak acids are those at pH 8.1; total alkalinity does not
depend on it.
"""

from __future__ import annotations

from rounds.core.constants import CALCIUM, MAGNESIUM, REFERENCE_SALINITY, STANDARD_SALINITY

PARTS = {
    "Na": 4188071, "Mg": 471678, "Ca": 91823, "K": 91159, "Sr": 810, "Cl": 4874839, "SO4": 252152, "HCO3": 15340,
    "Br": 7520, "CO3": 2134, "B(OH)4": 900, "F": 610, "OH": 71, "B(OH)3": 2807, "CO2": 86,
}  # fmt: skip
"""Of ten million molecules and ions."""

WEIGHTS = {
    "Na": 22.98977, "Mg": MAGNESIUM, "Ca": CALCIUM, "K": 39.0983, "Sr": 87.62, "Cl": 35.453, "SO4": 96.0626,
    "HCO3": 61.01684, "Br": 79.904, "CO3": 60.0089, "B(OH)4": 78.84036, "F": 18.9984032, "OH": 17.00734,
    "B(OH)3": 61.83302, "CO2": 44.0095,
}  # fmt: skip
"""g/mol"""

MEAN_WEIGHT = 31.4038218
"""g/mol of sea salt."""

PROTONS = {"HCO3": 1, "CO3": 2, "B(OH)4": 1, "OH": 1}
"""Protons each takes up; the hydrogen ion itself is not in the table and counts for nothing here."""


def salt(salinity: float) -> float:
    """g/kg of sea salt at a practical salinity."""
    return salinity * REFERENCE_SALINITY / STANDARD_SALINITY


def share(ion: str) -> float:
    """Of all molecules and ions of sea salt."""
    return PARTS[ion] / sum(PARTS.values())


def moles(ion: str, salinity: float) -> float:
    """mol/kg of one of `PARTS` at a practical salinity."""
    return share(ion) * salt(salinity) / MEAN_WEIGHT


def milligrams(ion: str, salinity: float) -> float:
    """mg/kg of one of `PARTS` at a practical salinity."""
    return moles(ion, salinity) * WEIGHTS[ion] * 1000


def alkalinity(salinity: float) -> float:
    """mol/kg of total alkalinity at a practical salinity."""
    return sum(protons * moles(ion, salinity) for ion, protons in PROTONS.items())
