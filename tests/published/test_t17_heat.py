"""Degree heating weeks.

Skirving W. et al. (2020), Remote Sens. 12(23), 3856; Liu G., Strong A.E. and Skirving W. (2003), Eos 84, 137–144.
"""

from __future__ import annotations

import pytest

from tests.published.calc import calc


@pytest.mark.parametrize(
    ("hotspots", "weeks"),
    [
        ([1.0, 2.0, 0.8, 1.2], 0.6),  # T17-1
        ([0.9] * 84, 0.0),  # T17-5
        ([1.5] * 100, 18.0),  # T17-6
    ],
)
def test_heating_weeks(hotspots: list[float], weeks: float) -> None:
    found = calc("heat-weeks", hotspots=",".join(map(str, hotspots)))
    assert found["heat_weeks"] == pytest.approx(weeks, abs=1e-9)


def test_from_temperatures() -> None:
    """T17-1 above a usual maximum of 25.8 °C; a day exactly one degree above counts."""
    found = calc("heat-weeks temperatures=26.8,27.8,26.6,27.0 usual_maximum=25.8")
    assert found["heat_weeks"] == pytest.approx(0.6, abs=1e-9)
    assert found["days_counted"] == 3
