"""How strong a dosing solution is, as written on its label."""

from __future__ import annotations

import re

from rounds.core.constants import CALCIUM_PER_MEQ, MAGNESIUM_PER_MEQ
from rounds.core.errors import CannotRead
from rounds.core.words import quoted

_PER_LITRE = {"meq/mL": 1000.0, "meq/L": 1.0, "g/L": 1000.0, "mg/mL": 1000.0, "mg/L": 1.0}
_EQUIVALENT = {"alkalinity": 1.0, "calcium": CALCIUM_PER_MEQ, "magnesium": MAGNESIUM_PER_MEQ}
_TEXT = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*(\S+)\s*", re.ASCII)
_STRONGEST = 1e6


def parse_strength(text: str, doses: str) -> float:
    """What a litre of the solution holds: meq of alkalinity, mg of calcium or magnesium.

    ``"1.0 meq/mL"`` for each of them, ``"20 mg/mL"`` or ``"20 g/L"`` for the metals. Raises `CannotRead`.
    """
    units = [unit for unit in _PER_LITRE if unit.startswith("meq") or doses != "alkalinity"]
    found = _TEXT.fullmatch(text)
    if not found or found[2] not in units:
        raise CannotRead(
            f"{quoted(text)} is no strength; write a number and one of {', '.join(units)}, such as 1.0 meq/mL"
        )
    strength = float(found[1]) * _PER_LITRE[found[2]]
    if found[2].startswith("meq"):
        strength *= _EQUIVALENT[doses]
    if not 0 < strength < _STRONGEST:
        raise CannotRead(f"{quoted(text)} is no strength a solution can have; correct it")
    return strength
