"""Units by their names, values in another unit of their quantity, and how a reading's value is shown.

The units themselves, with their factors, are in `rounds.core.quantities`.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from functools import lru_cache

from rounds.core.eos80 import gravity, salinity_of_gravity
from rounds.core.errors import CannotRead, Refused
from rounds.core.model import Quantity, Reading
from rounds.core.quantities import QUANTITIES, UNCLEAR, Kind, Unit
from rounds.core.words import quoted

Seawater = Callable[[float, float], float]
"""Practical salinity from a conductivity in mS/cm and the temperature in °C."""

SMALL_VESSEL = 10.0
"""Litres: in a vessel that holds less a tenth of a litre is too coarse to see the use of a day."""
_TENTHS = ("L", "US gal", "UK gal")
"""Units in which the level of a larger vessel is shown to a tenth."""


def kind(quantity: str) -> Kind:
    """The quantity of that name; raise `CannotRead` with the ones there are."""
    try:
        return QUANTITIES[quantity]
    except KeyError:
        raise CannotRead(f"{quoted(quantity)} is no quantity; write one of {', '.join(QUANTITIES)}") from None


def find_unit(quantity: str, text: str) -> Unit:
    """The unit of the quantity that `text` names, in any case and spacing; raise `CannotRead` with the choice.

    Units that are only converted are refused here: see `Kind.converted`.
    """
    found = named_unit(quantity, text)
    units = kind(quantity).units
    names = ", ".join(unit.name or "none" for unit in units)
    if found in units:
        return found
    if found is not None:
        why = ", because it takes the properties of the water" if found.needs else ""
        raise CannotRead(
            f"{found.name} cannot be recorded as {quantity}{why}; "
            f"work it out with rounds convert and write one of: {names}"
        )
    raise CannotRead(unclear(text, quantity) or f"{quoted(text)} is no unit of {quantity}; write one of: {names}")


def named_unit(quantity: str, text: str) -> Unit | None:
    """The unit of the quantity that `text` names, also one that is only converted; None: no such."""
    return _by_name(quantity).get(_plainly(text))


def unclear(text: str, quantity: str | None = None) -> str:
    """Why `text` is a unit of nothing although people write it; empty when nothing is known of it.

    With a `quantity` only where people write it for that one.
    """
    quantities, remedy = UNCLEAR.get(_plainly(text), ((), ""))
    return remedy if quantity is None or quantity in quantities else ""


def is_unit(text: str, *, in_any_case: bool = True) -> bool:
    """Whether `text` is a unit of any quantity; else only in its usual capitals, as C is °C and c is not."""
    return _plainly(text) in _names()[0] if in_any_case else _plainly(text, fold=False) in _names()[1]


@lru_cache(maxsize=64)
def _by_name(quantity: str) -> dict[str, Unit]:
    return {_plainly(name): unit for unit in kind(quantity).every_unit for name in (unit.name, *unit.aliases)}


@lru_cache(maxsize=1)
def _names() -> tuple[frozenset[str], frozenset[str]]:
    """Every name of a unit, in any case and in its own."""
    units = {unit for each in QUANTITIES.values() for unit in each.every_unit}
    names = {name for unit in units for name in (unit.name, *unit.aliases) if name}
    return frozenset(_plainly(name) for name in names), frozenset(_plainly(name, fold=False) for name in names)


def _plainly(text: str, *, fold: bool = True) -> str:
    """One spelling for all: ``mg/l  as N``, ``mg/L N``; ``µ``, ``μ``, ``u``; ``m²``, ``m2``; ``º``, ``°``."""
    if not text.isascii():
        text = unicodedata.normalize("NFKC", text.translate(_LIKE))
    text = text.casefold().replace("μ", "u") if fold else text.replace("μ", "u")
    return _IDLE.sub("", text)


_LIKE = str.maketrans("º˚−", "°°-")
_IDLE = re.compile(r"\bas\b|[\s()^*_·]")
"""What makes no difference in the name of a unit."""


def to_canonical(
    quantity: str,
    value: float,
    unit: str,
    *,
    reading: Reading | None = None,
    temperature: float | None = None,
    seawater: Seawater | None = None,
) -> float:
    """The value in the canonical unit of its quantity.

    `reading` gives the vessel of a level, `temperature` (°C) and `seawater` what salinity from
    conductivity takes. Raises `Refused` when one of these is missing.
    """
    found = find_unit(quantity, unit)
    if found.factor is not None:
        return found.factor * (value - found.zero)
    if found.needs == "reference pair":
        return salinity_of_gravity(value, *reference_pair(found.name))
    if found.needs == "conductivity":
        if temperature is None:
            raise Refused(
                f"{value:g} mS/cm needs a temperature; read the temperature of this system first, or type PSU"
            )
        if seawater is None:
            raise Refused(f"{found.name} cannot be converted here; type the salinity in PSU")
        return seawater(value, temperature)
    if reading is not None and found.name == "%" and reading.capacity is not None:
        return value / 100 * reading.capacity
    if reading is not None and found.name == "cm" and reading.litres_per_cm is not None:
        return value * reading.litres_per_cm
    missing = "capacity" if found.name == "%" else "litres_per_cm"
    raise Refused(f"a level in {found.name} needs {missing} in the reservoir's table; type litres")


def from_canonical(quantity: str, value: float, unit: str, *, reading: Reading | None = None) -> float:
    """A canonical value in another unit; of a level whose vessel is not known, unchanged.

    Raises `Refused` for conductivity, which no salinity has without a temperature; see `shown_unit`.
    """
    found = find_unit(quantity, unit)
    if found.factor is not None:
        return value / found.factor + found.zero
    if found.needs == "reference pair":
        return gravity(value, *reference_pair(found.name))
    if found.needs == "conductivity":
        raise Refused(f"a salinity has no {found.name} without a temperature; use PSU, or rounds convert")
    if reading is not None and found.name == "%" and reading.capacity:
        return value / reading.capacity * 100
    if reading is not None and found.name == "cm" and reading.litres_per_cm:
        return value / reading.litres_per_cm
    return value


def reference_pair(name: str) -> tuple[float, float]:
    """Temperatures in °C of the sample and of the pure water of a unit: ``SG 25/25``, ``SG 60/60F``, ``SG 25C/60F``.

    One mark stands for both when both are the same number.
    """
    found = _PAIR.fullmatch(_plainly(name))
    if not found:
        raise CannotRead(f"{quoted(name)} is no specific gravity at a reference pair; write for example SG 25/25")
    pure_scale = found["pure_scale"] or found["sample_scale"] or "c"
    same = found["sample"] == found["pure"]
    sample_scale = found["sample_scale"] or (pure_scale if same else "c")
    return _celsius(found["sample"], sample_scale), _celsius(found["pure"], pure_scale)


_PAIR = re.compile(
    r"sg(?P<sample>[0-9]+(?:\.[0-9]+)?)°?(?P<sample_scale>[cf])?/(?P<pure>[0-9]+(?:\.[0-9]+)?)°?(?P<pure_scale>[cf])?"
)


def _celsius(number: str, scale: str) -> float:
    return float(number) if scale == "c" else (float(number) - 32) * 5 / 9


def shown_unit(reading: Reading) -> Unit:
    """The unit a reading is shown in: its own, but PSU for conductivity, which says nothing without its temperature."""
    unit = find_unit(reading.quantity, reading.unit)
    return QUANTITIES["salinity"].units[0] if unit.needs == "conductivity" else unit


def show(reading: Reading, canonical: float) -> str:
    """A value as this reading is shown: ``8.1 dKH``, ``1.0264 SG 25/25``."""
    unit = shown_unit(reading)
    number = from_canonical(reading.quantity, canonical, unit.name, reading=reading)
    decimals = unit.decimals
    if unit.name in _TENTHS and reading.capacity is not None and reading.capacity < SMALL_VESSEL:
        decimals += 1
    while 0 < abs(number) < 10**-decimals and decimals < 4:
        decimals += 1
    text = f"{number:.{decimals}f}"
    return text if unit.name in ("", "pH") else f"{text} {unit.name}"


def show_band(reading: Reading, low: Quantity | None, high: Quantity | None) -> str:
    """A band in the reading's unit: ``7.5 to 8.6 dKH``, ``at most 1 µS/cm``; empty without one."""
    if low is not None and high is not None:
        return f"{show(reading, low.canonical).split(' ')[0]} to {show(reading, high.canonical)}"
    if low is not None:
        return f"at least {show(reading, low.canonical)}"
    return f"at most {show(reading, high.canonical)}" if high is not None else ""
