"""Calculators of what is dissolved: carbon, ammonia, limewater, calcium carbonate, oxygen."""

from __future__ import annotations

from rounds.core.constants import (
    AMMONIA,
    AMMONIUM,
    CALCIUM,
    CALCIUM_CARBONATE,
    CALCIUM_HYDROXIDE,
    DKH_PER_MEQ,
    NITROGEN,
)
from rounds.core.errors import CannotRead
from rounds.core.numbers import figures as n
from rounds.water import ammonia, calcification, carbonate, limewater, measures, oxygen, practice
from rounds.water.calculators.model import Calculator, Input, Output, Worked

_SCALE = Input("scale", measures.choice(*carbonate.SCALES), "pH scale; nbs is a probe calibrated in NBS buffers", "nbs")
_PH = Input("ph", measures.PH, "pH on that scale", low=0, high=14)


def _carbonate(
    ph: float, scale: str, temperature: float, salinity: float, alkalinity: float, borate: str, air_co2: float
) -> Worked:
    found = carbonate.carbonate(ph, alkalinity, salinity, temperature, scale=scale, borate=borate)
    open_air, room_air = (
        carbonate.ph_under_air(ppm, alkalinity, salinity, temperature, borate=borate)
        for ppm in (practice.OUTDOOR_CO2, air_co2)
    )
    carbon = found.hco3_umol_kg + 2 * found.co3_umol_kg
    moves = "gives CO2 off to" if found.xco2_ppm > practice.OUTDOOR_CO2 else "takes CO2 up from"
    arithmetic = [
        f"pH {n(ph)} ({scale}) at salinity {n(salinity)}, {n(temperature)} °C is {n(found.ph_total)} (total scale)",
        f"alkalinity of the carbon, bicarbonate once and carbonate twice = {n(found.hco3_umol_kg)} + 2 × "
        f"{n(found.co3_umol_kg)} = {n(carbon)} µmol/kg",
        f"left for borate and hydroxide: {n(alkalinity)} − {n(carbon)} = {n(alkalinity - carbon)} µmol/kg",
        f"dissolved inorganic carbon = bicarbonate + carbonate + CO2 = {n(found.hco3_umol_kg)} + {n(found.co3_umol_kg)}"
        f" + {n(found.co2_umol_kg)} = {n(found.dic_umol_kg)} µmol/kg",
        f"so much CO2 has a pressure of {n(found.pco2_uatm)} µatm, as under dry air of {n(found.xco2_ppm)} ppm",
        f"aragonite saturation = calcium × carbonate ÷ solubility product = {n(found.calcium_umol_kg)} × "
        f"{n(found.co3_umol_kg)} ÷ {n(found.calcium_umol_kg * found.co3_umol_kg / found.omega_aragonite)}"
        f" = {n(found.omega_aragonite)}",
    ]
    remarks = [
        f"This water {moves} open air ({practice.OUTDOOR_CO2} ppm), under which it would settle at pH {open_air:.2f} "
        "(total).",
        f"Were the room's air to hold {n(air_co2)} ppm CO2, the same alkalinity would settle at pH {room_air:.2f} "
        f"(total), {abs(open_air - room_air):.2f} {'below' if room_air < open_air else 'above'} open air; with low pH "
        f"and much CO2 let in outside air rather than dose. {practice.ROOM_CO2_LEAVE} ppm is too much for people: "
        "leave and ventilate.",
    ]
    if found.omega_aragonite < 1:
        remarks.append("Aragonite dissolves in this water.")
    if temperature < 5:
        remarks.append("Mucci (1983) measured aragonite from 5 °C upward; below that the saturation is extrapolated.")
    values = {
        "pco2_uatm": found.pco2_uatm,
        "dic_umol_kg": found.dic_umol_kg,
        "omega_aragonite": found.omega_aragonite,
        "omega_calcite": found.omega_calcite,
        "co3_umol_kg": found.co3_umol_kg,
        "hco3_umol_kg": found.hco3_umol_kg,
        "xco2_ppm": found.xco2_ppm,
        "ph_total": found.ph_total,
        "ph_under_air": room_air,
    }
    return Worked(values, arithmetic, remarks)


CARBONATE = Calculator(
    name="carbonate",
    title="CO2 and aragonite saturation from pH and alkalinity",
    inputs=(
        _PH,
        _SCALE,
        Input("temperature", measures.TEMPERATURE, "of the water"),
        Input("salinity", measures.SALINITY, "of the water"),
        Input("alkalinity", measures.alkalinity_per_kg(), "total alkalinity", low=100, high=20_000),
        Input("borate", measures.choice(*carbonate.BORATES), "total borate by Uppström 1974 or Lee 2010", "uppstrom"),
        Input("air_co2", measures.CO2_IN_AIR, "room air to compare with", "1000", low=1, high=100_000),
    ),
    outputs=(
        Output("pco2_uatm", "µatm", "CO2 pressure of the water", 1),
        Output("dic_umol_kg", "µmol/kg", "dissolved inorganic carbon", 1),
        Output("omega_aragonite", "", "aragonite saturation"),
        Output("omega_calcite", "", "calcite saturation"),
        Output("co3_umol_kg", "µmol/kg", "carbonate", 1),
        Output("hco3_umol_kg", "µmol/kg", "bicarbonate", 1),
        Output("xco2_ppm", "ppm", "dry air the water would stand still under", 0),
        Output("ph_total", "", "the pH on the total scale", 3),
        Output("ph_under_air", "", "total-scale pH under room air of air_co2", 2),
    ),
    source="PyCO2SYS 1.8 (Humphreys et al. 2022): K1 and K2 Lueker et al. 2000 (salinity 19–43, 2–35 °C), bisulfate "
    "Dickson 1990, borate Uppström 1974, aragonite Mucci 1983; density TEOS-10",
    example=("ph=8.1", "scale=nbs", "alkalinity=8 dKH", "salinity=35", "temperature=25"),
    work=_carbonate,
)


def _ammonia(
    total: float | None, ph: float, scale: str, temperature: float, salinity: float, form: str, zero: str
) -> Worked:
    found = ammonia.unionised(ph, salinity, temperature, scale=scale, form=form, zero=float(zero))
    amount = None if total is None else total * found.fraction
    if found.fresh:
        constant = f"fresh water: pKa = 0.09018 + 2729.92 ÷ ({n(temperature)} + {zero}) = {n(found.pk)}"
    else:
        constant = f"sea water: pK = {n(found.pk)} (total scale) at salinity {n(salinity)}, {n(temperature)} °C"
    arithmetic = [constant]
    if not found.fresh and scale != "total":
        arithmetic.append(f"pH {n(ph)} ({scale}) is {n(found.ph)} on the total scale")
    arithmetic.append(f"fraction = 1 ÷ (1 + 10^({n(found.pk)} − {n(found.ph)})) = {n(found.fraction)}")
    if total is not None and amount is not None:
        arithmetic.append(f"un-ionised = {n(total)} mg/L × {n(found.fraction)} = {n(amount)} mg/L, as nitrogen")
    remarks = [
        f"Look what the kit reports: as NH3 or NH4 the same ammonia is {AMMONIA / NITROGEN:.3f} or "
        f"{AMMONIUM / NITROGEN:.3f} times as much as N."
    ]
    if amount is not None and amount > practice.UNIONISED_ACT:
        remarks.append(
            f"Above {practice.UNIONISED_ACT} mg/L N un-ionised: water change, stop feeding, find what died "
            "(common practice, no source)."
        )
    elif amount is not None and amount > practice.UNIONISED_USUAL:
        remarks.append(f"Above the usual {practice.UNIONISED_USUAL} mg/L N un-ionised (common practice, no source).")
    if scale == "nbs" and not found.fresh and not 20 <= salinity <= 40:
        remarks.append(
            "The offset of a probe in NBS buffers was measured at salinity 20 to 40; here it is extrapolated."
        )
    return Worked(
        {
            "fraction": found.fraction,
            "un_ionised": amount,
            "un_ionised_nh3": None if amount is None else amount * AMMONIA / NITROGEN,
            "pk": found.pk,
        },
        arithmetic,
        remarks,
    )


UN_IONISED = Calculator(
    name="ammonia",
    title="un-ionised ammonia, the poisonous part of what a kit measures",
    inputs=(
        Input("total", measures.AMMONIA, "total ammonia as the kit reports it", "", low=0, high=1e5),
        _PH,
        _SCALE,
        Input("temperature", measures.TEMPERATURE, "of the water"),
        Input("salinity", measures.SALINITY, "of the water"),
        Input(
            "form",
            measures.choice(*ammonia.FORMS),
            "of the sea water constant: per kg of solution as PyCO2SYS, or per kg of water (3.5 % more NH3)",
            ammonia.SOLUTION,
        ),
        Input(
            "zero",
            measures.choice("273.15", "273.2"),
            "0 °C in kelvin for fresh water; 273.2 as in Emerson's tables",
            "273.15",
        ),
    ),
    outputs=(
        Output("fraction", "", "un-ionised share of the total", 5),
        Output("un_ionised", "mg/L N", "un-ionised ammonia as nitrogen, when total is given", 4),
        Output("un_ionised_nh3", "mg/L NH3", "the same as NH3", 4),
        Output("pk", "", "of ammonium", 4),
    ),
    source=f"sea water: Clegg and Whitfield 1995, eq. 18; with scale=nbs below salinity {ammonia.FRESH_BELOW:g}: "
    "Emerson et al. 1975",
    example=("total=0.3", "ph=8.2", "scale=nbs", "salinity=35", "temperature=25"),
    work=_ammonia,
)


def _limewater(
    volume: float, temperature: float, strength: float | None, conductivity: float | None, system: float
) -> Worked:
    arithmetic, remarks = [], []
    if strength is not None and conductivity is not None:
        raise CannotRead("limewater takes strength= or conductivity=, not both; leave one out")
    if conductivity is not None:
        saturated_conductivity = limewater.SATURATED_CONDUCTIVITY / 1000
        strength = limewater.strength_from_conductivity(conductivity, saturated_conductivity)
        measured = conductivity / saturated_conductivity
        arithmetic.append(
            f"strength = {n(conductivity)} mS/cm ÷ {n(saturated_conductivity)} mS/cm = {n(measured)}"
            + (", counted as 1, for nothing is more than saturated" if measured > 1 else "")
        )
        remarks.append("Strength from conductivity is good to about 12 per cent; compensate the meter to 25 °C.")
    elif strength is None:
        strength = 1.0
    saturated = limewater.solubility(temperature) * 1000
    calcium = volume * limewater.calcium_per_litre(temperature, strength)
    meq = volume * limewater.alkalinity_per_litre(temperature, strength)
    rise = limewater.rise(meq, system)
    arithmetic += [
        f"saturated at {n(temperature)} °C: {n(saturated)} mmol/kg, taken as mmol/L "
        f"({n(limewater.SATURATED * 1000)} at 25 °C)",
        f"calcium = {n(volume)} L × {n(saturated)} mmol/L × {n(strength)} × {CALCIUM} mg/mmol = {n(calcium)} mg",
        f"alkalinity = {n(volume)} L × {n(saturated)} mmol/L × {n(strength)} × 2 meq/mmol = {n(meq)} meq",
        f"rise = {n(meq)} meq ÷ {n(system)} L × {DKH_PER_MEQ} dKH per meq/L = {n(rise)} dKH",
    ]
    if volume > practice.LIMEWATER_A_DAY * system:
        remarks.append(
            f"{n(volume)} L is {volume / system:.1%} of the system; keep limewater to {practice.LIMEWATER_A_DAY:.0%} "
            f"of it a day and {practice.LIMEWATER_AN_HOUR:.1%} an hour, stop above pH {practice.STOP_PH}, and never "
            "give more than evaporates (common practice, no source)."
        )
    remarks.append(
        "CO2 of the air weakens it: this is the most it brings. Limewater burns eyes and skin: goggles, gloves."
    )
    values = {
        "calcium_mg": calcium,
        "alkalinity_meq": meq,
        "alkalinity_dkh": rise,
        "calcium_mg_per_l": calcium / system,
        "strength": strength,
        "saturated_mmol_kg": saturated,
        "saturated_g_kg": saturated * CALCIUM_HYDROXIDE / 1000,
        "saturated_ph": limewater.saturated_ph(temperature),
    }
    return Worked(values, arithmetic, remarks)


LIMEWATER = Calculator(
    name="limewater",
    title="calcium and alkalinity that limewater brings",
    inputs=(
        Input("volume", measures.VOLUME, "limewater given", low=0, high=1e9),
        Input("temperature", measures.TEMPERATURE, "at which it was saturated", "25", low=0, high=100),
        Input("strength", measures.share(), "share of saturation; 1 when left out", ""),
        Input(
            "conductivity", measures.CONDUCTIVITY, "instead of strength: of the limewater at 25 °C", "", low=0, high=50
        ),
        Input("system", measures.VOLUME, "net water it goes into", above=0, high=1e9),
    ),
    outputs=(
        Output("calcium_mg", "mg", "calcium", 0),
        Output("alkalinity_meq", "meq", "alkalinity", 1),
        Output("alkalinity_dkh", "dKH", "rise of the system's alkalinity", 3),
        Output("calcium_mg_per_l", "mg/L", "rise of the system's calcium", 2),
        Output("strength", "", "share of saturation used", 3),
        Output("saturated_mmol_kg", "mmol/kg", "of saturated limewater at that temperature", 2),
        Output("saturated_g_kg", "g/kg", "the same as calcium hydroxide", 3),
        Output("saturated_ph", "", "pH of saturated limewater there, to check a meter (none above 60 °C)", 2),
    ),
    source="20.3 mmol/kg at 25 °C: Bates, Bower and Smith 1956, IUPAC Solubility Data Series 52; fall with temperature "
    "from handbook series; pH: Buck et al. 2002 (from memory)",
    example=("volume=6.4", "temperature=25", "strength=0.92", "system=960"),
    work=_limewater,
)


def _calcification(alkalinity: float, volume: float | None) -> Worked:
    meq = alkalinity / DKH_PER_MEQ
    calcium = calcification.calcium(meq)
    arithmetic = [
        f"{n(alkalinity)} dKH ÷ {DKH_PER_MEQ} = {n(meq)} meq/L",
        f"calcium = {n(meq)} meq/L × {CALCIUM} ÷ 2 mg/meq = {n(calcium)} mg/L",
    ]
    values: dict[str, float | None] = {"calcium_mg_per_l": calcium, "carbonate_g": None}
    if volume is not None:
        values["carbonate_g"] = grams = calcification.calcium_carbonate(meq, volume)
        arithmetic.append(
            f"calcium carbonate = {n(meq)} meq/L × {n(volume)} L × {n(CALCIUM_CARBONATE)} ÷ 2 mg/meq "
            f"÷ 1000 mg/g = {n(grams)} g"
        )
    return Worked(values, arithmetic, ["Pure calcium carbonate; coralline algae take some magnesium in its place."])


CALCIFICATION = Calculator(
    name="calcification",
    title="calcium that goes with alkalinity when skeletons grow, and dosed in step",
    inputs=(
        Input("alkalinity", measures.DKH, "alkalinity used or dosed", low=-1e4, high=1e4),
        Input("volume", measures.VOLUME, "net water, for the mass of calcium carbonate", "", low=0, high=1e9),
    ),
    outputs=(
        Output("calcium_mg_per_l", "mg/L", "calcium in step"),
        Output("carbonate_g", "g", "calcium carbonate, when volume is given"),
    ),
    source="Smith and Key 1975; Chisholm and Gattuso 1991: two equivalents a mole of calcium; IUPAC atomic weights",
    example=("alkalinity=1.4", "volume=960"),
    work=_calcification,
)


def _oxygen(temperature: float, salinity: float, measured: float | None, pressure: float) -> Worked:
    full = oxygen.saturation(salinity, temperature, pressure)
    arithmetic = [
        f"saturation at salinity {n(salinity)}, {n(temperature)} °C, {n(pressure)} hPa: {n(full)} mg/L",
    ]
    values: dict[str, float | None] = {"saturation_mg_l": full, "per_cent": None}
    if measured is not None:
        values["per_cent"] = per_cent = measured / full * 100
        arithmetic.append(f"{n(measured)} mg/L ÷ {n(full)} mg/L × 100 = {n(per_cent)} %")
    return Worked(values, arithmetic)


OXYGEN = Calculator(
    name="oxygen",
    title="oxygen at saturation, and a reading as per cent of it",
    inputs=(
        Input("temperature", measures.TEMPERATURE, "of the water", low=-2, high=40),
        Input("salinity", measures.SALINITY, "of the water", low=0, high=42),
        Input("measured", measures.OXYGEN, "a reading, mg/L", "", low=0, high=100),
        Input("pressure", measures.PRESSURE, "of the air", "1013.25", low=500, high=1100),
    ),
    outputs=(
        Output("saturation_mg_l", "mg/L", "under moist air"),
        Output("per_cent", "%", "of saturation, when measured is given", 1),
    ),
    source="Garcia and Gordon 1992, by gsw",
    example=("temperature=25", "salinity=35", "measured=5.9"),
    work=_oxygen,
)
