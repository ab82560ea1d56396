"""Calculators of the room: light, evaporation, heat, the size of a vessel."""

from __future__ import annotations

from rounds.core.constants import UK_GALLON, US_GALLON
from rounds.core.errors import CannotRead, Refused
from rounds.core.numbers import figures as n
from rounds.water import evaporation, heat, light, measures, practice
from rounds.water.calculators.model import Calculator, Input, Output, Worked


def _light(ppfd: float, ramp_up: float, plateau: float, ramp_down: float, ramps: str) -> Worked:
    hours = ramp_up + plateau + ramp_down
    if hours > 24 + 1e-9:
        raise Refused(f"{n(hours)} hours are more than a day; look at ramp_up, plateau and ramp_down")
    dli = light.daily_light_integral(ppfd, ramp_up, plateau, ramp_down, ramps=ramps)
    mean = light.RAMPS[ramps]
    full = mean * (ramp_up + ramp_down) + plateau
    arithmetic = [
        f"a {ramps} ramp is on average {n(mean)} of its peak",
        f"hours at full light = {n(ramp_up)} × {n(mean)} + {n(plateau)} + {n(ramp_down)} × {n(mean)} = {n(full)} h",
        f"{n(ppfd)} µmol/m2/s × {n(full)} h × 3600 s/h ÷ 1,000,000 µmol/mol = {n(dli)} mol/m2/day",
    ]
    remarks = ["Measure PPFD with all lamps lit at the coral's place; lux is not PPFD."]
    return Worked({"dli": dli, "full_hours": full}, arithmetic, remarks)


LIGHT = Calculator(
    name="light",
    title="daily light integral from the peak and the hours of a day's light",
    inputs=(
        Input("ppfd", measures.PPFD, "at the plateau", low=0, high=1e5),
        Input("ramp_up", measures.HOURS, "from dark to the plateau", "0", low=0, high=24),
        Input("plateau", measures.HOURS, "at full light", low=0, high=24),
        Input("ramp_down", measures.HOURS, "from the plateau to dark", "0", low=0, high=24),
        Input("ramps", measures.choice(*light.RAMPS), "shape; two sine ramps without plateau are a half-sine day",
              light.LINEAR),
    ),
    outputs=(
        Output("dli", "mol/m2/day", "daily light integral"),
        Output("full_hours", "h", "the same light as so many hours at the plateau"),
    ),
    source="Korczynski, Logan and Faust 2002; Torres and Lopez 2010",
    example=("ppfd=240", "ramp_up=2", "plateau=6", "ramp_down=2"),
    work=_light,
)  # fmt: skip


def _evaporation(
    water: float, air: float, humidity: float, surface: float, activity: float, air_speed: float, method: str
) -> Worked:
    if method == "shah":
        found = evaporation.shah(water, air, humidity)
        formula = _shah(found, evaporation.convection(water, air, humidity))
    else:
        found = evaporation.ashrae(water, air, humidity, activity=activity, air_speed=air_speed)
        formula = [
            f"({n(found.water_kpa)} − {n(found.air_kpa)}) kPa × (0.089 + 0.0782 × {n(air_speed)} m/s) × {n(activity)} "
            f"÷ {n(evaporation.latent_heat(water))} kJ/kg × 86,400 s/day = {n(found.driven)} kg/m2/day"
        ]
    litres = found.mm_per_day * surface
    arithmetic = [
        f"vapour pressure at {n(water)} °C water: {n(found.water_kpa)} kPa",
        f"of the air: {n(humidity)} × {n(evaporation.vapour_pressure(air))} kPa = {n(found.air_kpa)} kPa",
        *formula,
        f"1 kg/m2 is 1 mm; {n(found.mm_per_day)} mm/day × {n(surface)} m2 = {n(litres)} L/day",
    ]
    remarks = []
    if found.water_kpa <= found.air_kpa:
        remarks.append("The air holds more vapour than the water gives: nothing evaporates, water condenses.")
    low, high = practice.EVAPORATION
    remarks.append(
        f"A rough figure; a room is usually within {low} to {high} mm/day. Trust what the top-off uses. Activity: 0.5 "
        "still, 0.74 measured on quiet pools, 1 and more with weirs, fans and air stones."
    )
    return Worked({"mm_per_day": found.mm_per_day, "litres_per_day": litres}, arithmetic, remarks)


def _shah(found: evaporation.Evaporation, natural: evaporation.Convection | None) -> list[str]:
    apart = found.water_kpa - found.air_kpa
    carried = evaporation.carried_off(apart)
    lines = [
        f"by the currents of the room: {evaporation.ROOM_CURRENTS:.5f} × {n(apart * 1000)} Pa = {n(carried)} kg/m2/h"
    ]
    larger = carried
    if natural is None:
        lines.append("the air at the water is the heavier one: it does not rise by itself")
    else:
        larger = max(carried, natural.rate)
        lines.append(
            f"by rising air: {n(natural.factor)} × {n(natural.dry_density)} kg/m3 × {n(natural.lift)}^(1 ÷ 3) × "
            f"({n(natural.at_water)} − {n(natural.in_air)}) kg/kg = {n(natural.rate)} kg/m2/h"
        )
    return [*lines, f"the larger of them: {n(larger)} kg/m2/h × 24 h/day = {n(found.driven)} kg/m2/day"]


EVAPORATION = Calculator(
    name="evaporation",
    title="water that a surface loses in a day",
    inputs=(
        Input("water", measures.TEMPERATURE, "temperature of the water", low=0, high=60),
        Input("air", measures.TEMPERATURE, "temperature of the air", low=0, high=60),
        Input("humidity", measures.share(bare_per_cent=True), "relative humidity of the air"),
        Input("surface", measures.AREA, "open water", low=0, high=1e7),
        Input("activity", measures.number(), "how much the surface moves", "0.5", low=0, high=10),
        Input("air_speed", measures.SPEED, "over the water", "0.1", low=0, high=20),
        Input(
            "method", measures.choice("ashrae", "shah"), "shah: still water and air, without the two before", "ashrae"
        ),
    ),
    outputs=(
        Output("mm_per_day", "mm/day", "depth lost"),
        Output("litres_per_day", "L/day", "volume lost"),
    ),
    source="ASHRAE Handbook, HVAC Applications; activity of Smith, Löf and Jones 1998; Shah 2014; vapour pressure "
    "Hyland and Wexler 1983",
    example=("water=26", "air=24", "humidity=50 %", "surface=3.9"),
    work=_evaporation,
)


def _depth(surface: float, depth: float | None, litres: float | None) -> Worked:
    if (depth is None) == (litres is None):
        raise CannotRead(
            "depth needs depth= or litres=, one of them; for example: rounds calc depth surface=3.9 litres=11.7"
        )
    if litres is None:
        assert depth is not None
        litres = depth * surface
        line = f"{n(depth)} mm × {n(surface)} m2 = {n(litres)} L"
    else:
        depth = litres / surface
        line = f"{n(litres)} L ÷ {n(surface)} m2 = {n(depth)} mm"
    low, high = practice.EVAPORATION
    least, most = practice.EVAPORATION_DOUBTED
    return Worked(
        {"mm": depth, "litres": litres, "us_gallons": litres / US_GALLON},
        [line],
        [
            f"As a day's evaporation {low} to {high} mm is usual in a room; "
            f"below {least} or above {most:g} look for a fault."
        ],
    )


DEPTH = Calculator(
    name="depth",
    title="millimetres of a surface as litres, and back",
    inputs=(
        Input("surface", measures.AREA, "open water", above=0, high=1e7),
        Input("depth", measures.DEPTH, "lost or gained", "", low=0, high=1e6),
        Input("litres", measures.VOLUME, "lost or gained, instead of depth", "", low=0, high=1e9),
    ),
    outputs=(
        Output("mm", "mm", "depth"),
        Output("litres", "L", "volume"),
        Output("us_gallons", "US gal", "volume"),
    ),
    source="a litre on a square metre is a millimetre; band from the ASHRAE form",
    example=("surface=3.9", "depth=3"),
    work=_depth,
)


def _heat_weeks(hotspots: list[float] | None, temperatures: list[float] | None, usual_maximum: float | None) -> Worked:
    arithmetic = []
    if hotspots is None:
        if temperatures is None or usual_maximum is None:
            raise CannotRead("heat-weeks needs temperatures= and usual_maximum=, or hotspots= alone")
        hotspots = heat.hotspots(temperatures, usual_maximum)
        arithmetic.append(f"degrees above {n(usual_maximum)} °C, day by day: {_few(hotspots)}")
    elif temperatures is not None or usual_maximum is not None:
        raise CannotRead("heat-weeks takes hotspots= alone, or temperatures= with usual_maximum=; leave one out")
    else:
        hotspots = [max(0.0, each) for each in hotspots]
    weeks = heat.heating_weeks(hotspots)
    counted = [each for each in hotspots[-heat.WINDOW :] if heat.counts(each)]
    arithmetic += [
        f"of the last {min(heat.WINDOW, len(hotspots))} days (84 at most) {len(counted)} were at least 1 °C above; "
        "the others count nothing",
        f"sum {n(sum(counted))} °C-days ÷ 7 = {n(weeks)} °C-weeks",
    ]
    said = heat.stress(weeks, hotspots[-1])
    remarks = [
        f"On a reef this would be called: {said}. In a tank, where a keeper sets the usual maximum, it is gathered "
        "heat only. One value a day; a missing day is no zero.",
    ]
    return Worked({"heat_weeks": weeks, "days_counted": len(counted), "stress": said}, arithmetic, remarks)


def _few(values: list[float]) -> str:
    return ", ".join(n(each) for each in values[:10]) + (" …" if len(values) > 10 else "")


HEAT_WEEKS = Calculator(
    name="heat-weeks",
    title="heat stress gathered over twelve weeks (degree heating weeks)",
    inputs=(
        Input("temperatures", measures.several(measures.TEMPERATURE), "daily means, in order", "", low=-2, high=60),
        Input("usual_maximum", measures.TEMPERATURE, "warmest that is usual", "", low=-2, high=60),
        Input("hotspots", measures.several(measures.number()), "instead: °C above the usual maximum, day by day", "",
              low=-60, high=60),
    ),
    outputs=(
        Output("heat_weeks", "°C-weeks", "gathered over the last 84 days"),
        Output("days_counted", "days", "at least 1 °C above", 0),
        Output("stress", "", "its name on a reef"),
    ),
    source="Skirving et al. 2020; Liu, Strong and Skirving 2003",
    example=("temperatures=26.8,27.1,27.4", "usual_maximum=25.8"),
    work=_heat_weeks,
)  # fmt: skip


def _volume(length: float, width: float, depth: float) -> Worked:
    litres = length * width * depth / 1000
    gallons = litres / US_GALLON
    arithmetic = [
        f"{n(length)} cm × {n(width)} cm × {n(depth)} cm ÷ 1000 cm3/L = {n(litres)} L",
        f"{n(litres)} L ÷ {US_GALLON} L = {n(gallons)} US gal",
    ]
    remarks = [
        "Measured inside this is the whole box; rock, sand and the space above the water come off for net water."
    ]
    values = {
        "litres": litres,
        "us_gallons": gallons,
        "uk_gallons": litres / UK_GALLON,
        "surface_m2": length * width / 1e4,
    }
    return Worked(values, arithmetic, remarks)


VOLUME = Calculator(
    name="volume",
    title="what a rectangular vessel holds",
    inputs=(
        Input("length", measures.LENGTH, "inside", low=0, high=1e6),
        Input("width", measures.LENGTH, "inside", low=0, high=1e6),
        Input("depth", measures.LENGTH, "of the water", low=0, high=1e6),
    ),
    outputs=(
        Output("litres", "L", "volume", 1),
        Output("us_gallons", "US gal", "volume", 1),
        Output("uk_gallons", "UK gal", "volume", 1),
        Output("surface_m2", "m2", "open water", 2),
    ),
    source="1 in = 2.54 cm, US gallon 231 in3 (NIST SP 811, Handbook 44), UK gallon 4.54609 L",
    example=("length=8 ft", "width=4 ft", "depth=10 in"),
    work=_volume,
)
