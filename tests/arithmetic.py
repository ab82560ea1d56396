"""Printed arithmetic worked out again from what is printed, as a reader with a pencil would.

``calcium = 6.4 L × 20.3 mmol/L × 0.92 = 119.526 mmol, so much`` holds where every side that is a calculation or a
number comes to the same. Every printed number stands for all those that agree with it to six figures.
"""

from __future__ import annotations

import itertools
import math
import re

_CLAUSES = re.compile(r"[;:,] ")
_TOKENS = re.compile(
    r"(?P<number>(?:(?<![\w)])-)?[0-9](?:[0-9]|,(?=[0-9]{3}))*(?:\.[0-9]+)?(?:e[+-][0-9]+)?)"
    r"|(?P<function>ln(?=\()|e(?=\^))"
    r"|(?P<unit>[^\W\d_°µ/%][^\s()|×÷^]*|[°µ/%][^\s()|×÷^]*)"
    r"|(?P<sign>[()|×÷+−^])"
)
_PYTHON = {"×": "*", "÷": "/", "−": "-", "^": "**", "ln": "log"}


def false_clauses(line: str) -> list[str]:
    """The clauses of a line whose sides do not come to the same; raises `SyntaxError` for what cannot be worked out."""
    return [clause for clause in _CLAUSES.split(line) if not _holds(clause)]


def calculates(line: str) -> bool:
    """Whether there is something in a line to work out."""
    return any(len(_sides(clause)) > 1 for clause in _CLAUSES.split(line))


def _holds(clause: str) -> bool:
    sides = _sides(clause)
    if len(sides) < 2:
        return True
    values = [_worked_out(side) for side in sides]
    return all(
        abs(one - other) <= one_off + other_off + 1e-12
        for (one, one_off), (other, other_off) in itertools.pairwise(values)
    )


def _sides(clause: str) -> list[str]:
    """Those with a number in them: others are names."""
    return [side for side in clause.split(" = ") if any(found["number"] for found in _TOKENS.finditer(side))]


def _worked_out(side: str) -> tuple[float, float]:
    """What a side comes to, and by how much that can be off for the figures that its numbers do not show."""
    expression, numbers, bars = "", [], 0
    for found in _TOKENS.finditer(side):
        if found["number"]:
            expression += f"v[{len(numbers)}]"
            numbers.append(found["number"].replace(",", ""))
        elif found["sign"] == "|":
            expression += "abs(" if bars % 2 == 0 else ")"
            bars += 1
        elif found["function"] or found["sign"]:
            expression += _PYTHON.get(found[0], found[0])
    known = {"log": math.log, "e": math.e, "abs": abs, "__builtins__": {}}
    given = [float(number) for number in numbers]
    formula = compile(expression.strip(), side, "eval")
    value = eval(formula, known | {"v": given})
    moved = (
        abs(eval(formula, known | {"v": [*given[:place], given[place] + _unseen(number), *given[place + 1 :]]}) - value)
        for place, number in enumerate(numbers)
    )
    return value, sum(moved)


def _unseen(number: str) -> float:
    """Half a unit of the last figure shown, or of the sixth where fewer are: more would have been noughts."""
    digits, _, exponent = number.lstrip("-").partition("e")
    whole, _, decimals = digits.partition(".")
    figures = len((whole + decimals).lstrip("0"))
    last = -len(decimals) - max(0, 6 - figures) + int(exponent or 0)
    return 0.0 if float(number) == 0 else 0.5 * 10.0**last
