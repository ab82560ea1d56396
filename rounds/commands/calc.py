"""`rounds calc`: the water arithmetic, with every line of it."""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from rounds.commands import Command
from rounds.commands.opening import print_json
from rounds.core.errors import CannotRead
from rounds.core.numbers import figures, read_number
from rounds.core.words import quoted

if TYPE_CHECKING:
    from rounds.water.calculators import Answer, Calculator, Input, Output

_WIDTH = 92
_ONLY_NUMBERS = re.compile(r"[0-9.,; +\-]+")
_HOW = (
    "rounds calc NAME key=value … works one of these out and shows every line of it. A bare number is in the unit "
    'named first; temperature=77F and volume="20 US gal" are understood. --json gives unrounded numbers.'
)


def options(command: Command) -> None:
    command.option("name", metavar="NAME", nargs="?", help="a calculator; without one they are listed")
    command.option(
        "inputs", metavar="key=value", nargs="*", help='such as temperature=25, volume="20 US gal" or y=1,2.5,4'
    )
    command.option("--about", action="store_true", help="the inputs, units and source of this calculator")
    command.json("as JSON, numbers unrounded")


def run(options: argparse.Namespace) -> int:
    from rounds.water.calculators import CALCULATORS, ask, calculator

    if options.name is None or options.about:
        chosen = list(CALCULATORS.values()) if options.name is None else [calculator(options.name)]
        if options.json:
            print_json([_about_json(each) for each in chosen])
        else:
            print("\n\n".join([_wrapped(_HOW), *(_about(each) for each in chosen)]))
        return 0
    answer = ask(calculator(options.name), _arguments(options.inputs))
    if options.json:
        print_json(_answer_json(answer))
    else:
        print(_answer(answer))
    return 0


def _arguments(texts: Sequence[str]) -> dict[str, str]:
    given: dict[str, str] = {}
    for text in texts:
        name, sign, value = text.partition("=")
        name = name.strip().casefold().replace("-", "_")
        if not sign or not name:
            raise CannotRead(
                f"{quoted(text)} is no input; write its name and value without spaces around the =, as in ph=8.1"
            )
        if name in given:
            raise CannotRead(f"{name} is given twice; leave one out")
        given[name] = value
    return given


def _answer(answer: Answer) -> str:
    from rounds.core.words import plain

    asked = answer.calculator
    inputs = [(f"{name} =", plain(_shown_input(text, value, _input(asked, name))))
              for name, (text, value) in answer.given.items()]  # fmt: skip
    results = [
        (f"{each.name} =", f"{shown}   {each.meaning}".rstrip())
        for each in asked.outputs
        if (shown := _shown_output(answer.worked.values[each.name], each))
    ]
    blocks = [
        _wrapped(f"{asked.name}: {asked.title}"),
        _table(inputs),
        "\n".join(_wrapped(line, "  ", "      ") for line in answer.worked.arithmetic),
        _table(results),
        *(_wrapped(remark) for remark in answer.worked.remarks),
        _wrapped(f"Source: {asked.source}. Worked without rounding; shown rounded, unrounded with --json."),
    ]
    return "\n\n".join(blocks)


def _answer_json(answer: Answer) -> dict[str, Any]:
    asked, worked = answer.calculator, answer.worked
    return {
        "calculator": asked.name,
        **{each.name: worked.values[each.name] for each in asked.outputs},
        "units": {each.name: each.unit for each in asked.outputs},
        "inputs": {
            name: {"given": text, "value": value, "unit": _input(asked, name).measure.unit}
            for name, (text, value) in answer.given.items()
        },
        "arithmetic": worked.arithmetic,
        "remarks": worked.remarks,
        "source": asked.source,
    }


def _about(asked: Calculator) -> str:
    from rounds.water.calculators.model import in_shell

    rows = [(f"{each.name}=", f"{each.meaning}{_written(each)}{_default(each)}") for each in asked.inputs]
    rows += [(f"→ {each.name}", f"{each.meaning}{f' ({each.unit})' if each.unit else ''}") for each in asked.outputs]
    example = f"rounds calc {asked.name} {' '.join(in_shell(each) for each in asked.example)}"
    ending = _table([("source", asked.source), ("example", example)])
    return f"{asked.name}: {asked.title}\n{_table(rows)}\n{ending}"


def _about_json(asked: Calculator) -> dict[str, Any]:
    return {
        "calculator": asked.name,
        "title": asked.title,
        "inputs": [
            {
                "name": each.name,
                "unit": each.measure.unit,
                "written": each.measure.written,
                "meaning": each.meaning,
                "required": each.default is None,
                "default": each.default or None,
            }
            for each in asked.inputs
        ],
        "outputs": [{"name": each.name, "unit": each.unit, "meaning": each.meaning} for each in asked.outputs],
        "source": asked.source,
        "example": list(asked.example),
    }


def _written(each: Input) -> str:
    return f" ({each.measure.written})" if each.measure.written else ""


def _default(each: Input) -> str:
    if each.default is None:
        return ""
    return f"; {each.default} when left out" if each.default else "; can be left out"


def _input(asked: Calculator, name: str) -> Input:
    return next(each for each in asked.inputs if each.name == name)


def _shown_input(text: str, value: Any, each: Input) -> str:
    unit = "" if each.measure.unit in ("", "pH") else f" {each.measure.unit}"
    shown = f"{each.measure.show(value)}{unit}"
    if _ONLY_NUMBERS.fullmatch(text) and (isinstance(value, list) or value == read_number(text)):
        return f"{text}{unit}"
    return shown if shown == text else f"{text} = {shown}"


def _shown_output(value: Any, each: Output) -> str:
    unit = f" {each.unit}" if each.unit else ""
    if value is None:
        return ""
    if isinstance(value, list):
        return (", ".join(_rounded(one, each) for one in value) or "none") + unit
    return _rounded(value, each) + unit


def _rounded(value: Any, each: Output) -> str:
    if not isinstance(value, float):
        return str(value)
    decimals = each.decimals
    if decimals is None:
        return figures(value)
    while 0 < abs(value) < 10**-decimals and decimals < 8:
        decimals += 2
    return f"{value:.{decimals}f}"


def _table(rows: Iterable[tuple[str, str]]) -> str:
    rows = list(rows)
    wide = max((len(head) for head, _ in rows), default=0) + 1
    return "\n".join(_wrapped(body, f"  {head:<{wide}}", " " * (wide + 2)) for head, body in rows)


def _wrapped(text: str, first: str = "", other: str = "") -> str:
    return "\n".join(wrap(text, _WIDTH, initial_indent=first, subsequent_indent=other, break_long_words=False))
