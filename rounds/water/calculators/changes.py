"""Calculators of what goes in and out: water changes, supply and demand."""

from __future__ import annotations

from rounds.core.constants import CALCIUM, DKH_PER_MEQ
from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import figures as n
from rounds.water import calcification, mass_balance, measures, practice
from rounds.water.calculators.model import Calculator, Input, Output, Worked

_CONSERVED = "conservation of mass"
_WASH_OUT = f"{_CONSERVED}; continuous exchange: Levenspiel 1999, ch. 11–13"
_FRACTION = Input("fraction", measures.share(), "of the volume in one change", high=1, above=0)
_ORDER = Input(
    "order",
    measures.choice(*mass_balance.ORDERS),
    "drain a share and refill, fill up and drain the same, or exchange while it runs",
    mass_balance.DRAIN_FIRST,
)
_CONTINUOUS = Input("continuous", measures.yes_or_no(), "the same as order=continuous", "false")
_START = Input("start", measures.number(), "value before, in any unit")
_NEW = Input("new", measures.number(), "value of the water put in", "0")


def _order(order: str, continuous: bool) -> str:
    if continuous and order == mass_balance.FILL_FIRST:
        raise CannotRead("order=fill-first and continuous=true exclude each other; leave one out")
    return mass_balance.CONTINUOUS if continuous else order


def _left(fraction: float, times: float, order: str) -> str:
    return {
        mass_balance.DRAIN_FIRST: f"(1 − {n(fraction)})^{n(times)}",
        mass_balance.FILL_FIRST: f"1 ÷ (1 + {n(fraction)})^{n(times)}",
        mass_balance.CONTINUOUS: f"e^(−{n(fraction)} × {n(times)})",
    }[order]


def _water_change(fraction: float, times: float, start: float, new: float, order: str, continuous: bool) -> Worked:
    order = _order(order, continuous)
    if order != mass_balance.CONTINUOUS and times != int(times):
        raise Refused(f"{n(times)} changes cannot be made; give a whole number, or order=continuous")
    left = mass_balance.share_left(fraction, times, order)
    result = mass_balance.after_changes(start, new, fraction, times, order)
    arithmetic = [
        f"share of the old water left = {_left(fraction, times, order)} = {n(left)}",
        f"{n(new)} + ({n(start)} − {n(new)}) × {n(left)} = {n(result)}",
    ]
    remarks = []
    if fraction > practice.CHANGE_A_DAY:
        remarks.append(
            f"More than {practice.CHANGE_A_DAY:.0%} in a day is for emergencies; {practice.NEW_WATER} "
            "(common practice, no source)."
        )
    return Worked({"result": result, "left": left}, arithmetic, remarks)


WATER_CHANGE = Calculator(
    name="water-change",
    title="a value after repeated partial water changes",
    inputs=(
        _FRACTION,
        Input("times", measures.number(), "number of changes; with order=continuous any number", "1", low=0, high=1e6),
        _START,
        _NEW,
        _ORDER,
        _CONTINUOUS,
    ),
    outputs=(
        Output("result", "", "value after, in the unit of start", 4),
        Output("left", "", "share of the old water left", 4),
    ),
    source=_WASH_OUT,
    example=("fraction=10 %", "times=5", "start=40", "new=2"),
    work=_water_change,
)


def _changes_needed(fraction: float, start: float, new: float, target: float, order: str, continuous: bool) -> Worked:
    order = _order(order, continuous)
    times = mass_balance.changes_needed(start, new, target, fraction, order)
    whole = -int(-(times - 1e-9) // 1)
    left = (target - new) / (start - new)
    arithmetic = [
        f"share of the old water to be left = ({n(target)} − {n(new)}) ÷ ({n(start)} − {n(new)}) = {n(left)}",
        f"share left by one change = {_left(fraction, 1, order)} = {n(mass_balance.share_left(fraction, 1, order))}",
        _count(fraction, left, times, order),
        f"in whole changes: {whole}",
    ]
    return Worked({"times": times, "whole": whole}, arithmetic)


def _count(fraction: float, left: float, times: float, order: str) -> str:
    one = mass_balance.share_left(fraction, 1, order)
    if one == 0:
        return f"a whole change leaves nothing of it, so {n(times)} of them"
    return f"changes = ln({n(left)}) ÷ ln({n(one)}) = {n(times)}"


CHANGES_NEEDED = Calculator(
    name="changes-needed",
    title="how many water changes bring a value to a target",
    inputs=(_FRACTION, _START, _NEW, Input("target", measures.number(), "value wanted"), _ORDER, _CONTINUOUS),
    outputs=(
        Output("times", "", "changes needed", 2),
        Output("whole", "", "the next whole number of changes", 0),
    ),
    source=_WASH_OUT,
    example=("fraction=10 %", "start=40", "new=2", "target=10"),
    work=_changes_needed,
)


def _replacement(fraction: float, start: float, target: float) -> Worked:
    new = mass_balance.replacement(start, target, fraction)
    if new < 0:
        raise Refused(
            f"one change of {n(fraction)} cannot bring {n(start)} to {n(target)}: the new water would need {n(new)}; "
            "change more, or in steps"
        )
    line = f"({n(target)} − (1 − {n(fraction)}) × {n(start)}) ÷ {n(fraction)} = {n(new)}"
    return Worked({"new": new}, [line])


REPLACEMENT = Calculator(
    name="replacement",
    title="what the new water of one change must have to reach a target",
    inputs=(_FRACTION, _START, Input("target", measures.number(), "value wanted")),
    outputs=(Output("new", "", "value of the new water, in the unit of start", 3),),
    source=_CONSERVED,
    example=("fraction=20 %", "start=34", "target=34.5"),
    work=_replacement,
)


def _build_up(production: float, interval: float, fraction: float, new: float) -> Worked:
    before, after = (each + new for each in mass_balance.steady_state(production, interval, fraction))
    arithmetic = [
        f"before a change: {n(production)}/day × {n(interval)} days ÷ {n(fraction)} + {n(new)} = {n(before)}",
        f"after it: {n(before - new)} × (1 − {n(fraction)}) + {n(new)} = {n(after)}",
    ]
    return Worked({"before": before, "after": after}, arithmetic)


BUILD_UP = Calculator(
    name="build-up",
    title="where regular water changes hold what is steadily produced",
    inputs=(
        Input("production", measures.number(), "rise a day without changes, in any unit", low=0),
        Input("interval", measures.DAYS, "between changes", above=0),
        _FRACTION,
        Input("new", measures.number(), "value of the water put in", "0"),
    ),
    outputs=(
        Output("before", "", "just before a change, in the unit of production", 3),
        Output("after", "", "just after it", 3),
    ),
    source=_CONSERVED,
    example=("production=0.5", "interval=7", "fraction=10 %"),
    work=_build_up,
)


def _balance(supply: float, slope: float, target: float, now: float, max_step: float) -> Worked:
    found = mass_balance.holding(supply, slope, target, now, max_step)
    calcium = calcification.calcium(found.hold / DKH_PER_MEQ)
    arithmetic = [
        f"consumption = supply − slope = {n(supply)} − ({n(slope)}) = {n(found.consumption)} dKH/day",
        f"supply that holds: {_supplied(found.consumption)}",
        f"beside the supply now: {n(found.hold)} − {n(supply)} = {n(found.hold - supply)} dKH/day",
        *_way(target, now, max_step, found),
        f"calcium in step: {n(found.hold)} dKH/day ÷ {DKH_PER_MEQ} × {CALCIUM} ÷ 2 mg/meq = {n(calcium)} mg/L/day",
    ]
    remarks = [
        f"A proposal: test again before acting, and after {practice.ENOUGH_TESTS} tests over at least "
        f"{practice.ENOUGH_DAYS.days} days judge anew."
    ]
    if found.consumption < 0:
        remarks.insert(
            0, "The water gains without supply, or a test is off: look for the cause before changing a dose."
        )
    if abs(found.hold - supply) > practice.SUPPLY_STEP * supply:
        remarks.append(
            f"Change the standing dose by {practice.SUPPLY_STEP:.0%} of the supply at a step "
            "(common practice, no source)."
        )
    return Worked(
        {
            "consumption": found.consumption,
            "hold": found.hold,
            "days_to_target": found.days_to_target,
            "supply_until_target": found.supply_until_target,
            "calcium_in_step": calcium,
        },
        arithmetic,
        remarks,
    )


def _supplied(wanted: float) -> str:
    """A wanted supply as it can be given."""
    return f"{n(wanted)} dKH/day" if wanted >= 0 else f"{n(wanted)} dKH/day cannot be given, so 0"


def _way(target: float, now: float, max_step: float, found: mass_balance.Holding) -> list[str]:
    if target == now:
        return ["the target is met: no days to it"]
    step = mass_balance.daily_step(target - now, max_step)
    wanted = found.consumption + step
    return [
        f"days to the target = |{n(target)} − {n(now)}| dKH ÷ {n(max_step)} dKH/day = {n(found.days_to_target)}",
        f"supply until then = {n(found.consumption)} {'+' if step > 0 else '−'} {n(abs(step))} = {n(wanted)} dKH/day",
        *([f"as given until then: {_supplied(wanted)}"] if wanted < 0 else []),
    ]


BALANCE = Calculator(
    name="balance",
    title="what a system uses, the supply that holds it, and the way to its target",
    inputs=(
        Input("supply", measures.per_day(measures.DKH), "all that is given a day", low=0, high=1e4),
        Input("slope", measures.per_day(measures.DKH), "change a day under that supply; below 0 when falling",
              low=-1e4, high=1e4),
        Input("target", measures.DKH, "alkalinity wanted", low=0, high=1e4),
        Input("now", measures.DKH, "alkalinity of the last test", low=0, high=1e4),
        Input("max_step", measures.per_day(measures.DKH), "largest change a day", str(practice.RISE_A_DAY),
              low=0, high=1e4),
    ),
    outputs=(
        Output("consumption", "dKH/day", "what the system uses", 3),
        Output("hold", "dKH/day", "supply that holds", 3),
        Output("days_to_target", "days", "at the largest step", 1),
        Output("supply_until_target", "dKH/day", "supply on the way", 3),
        Output("calcium_in_step", "mg/L/day", "calcium that goes with what holds", 1),
    ),
    source=f"{_CONSERVED}; largest step: common practice, no source",
    example=("supply=0.902", "slope=-0.04", "target=8.0", "now=7.5", "max_step=0.5"),
    work=_balance,
)  # fmt: skip
