"""Alkalinity and calcium of growing skeletons.

Smith S.V. and Key G.S. (1975), Limnol. Oceanogr. 20, 493–495; Chisholm J.R.M. and Gattuso J.-P. (1991), Limnol.
Oceanogr. 36, 1232–1239. The rows follow from atomic weights; the equation is from memory.
"""

from __future__ import annotations

import pytest

from tests.published.calc import calc


@pytest.mark.parametrize(
    ("alkalinity", "calcium", "within"),
    [
        ("1 meq/L", 20.039, 0.002),  # T04-1
        ("0.5 meq/L", 10.02, 0.01),  # T04-3
        ("1.4 dKH", 10.006, 0.01),  # T04-4
        ("1", 7.147, 0.001),  # a bare number is dKH
    ],
)
def test_calcium_in_step(alkalinity: str, calcium: float, within: float) -> None:
    assert calc("calcification", alkalinity=alkalinity)["calcium_mg_per_l"] == pytest.approx(calcium, abs=within)


def test_mass_of_calcium_carbonate() -> None:
    """T04-5"""
    assert calc("calcification alkalinity=1 volume=755.116")["carbonate_g"] == pytest.approx(13.477, abs=0.005)
