"""Constants of nature and of measurement, each in one place with its source."""

from __future__ import annotations

HYDROGEN, CARBON, NITROGEN, OXYGEN = 1.008, 12.011, 14.007, 15.999
MAGNESIUM, PHOSPHORUS, POTASSIUM, CALCIUM = 24.305, 30.974, 39.098, 40.078
"""Atomic weights, g/mol: IUPAC abridged standard atomic weights (2021)."""

AMMONIA = NITROGEN + 3 * HYDROGEN
AMMONIUM = NITROGEN + 4 * HYDROGEN
OXYGEN_GAS = 2 * OXYGEN
CALCIUM_CARBONATE = CALCIUM + CARBON + 3 * OXYGEN
CALCIUM_HYDROXIDE = CALCIUM + 2 * (OXYGEN + HYDROGEN)
"""g/mol."""

DKH_PER_MEQ = 2.8039
"""Degrees of carbonate hardness in a meq/L: a degree is 10 mg/L of CaO, half of 56.077 g/mol an equivalent."""
PPM_PER_DKH = 17.848
"""mg/L of CaCO3 in a degree: 10 × 100.086 ÷ 56.077."""

CALCIUM_PER_MEQ = CALCIUM / 2
MAGNESIUM_PER_MEQ = MAGNESIUM / 2
"""mg that go with a meq, two equivalents a mole."""
CALCIUM_PER_DKH = CALCIUM_PER_MEQ / DKH_PER_MEQ
"""mg/L of calcium that go with one dKH: 7.147."""

STANDARD_SALINITY = 35.0
"""Practical salinity of standard sea water, to which values are brought to be compared."""
REFERENCE_SALINITY = 35.16504
"""g/kg of sea salt at `STANDARD_SALINITY`: Millero F.J. et al. (2008), Deep-Sea Research I 55, 50-72."""
STANDARD_CONDUCTIVITY = 42.914
"""mS/cm of sea water of salinity 35 at 15 °C (IPTS-68), to which conductivity ratios refer (Culkin and Smith 1980)."""

KELVIN = 273.15
"""0 °C in kelvin."""
ATMOSPHERE = 101.325
"""kPa."""
STANDARD_GRAVITY = 9.80665
"""m/s2"""
MILLIMETRE_OF_MERCURY = 13595.1 * STANDARD_GRAVITY / 1e8
METRE_OF_WATER = 1000 * STANDARD_GRAVITY / 1e5
"""bar, by the conventional densities of 13 595.1 and 1000 kg/m3 (NIST SP 811)."""

INCH = 2.54
"""cm; lengths, volumes and masses as NIST Special Publication 811 (2008), App. B, and NIST Handbook 44, App. C."""
CUBIC_INCH, CUBIC_FOOT = 0.016387064, 28.316846592
US_GALLON = 3.785411784
"""L; the gallon is 231 cubic inches."""
UK_GALLON = 4.54609
"""L; UK Weights and Measures Act 1985."""
POUND = 453.59237
"""g"""
