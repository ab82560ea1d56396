"""Calculator of what the sea holds, to compare a tank with."""

from __future__ import annotations

from rounds.core.constants import DKH_PER_MEQ, REFERENCE_SALINITY, STANDARD_SALINITY
from rounds.core.numbers import figures as n
from rounds.water import composition, mass_balance, measures
from rounds.water.calculators.model import Calculator, Input, Output, Worked

_IONS = {
    "calcium": "Ca", "magnesium": "Mg", "potassium": "K", "strontium": "Sr", "sodium": "Na", "chloride": "Cl",
    "sulfate": "SO4", "bromide": "Br", "fluoride": "F",
}  # fmt: skip
"""Output and the part of sea salt it is about."""


def _composition(salinity: float, temperature: float) -> Worked:
    salt = composition.salt(salinity)
    moles = salt / composition.MEAN_WEIGHT
    density = mass_balance.kilograms(1, salinity, temperature)
    micromoles = composition.alkalinity(salinity) * 1e6
    dkh = micromoles / 1000 * density * DKH_PER_MEQ
    litre = {name: composition.milligrams(ion, salinity) * density for name, ion in _IONS.items()}
    arithmetic = [
        f"salt = {n(salinity)} × {REFERENCE_SALINITY} g/kg ÷ {n(STANDARD_SALINITY)} = {n(salt)} g/kg",
        f"ions and molecules = {n(salt)} g/kg ÷ {composition.MEAN_WEIGHT} g/mol = {n(moles)} mol/kg",
        f"a litre at {n(temperature)} °C: {n(density)} kg",
        *(
            f"{name} = {n(moles)} mol/kg × {n(composition.share(ion))} × {n(composition.WEIGHTS[ion])} g/mol "
            f"× 1000 mg/g × {n(density)} kg/L = {n(litre[name])} mg/L"
            for name, ion in _IONS.items()
        ),
        f"alkalinity = {n(moles)} mol/kg × {n(micromoles / 1e6 / moles if moles else 0.0)} × 1,000,000 µmol/mol = "
        f"{n(micromoles)} µmol/kg, of bicarbonate, borate and hydroxide once and of carbonate twice",
        f"{n(micromoles)} µmol/kg ÷ 1000 × {n(density)} kg/L × {DKH_PER_MEQ} = {n(dkh)} dKH",
    ]
    remarks = ["What the open sea would hold at this salinity; tanks differ on purpose, in alkalinity above all."]
    values = {**{f"{name}_mg_l": value for name, value in litre.items()},
              "alkalinity_umol_kg": micromoles, "alkalinity_dkh": dkh}  # fmt: skip
    return Worked(values, arithmetic, remarks)


COMPOSITION = Calculator(
    name="composition",
    title="what sea water of a salinity holds, to compare a tank with",
    inputs=(
        Input("salinity", measures.SALINITY, "of the water", "35", low=0, high=120),
        Input("temperature", measures.TEMPERATURE, "of the water, for its density", "25", low=-2, high=40),
    ),
    outputs=(
        *(Output(f"{name}_mg_l", "mg/L", name) for name in _IONS),
        Output("alkalinity_umol_kg", "µmol/kg", "total alkalinity", 1),
        Output("alkalinity_dkh", "dKH", "the same"),
    ),
    source="Reference Composition, Millero et al. 2008; density TEOS-10",
    example=("salinity=35", "temperature=25"),
    work=_composition,
)
