"""What is typed under a task: leading numbers for its readings, then a note.

``VALUES [note]``: as many leading numbers as the task takes readings, in order, each with an
optional unit that its quantity has; a comma is a decimal sign; a lone ``-`` leaves one out;
``<0.02`` and ``>50`` lie beyond the kit's limit. A word after a number that is no unit starts the
note, and on a task that takes nothing the whole line is the note.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import msgspec

from rounds.core.errors import CannotRead, Refused
from rounds.core.model import Reading
from rounds.core.numbers import DECIMAL, read_number
from rounds.core.quantities import QUANTITIES, Unit
from rounds.core.record import Value
from rounds.core.units import Seawater, find_unit, is_unit, named_unit, show, to_canonical, unclear
from rounds.core.words import condition_words

IMPLAUSIBLE = "implausible"

_NUMBER = re.compile(rf"(?P<bound>[<>])?\s*(?P<number>{DECIMAL})")
_LEFT_OUT = re.compile(r"-(?=\s|$)")
_WORD = re.compile(r"\s*[^\s,;]+")
_MOST_WORDS = 4
"""Of a unit: SG 60 °F/60 °F."""
_NOT_FOREIGN = frozenset({"in", "R", "S", "free", "gallon", "gallons", "ratio", "total"})
"""Names of units that begin a note more often than they stand for a unit of something else."""
_LIQUID = (-5.0, 60.0)
"""°C a probe in the water of a system can show."""
_LONGEST = 2000
"""Characters of one entry; a note longer than this is refused, not cut."""


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """What was typed, understood."""

    values: tuple[Value, ...] = ()
    note: str = ""
    words: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    """What the keeper is asked before it is recorded; empty: nothing odd."""


class Typed(msgspec.Struct, frozen=True):
    """One number as it stands in the line."""

    reading: Reading
    entered: str
    number: float
    unit: Unit | None
    bound: str | None


def read_entry(
    text: str,
    takes: Sequence[Reading],
    *,
    salinity_unit: str = "PSU",
    temperature: float | None = None,
    seawater: Seawater | None = None,
) -> Entry:
    """Read an entry line for the readings a task takes.

    `salinity_unit` is the room's (it says which specific gravity ``SG`` alone means),
    `temperature` the last one known of the system in °C, `seawater` converts to salinity.
    Raises `Refused` for a value that cannot be; what is only odd comes back as questions.
    """
    if len(text) > _LONGEST:
        raise Refused(f"the entry is {len(text)} characters long; keep it within {_LONGEST}")
    try:
        typed, note, questions = _split(text.strip(), takes, salinity_unit)
    except CannotRead as unknown_unit:
        raise Refused(str(unknown_unit)) from None
    measured = [_value(each, None, None) for each in typed if each.reading.quantity == "temperature" and not each.bound]
    if measured:
        temperature = measured[-1].value
    values = tuple(_value(each, temperature, seawater) for each in typed)
    for each, value in zip(typed, values, strict=True):
        if value.flag == IMPLAUSIBLE:
            questions.append(f"{each.entered} is unusual for {each.reading.name}; is it right?")
    return Entry(values=values, note=note, words=condition_words(note), questions=tuple(questions))


def _split(text: str, takes: Sequence[Reading], salinity_unit: str) -> tuple[list[Typed], str, list[str]]:
    typed: list[Typed] = []
    questions: list[str] = []
    for reading in takes:
        if left_out := _LEFT_OUT.match(text):
            text = text[left_out.end() :].lstrip()
            continue
        found = _number(text, reading, salinity_unit)
        if found is None:
            break
        typed.append(found[0])
        text = found[1]
    else:
        if len(takes) == 1 and typed:
            again = _repeat(text, takes[0], salinity_unit)
            if again is not None:
                questions.append(f"is {again[0].entered} a repeat of {takes[0].name}?")
                typed.append(again[0])
                text = again[1]
    return typed, text, questions


def _number(text: str, reading: Reading, salinity_unit: str) -> tuple[Typed, str] | None:
    """The number at the beginning of the line with its unit, and what follows; None: the note begins."""
    found = _NUMBER.match(text)
    if not found:
        return None
    rest = text[found.end() :]
    unit, length = _unit(rest, reading.quantity, salinity_unit)
    after = rest[length:]
    if unit is None and rest and not found["number"].endswith(","):
        glued = not rest[0].isspace()
        if re.match(r"[,;](\s|$)", rest):
            after = rest[1:]
        elif foreign := _foreign(rest):
            find_unit(reading.quantity, foreign)
        elif glued and (rest[0].isalpha() or rest[0] in "%°µ"):
            find_unit(reading.quantity, rest.split()[0])
        elif glued:
            return None  # a time such as 8:30, a fraction: words, not a value
    entered = (found.group() + rest[:length]).strip()
    number = read_number(found["number"])
    return Typed(reading, entered, number, unit, found["bound"]), after.strip()


def _unit(rest: str, quantity: str, salinity_unit: str) -> tuple[Unit | None, int]:
    """The unit that `rest` begins with and how many characters it takes; (None, 0) without one."""
    if _leading(rest, lambda text: named_unit(quantity, text) is not None):
        longest = _leading(rest, is_unit)  # mg/L PO4 is no mg/L of nitrate with the note PO4
        return find_unit(quantity, longest), len(longest)
    if quantity == "salinity" and (found := re.match(r"\s*SG(?=[\s,;]|$)", rest, re.IGNORECASE)):
        if pair := re.match(r"\s*SG\s+[0-9.]+\s*/\s*\S+", rest, re.IGNORECASE):
            raise Refused(f"{pair.group().strip()} is no pair known here; type SG 20/20, SG 25/25 or SG 60/60F")
        if not salinity_unit.startswith("SG"):
            raise Refused("SG alone has no reference here; type SG 20/20, SG 25/25 or SG 60/60F")
        return find_unit(quantity, salinity_unit), found.end()
    return None, 0


def _foreign(rest: str) -> str:
    """The unit of any quantity that `rest` begins with, in its usual capitals; empty without one.

    Asked when it is none of this quantity, so that 35 °C is never kept as a salinity with the note "°C".
    """
    found = _leading(rest, lambda text: is_unit(text, in_any_case=False) or bool(unclear(text))).strip()
    return "" if found in _NOT_FOREIGN else found


def _leading(rest: str, known: Callable[[str], bool]) -> str:
    """The most words that `rest` begins with and that together are known, as they stand; empty: not one."""
    ends = [0]
    while len(ends) <= _MOST_WORDS and (word := _WORD.match(rest, ends[-1])):
        ends.append(word.end())
    return next((rest[:end] for end in reversed(ends[1:]) if known(rest[:end])), "")


def _repeat(text: str, reading: Reading, salinity_unit: str) -> tuple[Typed, str] | None:
    """A second number when it can be one of the same reading; "8.1 20 L changed" goes on with a note."""
    try:
        again = _number(text, reading, salinity_unit)
        if again is None or _value(again[0], 25.0, None).flag is None:
            return again
    except (Refused, CannotRead):
        return None
    return None


def _value(typed: Typed, temperature: float | None, seawater: Seawater | None) -> Value:
    reading = typed.reading
    unit = typed.unit.name if typed.unit is not None else reading.unit
    canonical = to_canonical(
        reading.quantity, typed.number, unit, reading=reading, temperature=temperature, seawater=seawater
    )
    low, high = _possible(reading)
    if not low <= canonical <= high:
        raise Refused(
            f"{typed.entered} cannot be right for {reading.name}, which lies between "
            f"{show(reading, low)} and {show(reading, high)}; type it again"
        )
    return Value(
        reading=reading.id,
        entered=typed.entered,
        value=canonical,
        unit=QUANTITIES[reading.quantity].canonical,
        bound=typed.bound,
        flag=None if typed.bound or _usual(reading, canonical) else IMPLAUSIBLE,
    )


def _possible(reading: Reading) -> tuple[float, float]:
    """What the quantity can be; of a temperature with the limits of water, what water can be: 77 °C is a slip."""
    kind = QUANTITIES[reading.quantity]
    low, high = kind.plausible
    limits = _limits(reading)
    if reading.quantity == "temperature" and limits and all(low <= limit <= high for limit in limits):
        return _LIQUID
    return kind.possible


def _usual(reading: Reading, canonical: float) -> bool:
    """Within what the quantity can plausibly be, widened where this reading's own limits lie outside (a freezer)."""
    if reading.capacity is not None:
        return canonical <= reading.capacity
    low, high = QUANTITIES[reading.quantity].plausible
    margin = (high - low) / 2
    for limit in _limits(reading):
        if limit < low:
            low = limit - max(margin, abs(limit) * 0.3)
        if limit > high:
            high = limit + max(margin, abs(limit) * 0.4)
    return low <= canonical <= high


def _limits(reading: Reading) -> list[float]:
    found = (reading.low, reading.act_low, reading.high, reading.act_high)
    return [limit.canonical for limit in found if limit is not None]
