"""Daily light integral.

Korczynski P.C., Logan J. and Faust J.E. (2002), HortTechnology 12, 12–16; Torres A.P. and Lopez R.G. (2010), Purdue
Extension HO-238-W. The definition is read and recomputed, partly from memory.
"""

from __future__ import annotations

from math import pi

import pytest

from tests.published.calc import calc


@pytest.mark.parametrize(
    ("inputs", "dli"),
    [
        ("ppfd=200 plateau=12", 8.64),  # T09-1
        ("ppfd=1 plateau=24 ramp_up=0 ramp_down=0", 0.0864),  # T09-2
        ("ppfd=300 ramp_up=0 plateau=8 ramp_down=4", 10.8),  # T09-5
        ("ppfd=300 ramp_up=0 plateau=480min ramp_down=4h", 10.8),
        ("ppfd=300 ramp_up=6 plateau=0 ramp_down=6 ramps=sine", 300 * 12 * 2 / pi * 0.0036),  # P × D × 2 ÷ π
    ],
)
def test_daily_light_integral(inputs: str, dli: float) -> None:
    assert calc(f"light {inputs}")["dli"] == pytest.approx(dli, abs=1e-9)
