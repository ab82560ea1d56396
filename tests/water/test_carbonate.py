"""The carbonate system beyond the published rows: what holds for any sea water."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.errors import Refused
from rounds.water.carbonate import SCALES, alkalinity_per_kilogram, carbonate, ph_under_air
from rounds.water.ph_scales import on_scale

SEA = {"salinity": st.floats(19, 43), "temperature": st.floats(2, 35)}


@settings(max_examples=8, deadline=None)
@given(ph=st.floats(7.3, 8.6), alkalinity=st.floats(1500, 4000), **SEA)
def test_air_of_the_waters_own_co2_leaves_its_ph(ph, alkalinity, salinity, temperature):
    """There and back: pH to the dry air it stands still under, and that air to a pH."""
    air = carbonate(ph, alkalinity, salinity, temperature).xco2_ppm
    assert ph_under_air(air, alkalinity, salinity, temperature) == pytest.approx(ph, abs=1e-6)


@settings(max_examples=8, deadline=None)
@given(ph=st.floats(7.3, 8.5), alkalinity=st.floats(1500, 4000), **SEA)
def test_a_higher_ph_means_less_co2_and_more_saturation(ph, alkalinity, salinity, temperature):
    low, high = (carbonate(each, alkalinity, salinity, temperature) for each in (ph, ph + 0.05))
    assert low.pco2_uatm > high.pco2_uatm
    assert low.omega_aragonite < high.omega_aragonite


def test_much_co2_in_the_room_lowers_ph():
    """8 dKH at 25 °C: open air gives pH 8.1 (total), 1000 ppm about 7.8."""
    alkalinity = alkalinity_per_kilogram(8 / 2.8039, 35, 25)
    assert ph_under_air(425, alkalinity, 35, 25) == pytest.approx(8.10, abs=0.01)
    assert ph_under_air(1000, alkalinity, 35, 25) == pytest.approx(7.79, abs=0.01)


@pytest.mark.parametrize(("salinity", "temperature"), [(18.9, 25), (43.1, 25), (35, 1.9), (35, 35.1), (0, 25)])
def test_outside_the_range_of_the_constants_there_is_no_answer(salinity, temperature):
    """Lueker et al. (2000): salinity 19 to 43, 2 to 35 °C."""
    with pytest.raises(Refused, match=r"salinity 19 to 43 and 2 to 35 °C"):
        carbonate(8.1, 2300, salinity, temperature)
    with pytest.raises(Refused):
        ph_under_air(425, 2300, salinity, temperature)


def test_a_ph_the_alkalinity_cannot_have_is_refused_and_nothing_is_printed(capsys):
    """PyCO2SYS prints a warning of its own there, which would spoil JSON."""
    with pytest.raises(Refused, match="cannot stand together"):
        carbonate(11, 2300, 35, 25)
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(("scale", "higher"), [("total", 0), ("seawater", -0.0097), ("free", 0.1077), ("nbs", 0.137)])
def test_how_far_the_scales_lie_apart(scale, higher):
    """A higher number on the free and NBS scales, a lower on the seawater scale, for the same water."""
    assert set(SCALES) == {"total", "seawater", "free", "nbs"}
    assert 8.1 - on_scale(8.1, scale, "total", 35, 25) == pytest.approx(higher, abs=1e-4)


def test_nothing_heavy_is_loaded_before_it_is_needed():
    """Importing the calculators costs neither numpy nor PyCO2SYS."""
    program = "import sys, rounds.water.calculators; sys.exit(bool({'numpy', 'gsw', 'PyCO2SYS'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", program], cwd=Path(__file__).parents[2], check=False).returncode == 0
