"""Regeneration level, operating capacity, regenerant ratio and leakage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Choice, Group, Quantity
from regenplant.core.engineering import capacity, leakage, regenerants
from regenplant.core.engineering.capacity_data import CURVES
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import ResinFamily

_SPELLINGS: dict[ResinFamily, tuple[str, ...]] = {
    ResinFamily.SAC_HYDROGEN: ("sac h", "sac", "strong acid cation", "strong-acid cation hydrogen", "sac_hcl", "cation"),
    ResinFamily.SAC_SODIUM: ("sac na", "softener", "softening", "sodium cycle"),
    ResinFamily.WAC_HYDROGEN: ("wac", "wac h", "weak acid cation"),
    ResinFamily.SBA_TYPE_1: ("sba1", "sba 1", "sba", "sba1 oh", "strong base type 1", "strong base anion type 1", "type 1"),
    ResinFamily.SBA_TYPE_2: ("sba2", "sba 2", "sba2 oh", "strong base type 2", "strong base anion type 2", "type 2"),
    ResinFamily.SBA_ACRYLIC: ("sba acrylic", "acrylic", "strong base acrylic"),
    ResinFamily.WBA: ("weak base", "weak base anion"),
}  # fmt: skip
_FAMILY = given.word("family", "resin family", tuple(Choice(family.value, family.label, words) for family, words in _SPELLINGS.items()), None, ("resin", "resin_type", "type"))  # fmt: skip
_CAPACITY = given.number("capacity", "operating capacity", "capacity", "eq/L", 1.0, 10_000.0, None, ("operating_capacity", "load", "resin_capacity"))  # fmt: skip
_TOTAL = given.number("total_capacity", "total capacity of the resin", "capacity", "eq/L", 500.0, 6000.0, None, (), True, "Left out: usual for the family. For a leakage 0.5 to 3 eq/L.")  # fmt: skip
_ANIONS = given.number("strong_anions", "strong-acid anions of the feed (Cl, SO₄, NO₃)", "normality", "meq/L", 1e-6, 500.0, None, ("total_strong_acid_anions", "strong_acid_anions", "fma", "total_strong_acid_anions_of_the_feed", "anions", "free_mineral_acidity", "strong_acid_anions_meq_l"), species="Cl-")  # fmt: skip
_K = given.number("selectivity", "selectivity of sodium over hydrogen", "ratio", "-", 1.0, 4.0, f"{leakage.SODIUM_OVER_HYDROGEN}", ("k", "k_na_h", "knah", "k_nah", "selectivity_na_h", "selectivity_coefficient"))  # fmt: skip
_RESIDUAL = given.number("residual_sodium", "sodium left on the resin at the outlet end, share of capacity", "fraction", "-", 0.0, 0.9, None, ("y", "sodium_fraction", "residual", "sodium_fraction_at_outlet", "sodium_fraction_at_the_outlet_end_of_the_bed", "residual_sodium_fraction", "y_na"))  # fmt: skip


def _ratio(chemical: str, dose_kg_per_m3: float, capacity_eq_per_m3: float) -> Answer:
    applied = capacity.applied_eq_per_m3(chemical, dose_kg_per_m3)
    taken = Estimate("q", "operating capacity", capacity_eq_per_m3, "eq/m^3", "capacity", "on record", (), "given", "plant_record")  # fmt: skip
    ratio = regenerants.require_stoichiometric(regenerants.regenerant_ratio(applied, taken))
    return Answer(replace(ratio, kind="fraction"), {"equivalents_applied": applied})


_GRAIN_PER_LB_PER_EQ_PER_KG = 0.0500435 * 7000.0
"""Grains as CaCO3 per pound in one equivalent per kilogram: 50.0435 g/eq, 7000 grains a pound."""


def _salt_efficiency(capacity_eq_per_m3: float, dose_kg_per_m3: float) -> Estimate:
    taken = Estimate("q", "operating capacity", capacity_eq_per_m3, "eq/m^3", "capacity", "on record", (), "given", "plant_record")  # fmt: skip
    found = capacity.capacity_per_regenerant(taken, dose_kg_per_m3)
    most = 1.0 / substance("nacl").equivalent_weight_kg_per_eq
    if found.value > most * (1.0 + 1e-9):
        raise OutOfRange(
            f"The capacity is {found.value * _GRAIN_PER_LB_PER_EQ_PER_KG:.0f} grain/lb; salt can give at most "
            f"{most * _GRAIN_PER_LB_PER_EQ_PER_KG:.0f} grain/lb, one equivalent for each. Check capacity and dose.",
            code="above_stoichiometric", seen=found.value * _GRAIN_PER_LB_PER_EQ_PER_KG,
            allowed_high=most * _GRAIN_PER_LB_PER_EQ_PER_KG, unit="grain/lb",
        )  # fmt: skip
    return replace(found, kind="salt_efficiency")


def _operating(family: str, chemical: str, dose_kg_per_m3: float, total_capacity_eq_per_m3: float | None) -> Answer:  # fmt: skip
    level = capacity.regeneration_level(
        family, chemical, dose_kg_per_m3, total_capacity_eq_per_m3=total_capacity_eq_per_m3
    )
    others = {"equivalents_applied": level.applied, "regenerant_ratio": level.ratio, "efficiency": level.efficiency}  # fmt: skip
    if level.residual is not None:
        others["residual_at_outlet"] = level.residual
    return Answer(level.capacity, others)


def _softener(dose_kg_per_m3: float) -> Answer:
    return _operating("sac_na", "nacl", dose_kg_per_m3, None)


def _level_leakage(
    family: str, chemical: str, dose_kg_per_m3: float, total_capacity_eq_per_m3: float | None, strong_anions_eq_per_m3: float, alkalinity_eq_per_m3: float
) -> Answer:  # fmt: skip
    level = capacity.regeneration_level(
        family, chemical, dose_kg_per_m3, total_capacity_eq_per_m3=total_capacity_eq_per_m3,
        strong_anions_eq_per_m3=strong_anions_eq_per_m3, alkalinity_eq_per_m3=alkalinity_eq_per_m3,
        cations_eq_per_m3=strong_anions_eq_per_m3 + alkalinity_eq_per_m3,
    )  # fmt: skip
    assert level.leakage is not None
    others = {"capacity": level.capacity, "regenerant_ratio": level.ratio}
    if level.residual is not None:
        others["residual_at_outlet"] = level.residual
    return Answer(level.leakage, others)


def _sodium(residual_sodium_frac: float, strong_anions_eq_per_m3: float, selectivity: float, alkalinity_eq_per_m3: float) -> Answer:  # fmt: skip
    found = leakage.sodium_leakage(
        residual_sodium_frac, strong_anions_eq_per_m3, selectivity, alkalinity_eq_per_m3
    )
    others = (
        {"caustic_conductivity": leakage.caustic_conductivity(found.value)} if found.value <= 0.01 else {}
    )
    return Answer(found, others)


def _hardness(residual_hardness_frac: float, cations_eq_per_m3: float, total_capacity_eq_per_m3: float, selectivity: float) -> Estimate:  # fmt: skip
    return leakage.hardness_leakage(
        residual_hardness_frac, cations_eq_per_m3, total_capacity_eq_per_m3, selectivity
    )


_CONTAMINATED = (
    given.number("cation_in_anion", "cation resin left in the anion resin", "fraction", "%", 0.0, 0.5, "1 %"),
    given.number("anion_in_cation", "anion resin left in the cation resin", "fraction", "%", 0.0, 0.5, "1 %"),
    given.number("cation_volume", "volume of the cation resin", "resin_volume", "L", 1e-6, 50.0, "400 L"),
    given.number("anion_volume", "volume of the anion resin", "resin_volume", "L", 1e-6, 50.0, "600 L"),
    given.number("residual_sodium", "sodium left on the cation resin by regeneration, share of capacity", "fraction", "-", 0.0, 0.5, "0.02"),
    given.number("residual_chloride", "chloride left on the anion resin by regeneration, share of capacity", "fraction", "-", 0.0, 0.5, "0.05"),
)  # fmt: skip


def _mixed(key: str) -> Callable[..., Answer]:
    def work_out(
        cation_in_anion_frac: float, anion_in_cation_frac: float, cation_volume_m3: float, anion_volume_m3: float, residual_sodium_frac: float,
        residual_chloride_frac: float,
    ) -> Answer:  # fmt: skip
        found = leakage.mixed_bed_leakage(
            cation_in_anion_frac, anion_in_cation_frac, cation_m3=cation_volume_m3, anion_m3=anion_volume_m3,
            residual_sodium_frac=residual_sodium_frac, residual_chloride_frac=residual_chloride_frac,
        )  # fmt: skip
        figures: dict[str, Any] = {
            "mixed_bed_conductivity": found.conductivity, "mixed_bed_resistivity": found.resistivity, "mixed_bed_sodium": found.sodium,
            "mixed_bed_chloride": found.chloride, "mixed_bed_ph": found.ph,
        }  # fmt: skip
        return Answer(figures[key], {name: figure for name, figure in figures.items() if name != key})

    return work_out


def _salt_doses() -> tuple[float, float]:
    salt = next(curve for curve in CURVES if (curve.family, curve.chemical) == ("sac_na", "nacl"))
    return salt.lowest_dose_kg_per_m3, salt.highest_dose_kg_per_m3


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.CAPACITY
    chemical, dose = given.chemical(), given.DOSE
    known_dose = replace(
        dose, low=min(curve.lowest_dose_kg_per_m3 for curve in CURVES), high=max(curve.highest_dose_kg_per_m3 for curve in CURVES),
        help="By family and chemical, in g/L: " + ", ".join(f"{curve.family} {curve.chemical} {curve.lowest_dose_kg_per_m3:g} to {curve.highest_dose_kg_per_m3:g}" for curve in CURVES) + ".",
    )  # fmt: skip
    salt_names = ("salt_dose", "regeneration_level", "salt", "dosage")
    salt = given.number("dose", "salt as 100 % per resin volume", "dose", "g/L", 1.0, 1000.0, None, salt_names)  # fmt: skip
    salt_known = given.number("dose", "salt as 100 % per resin volume", "dose", "g/L", *_salt_doses(), None, salt_names)  # fmt: skip
    alkalinity = given.number("alkalinity", "alkalinity of the feed", "normality", "meq/L", 0.0, 500.0, "0 meq/L", ("alk",), species="HCO3-")  # fmt: skip
    leak_total = replace(_TOTAL, high=3000.0)
    cations = given.number("cations", "all cations of the feed", "normality", "meq/L", 0.1, 200.0, None, ("total_cations",), species="CaCO3")  # fmt: skip
    total = given.number(
        "total_capacity", "total capacity of the resin", "capacity", "eq/L", 500.0, 3000.0, "2 eq/L"
    )
    hardness_k = given.number("selectivity", "selectivity of calcium over sodium", "ratio", "-", 1.0, 10.0, f"{leakage.CALCIUM_OVER_SODIUM}", ("k",))  # fmt: skip
    hardness_left = given.number("residual_hardness", "hardness left on the resin at the outlet end", "fraction", "-", 0.0, 0.8, None, ("y",))  # fmt: skip
    hcl = {"family": "sac_h", "chemical": "HCl", "dose": "100 g/L"}
    return (
        Quantity("regenerant_ratio", "Regenerant ratio", "Equivalents applied over equivalents of operating capacity, in percent of stoichiometric.", group, (chemical, dose, _CAPACITY), "fraction", "%", _ratio, {"chemical": "HCl", "dose": "100 g/L", "capacity": "1.1 eq/L"}, ("percent_of_stoichiometric", "stoichiometric_ratio")),
        Quantity("salt_efficiency", "Capacity per mass of regenerant", "Salt efficiency of a softener: grains as CaCO3 per pound of salt.", group, (_CAPACITY, salt), "salt_efficiency", "grain/lb", _salt_efficiency, {"capacity": "22.2 kgr/ft3", "dose": "5 lb/ft3"}, ("capacity_per_regenerant",)),
        Quantity("operating_capacity", "Operating capacity", "From the regeneration level, by family and chemical; the plant's own history goes before.", group, (_FAMILY, chemical, known_dose, _TOTAL), "capacity", "eq/L", _operating, hcl, ()),
        Quantity("softener_capacity", "Softener capacity", "Strong-acid cation in sodium form from the salt dose.", group, (salt_known,), "capacity", "kgr/ft3", _softener, {"dose": "10 lb/ft3"}),
        Quantity("leakage_from_dose", "Leakage from the regeneration level", "Sodium behind a hydrogen-form bed, or hardness behind a softener, from the dose.", group, (given.word("family", "resin family", _FAMILY.choices[:2], "sac_h", _FAMILY.aliases), chemical, known_dose, leak_total, _ANIONS, alkalinity), "concentration", "mg/L", _level_leakage, {**hcl, "strong_anions": "2 meq/L", "alkalinity": "2 meq/L"}),
        Quantity("sodium_leakage", "Sodium leakage of a hydrogen-form bed", "Equilibrium at the outlet end.", group, (_RESIDUAL, _ANIONS, _K, alkalinity), "concentration", "mg/L", _sodium, {"residual_sodium": "0.02", "strong_anions": "1 meq/L"}, ("equilibrium_sodium_leakage", "equilibrium_sodium_leakage_of_an_h_form_strong_acid_bed", "leakage"), see=("leakage_from_dose",)),
        Quantity("hardness_leakage", "Hardness leakage of a softener", "Equilibrium at the outlet end.", group, (hardness_left, cations, total, hardness_k), "hardness", "mg/L", _hardness, {"residual_hardness": "0.05", "cations": "5 meq/L"}),
        *(
            Quantity(key, title, "Equilibrium leakage of a mixed bed for how well its resins were separated.", group, _CONTAMINATED, kind, unit, _mixed(key), {"cation_in_anion": "1 %", "anion_in_cation": "1 %"}, see=("effluent_conductivity",))
            for key, title, kind, unit in (
                ("mixed_bed_conductivity", "Conductivity behind a mixed bed", "conductivity", "uS/cm"), ("mixed_bed_resistivity", "Resistivity behind a mixed bed", "resistivity", "Mohm.cm"),
                ("mixed_bed_sodium", "Sodium behind a mixed bed", "trace_concentration", "ug/L"), ("mixed_bed_chloride", "Chloride behind a mixed bed", "trace_concentration", "ug/L"),
            )
        ),
    )  # fmt: skip
