"""The solver behind the pH of a waste: limits, monotony, continuity, and PHREEQC as another program on the same data."""

import math
import random
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import equilibria
from regenplant.core.engineering.equilibria import (
    Composition,
    mixed,
    mixture_ph,
    reagent_to_ph_eq_per_m3,
    species_of,
    strong_mixture,
    with_reagent,
)
from regenplant.core.engineering.water_species import FORMED, MASTERS, SPECIES
from regenplant.core.errors import OutOfRange

TOPS = (900.0, 150.0, 80.0, 1000.0, 200.0, 50.0, 200.0, 12.0, 50.0, 300.0)
compositions = st.builds(Composition, *(st.one_of(st.just(0.0), st.floats(1e-6, top)) for top in TOPS))
NAMES = ("Na", "Ca", "Mg", "Cl", "S(6)", "N(5)", "C(4)", "Si", "K", "N(-3)")


# --- limits ---------------------------------------------------------------------------------------------------------
def test_pure_water_is_neutral() -> None:
    assert mixture_ph(Composition()) == pytest.approx(7.0, abs=1e-6)
    assert mixture_ph(Composition(sodium_mol_per_m3=1e-3, chloride_mol_per_m3=1e-3)) == pytest.approx(
        7.0, abs=1e-4
    )


@pytest.mark.parametrize(("celsius", "neutral"), [(0, 7.47), (10, 7.27), (40, 6.77), (50, 6.63), (60, 6.51)])
def test_neutral_water_follows_the_ion_product(celsius: float, neutral: float) -> None:
    """Half of pKw by the usual table of the ion product of water (CRC Handbook, from memory; IAPWS behind ours)."""
    assert mixture_ph(Composition(), 273.15 + celsius) == pytest.approx(neutral, abs=0.02)


@pytest.mark.parametrize("eq_per_m3", [0.01, 0.1, 1.0, 10.0])
def test_dilute_strong_acid_and_base_are_textbook(eq_per_m3: float) -> None:
    """pH = −log10 of activity; the activity coefficient of H⁺ after Debye and Hückel is 0.96 at 1 and 0.91 at 10 mol/m³."""
    assert mixture_ph(strong_mixture(eq_per_m3)) == pytest.approx(3.0 - math.log10(eq_per_m3), abs=0.05)
    assert mixture_ph(strong_mixture(-eq_per_m3)) == pytest.approx(11.0 + math.log10(eq_per_m3), abs=0.05)


def test_half_neutralized_ammonia_is_at_its_constant() -> None:
    """Equal ammonia and ammonium, dilute: pH = pK = 9.25 at 25 °C (9.244 at 1e-3 mol/L with its activities)."""
    assert mixture_ph(Composition(ammonia_mol_per_m3=1.0, chloride_mol_per_m3=0.5)) == pytest.approx(
        9.25, abs=0.03
    )


# --- balances -------------------------------------------------------------------------------------------------------
@given(compositions, st.floats(274.15, 332.15))
@settings(max_examples=120, deadline=None)
def test_species_add_up_to_the_totals_and_carry_no_charge(composition: Composition, kelvin: float) -> None:
    found = species_of(composition, kelvin)
    charge = sum(amount * SPECIES[name].charge for name, amount in found.mol_per_m3.items())
    scale = sum(abs(amount * SPECIES[name].charge) for name, amount in found.mol_per_m3.items())
    assert abs(charge) <= 1e-6 * scale
    for field, name in equilibria._MASTERS.items():
        total = getattr(composition, field)
        if total <= 1e-9:
            continue
        parts = [pair.name for pair in FORMED if name in (pair.cation, pair.anion)]
        assert sum(found.mol_per_m3.get(part, 0.0) for part in (name, *parts)) == pytest.approx(
            total, rel=1e-8
        )
    strength = 0.5 * sum(amount * SPECIES[name].charge ** 2 for name, amount in found.mol_per_m3.items())
    assert found.ionic_strength_mol_per_m3 == pytest.approx(strength, rel=1e-6, abs=1e-6)


@given(compositions, st.floats(274.15, 332.15))
@settings(max_examples=60, deadline=None)
def test_mass_action_holds_for_every_pair(composition: Composition, kelvin: float) -> None:
    found = species_of(composition, kelvin)
    for pair in FORMED:
        if pair.name not in found.activities or found.activities[pair.name] < 1e-60:
            continue
        expected = pair.log_k_at(kelvin) - pair.protons * found.ph
        expected += sum(math.log10(found.activities[part]) for part in (pair.cation, pair.anion) if part)
        assert math.log10(found.activities[pair.name]) == pytest.approx(expected, abs=1e-8)


def test_every_total_has_its_master_species() -> None:
    assert set(equilibria._MASTERS.values()) == {species.name for species in MASTERS}


# --- monotony and continuity ----------------------------------------------------------------------------------------
@given(compositions, st.floats(0.01, 400.0), st.floats(274.15, 332.15))
@settings(max_examples=120, deadline=None)
def test_more_caustic_means_a_higher_ph_and_more_acid_a_lower(
    composition: Composition, given_eq: float, kelvin: float
) -> None:
    before = mixture_ph(composition, kelvin)
    assume(-0.3 < before < 14.3)
    assert (
        species_of(composition, kelvin).ionic_strength_mol_per_m3 < 2500.0
    )  # below where the activity model is held
    assert mixture_ph(with_reagent(composition, given_eq), kelvin) > before
    assert mixture_ph(with_reagent(composition, -given_eq), kelvin) < before


@pytest.mark.parametrize("buffer_mol_per_m3", [0.0, 5.0])
def test_ph_passes_the_point_of_equivalence_without_a_jump(buffer_mol_per_m3: float) -> None:
    """In steps of 1e-9 of the strength through the steepest place there is, each step moves the pH a little, and upward."""
    salt = Composition(
        sodium_mol_per_m3=500.0, chloride_mol_per_m3=500.0, carbonate_mol_per_m3=buffer_mol_per_m3
    )
    values = [mixture_ph(with_reagent(salt, step * 1e-5)) for step in range(-40, 41)]
    steps = [later - earlier for earlier, later in pairwise(values)]
    assert all(step > 0.0 for step in steps)
    assert max(steps) < 0.1
    assert max(steps) < 3.0 * sorted(steps)[len(steps) // 2]


@pytest.mark.parametrize(
    "name",
    [
        "carbonate_mol_per_m3",
        "sulfate_mol_per_m3",
        "silica_mol_per_m3",
        "ammonia_mol_per_m3",
        "calcium_mol_per_m3",
    ],
)
def test_a_trace_of_anything_moves_nothing(name: str) -> None:
    """The seam where a total is left out altogether."""
    base = Composition(sodium_mol_per_m3=100.0, chloride_mol_per_m3=101.0)
    for trace in (0.0, 0.9e-9, 1.1e-9, 1e-6):
        assert mixture_ph(replace(base, **{name: trace})) == pytest.approx(mixture_ph(base), abs=1e-5)


@given(compositions, compositions, st.floats(0.1, 10.0), st.floats(0.1, 10.0))
@settings(max_examples=40, deadline=None)
def test_mixing_does_not_care_who_comes_first(
    one: Composition, other: Composition, first: float, second: float
) -> None:
    assert mixture_ph(mixed(one, first, other, second)) == pytest.approx(
        mixture_ph(mixed(other, second, one, first)), abs=1e-6
    )


# --- reagent --------------------------------------------------------------------------------------------------------
@given(compositions, st.floats(3.0, 12.0), st.floats(274.15, 332.15), st.sampled_from(["hcl", "h2so4"]))
@settings(max_examples=100, deadline=None)
def test_the_reagent_brings_a_waste_to_its_ph(
    composition: Composition, target: float, kelvin: float, acid: str
) -> None:
    needed = reagent_to_ph_eq_per_m3(composition, target, kelvin, acid)
    treated = with_reagent(composition, needed, acid)
    assert mixture_ph(treated, kelvin) == pytest.approx(target, abs=2e-3)


def test_reagent_for_strong_acid_and_strong_base_mirror_each_other() -> None:
    assert reagent_to_ph_eq_per_m3(strong_mixture(100.0), 7.0) == pytest.approx(100.0, rel=1e-6)
    assert reagent_to_ph_eq_per_m3(strong_mixture(-100.0), 7.0) == pytest.approx(-100.0, rel=1e-6)
    assert reagent_to_ph_eq_per_m3(strong_mixture(-100.0), 7.0, acid="h2so4") == pytest.approx(
        -100.0, rel=1e-4
    )


# --- refusals -------------------------------------------------------------------------------------------------------
def test_outside_its_range_the_solver_refuses_on_both_sides() -> None:
    for kelvin in (272.0, 340.0, math.nan):
        with pytest.raises(OutOfRange, match="temperature"):
            mixture_ph(Composition(), kelvin)
        with pytest.raises(OutOfRange, match="temperature"):
            reagent_to_ph_eq_per_m3(Composition(), 7.0, kelvin)
    for target in (2.9, 12.1, math.inf):
        with pytest.raises(OutOfRange, match="pH wanted"):
            reagent_to_ph_eq_per_m3(Composition(), target)
    for amount in (-1.0, 8001.0, math.nan):
        with pytest.raises(OutOfRange, match="potassium"):
            Composition(potassium_mol_per_m3=amount)
        with pytest.raises(OutOfRange, match="ammonia"):
            Composition(ammonia_mol_per_m3=amount)
    with pytest.raises(OutOfRange, match="volume of the first"):
        mixed(Composition(), 0.0, Composition(), 1.0)


# --- PHREEQC --------------------------------------------------------------------------------------------------------
def _trade_mixture(seed: int) -> tuple[dict[str, float], float]:
    """Totals of a spent regenerant or a mixture [mmol/kgw] and its temperature [°C]; half of them near neutral."""
    draw = random.Random(seed)
    scale = 10.0 ** draw.uniform(-2.0, 0.0)
    tops = (600, 120, 50, 900, 100, 20, 60, 8, 30, 300)
    totals = {
        name: draw.choice((0, 1)) * draw.uniform(0, top) * scale
        for name, top in zip(NAMES, tops, strict=True)
    }
    totals["Na"] += 0.01
    totals["Cl"] += 0.01
    if draw.random() < 0.5:
        cations = 2 * totals["Ca"] + 2 * totals["Mg"] + totals["Na"] + totals["K"]
        anions = totals["Cl"] + 2 * totals["S(6)"] + totals["N(5)"]
        totals["Cl" if cations > anions else "Na"] += abs(cations - anions)
    return totals, draw.choice((25.0, 25.0, 10.0, 40.0, 50.0))


def _phreeqc(database: str, totals: dict[str, float], celsius: float) -> float:
    import phreeqpython

    program = _PROGRAMS.setdefault(database, phreeqpython.PhreeqPython(database))
    lines = "\n".join(f"{name} {value}" for name, value in totals.items() if value > 1e-9)
    program.ip.run_string(f"SOLUTION 1\nunits mmol/kgw\npH 7 charge\ntemp {celsius}\n{lines}\nEND")
    return float(program.get_solution(1).pH)


_PROGRAMS: dict[str, object] = {}


@pytest.mark.parametrize("seed", range(60))
def test_ph_with_ammonia_potassium_and_temperature_against_phreeqc(seed: int) -> None:
    """Another program, the same public data, 10 to 50 °C; the ion product is IAPWS here and its own there."""
    totals, celsius = _trade_mixture(seed)
    composition = Composition(*(totals[name] for name in NAMES))
    theirs = _phreeqc("phreeqc.dat", totals, celsius)
    assert mixture_ph(composition, celsius + 273.15) == pytest.approx(theirs, abs=0.03)


@pytest.mark.parametrize("seed", range(5000, 5120))
def test_the_stated_disagreement_covers_a_pitzer_model(seed: int) -> None:
    """pitzer.dat has no ammonia, silica or nitrate: mixtures of the other ions, 25 °C, carbonate included.

    None of these seeds was seen when the band was drawn; of 2000 such mixtures (seeds 5000 to 6999) one lies outside it.
    """
    totals, _ = _trade_mixture(seed)
    for left_out in ("N(5)", "N(-3)", "Si"):
        totals[left_out] = 0.0
    ours = mixture_ph(Composition(*(totals[name] for name in NAMES)))
    theirs = _phreeqc("pitzer.dat", totals, 25.0)
    assert abs(ours - theirs) <= equilibria.ph_disagreement(ours)
