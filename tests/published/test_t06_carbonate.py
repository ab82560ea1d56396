"""The carbonate system from pH and total alkalinity.

Computed with PyCO2SYS 1.8 (Humphreys et al. 2022) and recomputed with independent code from Dickson, Sabine and
Christian (2007), Guide to best practices, ch. 5: Lueker et al. (2000), Dickson (1990), Uppström (1974), Mucci (1983).
Not covered: T06-3 and T06-7, the constants of borate and bisulfate, which are not shown.
"""

from __future__ import annotations

from math import log10

import pytest

from tests.published.calc import calc

ROWS = [
    # T06-9 to T06-12: pH (total), µmol/kg, salinity, °C; pCO2, DIC, aragonite, carbonate; relative tolerance
    ((8.0, 2400, 35, 25), (471.998643, 2118.082932, 3.25939, 205.420186), 1e-6),
    ((8.3, 2500, 34, 26), (205.496047, 1998.606543, 5.739152, 357.657007), 1e-6),
    ((7.9, 2200, 36, 24), (563.737263, 1987.290833, 2.41493, 153.919923), 1e-6),
    ((8.1, 2788.125, 35, 25), (415.8373, 2405.1763, 4.551128, 286.8308), 2e-6),
]
FIELDS = ("pco2_uatm", "dic_umol_kg", "omega_aragonite", "co3_umol_kg")


@pytest.mark.parametrize(("water", "expected", "within"), ROWS)
def test_carbonate_system(water: tuple[float, ...], expected: tuple[float, ...], within: float) -> None:
    """Borate of Uppström (1974), the one used unless another is asked for, gives these rows."""
    ph, alkalinity, salinity, temperature = water
    found = calc(f"carbonate scale=total ph={ph} salinity={salinity} temperature={temperature}", alkalinity=alkalinity)
    assert [found[field] for field in FIELDS] == pytest.approx(expected, rel=within)


def test_borate_of_lee() -> None:
    """T06-13"""
    found = calc("carbonate ph=8.1 scale=total alkalinity=2300 salinity=35 temperature=25 borate=lee")
    assert [found[field] for field in FIELDS[:3]] == pytest.approx([339.4722, 1963.4857, 3.715351], rel=1e-5)


def test_alkalinity_in_dkh_goes_through_the_density() -> None:
    """T06-12 as a keeper has it: 8.0 dKH at salinity 35 and 25 °C is 2788.125 µmol/kg; the units have five figures."""
    found = calc("carbonate ph=8.1 scale=total salinity=35 temperature=25", alkalinity="8.0 dKH")
    assert found["inputs"]["alkalinity"]["value"] == pytest.approx(2788.125, rel=5e-5)
    assert found["pco2_uatm"] == pytest.approx(415.8373, rel=5e-5)


def test_a_probe_in_nbs_buffers() -> None:
    """T06-14, and what the same number on the two scales means."""
    water = "carbonate ph=8.2 alkalinity=2300 salinity=35 temperature=25"
    found, taken_as_total = calc(f"{water} scale=nbs"), calc(f"{water} scale=total")
    assert found["ph_total"] == pytest.approx(8.063, abs=0.0005)
    assert (found["pco2_uatm"], taken_as_total["pco2_uatm"]) == pytest.approx((378, 254), abs=0.6)
    assert (found["omega_aragonite"], taken_as_total["omega_aragonite"]) == pytest.approx((3.49, 4.40), abs=0.006)


@pytest.mark.parametrize(("scale", "offset"), [("seawater", -0.0097), ("free", 0.1077)])
def test_other_scales(scale: str, offset: float) -> None:
    """Beside the total scale at salinity 35, 25 °C."""
    found = calc(f"carbonate ph=8.1 scale={scale} alkalinity=2300 salinity=35 temperature=25")
    assert 8.1 - found["ph_total"] == pytest.approx(offset, abs=1e-4)


def test_second_dissociation_constant() -> None:
    """T06-2: log10 K2 at salinity 35, 25 °C (Lueker et al. 2000), from what the calculator tells."""
    found = calc("carbonate ph=8.1 scale=total alkalinity=2300 salinity=35 temperature=25")
    k2 = 10 ** -found["ph_total"] * found["co3_umol_kg"] / found["hco3_umol_kg"]
    assert log10(k2) == pytest.approx(-8.966, abs=1e-4)
