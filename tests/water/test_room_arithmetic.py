"""Light, evaporation, limewater, heat and oxygen beyond the published rows."""

from __future__ import annotations

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.errors import Refused
from rounds.water import evaporation, heat, light, limewater, oxygen

hours = st.floats(0, 12)


@given(st.floats(0, 1000), hours, hours, hours)
def test_ramps_swap_and_a_sine_brings_more_than_a_straight_one(ppfd, up, plateau, down):
    dli = light.daily_light_integral(ppfd, up, plateau, down)
    assert light.daily_light_integral(ppfd, down, plateau, up) == pytest.approx(dli)
    more = light.daily_light_integral(ppfd, up, plateau, down, ramps=light.SINE) - dli
    assert more == pytest.approx(ppfd * (up + down) * (2 / pi - 1 / 2) * 0.0036)


@pytest.mark.parametrize(("temperature", "kpa"), [(0.01, 0.6117), (25, 3.1692), (100, 101.42)])
def test_vapour_pressure(temperature, kpa):
    """ASHRAE Handbook, Fundamentals, table of saturated water (from memory)."""
    assert evaporation.vapour_pressure(temperature) == pytest.approx(kpa, rel=1e-3)


@given(st.floats(5, 35), st.floats(5, 40), st.floats(0, 1))
def test_evaporation_is_never_negative(water, air, humidity):
    """Where the air would condense, it is nothing."""
    for found in (
        evaporation.ashrae(water, air, humidity, activity=1, air_speed=0.1),
        evaporation.shah(water, air, humidity),
    ):
        assert found.mm_per_day >= 0
        assert (found.mm_per_day > 0) == (found.water_kpa > found.air_kpa)


@given(st.floats(20, 30), st.floats(15, 30), st.floats(0, 0.9))
def test_drier_air_takes_more(water, air, humidity):
    wet, dry = (
        evaporation.ashrae(water, air, each, activity=0.5, air_speed=0.1) for each in (humidity + 0.1, humidity)
    )
    assert dry.driven > wet.driven


def test_limewater_of_the_demo_room():
    """Invented: 6.4 L a day at strength 0.92 bring 239 meq, 0.698 dKH in 960 L."""
    meq = 6.4 * limewater.alkalinity_per_litre(25, 0.92)
    assert meq == pytest.approx(239.05, abs=0.01)
    assert limewater.rise(meq, 960) == pytest.approx(0.698, abs=0.0005)


@given(st.floats(0, 99))
def test_warm_limewater_is_weaker(temperature):
    assert limewater.solubility(temperature + 1) < limewater.solubility(temperature)


@pytest.mark.parametrize("temperature", [-1, 101])
def test_frozen_or_boiling_limewater_is_refused(temperature):
    with pytest.raises(Refused, match="between 0 and 100"):
        limewater.solubility(temperature)


@given(st.floats(0, 20_000))
def test_strength_stops_at_saturation(conductivity):
    """In proportion below."""
    strength = limewater.strength_from_conductivity(conductivity)
    assert strength == pytest.approx(min(1, conductivity / limewater.SATURATED_CONDUCTIVITY))


@given(st.lists(st.floats(0, 5), max_size=200))
def test_only_the_last_twelve_weeks_count(above):
    assert heat.heating_weeks(above) == heat.heating_weeks(above[-84:])


@pytest.mark.parametrize(
    ("weeks", "today", "said"),
    [(5, 0, "no stress"), (0, 0.5, "watch"), (0.2, 1.0, "warning"), (4, 1, "alert level 1"), (8, 2, "alert level 2")],
)
def test_names_of_heat_stress(weeks, today, said):
    """Skirving et al. (2020)."""
    assert heat.stress(weeks, today) == said


def test_oxygen_at_saturation():
    """6.77 mg/L at salinity 35, 25 °C, and 8.26 in fresh water (Garcia and Gordon 1992; the second from memory)."""
    assert oxygen.saturation(35, 25) == pytest.approx(6.77, abs=0.005)
    assert oxygen.saturation(0, 25) == pytest.approx(8.26, abs=0.005)


def test_thin_air_holds_up_less_oxygen():
    """In proportion to the pressure less the 3.169 kPa of water vapour at 25 °C."""
    share = (90 - 3.169) / (101.325 - 3.169)
    assert oxygen.saturation(35, 25, 900) / oxygen.saturation(35, 25) == pytest.approx(share, rel=1e-5)
