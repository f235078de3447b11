"""How the totals of a water share out over ions and pairs at a pH, and the pH at which charges balance.

Closed to the air, nothing precipitates. Mass action is solved as for a waste (``equilibrium_solver``), here per kilogram of
water and with the ion product of IAPWS.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log10

from regenplant.core.engineering import water
from regenplant.core.engineering.equilibrium_solver import System
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.water_species import (
    MASTERS,
    SPECIES,
    activity_law,
    log_activity_coefficient,
)
from regenplant.core.errors import OutOfRange

LOWEST_KELVIN, HIGHEST_KELVIN = 273.15, 333.15
STRENGTH_LIMIT_MOL_PER_KG = 1.0
"""Above it an ion-size model of activity means nothing; the answer is refused."""

_NOTHING = 1e-18  # mol/kg: a total below this cannot move anything and divides badly
_PH_TOLERANCE = 1e-11


@dataclass(frozen=True, slots=True)
class Speciation:
    """What is in a water at a pH: molalities by species, activity coefficients, ionic strength, net charge."""

    ph: float
    molalities: dict[str, float]
    log_gammas: dict[str, float]
    ionic_strength_mol_per_kg: float
    charge_eq_per_kg: float
    """Cations less anions; zero when the pH was found by charge balance."""


def _solved(totals_mol_per_kg: dict[str, float], temperature_kelvin: float, ph: float | None) -> Speciation:
    """Totals at a measured pH, or at the pH of no charge."""
    system = System(totals_mol_per_kg, temperature_kelvin, log10(water.ion_product_molal(temperature_kelvin)))
    here = system.balanced_ph(_PH_TOLERANCE) if ph is None else ph
    species = system.species_at(here)
    strength, law = species.ionic_strength_mol_per_m3 / 1000.0, activity_law(temperature_kelvin)
    return Speciation(
        here,
        {name: value / 1000.0 for name, value in species.mol_per_m3.items()},
        {name: log_activity_coefficient(SPECIES[name], strength, law) for name in species.mol_per_m3},
        strength,
        system.charge_at(here),
    )


@lru_cache(maxsize=512)
def speciate(
    totals_mol_per_m3: tuple[float, ...], temperature_kelvin: float, ph: float | None = None
) -> Speciation:
    """Species of a water at its measured pH, or at the pH at which charges balance.

    Parameters
    ----------
    totals_mol_per_m3 : tuple
        Totals in the order of ``water_species.MASTERS``, each >= 0 [mol/m^3]
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]
    ph : float or None
        Measured pH; None finds it by charge balance [-]

    Returns
    -------
    speciation : Speciation
        Molalities by species

    Raises: OutOfRange outside 0 to 60 °C, or above an ionic strength of 1 mol/kg.
    Source: phreeqc_data with iapws_kw. Within 0.01 of PHREEQC with the same data file at 25 °C and an ionic strength
    of 0.1 mol/kg. One mol/m³ counts as one mmol per kg of water, scaled by the density of water.
    """
    require_within(temperature_kelvin, LOWEST_KELVIN, HIGHEST_KELVIN, "temperature of the water", "K")
    per_kg = 1.0 / water.density_kg_per_m3(temperature_kelvin)
    found = _solved(
        {
            species.name: total * per_kg
            for species, total in zip(MASTERS, totals_mol_per_m3, strict=True)
            if total * per_kg > _NOTHING
        },
        temperature_kelvin,
        ph,
    )
    if found.ionic_strength_mol_per_kg > STRENGTH_LIMIT_MOL_PER_KG:
        raise OutOfRange(
            f"The ionic strength is {found.ionic_strength_mol_per_kg:.3g} mol/kg; this chemistry holds to "
            f"{STRENGTH_LIMIT_MOL_PER_KG:g} mol/kg. Use the spent-regenerant calculation for stronger solutions.",
            code="too_concentrated",
            seen=found.ionic_strength_mol_per_kg,
            allowed_high=STRENGTH_LIMIT_MOL_PER_KG,
        )
    return found
