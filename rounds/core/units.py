"""Quantities, the units people type and see, and the one unit each is kept in.

Factors: 2.8039 dKH per meq/L and 17.848 ppm CaCO3 per dKH (atomic weights); US gallon 231 cubic
inches, UK gallon 4.54609 L (NIST Handbook 44; UK Weights and Measures Act 1985). The limits of what
is plausible are common practice, without a source; they only decide when the keeper is asked again.
"""

from __future__ import annotations

from collections.abc import Callable

import msgspec

from rounds.core.errors import CannotRead, Refused
from rounds.core.model import Quantity, Reading

DKH_PER_MEQ = 2.8039
PPM_PER_DKH = 17.848
US_GALLON = 3.785411784
UK_GALLON = 4.54609


class Unit(msgspec.Struct, frozen=True):
    """One way to write a quantity: canonical = factor × value + offset."""

    name: str
    factor: float | None = 1.0
    """None: not proportional; the conversion needs the properties of sea water or the vessel."""
    offset: float = 0.0
    aliases: tuple[str, ...] = ()
    decimals: int = 1
    """Shown so many."""


class Kind(msgspec.Struct, frozen=True):
    """A quantity: its units, the canonical one first, and what its values can be."""

    units: tuple[Unit, ...]
    possible: tuple[float, float]
    """Canonical; anything outside cannot be and is refused."""
    plausible: tuple[float, float]
    """Canonical; anything outside is asked for once more."""

    @property
    def canonical(self) -> str:
        return self.units[0].name


def _per_litre(possible: float, low: float, high: float, decimals: int) -> Kind:
    milligrams = Unit("mg/L", aliases=("ppm",), decimals=decimals)
    micrograms = Unit("µg/L", 0.001, aliases=("ug/L", "ppb"), decimals=0)
    return Kind((milligrams, micrograms), (0, possible), (low, high))


_VOLUMES = (
    Unit("L", aliases=("litre", "litres", "liter", "liters")),
    Unit("mL", 0.001, decimals=0),
    Unit("US gal", US_GALLON),
    Unit("UK gal", UK_GALLON),
)

QUANTITIES: dict[str, Kind] = {
    "temperature": Kind(
        (Unit("°C", aliases=("C", "degC")), Unit("°F", 5 / 9, -160 / 9, ("F", "degF"))), (-5, 60), (10, 35)
    ),
    "salinity": Kind(
        (
            Unit("PSU", aliases=("ppt", "‰", "S")),
            Unit("SG 20/20", None, decimals=4),
            Unit("SG 25/25", None, decimals=4),
            Unit("SG 60/60F", None, aliases=("SG 60/60",), decimals=4),
            Unit("mS/cm", None, decimals=2),
        ),
        (0, 80),
        (15, 45),
    ),
    "pH": Kind((Unit("pH", decimals=2),), (0, 14), (5.5, 9.5)),
    "alkalinity": Kind(
        (
            Unit("meq/L", aliases=("mmol/L",), decimals=2),
            Unit("dKH", 1 / DKH_PER_MEQ, aliases=("°dKH", "KH")),
            Unit("ppm CaCO3", 1 / DKH_PER_MEQ / PPM_PER_DKH, aliases=("ppm", "mg/L CaCO3"), decimals=0),
        ),
        (0, 200),
        (1.2, 12),
    ),
    "calcium": _per_litre(5000, 200, 700, 0),
    "magnesium": _per_litre(8000, 800, 2000, 0),
    "potassium": _per_litre(5000, 200, 600, 0),
    "nitrate": _per_litre(2000, 0, 100, 1),
    "nitrite": _per_litre(200, 0, 5, 2),
    "ammonia": Kind(
        (
            Unit("mg/L N", aliases=("mg/L", "ppm"), decimals=3),
            Unit("mg/L NH3", 14.0067 / 17.03052, decimals=3),
        ),
        (0, 200),
        (0, 5),
    ),
    "phosphate": _per_litre(100, 0, 3, 2),
    "redox": Kind((Unit("mV", decimals=0),), (-1500, 1500), (50, 600)),
    "oxygen": Kind((Unit("mg/L", decimals=2),), (0, 50), (3, 14)),
    "oxygen saturation": Kind((Unit("%", decimals=0),), (0, 400), (40, 150)),
    "light": Kind((Unit("µmol/m2/s", aliases=("umol/m2/s", "PPFD", "PAR"), decimals=0),), (0, 10_000), (0, 1500)),
    "conductivity": Kind(
        (Unit("µS/cm", aliases=("uS/cm",), decimals=0), Unit("mS/cm", 1000, decimals=1)), (0, 300_000), (0, 80_000)
    ),
    "flow": Kind((Unit("L/h", decimals=1), Unit("mL/min", 0.06, decimals=0)), (0, 1e7), (0, 1e5)),
    "volume": Kind(_VOLUMES, (0, 1e7), (0, 1e5)),
    "level": Kind((*_VOLUMES, Unit("%", None, decimals=0), Unit("cm", None)), (0, 1e7), (0, 1e5)),
    "mass": Kind((Unit("g", decimals=0), Unit("kg", 1000, decimals=2)), (0, 1e9), (0, 1e6)),
    "count": Kind((Unit("", decimals=0),), (0, 1e9), (0, 1e6)),
    "density": Kind((Unit("per mL", aliases=("/mL",)),), (0, 1e9), (0, 1e5)),
    "humidity": Kind((Unit("%", decimals=0),), (0, 100), (15, 99)),
}

Seawater = Callable[[float, str, float | None], float]
"""Practical salinity from a value, its unit and, for conductivity, the temperature in °C."""


def kind(quantity: str) -> Kind:
    """The quantity of that name; raise `CannotRead` with the ones there are."""
    try:
        return QUANTITIES[quantity]
    except KeyError:
        raise CannotRead(f"{quantity!r} is no quantity; write one of {', '.join(QUANTITIES)}") from None


def find_unit(quantity: str, text: str) -> Unit:
    """The unit of the quantity that `text` names, in any case; raise `CannotRead` with the choice."""
    wanted = " ".join(text.split()).casefold()  # which also makes the micro sign and the Greek letter one
    for unit in kind(quantity).units:
        if wanted in (name.casefold() for name in (unit.name, *unit.aliases)):
            return unit
    names = ", ".join(unit.name or "none" for unit in kind(quantity).units)
    raise CannotRead(f"{text!r} is no unit of {quantity}; write one of: {names}")


def unit_names() -> frozenset[str]:
    """Every unit of two letters or more, as written."""
    return frozenset(
        name
        for each in QUANTITIES.values()
        for unit in each.units
        for name in (unit.name, *unit.aliases)
        if len(name) > 1
    )


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
    specific gravity or conductivity needs. Raises `Refused` when one of these is missing.
    """
    found = find_unit(quantity, unit)
    if found.factor is not None:
        return found.factor * value + found.offset
    if quantity == "salinity":
        if found.name == "mS/cm" and temperature is None:
            raise Refused(
                f"{value:g} mS/cm needs a temperature; read the temperature of this system first, or type PSU"
            )
        if seawater is None:
            raise Refused(f"{found.name} cannot be converted here; type the salinity in PSU")
        return seawater(value, found.name, temperature)
    if reading is not None and found.name == "%" and reading.capacity is not None:
        return value / 100 * reading.capacity
    if reading is not None and found.name == "cm" and reading.litres_per_cm is not None:
        return value * reading.litres_per_cm
    missing = "capacity" if found.name == "%" else "litres_per_cm"
    raise Refused(f"a level in {found.name} needs {missing} in the reservoir's table; type litres")


def from_canonical(quantity: str, value: float, unit: str, *, reading: Reading | None = None) -> float:
    """A canonical value in another unit; where that needs sea water or a vessel, unchanged."""
    found = find_unit(quantity, unit)
    if found.factor is not None:
        return (value - found.offset) / found.factor
    if reading is not None and found.name == "%" and reading.capacity:
        return value / reading.capacity * 100
    if reading is not None and found.name == "cm" and reading.litres_per_cm:
        return value / reading.litres_per_cm
    return value


def show(reading: Reading, canonical: float) -> str:
    """A value as this reading is shown: ``8.1 dKH``."""
    unit = find_unit(reading.quantity, reading.unit)
    if unit.factor is None and reading.quantity == "salinity":
        unit = QUANTITIES["salinity"].units[0]
    number = from_canonical(reading.quantity, canonical, unit.name, reading=reading)
    decimals = unit.decimals
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
