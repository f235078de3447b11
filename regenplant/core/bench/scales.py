"""Gypsum in spent sulfuric acid, solids in caustic made up with hard water, scale in a waste."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from regenplant.core.bench import inputs as given
from regenplant.core.bench.neutralizing import BOTH_WASTES, ONE_WASTE, WASTE_EXAMPLE, mixed_waste
from regenplant.core.bench.quantity import Answer, Choice, Group, Quantity
from regenplant.core.engineering import gypsum, scaling
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.errors import OutOfRange


def _index(strength_frac: float, calcium_frac: float, magnesium_frac: float, sodium_frac: float, temperature_kelvin: float) -> Estimate:  # fmt: skip
    found = gypsum.gypsum_saturation(
        strength_frac,
        calcium_frac,
        temperature_kelvin,
        magnesium_frac=magnesium_frac,
        sodium_frac=sodium_frac,
    )
    terms = gypsum.gypsum_terms(
        strength_frac, (calcium_frac, magnesium_frac, sodium_frac), temperature_kelvin
    )
    detail = (
        Input("l_Ca", f"log10 of the activity of Ca²⁺ (γ = {terms.calcium_gamma:.4g})", terms.log_calcium_activity, "dimensionless"),
        Input("l_SO4", f"log10 of the activity of SO₄²⁻ (γ = {terms.sulfate_gamma:.4g})", terms.log_sulfate_activity, "dimensionless"),
        Input("l_w", "log10 of the activity of water", terms.log_water_activity, "dimensionless"),
        Input("log_K", "log10 of the solubility product of CaSO4·2H2O at T", terms.log_solubility_product, "dimensionless"),
        Input("m_Ca", "free Ca²⁺", terms.free_calcium, "mol/kg"),
        Input("m_SO4", "free SO₄²⁻", terms.free_sulfate, "mol/kg"),
        Input("m_HSO4", "HSO₄⁻", terms.bisulfate, "mol/kg"),
        Input("I", "ionic strength", terms.ionic_strength, "mol/kg"),
        Input("pH", "pH of the spent acid, Pitzer scale", terms.ph, "dimensionless"),
    )  # fmt: skip
    return replace(found, formula="l_Ca + l_SO4 + 2 · l_w − log_K", inputs=(*detail, *found.inputs))


def _most(strength_frac: float, temperature_kelvin: float) -> Answer:
    found = gypsum.largest_calcium_fraction(strength_frac, temperature_kelvin)
    return Answer(found, {"in_percent": found})


def _dissolved(temperature_kelvin: float) -> Estimate:
    return gypsum.gypsum_solubility(temperature_kelvin)


def _solids(strength_frac: float, calcium_eq_per_m3: float, magnesium_eq_per_m3: float, alkalinity_eq_per_m3: float, temperature_kelvin: float) -> Estimate:  # fmt: skip
    return scaling.caustic_solids(
        strength_frac, calcium_eq_per_m3, magnesium_eq_per_m3, alkalinity_eq_per_m3, temperature_kelvin
    )


def _waste(mineral: str, temperature_kelvin: float, **values: Any) -> Answer:
    composition, _ = mixed_waste(values)
    found = scaling.saturation_indices(composition, temperature_kelvin)
    if mineral not in found:
        others = f" Of this waste there are {', '.join(found)}." if found else ""
        raise OutOfRange(
            f"No index of {mineral} can be worked out: {_NEEDS[mineral]} must be in the waste.{others}",
            code="no_index",
            field="mineral",
        )
    known = {name: replace(figure, uncertainty_abs=_INDEX_UNCERTAINTY) for name, figure in found.items()}
    return Answer(known[mineral], {name: figure for name, figure in known.items() if name != mineral})


_INDEX_UNCERTAINTY = 0.2
"""Of an index of a mixture: 0.1 to 0.15 from the data file, the rest from what is not analyzed."""
_NEEDS = {"calcite": "calcium and carbonate", "gypsum": "calcium and sulfate", "brucite": "magnesium"}


def _share(name: str, label: str, aliases: tuple[str, ...], default: str | None) -> given.InputSpec:
    return given.number(name, label, "fraction", "%", 0.0, 1.0, default, aliases)


_STRENGTH = given.strength("strength", "strength of the sulfuric acid as fed", 0.002, 0.12)
_T = given.temperature("temperature", "temperature of the stream", 0.0, 60.0)


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.GYPSUM
    calcium = replace(_share("calcium", "share of the acid's equivalents exchanged for calcium", ("calcium_share", "ca", "calcium_fraction", "calcium_replaced", "ca_share", "ca_fraction", "fraction_ca"), None), low=1e-6)  # fmt: skip
    magnesium = _share(
        "magnesium", "share exchanged for magnesium", ("magnesium_share", "mg", "mg_share"), "0 %"
    )
    sodium = _share("sodium", "share exchanged for sodium", ("sodium_share", "na", "na_share"), "0 %")
    water = (
        given.strength("strength", "strength of the caustic", 0.005, 0.12),
        given.number("calcium", "calcium in the dilution water", "normality", "meq/L", 0.0, 50.0, "0 meq/L", ("ca", "calcium_hardness"), species="Ca++"),
        given.number("magnesium", "magnesium in the dilution water", "normality", "meq/L", 0.0, 50.0, "0 meq/L", ("mg", "magnesium_hardness"), species="Mg++"),
        given.number("alkalinity", "alkalinity of the dilution water", "normality", "meq/L", 0.0, 50.0, "0 meq/L", ("alk", "hco3", "bicarbonate"), species="HCO3-"),
        given.temperature("temperature", "temperature of the caustic", 0.0, 60.0, "25 degC"),
    )  # fmt: skip
    mineral = given.word("mineral", "solid", tuple(Choice(name, name) for name in ("calcite", "gypsum", "brucite")), "gypsum", ("solid",))  # fmt: skip
    acid = {"strength": "2 %", "calcium": "10 %", "temperature": "20 degC"}
    return (
        Quantity("gypsum_saturation_index", "Gypsum saturation index", "Sulfuric acid with a share of its acid exchanged for calcium; above 0 gypsum can drop.", group, (_STRENGTH, calcium, magnesium, sodium, _T), "index", "-", _index, acid, ("gypsum", "si_gypsum", "gypsum_si", "saturation_index_gypsum", "gypsum_saturation", "gypsum_saturation_index_of_sulfuric_acid_stream_with_a_fraction_of_h_exchanged_for_ca"), is_equilibrium=True),
        Quantity("caustic_solids", "Solids that drop in caustic", "Chalk and magnesia from the hardness of the dilution water, per mass of water.", group, water, "mass_ratio", "g/kg", _solids, {"strength": "4 %", "calcium": "120 mg/L as CaCO3", "magnesium": "40 mg/L as CaCO3", "alkalinity": "130 mg/L as CaCO3"}, ("caustic_hardness_solids", "dilution_water_hardness", "solids_precipitated"), is_equilibrium=True),
        Quantity("waste_scaling_index", "Scaling index of a waste", "Saturation index of calcite, gypsum or brucite in the mixture.", group, (mineral, *BOTH_WASTES), "index", "-", _waste, {"mineral": "gypsum", **WASTE_EXAMPLE}, ("waste_saturation_index",), is_equilibrium=True, one_of=ONE_WASTE),
        Quantity("largest_calcium_fraction", "Largest calcium share before gypsum", "Share of the acid's equivalents that may be calcium with gypsum just saturated.", group, (_STRENGTH, _T), "fraction", "-", _most, {"strength": "2 %", "temperature": "20 degC"}, ("largest_calcium_share", "max_calcium_fraction", "largest_fraction_of_acid_equivalents_that_may_be_ca_before_gypsum_equilibrium_si_0", "largest_fraction_of_acid_equivalents_that_may_be_ca"), is_equilibrium=True),
        Quantity("gypsum_solubility", "Gypsum solubility in pure water", "Counted as CaSO4, per mass of water.", group, (_T,), "mass_ratio", "g/kg", _dissolved, {"temperature": "20 degC"}, ("gypsum_solubility_in_pure_water",), is_equilibrium=True),
    )  # fmt: skip
