"""The carbonate system of sea water from pH and total alkalinity, by PyCO2SYS 1.8.

Humphreys M.P. et al. (2022), Geosci. Model Dev. 15, 15–43. K1 and K2 of Lueker T.J., Dickson A.G. and
Keeling C.D. (2000), Mar. Chem. 70, 105–119; bisulfate of Dickson (1990); fluoride of Dickson and Riley
(1979); total borate of Uppström (1974) unless Lee et al. (2010) is asked for; aragonite of Mucci (1983).
Surface pressure, no nutrients.
"""

from __future__ import annotations

from contextlib import redirect_stdout
from io import StringIO
from typing import Any

import msgspec

from rounds.core.errors import Refused
from rounds.water import ph_scales
from rounds.water.seawater import density

SCALES = ph_scales.NUMBERS
"""pH scales and the number PyCO2SYS gives them; nbs is a probe calibrated in NBS (NIST) buffers."""

BORATES = {"uppstrom": 1, "lee": 2}
"""Ratios of total boron to salinity; they move pCO2 and saturation by 0.2 per cent."""

SALINITIES = (19.0, 43.0)
TEMPERATURES = (2.0, 35.0)
"""Between these, salinity and °C, Lueker et al. (2000) measured K1 and K2."""

_TOTAL_ALKALINITY, _PH, _X_CO2 = 1, 3, 9
_LUEKER, _DICKSON, _DICKSON_RILEY, _GAS_2018 = 10, 1, 1, 3
_NO_BUFFERS = 0  # buffer factors are not asked for and would take most of the time


class Carbonate(msgspec.Struct, frozen=True):
    """The dissolved carbon of one water."""

    ph_total: float
    pco2_uatm: float
    """Partial pressure of CO2 with which the water would stand still, µatm."""
    xco2_ppm: float
    """The same as mole fraction in dry air at one atmosphere, ppm."""
    dic_umol_kg: float
    co2_umol_kg: float
    """Dissolved."""
    calcium_umol_kg: float
    """In proportion to the salinity (Riley and Tongudai 1967), as the saturation takes it."""
    co3_umol_kg: float
    hco3_umol_kg: float
    omega_aragonite: float
    """Above 1 aragonite can form, below it dissolves."""
    omega_calcite: float


def carbonate(
    ph: float,
    alkalinity: float,
    salinity: float,
    temperature: float,
    *,
    scale: str = "total",
    borate: str = "uppstrom",
) -> Carbonate:
    """From pH on one of `SCALES`, alkalinity in µmol/kg, practical salinity and °C.

    Raises `Refused` outside `SALINITIES` and `TEMPERATURES`, and where pH and alkalinity cannot stand together.
    """
    _within(salinity, temperature)
    found = _solve(ph, _PH, alkalinity, salinity, temperature, scale=scale, borate=borate)
    if not found["dic"] > 0:  # NaN where the hydroxide of the pH alone exceeds the alkalinity
        raise Refused(f"pH {ph:g} and an alkalinity of {alkalinity:g} µmol/kg cannot stand together; test both again")
    return Carbonate(
        ph_total=float(found["pH_total"]),
        pco2_uatm=float(found["pCO2"]),
        xco2_ppm=float(found["xCO2"]),
        dic_umol_kg=float(found["dic"]),
        co2_umol_kg=float(found["aqueous_CO2"]),
        calcium_umol_kg=float(found["total_calcium"]),
        co3_umol_kg=float(found["carbonate"]),
        hco3_umol_kg=float(found["bicarbonate"]),
        omega_aragonite=float(found["saturation_aragonite"]),
        omega_calcite=float(found["saturation_calcite"]),
    )


def ph_under_air(
    co2_ppm: float, alkalinity: float, salinity: float, temperature: float, *, borate: str = "uppstrom"
) -> float:
    """The total-scale pH at which water of this alkalinity (µmol/kg) stands still under air of `co2_ppm` (dry)."""
    _within(salinity, temperature)
    found = _solve(co2_ppm, _X_CO2, alkalinity, salinity, temperature, scale="total", borate=borate)
    return float(found["pH_total"])


def alkalinity_per_kilogram(meq_per_litre: float, salinity: float, temperature: float) -> float:
    """µmol/kg from meq/L, by the density of the water."""
    return meq_per_litre / density(salinity, temperature) * 1e6


def _within(salinity: float, temperature: float) -> None:
    for value, what, (low, high) in (
        (f"{salinity:g}", salinity, SALINITIES),
        (f"{temperature:g} °C", temperature, TEMPERATURES),
    ):
        if not low <= what <= high:
            raise Refused(
                f"the constants of Lueker et al. (2000) hold for salinity {SALINITIES[0]:g} to {SALINITIES[1]:g} and "
                f"{TEMPERATURES[0]:g} to {TEMPERATURES[1]:g} °C, and {value} lies outside; there is no answer for it"
            )


def _solve(
    known: float, kind: int, alkalinity: float, salinity: float, temperature: float, *, scale: str, borate: str
) -> dict[str, Any]:
    import PyCO2SYS

    with redirect_stdout(StringIO()):  # PyCO2SYS prints its warnings there; the answer is NaN then and is refused
        found: dict[str, Any] = PyCO2SYS.sys(
            par1=known,
            par1_type=kind,
            par2=alkalinity,
            par2_type=_TOTAL_ALKALINITY,
            salinity=salinity,
            temperature=temperature,
            opt_pH_scale=SCALES[scale],
            opt_k_carbonic=_LUEKER,
            opt_k_bisulfate=_DICKSON,
            opt_total_borate=BORATES[borate],
            opt_k_fluoride=_DICKSON_RILEY,
            opt_gas_constant=_GAS_2018,
            opt_buffers_mode=_NO_BUFFERS,
        )
    return found
