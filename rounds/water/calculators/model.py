"""What a calculator is, and how one is asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from keyword import iskeyword
from math import inf, isfinite
from typing import Any

import msgspec

from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import figures
from rounds.core.words import quoted
from rounds.water.measures import Measure, did_you_mean


class Input(msgspec.Struct, frozen=True):
    """One ``name=`` of a calculator."""

    name: str
    measure: Measure
    meaning: str
    default: str | None = None
    """As it would be typed; None: has to be given; empty: may be left out."""
    low: float = -inf
    high: float = inf
    """What the value can be, both ends included."""
    above: float | None = None
    """Has to be more than this."""


class Output(msgspec.Struct, frozen=True):
    """One field of the answer."""

    name: str
    unit: str
    meaning: str
    decimals: int | None = 2
    """Shown so many, None: six figures in all; in JSON the number is unrounded."""


class Worked(msgspec.Struct, frozen=True):
    """An answer: values by the name of their output, each line of the arithmetic, and what a keeper should know."""

    values: dict[str, Any]
    arithmetic: list[str]
    remarks: list[str] = []


class Calculator(msgspec.Struct, frozen=True, kw_only=True):
    """One named calculation with everything that is told about it."""

    name: str
    title: str
    inputs: tuple[Input, ...]
    """In the order they are read: what another needs comes first."""
    outputs: tuple[Output, ...]
    source: str
    example: tuple[str, ...]
    """What could be typed after the name."""
    work: Callable[..., Worked]
    """Called with the value of every input; those left out are None."""


class Answer(msgspec.Struct, frozen=True):
    """What a calculator made of what was typed."""

    calculator: Calculator
    given: dict[str, tuple[str, Any]]
    """Each input that has a value: its text, or the default's, and the value."""
    worked: Worked


def ask(calculator: Calculator, arguments: Mapping[str, str]) -> Answer:
    """Read the inputs and work it out.

    Raises `CannotRead` for an unknown or missing input and what cannot be read, `Refused` for what cannot be.
    """
    names = tuple(each.name for each in calculator.inputs)
    for name in arguments:
        if name not in names:
            raise CannotRead(
                f"{quoted(name)}{did_you_mean(name, names)} is no input of {calculator.name}, "
                f"which takes {', '.join(names)}"
            )
    missing = [each.name for each in calculator.inputs if each.default is None and each.name not in arguments]
    if missing:
        needs = " and ".join(f"{name}=" for name in missing)
        example = " ".join(in_shell(each) for each in calculator.example)
        raise CannotRead(f"{calculator.name} needs {needs}; for example: rounds calc {calculator.name} {example}")
    given: dict[str, tuple[str, Any]] = {}
    known: dict[str, Any] = dict.fromkeys(names)
    for each in calculator.inputs:
        text = arguments.get(each.name, each.default or "")
        if text == "" and each.name not in arguments:
            continue
        known[each.name] = _read(each, text, known)
        given[each.name] = (text.strip(), known[each.name])
    worked = calculator.work(**{f"{name}_" if iskeyword(name) else name: value for name, value in known.items()})
    if not all(_finite(value) for value in worked.values.values()):
        raise Refused(f"{calculator.name} has no answer for these inputs: a number grew beyond bounds; look at them")
    return Answer(calculator, given, worked)


def in_shell(argument: str) -> str:
    """An argument as it is typed into a shell."""
    return f'"{argument}"' if " " in argument else argument


def _read(each: Input, text: str, known: Mapping[str, Any]) -> Any:
    try:
        value = each.measure.read(text, known)
    except CannotRead as unread:
        raise CannotRead(f"{each.name}: {unread}") from None
    except Refused as impossible:
        raise Refused(f"{each.name}: {impossible}") from None
    for number in value if isinstance(value, list) else [value]:
        if isinstance(number, float):
            _check(each, number, text)
    return value


def _check(each: Input, value: float, text: str) -> None:
    unit = f" {each.measure.unit}" if each.measure.unit not in ("", "pH") else ""
    said = f"{each.name}: {figures(value)}{unit} cannot be"
    bare = f"; a number without a unit is in{unit}" if unit and text.strip()[-1:].isdigit() else ""
    if each.above is not None and not value > each.above:
        raise Refused(f"{said}; it must be more than {figures(each.above)}{unit}{bare}")
    if each.low <= value <= each.high:
        return
    if each.high == inf:
        raise Refused(f"{said}; it must be at least {figures(each.low)}{unit}{bare}")
    raise Refused(f"{said}; it must lie between {figures(each.low)} and {figures(each.high)}{unit}{bare}")


def _finite(value: Any) -> bool:
    if isinstance(value, list):
        return all(_finite(each) for each in value)
    return not isinstance(value, float) or isfinite(value)
