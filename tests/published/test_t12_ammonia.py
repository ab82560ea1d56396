"""Un-ionised ammonia.

Fresh water: Emerson K. et al. (1975), J. Fish. Res. Board Can. 32, 2379–2383 (equation from memory). Sea water: Clegg
S.L. and Whitfield M. (1995), Geochim. Cosmochim. Acta 59, 2403–2421, equation 18, in two forms: T12-9 is per kg of
water (`form=molal`), T12-12 per kg of solution, the one used unless another is asked for. No one form gives both.
Not covered: T12-17, 20, 21, which are conversions of phosphate, nitrite and nitrate.
"""

from __future__ import annotations

import pytest

from tests.published.calc import calc


@pytest.mark.parametrize(
    ("inputs", "fraction"),
    [
        ("temperature=25 ph=8.0 zero=273.2", 0.0538421),  # T12-1
        ("temperature=20 ph=8.0 zero=273.2", 0.0382054),  # T12-2
        ("temperature=25 ph=7.0", 0.00563855),  # T12-4
        ("temperature=30 ph=9.0", 0.4453265),  # T12-5
        ("temperature=10 ph=7.0 zero=273.15", 0.00185253),  # T12-6
    ],
)
def test_fresh_water(inputs: str, fraction: float) -> None:
    found = calc(f"ammonia total=2 scale=nbs salinity=0 {inputs}")
    assert found["fraction"] == pytest.approx(fraction, rel=1e-5)
    assert found["un_ionised"] == pytest.approx(2 * fraction, rel=1e-5)


def test_no_salt_on_the_total_scale() -> None:
    """T12-7: Clegg and Whitfield down to salinity 0."""
    found = calc("ammonia total=1 scale=total ph=8 salinity=0 temperature=10")
    assert found["fraction"] == pytest.approx(0.0183, abs=5e-5)


def test_sea_water_per_kilogram_of_water() -> None:
    """T12-9"""
    found = calc("ammonia scale=total ph=8 salinity=35 temperature=25 form=molal")
    assert found["fraction"] == pytest.approx(0.0556, abs=5e-5)


def test_sea_water_per_kilogram_of_solution() -> None:
    """T12-12"""
    found = calc("ammonia scale=total ph=8.2 salinity=35 temperature=25")
    assert found["fraction"] == pytest.approx(0.0825532, rel=2e-5)


def test_the_free_scale() -> None:
    """The same water, pH 8 on the free scale, in the form per kg of water: 4.40 per cent."""
    found = calc("ammonia total=1 scale=free ph=8 salinity=35 temperature=25 form=molal")
    assert found["fraction"] == pytest.approx(0.0440, abs=1.5e-4)


def test_a_kit_that_reports_ammonium() -> None:
    """T12-19"""
    found = calc("ammonia scale=total ph=8 salinity=35 temperature=25", total="1.2879 mg/L NH4")
    assert found["inputs"]["total"]["value"] == pytest.approx(1, abs=0.0002)
