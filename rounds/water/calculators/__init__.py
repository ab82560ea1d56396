"""The calculators of `rounds calc`: each with its inputs, what it works out, its source and its arithmetic."""

from __future__ import annotations

from rounds.core.errors import CannotRead
from rounds.core.words import quoted
from rounds.water.calculators import changes, chemistry, room, salinity, sea, series
from rounds.water.calculators.model import Answer, Calculator, Input, Output, Worked, ask
from rounds.water.measures import did_you_mean

__all__ = ["CALCULATORS", "Answer", "Calculator", "Input", "Output", "Worked", "ask", "calculator"]

CALCULATORS = {
    each.name: each
    for each in (
        chemistry.CARBONATE,
        chemistry.UN_IONISED,
        chemistry.LIMEWATER,
        chemistry.CALCIFICATION,
        chemistry.OXYGEN,
        changes.BALANCE,
        changes.WATER_CHANGE,
        changes.CHANGES_NEEDED,
        changes.REPLACEMENT,
        changes.BUILD_UP,
        salinity.SALINITY,
        salinity.SALT_BATCH,
        salinity.CORRECT_SALINITY,
        sea.COMPOSITION,
        room.LIGHT,
        room.EVAPORATION,
        room.DEPTH,
        room.VOLUME,
        room.HEAT_WEEKS,
        series.SLOPE,
        series.OUTLIERS,
    )
}
"""By name, in the order they are listed."""


def calculator(name: str) -> Calculator:
    """The calculator of that name; raise `CannotRead` with the ones there are."""
    wanted = name.strip().casefold().replace("_", "-")
    if wanted in CALCULATORS:
        return CALCULATORS[wanted]
    names = tuple(CALCULATORS)
    raise CannotRead(f"{quoted(name)}{did_you_mean(wanted, names)} is no calculator; write one of {', '.join(names)}")
