"""Behavior of the models beyond the reference rows: limits, monotony, balances, refusals, workings."""

import csv
import math
import random
from pathlib import Path

import chemicals
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import (
    beds,
    conductivity,
    conductivity_tables,
    equilibria,
    heat,
    hydraulics,
    ions,
    neutralization,
    neutralization_heat,
    pure_water,
    regenerants,
    rinse,
    solutions,
    water,
)
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import USP_645_STAGE_1, table_limit_siemens_per_m
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.hydraulics import Bead
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out

beads = st.builds(Bead, st.floats(3e-4, 1.2e-3), st.floats(1040.0, 1400.0), st.floats(0.34, 0.42))
temperatures = st.floats(274.15, 323.15)
streams = st.sampled_from(conductivity.STREAM_KINDS)


def _figure(symbol: str, value: float, unit: str, kind: str) -> Estimate:
    return Estimate(symbol, "given", value, unit, kind, "on record", (), "given", "plant_record")


# --- hydraulics -----------------------------------------------------------------------------------------------------
@given(beads, st.floats(0.05, 1.5), temperatures)
@settings(max_examples=150, deadline=None)
def test_expansion_and_velocity_are_a_round_trip(bead: Bead, expansion: float, temperature: float) -> None:
    velocity = hydraulics.velocity_for_expansion(bead, expansion, temperature)
    back = hydraulics.expansion_at_velocity(bead, velocity.value, temperature)
    assert back.value == pytest.approx(expansion, rel=1e-9)


@given(beads, st.floats(0.1, 1.0), st.floats(274.15, 310.0), st.floats(1.0, 12.0))
@settings(max_examples=150, deadline=None)
def test_colder_water_lifts_the_bed_higher(
    bead: Bead, expansion: float, temperature: float, colder: float
) -> None:
    assume(temperature - colder >= 274.0)
    velocity = hydraulics.velocity_for_expansion(bead, expansion, temperature).value
    assert hydraulics.velocity_for_expansion(bead, expansion, temperature - colder).value < velocity


@given(beads, temperatures, st.floats(0.1, 0.9))
@settings(max_examples=100, deadline=None)
def test_more_flow_expands_more(bead: Bead, temperature: float, share: float) -> None:
    top = hydraulics.velocity_for_expansion(bead, 1.5, temperature).value
    less = hydraulics.expansion_at_velocity(bead, share * top, temperature).value
    more = hydraulics.expansion_at_velocity(bead, top, temperature).value
    assert 0.0 <= less < more


@given(beads, temperatures)
@settings(max_examples=100, deadline=None)
def test_the_exponent_stays_between_its_limits_and_the_bed_rests_without_flow(
    bead: Bead, temperature: float
) -> None:
    assert 2.4 < hydraulics.khan_richardson_exponent(hydraulics.archimedes(bead, temperature)) < 4.8
    assert hydraulics.expansion_at_velocity(bead, 0.0, temperature).value == 0.0


def test_pressure_drop_grows_with_cold_water_and_flow() -> None:
    bead = Bead(0.65e-3, 1280.0)
    gradient = hydraulics.pressure_gradient_pascal_per_m
    assert gradient(bead, 0.01, 278.15) > gradient(bead, 0.01, 298.15)
    assert gradient(bead, 0.02, 278.15) > 2.0 * gradient(bead, 0.01, 278.15)


@pytest.mark.parametrize("bad", [-1.0, 0.0, 5e-3, math.nan])
def test_a_bead_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(OutOfRange, match="bead diameter"):
        Bead(bad, 1280.0)


# --- beds -----------------------------------------------------------------------------------------------------------
@given(st.floats(0.01, 5.0), st.floats(-0.2, 0.9))
def test_resin_volume_in_either_form_is_a_round_trip(volume: float, swelling: float) -> None:
    exhausted = beds.volume_in_exhausted_form(volume * (1.0 + swelling), swelling, is_regenerated=True)
    assert exhausted.value == pytest.approx(volume)
    assert beds.volume_in_exhausted_form(volume, swelling, is_regenerated=False).value == volume


@given(st.floats(0.01, 5.0), st.floats(0.2, 3.0))
def test_depth_times_cross_section_is_volume(volume: float, diameter: float) -> None:
    depth = beds.bed_depth(volume, diameter)
    assert depth.value * beds.cross_section_m2(diameter) == pytest.approx(volume)


# --- regenerants ----------------------------------------------------------------------------------------------------
@given(
    st.sampled_from(["hcl", "naoh", "nacl"]), st.floats(0.05, 3.0), st.floats(20.0, 300.0), st.floats(0.20, 0.26),
    st.floats(0.02, 0.15), st.floats(280.0, 310.0),
)  # fmt: skip
@settings(max_examples=150, deadline=None)
def test_mass_balance_of_a_dilution_closes(
    chemical: str, volume: float, dose: float, stock: float, target: float, temperature: float
) -> None:
    mass = regenerants.dose_mass(chemical, volume, dose)
    blend = regenerants.dilution(
        chemical, mass, stock, solutions.solution_density(chemical, stock, temperature).named("ρ_s", "stock"), target,
        solutions.solution_density(chemical, target, temperature).named("ρ_d", "regenerant"), water.water_density(temperature),
    )  # fmt: skip
    assert blend.stock_kg.value + blend.water_kg.value == pytest.approx(blend.diluted_kg.value, rel=1e-12)
    assert blend.stock_kg.value * stock == pytest.approx(volume * dose, rel=1e-12)
    assert blend.diluted_kg.value * target == pytest.approx(volume * dose, rel=1e-12)
    # volumes do not add: mixing salt, acid or caustic with water shrinks
    assert blend.diluted_m3.value <= (blend.stock_m3.value + blend.water_m3.value) * 1.0005


def test_a_stock_that_is_too_weak_is_refused_with_both_numbers() -> None:
    mass = regenerants.dose_mass("hcl", 1.0, 100.0)
    density = _figure("ρ", 1020.0, "kg/m^3", "density")
    with pytest.raises(OutOfRange, match=r"4 % HCl; it cannot be diluted to 5 %"):
        regenerants.dilution("hcl", mass, 0.04, density, 0.05, density, density)


def test_less_than_stoichiometric_is_refused() -> None:
    applied, load = _figure("n_a", 90.0, "eq", "equivalents"), _figure("n_e", 100.0, "eq", "equivalents")
    ratio = regenerants.regenerant_ratio(applied, load)
    with pytest.raises(OutOfRange, match="90 %"):
        regenerants.require_stoichiometric(ratio)
    assert regenerants.require_stoichiometric(regenerants.regenerant_ratio(load, applied)).value > 1.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_dose_or_volume_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(OutOfRange):
        regenerants.dose_mass("hcl", bad, 100.0)
    with pytest.raises(OutOfRange):
        regenerants.flow_from_bed_volumes(1.0, bad)


@given(st.floats(0.0, 20.0))
def test_hardness_as_calcium_carbonate_is_a_round_trip(concentration: float) -> None:
    equivalents = ions.eq_per_m3_from_calcium_carbonate(concentration)
    assert ions.calcium_carbonate_from_eq_per_m3(equivalents) == pytest.approx(concentration)


# --- heat -----------------------------------------------------------------------------------------------------------
@given(
    st.sampled_from(["hcl", "naoh", "nacl", "h2so4"]),
    st.floats(0.02, 0.10),
    st.floats(278.15, 303.15),
    st.floats(290.0, 325.0),
)
@settings(max_examples=150, deadline=None)
def test_water_temperature_needed_is_the_inverse_of_the_blend(
    chemical: str, strength: float, stock_k: float, target: float
) -> None:
    stock = {"hcl": 0.32, "naoh": 0.50, "nacl": 0.26, "h2so4": 0.93}[chemical]
    needed = heat.water_temperature_needed(chemical, stock, stock_k, strength, target)
    blend = heat.blend_temperature(chemical, stock, stock_k, strength, needed.value)
    assert blend.value == pytest.approx(target, abs=1e-6)


@given(st.floats(0.02, 0.3))
def test_a_stock_that_is_not_diluted_keeps_its_temperature(strength: float) -> None:
    assert heat.blend_temperature("hcl", strength, 290.0, strength, 280.0).value == pytest.approx(290.0)


def test_dilution_of_caustic_warms_and_brine_does_not() -> None:
    assert heat.blend_temperature("naoh", 0.5, 293.15, 0.06, 293.15).value > 293.15 + 5.0
    assert heat.blend_temperature("nacl", 0.26, 293.15, 0.10, 293.15).value == pytest.approx(293.15, abs=0.5)


def test_heating_duty_is_never_negative() -> None:
    assert heat.heating_duty(0.5, 300.0, 290.0).value == 0.0
    assert heat.heating_duty(0.5, 290.0, 300.0).value == pytest.approx(0.5 * 4181.0 * 10.0)


# --- conductivity ---------------------------------------------------------------------------------------------------
@given(streams, st.floats(0.06, 200.0), st.floats(274.15, 353.15))
@settings(max_examples=300, deadline=None)
def test_compensation_is_a_round_trip(kind: Compensation, at_25: float, temperature: float) -> None:
    shown = conductivity.from_25_celsius(at_25 * 1e-4, temperature, kind)
    back = conductivity.at_25_celsius(shown.value, temperature, kind)
    assert back.value * 1e4 == pytest.approx(at_25, rel=1e-6)


@given(streams, st.floats(0.06, 100.0), st.floats(274.15, 340.0))
@settings(max_examples=150, deadline=None)
def test_warmer_water_conducts_more(kind: Compensation, at_25: float, temperature: float) -> None:
    cold = conductivity.from_25_celsius(at_25 * 1e-4, temperature, kind).value
    assert conductivity.from_25_celsius(at_25 * 1e-4, temperature + 5.0, kind).value > cold


@given(streams, st.floats(0.06, 100.0))
@settings(max_examples=100, deadline=None)
def test_at_25_degrees_nothing_is_corrected(kind: Compensation, at_25: float) -> None:
    assert conductivity.at_25_celsius(at_25 * 1e-4, 298.15, kind).value * 1e4 == pytest.approx(
        at_25, rel=1e-9
    )


def test_a_flat_correction_is_named_and_warned_about() -> None:
    """16.7 MΩ·cm water at 5 °C shows 0.0197 µS/cm; a flat 2 %/K makes 0.033 of it, the kind of water 0.060."""
    shown = conductivity.from_25_celsius(0.06e-4, 278.15, Compensation.NEUTRAL).value
    flat = conductivity.flat_at_25_celsius(shown, 278.15)
    assert 0.06e-4 / flat.value == pytest.approx(1.83, abs=0.03)
    assert any("must not decide" in warning for warning in flat.warnings)
    assert Compensation.FLAT not in conductivity.compensation_methods(shown)
    assert Compensation.FLAT in conductivity.compensation_methods(0.01)


def test_a_reading_below_pure_water_carries_a_warning_and_no_nonsense() -> None:
    found = conductivity.at_25_celsius(0.05e-4, 298.15, Compensation.NEUTRAL)
    assert found.value == pytest.approx(0.05e-4)
    assert any("below what water can show" in warning for warning in found.warnings)
    with pytest.raises(OutOfRange, match="cannot be"):
        conductivity.from_25_celsius(0.05e-4, 298.15, Compensation.NEUTRAL)


def test_the_ceiling_of_a_meter_grows_with_its_uncertainty() -> None:
    """18.28 MΩ·cm (Otten 1981, read) and 18.46 with a meter good to 1 %."""
    assert 1.0 / conductivity.lowest_believable_siemens_per_m(0.0) / 1e4 == pytest.approx(18.28)
    assert 1.0 / conductivity.lowest_believable_siemens_per_m(0.01) / 1e4 == pytest.approx(18.46, abs=0.005)


@given(st.floats(1e-7, 10.0))
def test_resistivity_is_the_exact_reciprocal(value: float) -> None:
    assert pure_water.resistivity_ohm_m(pure_water.resistivity_ohm_m(value)) == pytest.approx(
        value, rel=1e-15
    )


def test_a_table_rounds_the_temperature_down() -> None:
    at = [
        table_limit_siemens_per_m(USP_645_STAGE_1, 273.15 + celsius) * 1e4 for celsius in (25.0, 29.9, 30.0)
    ]
    assert at == pytest.approx([1.3, 1.3, 1.4])
    with pytest.raises(OutOfRange, match="begins at 0 °C"):
        table_limit_siemens_per_m(USP_645_STAGE_1, 272.0)


@pytest.mark.parametrize("electrolyte", ["HCl", "NaOH", "NaCl"])
def test_limiting_conductances_are_those_of_the_published_table(electrolyte: str) -> None:
    """McCleskey 2011 as the chemicals library ships it."""
    folder = Path(chemicals.__file__).parent / "Electrolytes"
    with (folder / "McCleskey Electrical Conductivity.tsv").open(encoding="utf-8", newline="") as file:
        row = next(row for row in csv.DictReader(file, delimiter="\t") if row["formula"] == electrolyte)
    assert conductivity_tables.MCCLESKEY[electrolyte] == tuple(
        float(row[name]) for name in ("c1", "c2", "c3")
    )


# --- rinse ----------------------------------------------------------------------------------------------------------
@given(st.floats(0.0, 5.0), st.floats(0.01, 2.0), st.integers(1, 60))
@settings(max_examples=150, deadline=None)
def test_a_front_only_falls(passed: float, more: float, stages: int) -> None:
    now = rinse.displaced_fraction(passed, stages).value
    assert 0.0 <= rinse.displaced_fraction(passed + more, stages).value <= now + 1e-12 <= 1.0 + 1e-12


@given(st.floats(0.001, 0.9), st.integers(2, 60))
@settings(max_examples=100, deadline=None)
def test_displacement_volume_is_the_inverse_of_the_front(left: float, stages: int) -> None:
    volume = rinse.displacement_volume(left, stages)
    assert rinse.displaced_fraction(volume.value, stages).value == pytest.approx(left, rel=1e-6)


@given(st.floats(1e-3, 1.0), st.floats(0.0, 0.9), st.floats(0.5, 4.0))
@settings(max_examples=100, deadline=None)
def test_the_tail_passes_its_endpoint_where_it_was_forecast(
    start: float, share: float, decade: float
) -> None:
    endpoint = start / 50.0
    floor = share * endpoint
    end = rinse.rinse_to_endpoint(start, floor, endpoint, decade)
    assert end.bed_volumes is not None
    assert rinse.tail_conductivity(end.bed_volumes.value, start, floor, decade).value == pytest.approx(
        endpoint, rel=1e-9
    )


def test_a_floor_at_or_above_the_endpoint_is_never() -> None:
    end = rinse.rinse_to_endpoint(0.2, 0.005, 0.005, 1.0)
    assert not end.is_reached
    assert end.bed_volumes is None
    assert end.sentence.startswith("Never")


def test_water_already_below_the_endpoint_needs_no_rinse() -> None:
    end = rinse.rinse_to_endpoint(0.001, 0.0001, 0.005, 1.0)
    assert end.bed_volumes is not None
    assert end.bed_volumes.value == 0.0


# --- waste ----------------------------------------------------------------------------------------------------------
compositions = st.builds(
    Composition, *(st.floats(0.0, top) for top in (1000.0, 200.0, 100.0, 1000.0, 100.0, 50.0, 60.0, 10.0))
)


@given(compositions)
@settings(max_examples=60, deadline=None)
def test_ph_is_a_number_and_falls_with_acid(composition: Composition) -> None:
    ph = equilibria.mixture_ph(composition)
    acid = equilibria.mixture_ph(equilibria.with_reagent(composition, -50.0))
    assert math.isfinite(ph)
    assert acid < ph


@given(compositions, st.floats(4.0, 10.0))
@settings(max_examples=40, deadline=None)
def test_the_reagent_brings_the_mixture_to_its_ph(composition: Composition, target: float) -> None:
    given_eq = equilibria.reagent_to_ph_eq_per_m3(composition, target)
    assert equilibria.mixture_ph(equilibria.with_reagent(composition, given_eq)) == pytest.approx(
        target, abs=2e-3
    )


@pytest.mark.parametrize("seed", range(25))
def test_ph_agrees_with_phreeqc_on_mixtures_of_the_trade(seed: int) -> None:
    """Random spent acid and caustic, 25 °C, against PHREEQC itself (another program, the same public data)."""
    import phreeqpython

    draw = random.Random(seed)
    totals = {
        "Ca": draw.uniform(0, 120), "Mg": draw.uniform(0, 50), "Na": draw.uniform(50, 600), "Cl": draw.uniform(50, 900),
        "S(6)": draw.uniform(0, 50), "N(5)": draw.uniform(0, 20), "C(4)": draw.uniform(0, 30), "Si": draw.uniform(0, 5),
    }  # fmt: skip
    names = ("Na", "Ca", "Mg", "Cl", "S(6)", "N(5)", "C(4)", "Si")
    composition = Composition(*(totals[name] for name in names))
    program = phreeqpython.PhreeqPython()
    lines = "\n".join(f"{name} {value}" for name, value in totals.items())
    program.ip.run_string(f"SOLUTION 1\nunits mmol/kgw\npH 7 charge\ntemp 25\n{lines}\nEND")
    theirs = program.get_solution(1).pH
    assert equilibria.mixture_ph(composition) == pytest.approx(theirs, abs=0.05)


@given(st.floats(1.0, 5000.0), st.floats(0.0, 4000.0), st.sampled_from(["acid", "base", "salt"]))
def test_charge_balance_of_spent_regenerant_closes(applied: float, taken: float, character: str) -> None:
    excess = neutralization.excess(
        _figure("n_a", applied, "eq", "equivalents"), _figure("n_e", taken, "eq", "equivalents"), character
    )
    # what the resin does not get it keeps: an acid never leaves alkali behind, nor caustic acid
    assert abs(excess.value) == (0.0 if character == "salt" else pytest.approx(max(applied - taken, 0.0)))
    assert (excess.value >= 0.0) if character == "acid" else (excess.value <= 0.0)
    reagent = neutralization.neutralizer(excess)
    assert reagent.first_eq.value + reagent.second_eq.value == pytest.approx(abs(excess.value))
    assert reagent.chemical == ("naoh" if excess.value >= 0.0 else "hcl")
    weight = {"naoh": 0.039997, "hcl": 0.036461}[reagent.chemical]
    assert reagent.first_kg_100.value == pytest.approx(0.9 * abs(excess.value) * weight)


def test_the_measured_ph_has_the_last_word() -> None:
    excess = neutralization.excess(
        _figure("n_a", 100.0, "eq", "equivalents"), _figure("n_e", 50.0, "eq", "equivalents"), "acid"
    )
    ph = neutralization.waste_ph(excess, _figure("V_x", 1.0, "m^3", "liquid_volume"))
    assert neutralization.MEASURED_PH_DECIDES in ph.warnings


def test_one_percent_of_volume_moves_an_unbuffered_mixture_by_ph_units() -> None:
    """Why the neutralizer is planned in two stages: 0.5 eq/L, 1 % too much or too little acid."""
    exact = Composition(sodium_mol_per_m3=250.0, chloride_mol_per_m3=250.0)
    more = Composition(sodium_mol_per_m3=250.0, chloride_mol_per_m3=252.5)
    assert equilibria.mixture_ph(exact) - equilibria.mixture_ph(more) > 4.0


# --- workings -------------------------------------------------------------------------------------------------------
def _samples() -> list[Estimate]:
    bead, depth = Bead(0.65e-3, 1280.0), beds.bed_depth(1.0, 1.2)
    velocity = hydraulics.velocity_for_expansion(bead, 0.5, 288.15)
    excess = neutralization.excess(
        _figure("n_a", 100.0, "eq", "equivalents"), _figure("n_e", 50.0, "eq", "equivalents"), "base"
    )
    reagent = neutralization.neutralizer(excess)
    end = rinse.rinse_to_endpoint(0.2, 0.0002, 0.005, 1.2).bed_volumes
    assert end is not None
    return [
        depth, velocity, excess, reagent.first_eq, reagent.second_eq, reagent.first_kg_100, end,
        beds.volume_in_exhausted_form(1.0, 0.07, True), beds.flow_at_velocity(velocity, 1.2),
        hydraulics.expansion_at_velocity(bead, 0.005, 288.15), hydraulics.expansion_at_velocity(bead, 0.0, 288.15),
        hydraulics.minimum_fluidization_velocity(bead, 288.15), hydraulics.pressure_drop(bead, velocity, depth, 288.15),
        heat.blend_temperature("naoh", 0.5, 293.15, 0.04, 288.15),
        heat.water_temperature_needed("naoh", 0.5, 293.15, 0.04, 318.15), heat.heating_duty(0.5, 288.15, 313.15),
        pure_water.pure_water_conductivity(298.15), conductivity.flat_at_25_celsius(0.002, 290.15),
        solutions.mass_concentration("hcl", 0.05, 293.15), ions.applied_equivalents("h2so4", 10.0),
        rinse.tail_conductivity(1.0, 0.2, 0.001, 1.2), rinse.rinse_volume(end, 0.8),
        neutralization_heat.temperature_rise(100.0, 1000.0),
        neutralization.stock_volume(reagent.first_kg_100, 0.32, solutions.solution_density("hcl", 0.32, 293.15)),
        neutralization.ion_load("chloride", "Cl", 100.0, ions.CHLORIDE_KG_PER_EQ, "all of it"),
    ]  # fmt: skip


@pytest.mark.parametrize("estimate", _samples(), ids=lambda estimate: estimate.name[:40])
def test_the_printed_formula_gives_the_value(estimate: Estimate) -> None:
    assert is_closed(estimate)
    assert worked_out(estimate) == pytest.approx(estimate.value, rel=1e-9, abs=1e-12)
