"""How a keeper types the answers from which a new room is made."""

from __future__ import annotations

import re
from datetime import time
from math import pi

from rounds.core.errors import CannotRead
from rounds.core.model import Keeper, Shift
from rounds.core.numbers import AMOUNT, read_number
from rounds.core.quantities import QUANTITIES
from rounds.core.units import find_unit, from_canonical, to_canonical
from rounds.core.words import quoted

MOST_PIECES = 50
"""So many pieces of one kind a system has at the most."""

_SHIFT = re.compile(r"(.*?)\s+([0-9]{1,2})[:.]([0-9]{2})\s*(?:-|–|to)?\s*([0-9]{1,2})[:.]([0-9]{2})", re.ASCII)
_SIDE = r"([0-9]+(?:[.,][0-9]+)?)"
_BY = r"\s*(?:x|×|\*|by)\s*"
_BOX = re.compile(rf"{_SIDE}{_BY}{_SIDE}{_BY}{_SIDE}\s*([a-z]*)", re.ASCII | re.IGNORECASE)
_ROUND = re.compile(rf"(?:d|dia|diameter|⌀|ø)\s*{_SIDE}{_BY}{_SIDE}\s*([a-z]*)", re.IGNORECASE)


def read_name(text: str) -> str:
    """A name that is not blank; any characters but those that no terminal can show."""
    name = " ".join(text.split())
    if not name:
        raise CannotRead("a name is missing; type one")
    return name


def read_keeper(text: str) -> Keeper:
    """``TV Tibor Velsen``: initials of up to eight letters or digits, then the name, which may be missing."""
    initials, _, name = text.strip().partition(" ")
    if not 1 <= len(initials) <= 8 or not all(c.isalnum() for c in initials):
        raise CannotRead(
            f"{quoted(initials)} are no initials; type up to eight letters or digits, a space and the name"
        )
    return Keeper(initials, " ".join(name.split()))


def read_shift(text: str) -> Shift:
    """``early 07:00 13:00``: name, beginning and end."""
    found = _SHIFT.fullmatch(text.strip())
    if found is None or not found[1].strip():
        raise CannotRead(
            f"{quoted(text)} is no shift; type its name, its beginning and its end, such as early 07:00 13:00"
        )
    return Shift(read_name(found[1]), _clock(found[2], found[3]), _clock(found[4], found[5]))


def read_clock(text: str) -> time:
    """``04:00``"""
    hour, _, minute = text.strip().replace(".", ":").partition(":")
    if not (hour.isascii() and minute.isascii() and hour.isdigit() and minute.isdigit()):
        raise CannotRead(f"{quoted(text)} is no time of day; type one such as 04:00")
    return _clock(hour, minute)


def _clock(hour: str, minute: str) -> time:
    try:
        return time(int(hour), int(minute))
    except ValueError:
        raise CannotRead(f"{hour}:{minute} is no time of day; type one from 00:00 to 23:59") from None


def read_pieces(text: str) -> int:
    """How many pieces of equipment there are of one kind; 0: none any more."""
    typed = text.strip()
    if not (typed.isascii() and typed.isdigit() and int(typed) <= MOST_PIECES):
        raise CannotRead(f"{quoted(text)} is no number of pieces; type one from 0 to {MOST_PIECES}")
    return int(typed)


def read_amount(text: str, unit: str) -> str:
    """``80 L`` from a number with a unit of volume; `unit` where none is typed."""
    found = AMOUNT.fullmatch(text)
    if found is None:
        raise CannotRead(f"{quoted(text)} is no volume; type a number and a unit, such as 80 {unit}")
    number, name = read_number(found[1]), find_unit("volume", found[2] or unit).name
    _, most = QUANTITIES["volume"].possible
    litres = to_canonical("volume", number, name)
    if not 0 < litres <= most:
        raise CannotRead(f"{quoted(text)} cannot be a volume; type more than nothing and at most {most:,.0f} L")
    return f"{_written(number)} {name}"


def read_water(text: str, unit: str) -> tuple[str, str]:
    """Volume and surface of a system: ``960 L``, ``200 x 60 x 50`` (length, width, height of the water in cm) or
    ``d 80 x 60`` (diameter, height). The surface is known from dimensions alone.
    """
    box, drum = _BOX.fullmatch(text.strip()), _ROUND.fullmatch(text.strip())
    if box is not None:
        long, wide, high = (_cm(box[place], box[4]) for place in (1, 2, 3))
        return _water(text, long * wide, high, unit)
    if drum is not None:
        across, high = _cm(drum[1], drum[3]), _cm(drum[2], drum[3])
        return _water(text, pi / 4 * across * across, high, unit)
    try:
        return read_amount(text, unit), ""
    except CannotRead as refused:
        raise CannotRead(f"{refused}, or length x width x height of the water in cm, or d 80 x 60") from None


def _water(text: str, square_cm: float, high: float, unit: str) -> tuple[str, str]:
    litres = square_cm * high / 1000
    if not litres:
        raise CannotRead(f"{quoted(text)} holds nothing; type length, width and height of the water")
    number = from_canonical("volume", litres, unit)
    return read_amount(_written(_figures(number, 3)), unit), f"{_written(_figures(square_cm / 10_000, 3))} m2"


def _cm(number: str, unit: str) -> float:
    return to_canonical("length", read_number(number), unit or "cm")


def _figures(number: float, figures: int) -> float:
    return float(f"{number:.{figures}g}")


def _written(number: float) -> str:
    """The number in full, without an exponent."""
    return f"{number:.6f}".rstrip("0").rstrip(".")


def share_of(amount: str, share: float) -> str:
    """A part of an amount, in its unit: a quarter of ``80 L`` is ``20 L``."""
    number, _, unit = amount.partition(" ")
    return f"{_written(_figures(float(number) * share, 2))} {unit}"
