"""Figures of a waste of known composition: pH, ionic strength, dissolved solids, mass of each ion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields

from regenplant.core.engineering import equilibria
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.held_ions import HELD_IONS, waste_ion

CLOSED_TANK = (
    "Closed to the air, nothing precipitated: lost carbon dioxide raises the pH, falling solids lower it."
)
AMMONIA_GAS = (
    "Ammonia gas comes off above about pH 9. Keep acid, caustic and hypochlorite streams apart from it until it is acid; "
    "the SDS and local codes decide."
)
CARBON_DIOXIDE_GAS = (
    "Carbonate that meets acid gives off carbon dioxide: foam, and no air to breathe in pits and closed tanks. "
    "Give acid slowly and ventilate; the SDS and local codes decide."
)
CARBONATE_THAT_FOAMS_MOL_PER_M3 = 20.0
"""Common practice; below it the gas stays dissolved or goes unnoticed in an open tank."""


def solids_expected(indices: Mapping[str, Estimate]) -> tuple[str, ...]:
    """What to expect of the solids that are over their saturation.

    Parameters
    ----------
    indices : Mapping[str, Estimate]
        Saturation index by the name of the solid, as ``scaling.saturation_indices`` gives them

    Returns
    -------
    sentences : tuple[str, ...]
        One for each solid with an index above 0, the highest first
    """
    over = sorted(indices.items(), key=lambda entry: -entry[1].value)
    return tuple(
        f"{name.capitalize()}: saturation index {found.value:+.1f}, above 0. Solids and scale are expected; "
        "the pH moves as they form, and screens and probes foul."
        for name, found in over
        if found.value > 0.0
    )


def loads_of(composition: Composition, volume: Estimate) -> dict[str, Estimate]:
    """Mass of each ion in a waste of known composition.

    Parameters
    ----------
    composition : Composition
        Totals
    volume : Estimate
        Volume [m^3]

    Returns
    -------
    loads : dict
        Mass by "chloride_kg", "sodium_kg" and so on, those that are there [kg]

    Source: mass_balance.
    """
    found: dict[str, Estimate] = {}
    for name in (*HELD_IONS, "ammonia"):
        ion, concentration = waste_ion(name), getattr(composition, f"{name}_mol_per_m3")
        if concentration > 0.0:
            found[f"{name}_kg"] = Estimate(
                symbol=f"m_{ion.symbol}",
                name=f"{ion.words}: load in the waste",
                value=concentration * volume.value * ion.molar_mass_kg_per_mol,
                unit="kg",
                kind="mass",
                formula=f"c_{ion.symbol} · {volume.symbol} · M_{ion.symbol}",
                inputs=(
                    Input(f"c_{ion.symbol}", f"{name} in the waste", concentration, "mol/m^3", "amount_concentration"),
                    volume.as_input(),
                    Input(f"M_{ion.symbol}", f"molar mass of {ion.words}", ion.molar_mass_kg_per_mol, "kg/mol"),
                ),
                method="mass balance",
                source="mass_balance",
            )  # fmt: skip
    return found


def figures_of(
    composition: Composition,
    volume: Estimate,
    temperature_kelvin: float,
    loads: dict[str, Estimate],
    warnings: tuple[str, ...] = (),
) -> dict[str, Estimate]:
    """pH, ionic strength and dissolved solids of a waste, beside its loads.

    Parameters
    ----------
    composition : Composition
        Totals
    volume : Estimate
        Volume [m^3]
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]
    loads : dict[str, Estimate]
        Mass of each ion [kg]
    warnings : tuple[str, ...]
        Sentences that belong to the pH

    Returns
    -------
    figures : dict
        The loads with "ph", "ionic_strength_mol_per_m3" and "dissolved_kg_per_m3"

    Raises: OutOfRange for a temperature outside 0 to 60 °C.
    Source: phreeqc_constants, mass_balance.
    """
    solved = equilibria.species_of(composition, temperature_kelvin)
    totals = _totals_as_inputs(composition, temperature_kelvin)
    gases = _gas_warnings(composition, solved.ph)
    return loads | {
        "ph": ph_estimate(solved.ph, totals, (*warnings, *gases), solved.ionic_strength_mol_per_m3),
        "ionic_strength_mol_per_m3": Estimate(
            "I", "ionic strength of the waste", solved.ionic_strength_mol_per_m3, "mol/m^3", "amount_concentration",
            "solve charge balance of the totals, half the sum of c·z²", totals, "ion pairs of phreeqc.dat", "phreeqc_constants",
        ),
        "dissolved_kg_per_m3": _dissolved(tuple(loads.values()), volume),
    }  # fmt: skip


def _gas_warnings(composition: Composition, ph: float) -> tuple[str, ...]:
    found: list[str] = []
    if composition.ammonia_mol_per_m3 > 1.0 and ph > 8.0:
        found.append(AMMONIA_GAS)
    if composition.carbonate_mol_per_m3 > CARBONATE_THAT_FOAMS_MOL_PER_M3 and ph < 7.5:
        found.append(CARBON_DIOXIDE_GAS)
    return tuple(found)


def _totals_as_inputs(composition: Composition, temperature_kelvin: float) -> tuple[Input, ...]:
    totals = [
        Input(f"c_{_symbol(entry.name)}", f"{entry.name.removesuffix('_mol_per_m3')}, all forms",
              getattr(composition, entry.name), "mol/m^3", "amount_concentration")
        for entry in fields(composition)
        if getattr(composition, entry.name) > 0.0
    ]  # fmt: skip
    return (*totals, Input("T", "temperature of the waste", temperature_kelvin, "kelvin", "temperature"))


def _symbol(field: str) -> str:
    name = field.removesuffix("_mol_per_m3")
    return "K" if name == "potassium" else waste_ion(name).symbol


def ph_estimate(
    ph: float,
    inputs: tuple[Input, ...],
    warnings: tuple[str, ...] = (),
    ionic_strength_mol_per_m3: float = 0.0,
) -> Estimate:
    """A predicted pH with what two public models disagree by.

    Parameters
    ----------
    ph : float
        pH found [-]
    inputs : tuple[Input, ...]
        What it was found from
    warnings : tuple[str, ...]
        Further sentences
    ionic_strength_mol_per_m3 : float
        Of the waste; strong ones are known less well [mol/m^3]

    Returns
    -------
    ph : Estimate
        pH; its uncertainty is the disagreement [-]

    Source: phreeqc_constants, phreeqc_and_pitzer.
    """
    apart = equilibria.ph_uncertainty(ph, ionic_strength_mol_per_m3)
    return Estimate(
        symbol="pH",
        name="pH of the waste, predicted",
        value=ph,
        unit="dimensionless",
        kind="ph",
        formula="solve charge balance of the totals, H⁺, OH⁻ and their pairs",
        inputs=inputs,
        method="charge balance with ion pairs, constants of phreeqc.dat",
        source="phreeqc_constants",
        valid="0 to 60 °C; carbonate, silica, ammonia, hard and soft salts; no metals, no organic acids",
        warnings=(
            f"Two public models of the same waste differ by up to about {apart:.2f} at this pH (ion pairs and Pitzer). "
            "The measured pH decides.",
            CLOSED_TANK,
            *warnings,
        ),
        uncertainty_frac=apart / ph if ph > 1.0 else None,
        uncertainty_abs=apart,
    )


def _dissolved(loads: tuple[Estimate, ...], volume: Estimate) -> Estimate:
    body = " + ".join(load.symbol for load in loads) or "0"
    return Estimate(
        symbol="c_d",
        name="dissolved solids of the waste, sum of the ions",
        value=sum(load.value for load in loads) / volume.value,
        unit="kg/m^3",
        kind="concentration",
        formula=f"({body}) / {volume.symbol}",
        inputs=(*(load.as_input() for load in loads), volume.as_input()),
        method="mass balance",
        source="mass_balance",
        valid="without H⁺ and OH⁻; carbonate counted as CO₃, silica as SiO₂, ammonia as NH₄",
    )
