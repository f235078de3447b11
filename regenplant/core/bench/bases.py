"""Equivalents and "as CaCO3": what the trade counts ions in."""

from __future__ import annotations

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Group, Quantity
from regenplant.core.engineering import ions
from regenplant.core.engineering.estimate import Estimate, Input


def _weight(species: str) -> Estimate:
    return Estimate(
        "EW", f"equivalent weight of {species}", ions.equivalent_weight_kg_per_eq(species), "kg/eq", "equivalent_weight", "table of molar mass over charge", (),
        "molar mass divided by charge", "equivalents", "SiO2 and CO2 count one equivalent per mole, as a strong-base bed takes them up",
    )  # fmt: skip


def _factor(species: str) -> Estimate:
    weight = _weight(species)
    return Estimate(
        "f", f"mass as CaCO3 per mass of {species}", ions.as_calcium_carbonate_factor(species), "dimensionless", "scalar", "EW_CaCO3 / EW",
        (Input("EW_CaCO3", "equivalent weight of CaCO3", ions.CALCIUM_CARBONATE_KG_PER_EQ, "kg/eq", "equivalent_weight"), weight.as_input()),
        "equivalents", "equivalents",
    )  # fmt: skip


def _as_carbonate(species: str, concentration_kg_per_m3: float) -> Estimate:
    factor = _factor(species)
    return Estimate(
        "c_C", f"{species} as CaCO3", concentration_kg_per_m3 * factor.value, "kg/m^3", "hardness", "c · f",
        (Input("c", f"concentration of {species}", concentration_kg_per_m3, "kg/m^3", "concentration"), factor.as_input()), "equivalents", "equivalents",
    )  # fmt: skip


def _from_carbonate(species: str, as_caco3_kg_per_m3: float) -> Estimate:
    factor = _factor(species)
    return Estimate(
        "c", f"concentration of {species}", as_caco3_kg_per_m3 / factor.value, "kg/m^3", "concentration", "c_C / f",
        (Input("c_C", "concentration as CaCO3", as_caco3_kg_per_m3, "kg/m^3", "hardness"), factor.as_input()), "equivalents", "equivalents",
    )  # fmt: skip


def _equivalents(species: str, concentration_kg_per_m3: float) -> Estimate:
    weight = _weight(species)
    return Estimate(
        "c_eq", f"equivalents of {species} per volume", concentration_kg_per_m3 / weight.value, "eq/m^3", "normality", "c / EW",
        (Input("c", f"concentration of {species}", concentration_kg_per_m3, "kg/m^3", "concentration"), weight.as_input()), "equivalents", "equivalents",
    )  # fmt: skip


def _capacity(capacity_eq_per_m3: float) -> Estimate:
    return Estimate(
        "q_C", "capacity as CaCO3", capacity_eq_per_m3 * ions.CALCIUM_CARBONATE_KG_PER_EQ, "kg/m^3", "dose", "q · EW",
        (Input("q", "capacity", capacity_eq_per_m3, "eq/m^3", "capacity"), Input("EW", "equivalent weight of CaCO3", ions.CALCIUM_CARBONATE_KG_PER_EQ, "kg/eq", "equivalent_weight")),
        "equivalents", "equivalents",
    )  # fmt: skip


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group that need no unit library."""
    group = Group.CONVERSION
    species = given.species()
    concentration = given.number("concentration", "concentration of the species itself", "concentration", "mg/L", 0.0, 1000.0, None, ("c",))  # fmt: skip
    carbonate = given.number("as_caco3", "concentration as CaCO3", "hardness", "mg/L", 0.0, 20.0, None, ("concentration", "hardness", "caco3"))  # fmt: skip
    capacity = given.number("capacity", "capacity", "capacity", "eq/L", 0.0, 10_000.0, None, ("operating_capacity", "total_capacity"))  # fmt: skip
    return (
        Quantity("equivalent_weight", "Equivalent weight", "Molar mass over charge.", group, (species,), "equivalent_weight", "g/eq", _weight, {"species": "Ca++"}, ("ew", "equivalent_mass")),
        Quantity("as_caco3_factor", "Factor to as CaCO3", "Milligrams as CaCO3 per milligram of the species.", group, (species,), "scalar", "-", _factor, {"species": "Na+"}, ("factor_ion_as_caco3", "caco3_factor", "factor_ion_to_as_caco3", "caco3_equivalent_factor")),
        Quantity("as_caco3", "Concentration as CaCO3", "From the concentration of the species itself.", group, (species, concentration), "hardness", "mg/L", _as_carbonate, {"species": "Ca++", "concentration": "40 mg/L"}, ("to_caco3", "concentration_as_caco3")),
        Quantity("from_caco3", "Concentration from as CaCO3", "The species itself from a concentration as CaCO3.", group, (species, carbonate), "concentration", "mg/L", _from_carbonate, {"species": "Na+", "as_caco3": "50 mg/L"}, ("from_as_caco3",)),
        Quantity("equivalents_per_volume", "Equivalents per volume", "From a mass concentration of the species.", group, (species, concentration), "normality", "meq/L", _equivalents, {"species": "SO4--", "concentration": "96 mg/L"}, ("meq_per_l", "milliequivalents")),
        Quantity("capacity_as_caco3", "Capacity as CaCO3", "From equivalents per litre of resin.", group, (capacity,), "dose", "g/L", _capacity, {"capacity": "1 eq/L"}),
    )  # fmt: skip
