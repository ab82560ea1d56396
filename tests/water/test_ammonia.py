"""Un-ionised ammonia beyond the published rows."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.errors import Refused
from rounds.water.ammonia import clegg_whitfield_pk, unionised


@pytest.mark.parametrize("salinity", [5, 20, 35, 40])
@pytest.mark.parametrize("temperature", [5, 25, 35])
def test_the_constant_is_that_of_pyco2sys(salinity, temperature):
    """PyCO2SYS 1.8 computes Clegg and Whitfield (1995) independently, on the total scale per kg of solution."""
    import PyCO2SYS

    theirs = PyCO2SYS.sys(
        par1=8, par1_type=3, par2=2300, par2_type=1, salinity=salinity, temperature=temperature, opt_pH_scale=1
    )
    assert 10 ** -clegg_whitfield_pk(salinity, temperature) == pytest.approx(float(theirs["k_ammonia"]), rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(ph=st.floats(6, 9.4), salinity=st.floats(0, 45), temperature=st.floats(0, 39))
def test_warmer_or_higher_ph_is_more_poisonous(ph, salinity, temperature):
    fraction = unionised(ph, salinity, temperature, scale="total").fraction
    assert 0 < fraction < 1
    assert unionised(ph + 0.1, salinity, temperature, scale="total").fraction > fraction
    assert unionised(ph, salinity, temperature + 1, scale="total").fraction > fraction


def test_an_nbs_reading_taken_as_total_overstates_by_about_a_third():
    """At salinity 35, 25 °C."""
    taken, meant = (unionised(8.2, 35, 25, scale=scale).fraction for scale in ("total", "nbs"))
    assert taken / meant == pytest.approx(1.34, abs=0.02)


def test_the_form_per_kilogram_of_water_gives_some_per_cent_more():
    """3.4 per cent at salinity 35, 25 °C, pH 8."""
    forms = [unionised(8, 35, 25, scale="total", form=form).fraction for form in ("molal", "solution")]
    assert forms[0] / forms[1] == pytest.approx(1.034, abs=0.001)


def test_fresh_water_by_the_two_sources_agrees():
    """Emerson et al. and Clegg and Whitfield at salinity 0 lie within half a per cent."""
    emerson, clegg = (unionised(8, 0, 25, scale=scale) for scale in ("nbs", "total"))
    assert (emerson.fresh, clegg.fresh) == (True, False)
    assert emerson.fraction == pytest.approx(clegg.fraction, rel=0.005)


@pytest.mark.parametrize(("salinity", "temperature"), [(-1, 25), (46, 25), (35, -3), (35, 41)])
def test_outside_what_is_known_there_is_no_answer(salinity, temperature):
    with pytest.raises(Refused, match="outside what is known of ammonia"):
        unionised(8, salinity, temperature)
