"""What drops out: gypsum in spent sulfuric acid, chalk and magnesia in caustic, scale in mixed wastes.

Equilibrium by PHREEQC with the Pitzer data file, which holds at the strengths of regenerants (``phreeqc_runs``); gypsum in
acid stands in ``gypsum`` and is offered here too.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from regenplant.core.engineering.equilibria import Composition, mixture_ph
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.gypsum import (
    gypsum_saturation,
    gypsum_solubility,
    largest_calcium_fraction,
)
from regenplant.core.engineering.phreeqc_runs import (
    LOW_KELVIN,
    NOTHING_MOL_PER_KG,
    PITZER,
    gypsum_index,
    molality_mol_per_kg,
    require_temperature,
    solved,
)
from regenplant.core.engineering.ranges import require_within

__all__ = [
    "caustic_solids",
    "caustic_solids_mol_per_kg",
    "gypsum_saturation",
    "gypsum_solubility",
    "largest_calcium_fraction",
    "saturation_indices",
]

LOWEST_CAUSTIC_FRAC, HIGHEST_CAUSTIC_FRAC = 0.001, 0.20
MOST_HARDNESS_EQ_PER_M3 = 50.0
_SOLIDS_KG_PER_MOL = {"calcite": 0.100087, "brucite": 0.058319, "portlandite": 0.074093}

# --- caustic --------------------------------------------------------------------------------------------------------


def caustic_solids(
    strength_frac: float,
    calcium_eq_per_m3: float,
    magnesium_eq_per_m3: float,
    alkalinity_eq_per_m3: float,
    temperature_kelvin: float,
) -> Estimate:
    """Solids that drop when caustic is made up with hard water, per mass of water.

    Parameters
    ----------
    strength_frac : float
        Strength of the diluted caustic, 0.001 to 0.20 [-]
    calcium_eq_per_m3 : float
        Calcium in the dilution water, 0 to 50 [eq/m^3]
    magnesium_eq_per_m3 : float
        Magnesium in the dilution water, 0 to 50 [eq/m^3]
    alkalinity_eq_per_m3 : float
        Alkalinity of the dilution water, taken as bicarbonate, 0 to 50 [eq/m^3]
    temperature_kelvin : float
        Temperature, 273.15 to 353.15 [K]

    Returns
    -------
    solids : Estimate
        Calcite, brucite and portlandite per mass of water [kg/kg]

    Raises: OutOfRange outside the ranges.
    Range: equilibrium; carbonate that the caustic itself brings is not counted and drops more calcium.
    Source: phreeqc_pitzer.
    """
    require_within(strength_frac, LOWEST_CAUSTIC_FRAC, HIGHEST_CAUSTIC_FRAC, "strength of the caustic")
    water_ions = (calcium_eq_per_m3, magnesium_eq_per_m3, alkalinity_eq_per_m3)
    for name, amount in zip(("calcium", "magnesium", "alkalinity"), water_ions, strict=True):
        require_within(amount, 0.0, MOST_HARDNESS_EQ_PER_M3, f"{name} of the dilution water", "eq/m³")
    require_temperature(temperature_kelvin)
    solids = caustic_solids_mol_per_kg(strength_frac, *water_ions, temperature_kelvin)
    parts = ", ".join(f"{name} {amount * 1000:.3g} mmol/kg" for name, amount in solids if amount > 1e-7)
    return Estimate(
        symbol="m_z",
        name="solids that drop, per mass of dilution water",
        value=sum(amount * _SOLIDS_KG_PER_MOL[name] for name, amount in solids),
        unit="dimensionless",
        kind="mass_ratio",
        formula="solve equilibrium with calcite, brucite and portlandite",
        inputs=(
            Input("w", "strength of the diluted caustic", strength_frac, "dimensionless", "strength"),
            Input("c_Ca", "calcium in the dilution water", calcium_eq_per_m3, "eq/m^3", "normality"),
            Input("c_Mg", "magnesium in the dilution water", magnesium_eq_per_m3, "eq/m^3", "normality"),
            Input("c_A", "alkalinity of the dilution water", alkalinity_eq_per_m3, "eq/m^3", "normality"),
            Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),
        ),
        method=f"PHREEQC, pitzer.dat: {parts or 'nothing drops'}",
        source="phreeqc_pitzer",
        valid="0.1 to 20 % caustic, 0 to 80 °C; carbonate already in the caustic is not counted",
        uncertainty_frac=0.1,
    )


@lru_cache(maxsize=1024)
def caustic_solids_mol_per_kg(
    strength_frac: float,
    calcium_eq_per_m3: float,
    magnesium_eq_per_m3: float,
    alkalinity_eq_per_m3: float,
    temperature_kelvin: float,
) -> tuple[tuple[str, float], ...]:
    """Amount of each solid that drops, by name.

    Parameters
    ----------
    strength_frac : float
        Strength of the diluted caustic [-]
    calcium_eq_per_m3 : float
        Calcium in the dilution water [eq/m^3]
    magnesium_eq_per_m3 : float
        Magnesium in the dilution water [eq/m^3]
    alkalinity_eq_per_m3 : float
        Alkalinity of the dilution water [eq/m^3]
    temperature_kelvin : float
        Temperature [K]

    Returns
    -------
    amounts_mol_per_kg : tuple
        ("calcite", amount), ("brucite", amount), ("portlandite", amount) [mol/kg]

    Source: phreeqc_pitzer. A litre of dilution water is taken as a kilogram.
    """
    others = calcium_eq_per_m3 + magnesium_eq_per_m3 - alkalinity_eq_per_m3
    totals = {
        "Na": molality_mol_per_kg("naoh", strength_frac) + max(-others, 0.0) / 1000.0,
        "Ca": calcium_eq_per_m3 / 2000.0,
        "Mg": magnesium_eq_per_m3 / 2000.0,
        "C(4)": alkalinity_eq_per_m3 / 1000.0,
        "Cl": max(others, 0.0) / 1000.0,
    }
    contents = {name: amount for name, amount in totals.items() if amount > NOTHING_MOL_PER_KG}

    def dropped(solution: Any) -> tuple[tuple[str, float], ...]:
        elements = [
            name for name in ("Ca", "Mg", "C") if totals.get(name, totals["C(4)"]) > NOTHING_MOL_PER_KG
        ]
        before = {name: float(solution.total_element(name, "mol")) for name in elements}
        solution.equalize(["Calcite", "Brucite", "Portlandite"], [0.0] * 3, [0.0] * 3)
        lost = {
            name: max(before[name] - float(solution.total_element(name, "mol")), 0.0) for name in elements
        }
        calcite = lost.get("C", 0.0) if "Ca" in lost else 0.0
        portlandite = max(lost.get("Ca", 0.0) - calcite, 0.0)
        return ("calcite", calcite), ("brucite", lost.get("Mg", 0.0)), ("portlandite", portlandite)

    head = {"units": "mol/kgw", "temp": temperature_kelvin - 273.15, "pH": "13 charge"}
    return solved({**head, **contents}, PITZER, dropped)


# --- mixed wastes ---------------------------------------------------------------------------------------------------

_PHASES = {
    "calcite": ("Calcite", "Ca", "C(4)"),
    "gypsum": ("Gypsum", "Ca", "S(6)"),
    "brucite": ("Brucite", "Mg", "Mg"),
}


def saturation_indices(composition: Composition, temperature_kelvin: float) -> dict[str, Estimate]:
    """Saturation indices of the solids that a waste could form.

    Parameters
    ----------
    composition : Composition
        Totals of the waste
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    indices : dict
        "calcite", "gypsum", "brucite": those whose ions are there; 0 is saturated, above it solids are possible [-]

    Raises: OutOfRange outside the temperature.
    Range: closed to the air, nothing precipitated. Nitrate counts as chloride and ammonia by the charge it carries at
    the waste's own pH, because ``pitzer.dat`` knows neither; a litre is taken as a kilogram of water.
    Source: phreeqc_pitzer.
    """
    require_within(
        temperature_kelvin, LOW_KELVIN, 333.15, "temperature of the waste", "K", "That is 0 to 60 °C."
    )
    return {
        name: Estimate(
            symbol=f"SI_{name[0]}",
            name=f"saturation index of {name} in the waste",
            value=value,
            unit="dimensionless",
            kind="index",
            formula=f"solve SI = log10(IAP / K) of {name}",
            inputs=(
                *_waste_inputs(composition, name),
                Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),
            ),
            method="PHREEQC, pitzer.dat, closed to the air, nothing precipitated",
            source="phreeqc_pitzer",
            valid="equilibrium, 0 to 60 °C, about 0.2; above 0 solids are possible",
        )
        for name, value in _indices(composition, temperature_kelvin)
    }


def _waste_inputs(composition: Composition, name: str) -> tuple[Input, ...]:
    fields = {
        "calcite": ("calcium", "carbonate"),
        "gypsum": ("calcium", "sulfate"),
        "brucite": ("magnesium",),
    }[name]
    symbols = {"calcium": "c_Ca", "carbonate": "c_C", "sulfate": "c_S", "magnesium": "c_Mg"}
    return tuple(
        Input(symbols[field], f"{field} in the waste", getattr(composition, f"{field}_mol_per_m3"), "mol/m^3", "amount_concentration")
        for field in fields
    )  # fmt: skip


@lru_cache(maxsize=512)
def _indices(composition: Composition, temperature_kelvin: float) -> tuple[tuple[str, float], ...]:
    totals = {
        "Na": composition.sodium_mol_per_m3,
        "K": composition.potassium_mol_per_m3,
        "Ca": composition.calcium_mol_per_m3,
        "Mg": composition.magnesium_mol_per_m3,
        "Cl": composition.chloride_mol_per_m3 + composition.nitrate_mol_per_m3,
        "S(6)": composition.sulfate_mol_per_m3,
        "C(4)": composition.carbonate_mol_per_m3,
        "Si": composition.silica_mol_per_m3,
    }
    contents: dict[str, Any] = {
        name: total / 1000.0 for name, total in totals.items() if total / 1000.0 > NOTHING_MOL_PER_KG
    }
    wanted = [
        (name, phase) for name, (phase, *ions) in _PHASES.items() if all(ion in contents for ion in ions)
    ]
    if not wanted:
        return ()
    has_ammonia = composition.ammonia_mol_per_m3 / 1000.0 > NOTHING_MOL_PER_KG
    ph = f"{mixture_ph(composition, temperature_kelvin):.4f}" if has_ammonia else "7 charge"
    head = {"units": "mol/kgw", "temp": temperature_kelvin - 273.15, "pH": ph}
    return solved(
        {**head, **contents},
        PITZER,
        lambda solution: tuple(
            (name, gypsum_index(solution) if name == "gypsum" else float(solution.si(phase)))
            for name, phase in wanted
        ),
    )
