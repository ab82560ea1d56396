"""Calculators of salinity: what moves it, salt for a batch, and putting it right."""

from __future__ import annotations

from rounds.core.constants import STANDARD_SALINITY
from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import figures as n
from rounds.water import mass_balance, measures, practice
from rounds.water.calculators.model import Calculator, Input, Output, Worked

_CONSERVED = "conservation of mass"
_LIMIT = (
    f"Correct by {practice.SALINITY_UP_A_DAY} up or {practice.SALINITY_DOWN_A_DAY} down a day at most "
    "(common practice, no source)."
)


def _salinity(
    volume: float,
    temperature: float,
    salinity: float,
    lost: float | None,
    added: float | None,
    added_salinity: float,
    basis: str,
) -> Worked:
    if (lost is None) == (added is None):
        raise CannotRead(
            "salinity needs lost= (fresh water gone) or added= (water come in), one of them; for example: "
            "rounds calc salinity volume=1000 salinity=35 added=30"
        )
    if lost is not None and added_salinity:
        raise CannotRead("what evaporates is fresh water; leave added_salinity out, or give added=")
    change = -lost if lost is not None else added or 0.0
    unit, before, moved = "L", volume, change
    arithmetic = []
    if basis == "mass":
        unit = "kg"
        before, moved = (
            mass_balance.kilograms(litres, each, temperature)
            for litres, each in ((volume, salinity), (change, added_salinity))
        )
        arithmetic += [
            f"the water at {n(temperature)} °C: {_weighed(volume, before)}",
            f"what {'evaporates' if change < 0 else 'comes in'}: {_weighed(abs(change), abs(moved))}",
        ]
    result = mass_balance.salinity_after(before, salinity, moved, with_salinity=added_salinity)
    brought = f" + {n(added_salinity)} × {n(moved)} {unit}" if added_salinity else ""
    sign = "−" if change < 0 else "+"
    arithmetic += [
        f"({n(salinity)} × {n(before)} {unit}{brought}) ÷ ({n(before)} {unit} {sign} {n(abs(moved))} {unit})"
        f" = {n(result)}",
        f"change = {n(result)} − {n(salinity)} = {n(result - salinity)}",
    ]
    remarks = []
    if not -practice.SALINITY_DOWN_A_DAY <= result - salinity <= practice.SALINITY_UP_A_DAY:
        remarks.append(_LIMIT)
    if lost is None and not added_salinity and change > practice.BARREL_SHARE * volume:
        remarks.append(
            f"So much fresh water at once is more than a system stands: above {practice.BARREL_SHARE:.0%} of its "
            "volume."
        )
    return Worked({"result": result, "change": result - salinity}, arithmetic, remarks)


def _weighed(litres: float, kilograms: float) -> str:
    if not litres:
        return "nothing"
    return f"{n(litres)} L × {n(kilograms / litres)} kg/L = {n(kilograms)} kg"


SALINITY = Calculator(
    name="salinity",
    title="salinity after fresh water was lost or water came in",
    inputs=(
        Input("volume", measures.VOLUME, "net water before", above=0, high=1e9),
        Input("temperature", measures.TEMPERATURE, "of the water", "25", low=-2, high=40),
        Input("salinity", measures.SALINITY, "before", low=0, high=120),
        Input("lost", measures.VOLUME, "fresh water that evaporated", "", low=0, high=1e9),
        Input("added", measures.VOLUME, "instead: water that came in", "", low=0, high=1e9),
        Input("added_salinity", measures.SALINITY, "of what came in", "0", low=0, high=350),
        Input("basis", measures.choice("volume", "mass"), "add litres, or kilograms by density", "volume"),
    ),
    outputs=(
        Output("result", "PSU", "salinity after", 2),
        Output("change", "PSU", "by so much", 2),
    ),
    source=f"{_CONSERVED}, volumes taken as additive; with basis=mass the density of TEOS-10",
    example=("volume=1000", "salinity=35", "lost=10"),
    work=_salinity,
)


def _salt_batch(volume: float, from_: float, to: float, grams_per_litre: float, at: float) -> Worked:
    if to < from_:
        raise Refused(
            f"salt raises salinity, and {n(to)} is below {n(from_)}; use fresh water (rounds calc replacement)"
        )
    grams = mass_balance.salt_for(volume, from_, to, grams_per_litre, at)
    arithmetic = [
        f"for each unit of salinity: {n(grams_per_litre)} g/L ÷ {n(at)} = {n(grams_per_litre / at)} g/L",
        f"{n(volume)} L × {n(grams_per_litre / at)} g/L × ({n(to)} − {n(from_)}) = {n(grams)} g",
        f"{n(grams)} g ÷ 1000 g/kg = {n(grams / 1000)} kg",
    ]
    remarks = ["Weigh, mix until clear at the tank's temperature, and measure before use: salts take up moisture."]
    return Worked({"grams": grams, "kilograms": grams / 1000}, arithmetic, remarks)


SALT_BATCH = Calculator(
    name="salt-batch",
    title="salt for a batch of salt water",
    inputs=(
        Input("volume", measures.VOLUME, "water before the salt goes in", low=0, high=1e9),
        Input("from", measures.SALINITY, "salinity of that water", "0", low=0, high=120),
        Input("to", measures.SALINITY, "salinity wanted", "35", low=0, high=120),
        Input("grams_per_litre", measures.GRAMS_PER_LITRE, "of this salt in a litre that make the salinity `at`",
              above=0, high=1000),
        Input("at", measures.SALINITY, "salinity that grams_per_litre makes", "35", above=0, high=120),
    ),
    outputs=(Output("grams", "g", "salt", 0), Output("kilograms", "kg", "salt", 3)),
    source=f"{_CONSERVED}; in proportion to the salt's own figure for salinity 35",
    example=("volume=300", "from=0", "to=35", "grams_per_litre=38.5"),
    work=_salt_batch,
)  # fmt: skip


def _correct(
    volume: float, salinity: float, target: float, with_: float | None, grams_per_litre: float | None
) -> Worked:
    if with_ is not None and grams_per_litre is not None:
        raise CannotRead("correct-salinity takes with= or grams_per_litre=, not both; leave one out")
    if target > salinity and with_ is None and grams_per_litre is None:
        raise CannotRead(
            "raising salinity takes salt water or salt; give with= (its salinity) or grams_per_litre= (of the salt)"
        )
    if grams_per_litre is not None:
        if target < salinity:
            raise Refused(f"salt does not bring {n(salinity)} down to {n(target)}; leave grams_per_litre out")
        steps = mass_balance.correct_with_salt(volume, salinity, target, grams_per_litre)
    else:
        steps = mass_balance.correct_by_exchange(volume, salinity, target, with_ or 0.0)
    arithmetic = [
        line
        for day, step in enumerate(steps, 1)
        for line in (
            _dissolved(day, step, volume, grams_per_litre)
            if grams_per_litre is not None
            else _exchanged(day, step, volume, with_ or 0.0)
        )
    ]
    values = {
        "days": len(steps),
        "litres": [step.litres for step in steps] if grams_per_litre is None else None,
        "grams": [step.grams for step in steps] if grams_per_litre is not None else None,
        "salinities": [step.after for step in steps],
    }
    remarks = [
        "Check the instrument in a standard first; measure before each step, and stop where animals suffer.",
        _LIMIT,
    ]
    if grams_per_litre is None:
        remarks.append(
            f"The water put in has to be {practice.NEW_WATER}, its salinity apart; top-off off while it is done."
        )
    else:
        remarks.append("Dissolve the salt in water drawn from the system, never in the tank itself.")
    return Worked(values, arithmetic or ["it is there: nothing to do"], remarks)


def _exchanged(day: int, step: mass_balance.SalinityStep, volume: float, with_water: float) -> tuple[str, str]:
    litres, reach = n(step.litres), f"({n(with_water)} − {n(step.before)})"
    return (
        f"day {day}: {n(volume)} L × ({n(step.after)} − {n(step.before)}) ÷ {reach} = {litres} L drained and replaced",
        f"then {n(step.before)} + {litres} L ÷ {n(volume)} L × {reach} = {n(step.after)}",
    )


def _dissolved(day: int, step: mass_balance.SalinityStep, volume: float, grams_per_litre: float) -> tuple[str, ...]:
    return (
        f"day {day}: {n(volume)} L × {n(grams_per_litre)} g/L × ({n(step.after)} − {n(step.before)}) "
        f"÷ {n(STANDARD_SALINITY)} = {n(step.grams)} g of salt",
    )


CORRECT_SALINITY = Calculator(
    name="correct-salinity",
    title="putting salinity right, day by day within what a day may bring",
    inputs=(
        Input("volume", measures.VOLUME, "net water", above=0, high=1e9),
        Input("salinity", measures.SALINITY, "now", low=0, high=120),
        Input("target", measures.SALINITY, "wanted", low=0, high=120),
        Input("with", measures.SALINITY, "of the water put in for what is drained; fresh water when left out", "",
              low=0, high=350),
        Input("grams_per_litre", measures.GRAMS_PER_LITRE, "instead, to raise it: of a salt, what makes salinity 35",
              "", above=0, high=1000),
    ),
    outputs=(
        Output("days", "", "steps, one a day", 0),
        Output("litres", "L", "to drain and replace, day by day", 1),
        Output("grams", "g", "of salt, day by day", 0),
        Output("salinities", "PSU", "after each", 2),
    ),
    source=f"{_CONSERVED}; what a day allows: common practice, no source",
    example=("volume=960", "salinity=36.5", "target=35"),
    work=_correct,
)  # fmt: skip
