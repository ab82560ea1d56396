"""Quantities, the units people type and see, and the one unit each is kept in.

Factors: lengths, volumes and masses exactly as NIST Special Publication 811 (2008), App. B, and NIST
Handbook 44, App. C have them (US gallon 231 cubic inches); UK gallon 4.54609 L (UK Weights and Measures
Act 1985); 2.8039 dKH per meq/L and 17.848 ppm CaCO3 per dKH, and nutrients as ion or as N, P, from the
IUPAC abridged standard atomic weights (2021). ppm and ppb of something dissolved are mg/L and µg/L, as
kits mean them. The limits of what is plausible are common practice, without a source; they only decide
when the keeper is asked again.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from rounds.core.constants import (
    AMMONIA,
    AMMONIUM,
    ATMOSPHERE,
    CALCIUM,
    CUBIC_FOOT,
    CUBIC_INCH,
    DKH_PER_MEQ,
    INCH,
    KELVIN,
    MAGNESIUM,
    METRE_OF_WATER,
    MILLIMETRE_OF_MERCURY,
    NITROGEN,
    OXYGEN,
    OXYGEN_GAS,
    PHOSPHORUS,
    POTASSIUM,
    POUND,
    PPM_PER_DKH,
    REFERENCE_SALINITY,
    STANDARD_CONDUCTIVITY,
    STANDARD_GRAVITY,
    STANDARD_SALINITY,
    UK_GALLON,
    US_GALLON,
)
from rounds.core.eos80 import IPTS_68

_GRAIN = POUND * 1000 / 7000
"""mg"""

Need = Literal[
    "reference pair", "conductivity", "vessel", "per kilogram", "density", "TEOS-10 density", "refraction",
    "pH scale", "saturation",
]  # fmt: skip
"""What a conversion takes beside the number and a factor."""


class Unit(msgspec.Struct, frozen=True):
    """One way to write a quantity: canonical = factor × (value − zero)."""

    name: str
    factor: float | None = 1.0
    """None: not proportional; the conversion takes what `needs` says."""
    zero: float = 0.0
    """The value that stands where the canonical one is 0."""
    aliases: tuple[str, ...] = ()
    decimals: int = 1
    """Shown so many."""
    needs: Need | None = None
    scale: float = 1.0
    """Of a unit that needs something: how much of the unit that need reckons in (kg/m3, mS/cm, per kilogram)."""


class Kind(msgspec.Struct, frozen=True):
    """A quantity: its units, the canonical one first, and what its values can be."""

    units: tuple[Unit, ...]
    """What a room's files and an entry line take."""
    possible: tuple[float, float]
    """Canonical; anything outside cannot be and is refused."""
    plausible: tuple[float, float]
    """Canonical; anything outside is asked for once more."""
    converted: tuple[Unit, ...] = ()
    """Converted to and from, never recorded: most take the properties of the water."""
    source: str = "by definition"
    """Where the factors come from."""

    @property
    def canonical(self) -> str:
        return self.units[0].name

    @property
    def every_unit(self) -> tuple[Unit, ...]:
        return self.units + self.converted


def _per_kilogram(name: str, scale: float, *aliases: str) -> Unit:
    return Unit(name, None, needs="per kilogram", scale=scale, aliases=aliases, decimals=2)


_WEIGHTS = "IUPAC atomic weights 2021; ppm as mg/L"

_TWO_A_MOLE = "P2O5"
"""Holds two atoms of phosphorus: never counted in moles here, where a mole is one of phosphorus."""

_AMMONIA = {
    ("N", "NH3-N", "NH4-N", "TAN", "ammonia-N"): NITROGEN,
    ("NH3",): AMMONIA,
    ("NH4", "ammonium"): AMMONIUM,
}
_PHOSPHATE = {
    ("PO4", "phosphate"): PHOSPHORUS + 4 * OXYGEN,
    ("PO4-P", "P", "phosphate-P"): PHOSPHORUS,
    (_TWO_A_MOLE,): (2 * PHOSPHORUS + 5 * OXYGEN) / 2,
}


def _dissolved(
    possible: float,
    plausible: tuple[float, float],
    decimals: int,
    forms: dict[tuple[str, ...], float],
    bare: bool = True,
) -> Kind:
    """Something dissolved, kept in mg/L of the first of the forms it is counted as (its names and g/mol).

    `bare`: the canonical unit is ``mg/L`` alone, without the name of its form.
    """
    whole = next(iter(forms.values()))
    units: list[Unit] = []
    converted: list[Unit] = []
    for (form, *others), mass in forms.items():
        for weight, parts, size, places in (("mg", "ppm", 1.0, decimals), ("µg", "ppb", 0.001, 0)):
            aliases = [f"{weight}/L {name}" for name in others] + [f"{parts} {name}" for name in (form, *others)]
            factor = whole / mass * size
            if mass == whole and bare:
                units.append(Unit(f"{weight}/L", factor, aliases=(parts,), decimals=places))
            elif mass == whole:
                aliases += [f"{weight}/L", parts]
            units.append(Unit(f"{weight}/L {form}", factor, aliases=tuple(aliases), decimals=places))
            converted.append(_per_kilogram(f"{weight}/kg {form}", factor, *(f"{weight}/kg {name}" for name in others)))
    converted += [_per_kilogram("mg/kg", 1.0), _per_kilogram("µg/kg", 0.001)]
    counted = [name for names in forms if _TWO_A_MOLE not in names for name in names]
    for prefix, factor, places in (("mmol", whole, 3), ("µmol", whole / 1000, 1)):
        aliases = [f"{prefix}/L {name}" for name in counted]
        units.append(Unit(f"{prefix}/L", factor, aliases=tuple(aliases), decimals=places))
        converted.append(_per_kilogram(f"{prefix}/kg", factor, *(f"{prefix}/kg {name}" for name in counted)))
    return Kind(tuple(units), (0, possible), plausible, tuple(converted), _WEIGHTS)


_VOLUMES = (
    Unit("L", aliases=("litre", "litres", "liter", "liters", "dm3")),
    Unit("mL", 0.001, aliases=("cm3", "cc", "millilitre", "millilitres", "milliliter", "milliliters"), decimals=0),
    Unit("m3", 1000.0, decimals=3),
    Unit("US gal", US_GALLON, aliases=("US gallon", "US gallons", "US liquid gallon")),
    Unit("UK gal", UK_GALLON, aliases=("UK gallon", "UK gallons", "imp gal", "imperial gal", "imperial gallon")),
    Unit("in3", CUBIC_INCH, aliases=("cu in", "inch3", "cubic inch", "cubic inches")),
    Unit("ft3", CUBIC_FOOT, aliases=("cu ft", "foot3", "cubic foot", "cubic feet"), decimals=2),
    Unit("yd3", 27 * CUBIC_FOOT, aliases=("cu yd", "yard3", "cubic yard", "cubic yards"), decimals=3),
    Unit("US qt", US_GALLON / 4, aliases=("US quart", "US quarts"), decimals=2),
    Unit("US pt", US_GALLON / 8, aliases=("US pint", "US pints"), decimals=2),
    Unit("US cup", US_GALLON / 16, aliases=("US cups",), decimals=2),
    Unit("US fl oz", US_GALLON / 128),
    Unit("UK qt", UK_GALLON / 4, aliases=("UK quart", "UK quarts", "imp qt"), decimals=2),
    Unit("UK pt", UK_GALLON / 8, aliases=("UK pint", "UK pints", "imp pt"), decimals=2),
    Unit("UK fl oz", UK_GALLON / 160, aliases=("imp fl oz",)),
    Unit("dL", 0.1),
    Unit("cL", 0.01),
    Unit("µL", 1e-6, aliases=("mm3",), decimals=0),
)
_NIST = "exact (NIST SP 811; US gallon 231 in3, UK gallon 4.54609 L)"

QUANTITIES: dict[str, Kind] = {
    "temperature": Kind(
        (
            Unit("°C", aliases=("C", "degC", "deg C", "celsius")),
            Unit("°F", 5 / 9, 32.0, aliases=("F", "degF", "deg F", "fahrenheit")),
        ),
        (-60, 110),
        (10, 35),
        (
            Unit("K", 1.0, KELVIN, aliases=("kelvin",), decimals=2),
            Unit("°C IPTS-68", 1 / IPTS_68, aliases=("t68", "°C t68"), decimals=3),
        ),
        "exact (NIST SP 811)",
    ),
    "salinity": Kind(
        (
            Unit("PSU", aliases=("ppt", "‰", "S", "PSS-78")),
            Unit("SG 20/20", None, decimals=4, needs="reference pair"),
            Unit("SG 25/25", None, decimals=4, needs="reference pair"),
            Unit(
                "SG 60/60F",
                None,
                decimals=4,
                needs="reference pair",
                aliases=("SG 60/60", "SG 60F/60F", "SG 60 °F/60 °F", "SG 60/60 °F"),
            ),
            Unit("mS/cm", None, decimals=2, needs="conductivity"),
        ),
        (0, 80),
        (15, 45),
        (
            Unit("g/kg", STANDARD_SALINITY / REFERENCE_SALINITY, aliases=("g/kg SR", "g/kg SA"), decimals=2),
            Unit("µS/cm", None, needs="conductivity", scale=0.001, decimals=0),
            Unit("S/m", None, needs="conductivity", scale=10.0, decimals=3),
            Unit(
                "R",
                None,
                needs="conductivity",
                scale=STANDARD_CONDUCTIVITY,
                decimals=6,
                aliases=("conductivity ratio", "ratio"),
            ),
            Unit("kg/m3", None, needs="density", decimals=3, aliases=("kg/m3 EOS-80",)),
            Unit("kg/L", None, needs="density", scale=1000.0, decimals=6, aliases=("g/mL", "g/cm3")),
            Unit("kg/m3 TEOS-10", None, needs="TEOS-10 density", decimals=3),
            Unit("nD", None, needs="refraction", decimals=5, aliases=("refractive index", "RI")),
        ),
        "Reference-Composition Salinity, 35.16504 g/kg at 35 (Millero et al. 2008)",
    ),
    "pH": Kind(
        (Unit("pH", decimals=2, aliases=("pH NBS", "NBS", "pH NIST", "NIST")),),
        (0, 14),
        (5.5, 9.5),
        (
            Unit("pH total", None, needs="pH scale", decimals=3, aliases=("total", "total scale", "pHT")),
            Unit("pH seawater", None, needs="pH scale", decimals=3, aliases=("pH SWS", "SWS")),
            Unit("pH free", None, needs="pH scale", decimals=3, aliases=("free",)),
        ),
    ),
    "pH total": Kind((Unit("pH total", decimals=2, aliases=("pHT",)),), (0, 14), (7, 9)),
    "alkalinity": Kind(
        (
            Unit("meq/L", decimals=2),
            Unit("mmol/L", decimals=2),
            Unit("dKH", 1 / DKH_PER_MEQ, aliases=("°dKH", "KH", "°KH", "dH", "°dH")),
            Unit("ppm CaCO3", 1 / DKH_PER_MEQ / PPM_PER_DKH, aliases=("ppm", "mg/L CaCO3"), decimals=0),
            Unit("µmol/L", 0.001, aliases=("µeq/L",), decimals=0),
        ),
        (0, 200),
        (1.2, 12),
        (
            _per_kilogram("meq/kg", 1.0),
            _per_kilogram("mmol/kg", 1.0),
            _per_kilogram("µmol/kg", 0.001, "µeq/kg"),
            Unit("mg/L CaO", 0.1 / DKH_PER_MEQ, aliases=("ppm CaO",)),
            Unit("°fH", 10 / DKH_PER_MEQ / PPM_PER_DKH, aliases=("fH", "°f", "French degree", "French degrees")),
            Unit(
                "°e",
                _GRAIN / UK_GALLON / DKH_PER_MEQ / PPM_PER_DKH,
                aliases=("°Clark", "English degree", "English degrees", "gr/UK gal"),
                decimals=2,
            ),
        ),
        "2.8039 dKH per meq/L and 17.848 ppm CaCO3 per dKH, from IUPAC atomic weights",
    ),
    "calcium": _dissolved(5000, (200, 700), 0, {("Ca", "calcium"): CALCIUM}),
    "magnesium": _dissolved(8000, (800, 2000), 0, {("Mg", "magnesium"): MAGNESIUM}),
    "potassium": _dissolved(5000, (200, 600), 0, {("K", "potassium"): POTASSIUM}),
    "nitrate": _dissolved(
        2000, (0, 100), 1, {("NO3", "nitrate"): NITROGEN + 3 * OXYGEN, ("NO3-N", "N", "nitrate-N"): NITROGEN}
    ),
    "nitrite": _dissolved(
        200, (0, 5), 2, {("NO2", "nitrite"): NITROGEN + 2 * OXYGEN, ("NO2-N", "N", "nitrite-N"): NITROGEN}
    ),
    "ammonia": _dissolved(200, (0, 5), 3, _AMMONIA, bare=False),
    "phosphate": _dissolved(100, (0, 3), 2, _PHOSPHATE),
    "redox": Kind((Unit("mV", decimals=0), Unit("V", 1000, decimals=3)), (-1500, 1500), (50, 600)),
    "oxygen": Kind(
        (
            Unit("mg/L", aliases=("ppm",), decimals=2),
            Unit("mg/L O2", aliases=("ppm O2",), decimals=2),
            Unit("mL/L", OXYGEN_GAS / 22.3916, aliases=("mL/L O2",), decimals=2),
            Unit("µmol/L", OXYGEN_GAS / 1000, aliases=("µmol/L O2", "µM"), decimals=0),
        ),
        (0, 50),
        (3, 14),
        (
            _per_kilogram("mg/kg", 1.0, "mg/kg O2"),
            _per_kilogram("µmol/kg", OXYGEN_GAS / 1000, "µmol/kg O2"),
            Unit("%", None, needs="saturation", decimals=1, aliases=("% saturation", "% sat", "percent", "per cent")),
        ),
        "31.998 g/mol (IUPAC); 22.3916 L/mol (Garcia and Gordon 1992)",
    ),
    "oxygen saturation": Kind((Unit("%", decimals=0, aliases=("% saturation", "% sat")),), (0, 400), (40, 150)),
    "light": Kind(
        (Unit("µmol/m2/s", aliases=("PPFD", "PAR", "µmol m-2 s-1", "µE/m2/s"), decimals=0),), (0, 10_000), (0, 1500)
    ),
    "light integral": Kind((Unit("mol/m2/day", aliases=("DLI", "mol/m2/d", "mol m-2 d-1")),), (0, 500), (0, 80)),
    "conductivity": Kind(
        (Unit("µS/cm", decimals=0), Unit("mS/cm", 1000, decimals=1)),
        (0, 300_000),
        (0, 80_000),
        (Unit("S/m", 10_000, decimals=3), Unit("µS/m", 0.01)),
    ),
    "flow": Kind(
        (
            Unit("L/h", aliases=("L/hour", "L/hr", "lph")),
            Unit("mL/min", 0.06, decimals=0),
            Unit("L/min", 60.0, aliases=("lpm",), decimals=2),
            Unit("L/s", 3600.0, decimals=3),
            Unit("mL/s", 3.6),
            Unit("L/day", 1 / 24, aliases=("L/d",)),
            Unit("mL/day", 0.001 / 24, aliases=("mL/d",), decimals=0),
            Unit("mL/h", 0.001, aliases=("mL/hour", "mL/hr")),
            Unit("US gal/h", US_GALLON, aliases=("US gal/hr", "US gal/hour", "US gph")),
            Unit("US gal/min", US_GALLON * 60, aliases=("US gpm",), decimals=2),
            Unit("US gal/day", US_GALLON / 24, aliases=("US gal/d", "US gpd")),
            Unit("UK gal/h", UK_GALLON, aliases=("UK gal/hr", "UK gal/hour", "UK gph")),
            Unit("UK gal/min", UK_GALLON * 60, aliases=("UK gpm",), decimals=2),
            Unit("UK gal/day", UK_GALLON / 24, aliases=("UK gal/d", "UK gpd")),
            Unit("m3/day", 1000 / 24, aliases=("m3/d",), decimals=2),
            Unit("m3/h", 1000.0, aliases=("m3/hr", "m3/hour"), decimals=2),
        ),
        (0, 1e7),
        (0, 1e5),
        source=_NIST,
    ),
    "volume": Kind(_VOLUMES, (0, 1e7), (0, 1e5), source=_NIST),
    "level": Kind(
        (*_VOLUMES, Unit("%", None, decimals=0, needs="vessel"), Unit("cm", None, needs="vessel")),
        (0, 1e7),
        (0, 1e5),
        source=_NIST,
    ),
    "length": Kind(
        (
            Unit("cm", decimals=1, aliases=("centimetre", "centimetres", "centimeter", "centimeters")),
            Unit("mm", 0.1, decimals=0, aliases=("millimetre", "millimetres", "millimeter", "millimeters")),
            Unit("m", 100.0, aliases=("metre", "metres", "meter", "meters"), decimals=2),
            Unit("in", INCH, aliases=("inch", "inches")),
            Unit("ft", 12 * INCH, aliases=("foot", "feet"), decimals=2),
            Unit("yd", 36 * INCH, aliases=("yard", "yards"), decimals=2),
            Unit("µm", 1e-4, aliases=("micron", "microns"), decimals=0),
            Unit("km", 1e5, decimals=3),
        ),
        (0, 1e6),
        (0, 1e4),
        source="exact, 1 in = 25.4 mm (NIST SP 811)",
    ),
    "area": Kind(
        (
            Unit("m2", decimals=2),
            Unit("cm2", 1e-4, decimals=0),
            Unit("in2", (INCH / 100) ** 2, aliases=("sq in", "square inch", "square inches")),
            Unit("mm2", 1e-6, decimals=0),
            Unit("ft2", (12 * INCH / 100) ** 2, aliases=("sq ft", "square foot", "square feet")),
            Unit("yd2", (36 * INCH / 100) ** 2, aliases=("sq yd", "square yard", "square yards")),
        ),
        (0, 1e6),
        (0, 1e4),
        source="exact, 1 in = 25.4 mm (NIST SP 811)",
    ),
    "mass": Kind(
        (
            Unit("g", decimals=0, aliases=("gram", "grams")),
            Unit("kg", 1000, decimals=2, aliases=("kilogram", "kilograms")),
            Unit("mg", 0.001, decimals=0, aliases=("milligram", "milligrams")),
            Unit("µg", 1e-6, decimals=0),
            Unit("t", 1e6, aliases=("tonne", "tonnes"), decimals=3),
            Unit("oz", POUND / 16, aliases=("ounce", "ounces")),
            Unit("lb", POUND, aliases=("lbs", "pound", "pounds"), decimals=2),
        ),
        (0, 1e9),
        (0, 1e6),
        source="exact, 1 lb = 453.59237 g (NIST SP 811)",
    ),
    "pressure": Kind(
        (
            Unit("bar", decimals=1),
            Unit("kPa", 0.01),
            Unit("hPa", 0.001, aliases=("mbar",), decimals=0),
            Unit("Pa", 1e-5, decimals=0),
            Unit("MPa", 10.0, decimals=2),
            Unit("dbar", 0.1),
            Unit("atm", ATMOSPHERE / 100, aliases=("atmosphere", "atmospheres"), decimals=2),
            Unit("mmHg", MILLIMETRE_OF_MERCURY, decimals=0),
            Unit("inHg", 10 * INCH * MILLIMETRE_OF_MERCURY, aliases=("inches of mercury",), decimals=2),
            Unit("mH2O", METRE_OF_WATER, aliases=("m of water",), decimals=2),
            Unit("psi", POUND / 1000 * STANDARD_GRAVITY / (INCH / 100) ** 2 / 1e5, decimals=0),
        ),
        (0, 400),
        (0, 250),
        source="NIST SP 811; mercury at 0 °C and water at 4 °C by their conventional densities",
    ),
    "count": Kind((Unit("", decimals=0),), (0, 1e9), (0, 1e6)),
    "density": Kind((Unit("per mL", aliases=("/mL",)), Unit("per L", 0.001, aliases=("/L",))), (0, 1e9), (0, 1e5)),
    "carbon dioxide": Kind((Unit("ppm", decimals=0),), (0, 1_000_000), (300, 5000)),
    "humidity": Kind((Unit("%", decimals=0),), (0, 100), (15, 99)),
}

_VOLUME = ("volume", "level")
_GALLON = (_VOLUME, "a gallon is not the same everywhere; write US gal or UK gal")
_QUART = (_VOLUME, "a quart is not the same everywhere; write US qt or UK qt")
_PINT = (_VOLUME, "a pint is not the same everywhere; write US pt or UK pt")
_GALLON_AN_HOUR = (("flow",), "a gallon is not the same everywhere; write US gal/h or UK gal/h")
_TDS = "has no single factor (0.5 to 0.7 by make of meter); read the conductivity in µS/cm"
UNCLEAR: dict[str, tuple[tuple[str, ...], str]] = {
    "gal": _GALLON,
    "gallon": _GALLON,
    "gallons": _GALLON,
    "qt": _QUART,
    "quart": _QUART,
    "quarts": _QUART,
    "pt": _PINT,
    "pint": _PINT,
    "pints": _PINT,
    "gph": _GALLON_AN_HOUR,
    "gal/h": _GALLON_AN_HOUR,
    "gpm": (("flow",), "a gallon is not the same everywhere; write US gal/min or UK gal/min"),
    "gpd": (("flow",), "a gallon is not the same everywhere; write US gal/day or UK gal/day"),
    "floz": (_VOLUME, "a fluid ounce is not the same everywhere; write US fl oz or UK fl oz"),
    "sg": (("salinity",), "SG alone has no reference here; write SG 20/20, SG 25/25 or SG 60/60F"),
    "ppmtds": (("conductivity", "salinity"), f"ppm TDS {_TDS}"),
    "tds": (("conductivity", "salinity"), f"TDS {_TDS}"),
    "lux": (
        ("light",),
        "lux has no single factor to light for corals, it depends on the lamp; measure PPFD in µmol/m2/s",
    ),
}
"""What is often written as a unit of some quantities and is none, with the remedy."""
