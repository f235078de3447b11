"""Waters beyond the reference rows: another program at random compositions, balances, limits, monotony, refusals, workings."""

from __future__ import annotations

import math
import random
import re
import time
from dataclasses import replace
from functools import lru_cache
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import (
    bed_effluents,
    conductivity,
    pure_water,
    water,
    water_analysis,
    water_grades,
    waters,
)
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.silica import CausticTreatment, silica_advice
from regenplant.core.engineering.sources import source
from regenplant.core.engineering.water_conductivity import (
    ConductivityMethod,
    conductivity_methods,
    conductivity_of,
    resistivity_of,
    temperature_slope,
)
from regenplant.core.engineering.water_grades import GRADES, WaterQuality, grade_verdict, grades_met, usp_645
from regenplant.core.engineering.water_speciation import speciate
from regenplant.core.engineering.water_species import SPECIES
from regenplant.core.engineering.waters import Water
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import FeedData
from tests.core.formula import is_closed, worked_out

ROOM = 298.15
RIVER = Water(1.1, 0.35, 0.8, 0.06, 0.0, 0.78, 0.35, 0.08, 2.27389, 0.13315)
_FIELDS = ("Ca", "Mg", "Na", "K", "Amm", "Cl", "S(6)", "N(5)", "C(4)", "Si")


# --- an independent program -----------------------------------------------------------------------------------------
@lru_cache(maxsize=1)
def _program() -> Any:
    import phreeqpython

    return phreeqpython.PhreeqPython(database="phreeqc.dat")


def _by_program(analysis: Water, celsius: float) -> Any:
    """The same totals through PHREEQC 3.7.3, charge-balanced on H⁺; per kilogram of water."""
    totals = {
        name: total
        for name, total in zip(_FIELDS, analysis.totals_mol_per_m3, strict=True)
        if total > 0.0 and name != "Amm"
    }
    guess = "4 charge" if analysis.alkalinity_eq_per_m3 < 0.0 else "7.5 charge"
    return _program().add_solution({"temp": celsius, "units": "mmol/kgw", "pH": guess, **totals})


def _random_water(seed: int) -> Water:
    """Waters of a plant: 0.05 to 60 eq/m³, cations in excess of strong anions or acid, some sulfate-rich, some with silica."""
    dice = random.Random(seed)
    scale = 10.0 ** dice.uniform(-1.3, 0.9)
    amounts = [scale * dice.random() ** 2 for _ in range(8)]
    calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate, extra = amounts
    draft = Water(calcium, magnesium, sodium, 0.1 * potassium, 0.0, chloride, sulfate, 0.2 * nitrate)
    alkalinity = draft.alkalinity_eq_per_m3
    if alkalinity < 0.0 and dice.random() < 0.7:
        draft = replace(draft, sodium_mol_per_m3=sodium - alkalinity + extra)
    held = max(draft.alkalinity_eq_per_m3, 0.0)
    carbon = held * dice.uniform(0.97, 1.25) + 0.1 * scale * dice.random()
    return replace(draft, total_inorganic_carbon_mol_per_m3=carbon, silica_mol_per_m3=0.4 * dice.random())


@pytest.mark.parametrize("seed", range(60))
def test_ph_and_conductivity_agree_with_another_program_at_25(seed: int) -> None:
    analysis = _random_water(seed)
    outside = _by_program(analysis, 25.0)
    assert waters.ph_of(analysis, ROOM).value == pytest.approx(outside.pH, abs=0.02), analysis
    assert conductivity_of(analysis).value * 1e4 == pytest.approx(outside.sc, rel=0.01), analysis


@pytest.mark.parametrize("celsius", [5.0, 15.0, 40.0, 60.0])
@pytest.mark.parametrize("seed", range(100, 112))
def test_ph_agrees_with_another_program_away_from_25(seed: int, celsius: float) -> None:
    """Its conductivity is not used away from 25 °C: there it is wrong by up to 20 % against measured standards."""
    analysis = _random_water(seed)
    outside = _by_program(analysis, celsius)
    assert waters.ph_of(analysis, celsius + 273.15).value == pytest.approx(outside.pH, abs=0.05), analysis


@pytest.mark.parametrize("seed", range(200, 212))
def test_ammonia_agrees_with_another_program(seed: int) -> None:
    dice = random.Random(seed)
    ammonium, sulfate, carbon = (3.0 * dice.random() for _ in range(3))
    analysis = Water(
        ammonium_mol_per_m3=ammonium,
        sulfate_mol_per_m3=0.2 * sulfate,
        total_inorganic_carbon_mol_per_m3=carbon,
    )
    totals = {"N(-3)": ammonium, "S(6)": 0.2 * sulfate, "C(4)": carbon}
    outside = _program().add_solution({"temp": 25.0, "units": "mmol/kgw", "pH": "7 charge", **totals})
    assert waters.ph_of(analysis, ROOM).value == pytest.approx(outside.pH, abs=0.02), analysis
    assert conductivity_of(analysis).value * 1e4 == pytest.approx(outside.sc, rel=0.01), analysis


# --- balances and limits --------------------------------------------------------------------------------------------
amounts = st.floats(0.0, 8.0)
analyses = st.builds(
    Water, amounts, amounts, amounts, st.floats(0.0, 1.0), st.floats(0.0, 1.0), amounts, amounts, st.floats(0.0, 1.0),
    st.floats(0.0, 10.0), st.floats(0.0, 1.0),
)  # fmt: skip
temperatures = st.floats(273.15, 333.15)


@given(analyses, temperatures)
@settings(max_examples=120, deadline=None)
def test_charges_balance_and_masses_are_kept(analysis: Water, temperature: float) -> None:
    found = speciate(analysis.totals_mol_per_m3, temperature)
    carried = sum(abs(SPECIES[name].charge) * m for name, m in found.molalities.items())
    assert abs(found.charge_eq_per_kg) <= 1e-7 * carried
    per_kg = 1.0 / water.density_kg_per_m3(temperature)
    sulfur = sum(m for name, m in found.molalities.items() if "SO4" in name)
    carbon = sum(m for name, m in found.molalities.items() if "CO3" in name or name == "CO2")
    calcium = sum(m for name, m in found.molalities.items() if name.startswith("Ca"))
    assert sulfur == pytest.approx(analysis.sulfate_mol_per_m3 * per_kg, rel=1e-6, abs=1e-16)
    assert carbon == pytest.approx(analysis.total_inorganic_carbon_mol_per_m3 * per_kg, rel=1e-6, abs=1e-16)
    assert calcium == pytest.approx(analysis.calcium_mol_per_m3 * per_kg, rel=1e-6, abs=1e-16)


@given(analyses, st.floats(0.05, 3.0))
@settings(max_examples=60, deadline=None)
def test_acid_lowers_and_caustic_raises_the_ph(analysis: Water, given_amount: float) -> None:
    before = waters.ph_of(analysis, ROOM).value
    acid = replace(analysis, chloride_mol_per_m3=analysis.chloride_mol_per_m3 + given_amount)
    caustic = replace(analysis, sodium_mol_per_m3=analysis.sodium_mol_per_m3 + given_amount)
    assert waters.ph_of(acid, ROOM).value < before < waters.ph_of(caustic, ROOM).value


@given(analyses, st.floats(274.15, 332.15))
@settings(max_examples=40, deadline=None)
def test_warmer_water_conducts_more(analysis: Water, temperature: float) -> None:
    assert temperature_slope(analysis, temperature).value > 0.0


@pytest.mark.parametrize("celsius", [0, 5, 15, 25, 35, 45, 60])
def test_without_ions_it_is_pure_water(celsius: float) -> None:
    temperature = celsius + 273.15
    pure = pure_water.pure_water_conductivity(temperature).value
    assert conductivity_of(Water(), temperature).value == pytest.approx(pure, rel=3e-4)
    assert waters.ph_of(Water(), ROOM).value == pytest.approx(6.998, abs=0.001)
    assert resistivity_of(Water()).value == pytest.approx(181_800.0, rel=1e-3)


@pytest.mark.parametrize("celsius", [0.0, 10.0, 25.0, 40.0, 60.0])
@pytest.mark.parametrize(
    ("salt", "kind"),
    [
        (Water(sodium_mol_per_m3=1e-3, chloride_mol_per_m3=1e-3), Compensation.NEUTRAL),
        (Water(chloride_mol_per_m3=1e-3), Compensation.ACID),
        (Water(sodium_mol_per_m3=1e-3), Compensation.BASE),
    ],
)
def test_traces_agree_with_the_compensation_model(salt: Water, kind: Compensation, celsius: float) -> None:
    """Two ways to the same figure: ions from a table moved with temperature, and electrolytes fitted as such."""
    temperature = celsius + 273.15
    other = conductivity.conductivity_with_trace(1e-3, kind, temperature)
    assert conductivity_of(salt, temperature).value == pytest.approx(other, rel=0.012)


def test_a_small_step_in_anything_is_a_small_step_in_the_answer() -> None:
    """No seams: temperature through 25 °C, and the acid side through neutral."""
    around = [conductivity_of(RIVER, 298.15 + step * 1e-3).value for step in (-1, 0, 1)]
    assert around[1] - around[0] == pytest.approx(around[2] - around[1], rel=0.05)
    values = [
        waters.ph_of(replace(RIVER, chloride_mol_per_m3=0.78 + 0.01 * step), ROOM).value
        for step in range(200)
    ]
    assert all(later < earlier for earlier, later in pairwise(values))


# --- analyses -------------------------------------------------------------------------------------------------------
@given(analyses.filter(lambda entry: entry.alkalinity_eq_per_m3 > 0.3), st.floats(5.0, 9.5))
@settings(max_examples=60, deadline=None)
def test_carbon_from_alkalinity_and_ph_gives_that_ph_back(analysis: Water, ph: float) -> None:
    alkalinity = analysis.alkalinity_eq_per_m3
    try:
        whole = water_analysis.with_alkalinity(analysis, alkalinity, ph, ROOM)
    except OutOfRange as refused:
        assert refused.code in ("no_carbon_possible", "too_much_carbon")
        return
    assert waters.ph_of(whole, ROOM).value == pytest.approx(ph, abs=1e-4)
    assert water_analysis.charge_imbalance(whole, ROOM).value == pytest.approx(0.0, abs=1e-5)


def test_a_plan_feed_in_equivalents_becomes_the_same_water() -> None:
    feed = FeedData(2.2, 0.7, 0.86, 0.78, 0.7, 0.08, 2.2, 0.07389, 0.13315)
    made = waters.from_equivalents(feed)
    assert made.alkalinity_eq_per_m3 == pytest.approx(2.2)
    assert waters.ph_of(made, ROOM).value == pytest.approx(waters.ph_of(RIVER, ROOM).value, abs=0.02)
    assert conductivity_of(made).value == pytest.approx(conductivity_of(RIVER).value, rel=0.01)


def test_the_river_gives_its_alkalinity_and_hardness_back() -> None:
    """By hand: 2·(1.1 + 0.35) + 0.8 + 0.06 − 0.78 − 2·0.35 − 0.08 = 2.2 eq/m³; 2·1.45·50.04345 = 145.1 mg/L."""
    assert waters.alkalinity(RIVER).value == pytest.approx(2.2)
    assert waters.hardness(RIVER).value * 1e3 == pytest.approx(145.126, abs=0.001)
    carbon = water_analysis.carbon_from_alkalinity(RIVER, 2.2, 7.70, ROOM).value
    assert carbon == pytest.approx(2.27389, rel=2e-3)


def test_an_analysis_with_a_missing_ion_is_called_out() -> None:
    wrong = replace(RIVER, sodium_mol_per_m3=0.2, ph=7.7)
    imbalance = water_analysis.charge_imbalance(wrong, ROOM)
    assert imbalance.value < -0.05
    assert "anions" in imbalance.warnings[0]
    assert any("charges" in warning for warning in conductivity_of(wrong).warnings)
    assert abs(water_analysis.charge_imbalance(water_analysis.balanced(wrong), ROOM).value) < 1e-6
    with pytest.raises(OutOfRange, match="no measured pH"):
        water_analysis.charge_imbalance(RIVER, ROOM)


@given(analyses, analyses, st.floats(0.1, 5.0))
@settings(max_examples=40, deadline=None)
def test_mixing_keeps_every_total(first: Water, second: Water, volume: float) -> None:
    mixture = waters.mixed(first, 1.0, second, volume)
    for one, other, both in zip(
        first.totals_mol_per_m3, second.totals_mol_per_m3, mixture.totals_mol_per_m3, strict=True
    ):
        assert both * (1.0 + volume) == pytest.approx(one + other * volume, rel=1e-9, abs=1e-12)


def test_air_moves_pure_water_but_hardly_a_buffered_one() -> None:
    open_pure = Water(
        total_inorganic_carbon_mol_per_m3=water_analysis.carbon_in_equilibrium_with_air(ROOM).value
    )
    assert waters.ph_of(open_pure, ROOM).value == pytest.approx(5.60, abs=0.01)
    assert 0.97 < conductivity_of(open_pure).value * 1e4 < 1.10
    stale = water_analysis.carbon_in_equilibrium_with_air(ROOM, analysis=RIVER).value
    assert waters.ph_of(replace(RIVER, total_inorganic_carbon_mol_per_m3=stale), ROOM).value > 8.0


# --- what leaves a bed (common practice) ----------------------------------------------------------------------------
HIGH_ALKALINITY = Water(0.9, 0.5, 5.5, 0.1, 0.0, 0.58, 0.4, 0.02, 6.95005, 0.36615)


@given(analyses)
@settings(max_examples=60, deadline=None)
def test_facts_of_the_trade_about_beds(feed: Water) -> None:
    acid = bed_effluents.after_cation(feed)
    assert waters.ph_of(acid, ROOM).value <= 7.0
    caustic = bed_effluents.after_strong_base(bed_effluents.after_cation(feed, 0.1 * feed.cations_eq_per_m3))
    if feed.cations_eq_per_m3 > 0.01:
        assert waters.ph_of(caustic, ROOM).value > 7.0
    passed = bed_effluents.after_weak_base(acid)
    assert passed.total_inorganic_carbon_mol_per_m3 == feed.total_inorganic_carbon_mol_per_m3
    assert passed.silica_mol_per_m3 == feed.silica_mol_per_m3
    assert passed.strong_anions_eq_per_m3 == 0.0
    soft = bed_effluents.after_softener(feed)
    assert soft.hardness_eq_per_m3 == 0.0
    assert soft.alkalinity_eq_per_m3 == pytest.approx(feed.alkalinity_eq_per_m3, abs=1e-9)


@given(st.floats(0.0, 0.01), st.floats(0.0, 0.01))
@settings(max_examples=40, deadline=None)
def test_a_mixed_bed_gives_neutral_water(salt: float, silica: float) -> None:
    leaving = bed_effluents.after_mixed_bed(salt, silica_leak_mol_per_m3=silica)
    assert waters.ph_of(leaving, ROOM).value == pytest.approx(7.0, abs=0.12)


def test_acid_water_conducts_more_than_the_feed_only_where_strong_anions_outweigh_alkalinity() -> None:
    low_alkalinity = conductivity_of(bed_effluents.after_cation(RIVER)).value / conductivity_of(RIVER).value
    much = conductivity_of(bed_effluents.after_cation(HIGH_ALKALINITY)).value
    assert low_alkalinity > 1.5
    assert much < conductivity_of(HIGH_ALKALINITY).value
    assert much * 1e4 == pytest.approx(562.0, rel=0.01)


@given(analyses.filter(lambda feed: feed.alkalinity_eq_per_m3 > 0.5))
@settings(max_examples=40, deadline=None)
def test_a_weak_acid_takes_hardness_only_with_its_alkalinity(feed: Water) -> None:
    leaving = bed_effluents.after_weak_acid(feed)
    taken = feed.hardness_eq_per_m3 - leaving.hardness_eq_per_m3
    assert taken == pytest.approx(min(feed.hardness_eq_per_m3, feed.alkalinity_eq_per_m3), rel=1e-9, abs=1e-9)
    assert leaving.sodium_mol_per_m3 == feed.sodium_mol_per_m3
    assert leaving.alkalinity_eq_per_m3 >= -1e-9


def test_a_degasser_leaves_bicarbonate_and_never_adds_carbon() -> None:
    acid = bed_effluents.after_cation(RIVER)
    assert bed_effluents.after_degasser(acid, 0.11).total_inorganic_carbon_mol_per_m3 == 0.11
    assert bed_effluents.after_degasser(acid, 9.0).total_inorganic_carbon_mol_per_m3 == 2.27389
    assert bed_effluents.after_degasser(RIVER, 0.0).total_inorganic_carbon_mol_per_m3 == pytest.approx(2.2)


def test_a_two_bed_line_stage_by_stage() -> None:
    stages = bed_effluents.line(
        RIVER,
        sodium_leak_mol_per_m3=0.0217,
        carbon_dioxide_left_mol_per_m3=0.114,
        silica_leak_mol_per_m3=0.0005,
    )
    assert [stage.stage for stage in stages][-1:] == ["behind the strong-base bed"]
    assert stages[1].ph.value < 3.0 < stages[-1].ph.value
    assert stages[-1].conductivity.value < 6e-4
    assert worked_out(stages[-1].resistivity) == pytest.approx(stages[-1].resistivity.value)


@pytest.mark.parametrize(
    ("code", "act"),
    [
        ("leak_above_feed", lambda: bed_effluents.after_cation(RIVER, 5.0)),
        ("leak_above_feed", lambda: bed_effluents.after_softener(RIVER, -0.1)),
        ("hard_water_on_anion", lambda: bed_effluents.after_strong_base(RIVER)),
        ("out_of_range", lambda: bed_effluents.after_weak_acid(Water(chloride_mol_per_m3=1.0))),
        ("out_of_range", lambda: bed_effluents.after_mixed_bed(5.0)),
        ("out_of_range", lambda: Water(calcium_mol_per_m3=-1.0)),
        ("out_of_range", lambda: waters.ph_of(RIVER, 350.0)),
        ("out_of_range", lambda: conductivity_of(RIVER, 260.0)),
        ("too_concentrated", lambda: waters.ph_of(Water(sodium_mol_per_m3=500.0, potassium_mol_per_m3=500.0, chloride_mol_per_m3=500.0, sulfate_mol_per_m3=250.0), ROOM)),
        ("no_carbon_possible", lambda: water_analysis.carbon_from_alkalinity(RIVER, 0.1, 10.9, ROOM)),
        ("not_positive", lambda: waters.mixed(RIVER, 0.0, RIVER, 1.0)),
    ],
)  # fmt: skip
def test_nonsense_is_refused_with_a_sentence(code: str, act: Any) -> None:
    with pytest.raises(OutOfRange) as refused:
        act()
    assert refused.value.code == code
    assert refused.value.message.endswith(".")


# --- workings, warnings, speed --------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "figure",
    [
        waters.alkalinity(RIVER),
        waters.hardness(RIVER),
        conductivity_of(RIVER),
        conductivity_of(Water(chloride_mol_per_m3=1.0), 310.0, ConductivityMethod.ONSAGER_MIXTURE),
        water_analysis.charge_imbalance(replace(RIVER, ph=7.7), ROOM),
        resistivity_of(RIVER),
        temperature_slope(RIVER, ROOM),
    ],
)
def test_the_working_gives_the_value(figure: Estimate) -> None:
    assert is_closed(figure)
    assert worked_out(figure) == pytest.approx(figure.value, rel=1e-9)


def test_the_working_of_a_ph_lists_ions_whose_charges_add_up_to_nothing() -> None:
    figure = waters.ph_of(RIVER, ROOM)
    charged = [entry for entry in figure.inputs if entry.symbol.startswith("m_")]
    charges = [int(re.search(r"charge ([+-]\d)", entry.name)[1]) * entry.value for entry in charged]  # type: ignore[index]
    assert sum(charges) == pytest.approx(0.0, abs=2e-3 * sum(map(abs, charges)))


@pytest.mark.parametrize(
    "figure", [waters.ph_of(RIVER, ROOM), conductivity_of(RIVER), waters.hardness(RIVER)]
)
def test_every_figure_names_a_source_that_exists(figure: Estimate) -> None:
    assert source(figure.source).citation()


def test_two_methods_that_differ_are_said_to() -> None:
    acid = conductivity_of(Water(chloride_mol_per_m3=10.0))
    assert any("Two methods differ" in warning for warning in acid.warnings)
    assert acid.uncertainty_frac and acid.uncertainty_frac > 0.03
    methods = conductivity_methods(RIVER)
    assert methods[ConductivityMethod.ONSAGER_MIXTURE] == pytest.approx(
        methods[ConductivityMethod.DEBYE_HUECKEL_ONSAGER], rel=0.01
    )
    assert methods[ConductivityMethod.NO_INTERACTION] > 1.05 * methods[ConductivityMethod.ONSAGER_MIXTURE]
    chosen = conductivity_of(Water(chloride_mol_per_m3=10.0), method=ConductivityMethod.ONSAGER_MIXTURE)
    assert chosen.value > acid.value


def test_a_water_takes_less_than_five_milliseconds() -> None:
    conductivity_of(RIVER)
    analyses_seen = [_random_water(seed) for seed in range(500, 540)]
    start = time.process_time()
    for analysis in analyses_seen:
        waters.ph_of(analysis, ROOM)
        conductivity_of(analysis)
    assert (time.process_time() - start) / len(analyses_seen) < 0.005


# --- grades and silica ----------------------------------------------------------------------------------------------
def test_grades_say_what_was_not_measured() -> None:
    names = {verdict.grade.key: verdict for verdict in grades_met(WaterQuality(1e-5))}
    assert "iso_1" in names and names["iso_1"].not_measured == ("silica",)
    assert "astm_i" not in names
    whole = WaterQuality(5e-6, 2e-5, 0.5e-9 * 1e3, 0.5e-6, 2e-6)
    assert grade_verdict(whole, GRADES[0]).is_met
    assert grade_verdict(replace(whole, silica_kg_per_m3=1e-5), GRADES[0]).failed == ("silica",)
    assert grade_verdict(WaterQuality(2e-4, ph=9.0), GRADES[3]).failed == ("pH",)
    assert grades_met(WaterQuality(1.0)) == ()


def test_usp_goes_stage_by_stage() -> None:
    assert [stage.is_met for stage in usp_645(1.2e-4, ROOM)] == [True]
    assert [stage.is_met for stage in usp_645(1.5e-4, ROOM, equilibrated_siemens_per_m=1.9e-4)] == [
        False,
        True,
    ]
    third = usp_645(3e-4, ROOM, equilibrated_siemens_per_m=2.6e-4, ph=6.74)
    assert [stage.is_met for stage in third] == [False, False, True]
    assert water_grades.usp_645_stage_3_limit(6.55) == pytest.approx(2.1e-4)
    with pytest.raises(OutOfRange, match="fails stage 3"):
        water_grades.usp_645_stage_3_limit(7.3)


def test_silica_advice_names_what_falls_short() -> None:
    good = CausticTreatment("sba_1", 120.0, 0.05, 318.15, 3700.0, 0.1)
    assert silica_advice(good) == ()
    cold = silica_advice(
        replace(good, temperature_kelvin=288.15, contact_s=1800.0, dose_kg_per_m3=64.0, strength_frac=0.02)
    )
    assert len(cold) == 4
    assert any("35 °C" in sentence for sentence in silica_advice(replace(good, family="sba_2")))
    assert "weak base" in silica_advice(replace(good, family="wba"))[0]
    assert math.isfinite(good.dose_kg_per_m3)
