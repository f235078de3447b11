"""Spent acid and spent caustic: pH of the mixture, neutralizer to a pH, heat, and the sensitivity that says: measure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Choice, Group, InputSpec, Quantity
from regenplant.core.engineering import (
    equilibria,
    neutralization,
    neutralization_heat,
    neutralization_plan,
    sensitivity,
)
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.held_ions import HELD_IONS, HeldIons
from regenplant.core.engineering.ranges import require_within
from regenplant.core.engineering.spent import SpentStream, known_stream, pour_together, spent_stream
from regenplant.core.engineering.waste_figures import ph_estimate
from regenplant.core.errors import OutOfRange

_ION_ALIASES: dict[str, tuple[str, tuple[str, ...]]] = {
    "sodium": ("Na+", ("na",)), "calcium": ("Ca++", ("ca",)), "magnesium": ("Mg++", ("mg",)), "chloride": ("Cl-", ("cl",)),
    "sulfate": ("SO4--", ("so4", "sulphate", "s_6", "s6", "s")), "nitrate": ("NO3-", ("no3", "n_5", "n5")),
    "carbonate": ("CO3--", ("c_4", "c4", "tic", "total_inorganic_carbon", "inorganic_carbon", "co3", "co2", "bicarbonate")),
    "silica": ("SiO2", ("si", "sio2", "silicon")), "potassium": ("K+", ("k",)), "ammonia": ("NH4+", ("nh3", "nh4", "ammonium")),
}  # fmt: skip
_IONS = tuple(entry.name.removesuffix("_mol_per_m3") for entry in fields(Composition))


def _stream_inputs(prefix: str, words: str, others: tuple[str, ...], volume_default: str | None) -> tuple[InputSpec, ...]:  # fmt: skip
    ions = tuple(
        given.number(
            f"{prefix}_{name}", f"{words}: {name}", "amount_concentration", "mol/L", 0.0, 8000.0, "0 mol/L",
            tuple(f"{start}_{alias}" for start in (prefix, *others) for alias in (name, *_ION_ALIASES[name][1]) if f"{start}_{alias}" != f"{prefix}_{name}"),
            species=_ION_ALIASES[name][0],
        )
        for name in _IONS
    )  # fmt: skip
    volume = given.number(
        f"{prefix}_volume", f"{words}: volume", "liquid_volume", "L", 0.0, 500.0, volume_default, tuple(f"{start}_{alias}" for start in (prefix, *others) for alias in ("v", "l", "volume") if f"{start}_{alias}" != f"{prefix}_volume"),
    )  # fmt: skip
    return (volume, *ions)


_ACID = _stream_inputs("acid", "spent acid", ("spent_acid", "first", "stream_1", "a"), "0 L")
_CAUSTIC = _stream_inputs("caustic", "spent caustic", ("spent_caustic", "base", "alkali", "second", "stream_2", "b"), "0 L")  # fmt: skip
_T = given.temperature("temperature", "temperature the pH holds for", 0.0, 60.0, "25 degC")
BOTH_WASTES = (*_ACID, *_CAUSTIC, _T)
ONE_WASTE = (("acid_volume", "caustic_volume"),)
_NO_VOLUME = "Neither waste has a volume. Give acid_volume, caustic_volume or both."
WASTE_EXAMPLE = {
    "acid_volume": "1000 L", "acid_calcium": "0.1", "acid_magnesium": "0.04", "acid_sodium": "0.2", "acid_chloride": "0.98 mol/L",
    "caustic_volume": "1000 L", "caustic_sodium": "0.75", "caustic_chloride": "0.15", "caustic_sulfate": "0.05",
}  # fmt: skip


def _composition(values: Mapping[str, Any], prefix: str) -> Composition:
    return Composition(**{f"{name}_mol_per_m3": values[f"{prefix}_{name}_mol_per_m3"] for name in _IONS})


def mixed_waste(values: Mapping[str, Any]) -> tuple[Composition, float]:
    """Composition and volume of both wastes together, or of the one that there is."""
    acid, caustic = _composition(values, "acid"), _composition(values, "caustic")
    first, second = values["acid_volume_m3"], values["caustic_volume_m3"]
    if first <= 0.0 and second <= 0.0:
        raise OutOfRange(_NO_VOLUME, code="no_volume", field="acid_volume")
    if second <= 0.0:
        return acid, first
    if first <= 0.0:
        return caustic, second
    return equilibria.mixed(acid, first, caustic, second), first + second


def _totals(composition: Composition) -> tuple[Input, ...]:
    return tuple(
        Input(f"c_{name[:2].title() if name != 'silica' else 'Si'}{index}", f"{name} in the mixture", amount, "mol/m^3", "amount_concentration")
        for index, name in enumerate(_IONS, start=1)
        if (amount := getattr(composition, f"{name}_mol_per_m3")) > 0.0
    )  # fmt: skip


def _ph(temperature_kelvin: float, **values: Any) -> Answer:
    composition, volume = mixed_waste(values)
    return Answer(_ph_of(composition, temperature_kelvin), {"excess": _excess(composition, volume)})


def _ph_of(composition: Composition, temperature_kelvin: float) -> Estimate:
    """pH with what an expert asks for: free protons, their activity coefficient, the ionic strength and the main species.

    Raises: OutOfRange above an ionic strength of 3 mol/L, where the activity model says nothing.
    """
    found = equilibria.species_of(composition, temperature_kelvin)
    strength = found.ionic_strength_mol_per_m3
    require_within(
        strength, 0.0, equilibria.MOST_IONIC_STRENGTH_MOL_PER_M3, "ionic strength of the waste", "mol/m³",
        "In so strong a solution the pH cannot be told: dilute it in thought, or measure.",
    )  # fmt: skip
    free = found.mol_per_m3["H+"]
    detail = (
        Input("γ_H", "activity coefficient of H⁺", 1000.0 * found.activities["H+"] / free, "dimensionless"),
        Input("c_H", "free H⁺ that closes the charge balance", free, "mol/m^3", "amount_concentration"),
        Input("I", "ionic strength", strength, "mol/m^3", "amount_concentration"),
        *_totals(composition),
        *_species(found.mol_per_m3, found.activities),
        Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),
    )
    figure = ph_estimate(found.ph, detail, (), strength)
    warnings = figure.warnings
    if strength > equilibria.STRONG_MOL_PER_M3:
        warnings = (*warnings, f"Ionic strength {strength / 1000.0:.2g} mol/L: above 0.8 mol/L the two models part further, by 0.26 per mol/L in acid.")  # fmt: skip
    return replace(
        figure,
        formula="3 − log10(γ_H · c_H)",
        warnings=warnings,
        valid=f"{figure.valid}; ionic strength to 3 mol/L",
    )


_MOST_SPECIES = 8


def _species(amounts: Mapping[str, float], activities: Mapping[str, float]) -> tuple[Input, ...]:
    """The free ions and pairs that hold most, each with its activity coefficient in words."""
    held = sorted((name for name in amounts if name != "H+"), key=lambda name: -amounts[name])[:_MOST_SPECIES]
    return tuple(
        Input(f"n_{place}", f"{name}, γ = {1000.0 * activities[name] / amounts[name]:.4f}", amounts[name], "mol/m^3", "amount_concentration")
        for place, name in enumerate(held, start=1)
        if amounts[name] > 1e-9
    )  # fmt: skip


def _excess(composition: Composition, volume_m3: float) -> Estimate:
    return Estimate(
        "n_x", "strong acid (+) or strong base (−) left", composition.excess_eq_per_m3 * volume_m3, "eq", "equivalents", "c_x · V_x",
        (Input("c_x", "strong anions less strong cations", composition.excess_eq_per_m3, "eq/m^3", "normality"), Input("V_x", "volume of the mixture", volume_m3, "m^3", "liquid_volume")),
        "charge balance", "charge_balance", "carbonate, silica and ammonia not counted",
    )  # fmt: skip


def _excess_of(temperature_kelvin: float, **values: Any) -> Estimate:
    return _excess(*mixed_waste(values))


def _reagent(temperature_kelvin: float, target_ph: float, acid: str, **values: Any) -> Answer:
    composition, volume = mixed_waste(values)
    needed = equilibria.reagent_to_ph_eq_per_m3(composition, target_ph, temperature_kelvin, acid)
    chemical = "naoh" if needed >= 0.0 else acid
    formula = {"naoh": "NaOH", "hcl": "HCl", "h2so4": "H₂SO₄"}[chemical]
    charge = 2.0 if chemical == "h2so4" else 1.0
    amount = Estimate(
        "n", f"{formula} to bring the mixture to pH {target_ph:g}", abs(needed) * volume / charge, "mol", "amount", "solve charge balance at the target pH, times V_x",
        (*_totals(composition), Input("V_x", "volume of the mixture", volume, "m^3", "liquid_volume"), Input("pH_t", "pH wanted", target_ph, "dimensionless", "ph")),
        "charge balance over ions, pairs and weak acids", "phreeqc_constants", "closed tank, nothing precipitated, volume of the reagent neglected",
        (neutralization.MEASURED_PH_DECIDES,), uncertainty_abs=_reagent_uncertainty(abs(needed), composition, volume) / charge,
    )  # fmt: skip
    equivalents = Estimate("n_eq", f"equivalents of {formula}", amount.value * charge, "eq", "equivalents", "n · z", (amount.as_input(), Input("z", "equivalents per mole", charge, "dimensionless", "count")), "definition", "equivalents", uncertainty_abs=(amount.uncertainty_abs or 0.0) * charge)  # fmt: skip
    mass = neutralization.reagent_mass(chemical, equivalents, "m")
    return Answer(amount, {"equivalents": equivalents, "mass_as_100_percent": mass}, f"{formula} is needed.")


def _reagent_uncertainty(needed_eq_per_m3: float, composition: Composition, volume_m3: float) -> float:
    """Of a reagent [eq]: 3 % of it, 1 % of the strong acid in the mixture (a volume is hardly known better), 1 meq/L."""
    acid = (
        composition.chloride_mol_per_m3
        + composition.nitrate_mol_per_m3
        + 2.0 * composition.sulfate_mol_per_m3
    )
    neutral = composition.sodium_mol_per_m3 + composition.potassium_mol_per_m3
    smaller = min(acid, neutral + 2.0 * (composition.calcium_mol_per_m3 + composition.magnesium_mol_per_m3))
    return volume_m3 * max(0.03 * needed_eq_per_m3, 0.01 * smaller, 1.0)


def waste_streams(values: Mapping[str, Any], temperature_kelvin: float) -> list[SpentStream]:
    """The wastes that have a volume, as streams at one temperature."""
    found = []
    for prefix, words in (("acid", "spent acid"), ("caustic", "spent caustic")):
        volume = values[f"{prefix}_volume_m3"]
        if volume > 0.0:
            whole = Estimate("V", f"volume of {words}", volume, "m^3", "liquid_volume", "on record", (), "given", "plant_record")  # fmt: skip
            found.append(known_stream(words, _composition(values, prefix), whole, temperature_kelvin))
    if not found:
        raise OutOfRange(_NO_VOLUME, code="no_volume", field="acid_volume")
    return found


def _rise(temperature_kelvin: float, **values: Any) -> Answer:
    mixture = pour_together(waste_streams(values, temperature_kelvin))
    others = {"neutralized": mixture.estimates["neutralized_eq"], "temperature_after": mixture.estimates["temperature_kelvin"]}  # fmt: skip
    return Answer(mixture.estimates["rise_kelvin"], others)


def _simple_rise(equivalents_eq: float, mass_kg: float) -> Estimate:
    return neutralization_heat.temperature_rise(equivalents_eq, mass_kg)


def _sensitivity(temperature_kelvin: float, slip_frac: float, **values: Any) -> Answer:
    streams = waste_streams(values, temperature_kelvin)
    if len(streams) < 2:
        raise OutOfRange("The sensitivity needs both wastes.", code="no_volume", field="caustic_volume")
    table = sensitivity.of_pair(streams[0], streams[1], (-slip_frac, 0.0, slip_frac))
    low, middle, high = (row.ph for row in table.rows)
    span = Estimate(
        "ΔpH", "change of pH between less and more spent acid", abs(high.value - low.value), "dimensionless", "ph", "pH_1 − pH_2" if low.value >= high.value else "pH_2 − pH_1",
        (Input("pH_1", f"pH with {slip_frac:.2%} less acid", low.value, "dimensionless", "ph"), Input("pH_2", f"pH with {slip_frac:.2%} more acid", high.value, "dimensionless", "ph")),
        "charge balance, both ways", "phreeqc_constants", "closed tank", (neutralization.MEASURED_PH_DECIDES,),
        uncertainty_abs=2.0 * (middle.uncertainty_abs or 0.0),
    )  # fmt: skip
    return Answer(span, {"ph_less_acid": low, "ph": middle, "ph_more_acid": high}, table.sentence)


def _two_stages(temperature_kelvin: float, target_ph: float, acid: str, **values: Any) -> Answer:
    streams = waste_streams(values, temperature_kelvin)
    if len(streams) == 2:
        plan = neutralization_plan.plan_pair(streams[0], streams[1], target_ph, acid=acid)
    else:
        plan = neutralization_plan.plan_neutralization(streams[0], target_ph, acid=acid)
    sentence = " ".join(plan.steps)
    others = {"needed_open": plan.needed_open_eq, "ph_after_first": plan.ph_after_first, "temperature_rise": plan.rise_kelvin}  # fmt: skip
    composition, volume = mixed_waste(values)
    spread = _reagent_uncertainty(abs(plan.needed_eq.value) / volume, composition, volume)
    if plan.stages is None:
        return Answer(replace(plan.needed_eq, uncertainty_abs=spread), others, sentence)
    stages = {"first_mass": plan.stages.first_kg_100, "second_mass_at_most": plan.stages.second_kg_100, "second_equivalents_at_most": plan.stages.second_eq}  # fmt: skip
    return Answer(
        replace(plan.stages.first_eq, uncertainty_abs=spread),
        stages | others | {"needed_closed": plan.needed_eq},
        sentence,
    )


# --- spent regenerant -----------------------------------------------------------------------------------------------
_SHARES = tuple(
    given.number(f"{name}_share", f"share of {name} in what the resin holds, by equivalents", "fraction", "%", 0.0, 1.0, "0 %", (name, f"{name}_fraction"), help="All shares together are 100 %.")
    for name in HELD_IONS
)  # fmt: skip
_SPENT = (
    given.chemical("hcl", "h2so4", "naoh", "na2co3", "nh3", "nacl"),
    given.number("applied", "equivalents applied", "equivalents", "eq", 1e-6, 1e9, None, ("applied_eq", "equivalents_applied")),
    given.number("eluted", "equivalents on the resin", "equivalents", "eq", 0.0, 1e9, None, ("load", "eluted_eq", "equivalents_eluted")),
    given.number("volume", "volume of the waste", "liquid_volume", "L", 1e-3, 500.0, None, ("waste_volume",)),
    *_SHARES,
    given.temperature("temperature", "temperature of the waste", 0.0, 60.0, "25 degC"),
)  # fmt: skip


def _spent(
    chemical: str, applied_eq: float, eluted_eq: float, volume_m3: float, temperature_kelvin: float, **shares: Any
) -> Answer:  # fmt: skip
    held = HeldIons(**{f"{name}_frac": shares[f"{name}_share_frac"] for name in HELD_IONS})
    applied = Estimate("n_a", "equivalents applied", applied_eq, "eq", "equivalents", "set point", (), "given", "recipe")  # fmt: skip
    eluted = Estimate("n_e", "equivalents on the resin", eluted_eq, "eq", "equivalents", "on record", (), "given", "plant_record")  # fmt: skip
    volume = Estimate("V_x", "volume of the waste", volume_m3, "m^3", "liquid_volume", "on record", (), "given", "plant_record")  # fmt: skip
    stream = spent_stream(chemical, applied, eluted, held, volume, temperature_kelvin)
    others = {key: figure for key, figure in stream.estimates.items() if key != "ph"}
    return Answer(replace(stream.ph), others)


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.NEUTRALIZATION
    target = InputSpec("target_ph", "pH wanted", "ph", "-", 3.0, 12.0, "7", aliases=("target", "ph", "to_ph", "ph_target"))  # fmt: skip
    window = InputSpec("target_ph", "pH wanted", "ph", "-", 5.0, 10.0, "7", aliases=("target", "ph", "to_ph"))
    acid = given.word("acid", "acid given where acid is needed", (Choice("hcl", "HCl", ("hydrochloric acid",)), Choice("h2so4", "H2SO4", ("sulfuric acid",))), "hcl", ("reagent_acid",))  # fmt: skip
    slip = given.number("slip", "share by which the acid volume is off", "fraction", "%", 1e-4, 0.2, "1 %", ("share", "error"))  # fmt: skip
    eq = given.number("equivalents", "equivalents of acid and base that meet", "equivalents", "eq", 0.0, 1e9, None, ("neutralized", "eq"))  # fmt: skip
    mass = given.number("mass", "mass of the mixture", "mass", "kg", 1e-6, 200_000.0, None, ("mixture_mass",))
    spent_example = {"chemical": "HCl", "applied": "275 eq", "eluted": "110 eq", "volume": "300 L", "calcium_share": "50 %", "magnesium_share": "20 %", "sodium_share": "30 %"}  # fmt: skip
    return (
        Quantity("mixture_ph", "pH of spent acid and caustic mixed", "Closed to the air, nothing precipitated; give one waste or both.", group, BOTH_WASTES, "ph", "-", _ph, WASTE_EXAMPLE, ("ph_of_the_mixture", "neutralization_ph", "neutralisation_ph", "waste_ph", "ph_of_mixture"), one_of=ONE_WASTE),
        Quantity("neutralization_reagent", "Reagent to bring a waste to a pH", "NaOH where the waste is acid, acid where it is alkaline; the sentence says which.", group, (*BOTH_WASTES, target, acid), "amount", "mol", _reagent, {**WASTE_EXAMPLE, "target_ph": "9"}, ("reagent_to_ph", "reagent_to_bring_the_mixture_to_target_ph", "neutralisation_reagent", "reagent"), one_of=ONE_WASTE),
        Quantity("neutralization_temperature_rise", "Temperature rise on mixing", "Adiabatic, from strong acid and base that meet.", group, BOTH_WASTES, "temperature_rise", "K", _rise, WASTE_EXAMPLE, ("adiabatic_temperature_rise_on_mixing", "neutralisation_temperature_rise", "temperature_rise_on_mixing", "adiabatic_temperature_rise", "mixing_temperature_rise"), one_of=ONE_WASTE),
        Quantity("temperature_rise", "Temperature rise from equivalents", "Heat of neutralization over the mass of the mixture.", group, (eq, mass), "temperature_rise", "K", _simple_rise, {"equivalents": "250 eq", "mass": "2000 kg"}, see=("neutralization_temperature_rise",)),
        Quantity("waste_excess", "Excess acid or alkali of a waste", "Strong acid left (+) or strong base left (−).", group, BOTH_WASTES, "equivalents", "eq", _excess_of, WASTE_EXAMPLE, ("excess",), one_of=ONE_WASTE),
        Quantity("neutralization_first_stage", "Neutralization in two stages", "What to give before the pH is measured, and at most after it.", group, (*BOTH_WASTES, window, acid), "equivalents", "eq", _two_stages, {**WASTE_EXAMPLE, "acid_chloride": "1.14 mol/L"}, ("two_stage_neutralization", "neutralization_plan"), one_of=ONE_WASTE),
        Quantity("neutralization_sensitivity", "Sensitivity of the pH to the acid volume", "How far the pH moves when the volume of spent acid is a little off.", group, (*BOTH_WASTES, slip), "ph", "-", _sensitivity, WASTE_EXAMPLE, ("ph_sensitivity",), one_of=(("acid_volume",), ("caustic_volume",))),
        Quantity("spent_ph", "pH of a spent regenerant", "From what was applied and what the resin gave up; loads and composition beside it.", group, _SPENT, "ph", "-", _spent, spent_example, ("spent_regenerant", "spent_regenerant_ph"), one_of=(tuple(spec.name for spec in _SHARES),), see=("mixture_ph",)),
    )  # fmt: skip
