"""Neutralizing a waste in two stages, and what a small error of a volume does."""

import time
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import (
    equilibria,
    neutralization_heat,
    sensitivity,
    solutions,
)
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.neutralization_plan import (
    AT_TARGET,
    CARBONATE_DECIDES,
    MIX_FIRST,
    STRONG_REAGENT,
    NeutralizationPlan,
    ReagentStock,
    plan_neutralization,
    plan_pair,
)
from regenplant.core.engineering.spent import SpentStream, known_stream
from regenplant.core.engineering.waste_figures import AMMONIA_GAS, CARBON_DIOXIDE_GAS, solids_expected
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed, worked_out


def _known(name: str = "a waste", volume: float = 2.0, **totals: float) -> SpentStream:
    whole = Estimate(
        "V_x", "volume", volume, "m^3", "liquid_volume", "on record", (), "given", "plant_record"
    )
    return known_stream(
        name, Composition(**{f"{key}_mol_per_m3": value for key, value in totals.items()}), whole, 298.15
    )


ACID = _known("spent acid", calcium=100.0, magnesium=40.0, sodium=200.0, chloride=980.0)
CAUSTIC = _known(
    "spent caustic", 1.8, sodium=795.0, chloride=120.0, sulfate=40.0, nitrate=10.0, carbonate=30.0, silica=5.0
)
wastes = st.builds(
    _known,
    st.just("a waste"),
    st.floats(0.5, 40.0),
    sodium=st.floats(0.0, 900.0),
    calcium=st.floats(0.0, 120.0),
    chloride=st.floats(0.0, 1000.0),
    sulfate=st.floats(0.0, 100.0),
    carbonate=st.one_of(st.just(0.0), st.floats(0.0, 150.0)),
    silica=st.floats(0.0, 10.0),
    ammonia=st.one_of(st.just(0.0), st.floats(0.0, 300.0)),
)
targets = st.floats(5.0, 10.0)


def _signed(plan: NeutralizationPlan, eq: float) -> float:
    return eq if plan.chemical == "naoh" else -eq


# --- two stages -----------------------------------------------------------------------------------------------------
@given(wastes, targets, st.sampled_from(["hcl", "h2so4"]))
@settings(max_examples=80, deadline=None)
def test_the_first_stage_never_passes_the_target_in_a_closed_tank_or_an_open_one(
    waste: SpentStream, target: float, acid: str
) -> None:
    plan = plan_neutralization(waste, target, acid=acid)
    if plan.stages is None:
        return
    given_eq = _signed(plan, plan.stages.first_eq.value)
    degassed = replace(waste.composition, carbonate_mol_per_m3=0.0)
    for composition in (waste.composition, degassed) if target <= 8.0 else (waste.composition,):
        treated = equilibria.with_reagent(composition, given_eq / waste.volume_m3, acid)
        after = equilibria.mixture_ph(treated, waste.temperature_kelvin)
        # where nothing but a trace is wanted the pH is as sharp as the solver
        assert after <= target + 2e-3 if given_eq > 0.0 else after >= target - 2e-3


@given(wastes, targets)
@settings(max_examples=80, deadline=None)
def test_both_stages_together_are_the_larger_need_and_reach_the_target(
    waste: SpentStream, target: float
) -> None:
    plan = plan_neutralization(waste, target)
    if plan.stages is None:
        assert plan.chemical == ""
        assert plan.steps == (AT_TARGET,) or CARBONATE_DECIDES in plan.steps
        return
    both = plan.stages.first_eq.value + plan.stages.second_eq.value
    assert both == pytest.approx(max(abs(plan.needed_eq.value), abs(plan.needed_open_eq.value)))
    assert plan.stages.second_eq.value > 0.0
    weight = {"naoh": 0.039997, "hcl": 0.036461}[plan.chemical]
    assert plan.stages.first_kg_100.value == pytest.approx(plan.stages.first_eq.value * weight)
    treated = equilibria.with_reagent(waste.composition, plan.needed_eq.value / waste.volume_m3)
    assert equilibria.mixture_ph(treated, 298.15) == pytest.approx(target, abs=2e-3)
    assert MIX_FIRST in plan.steps
    assert "measured pH decides" in plan.steps[-1]
    assert STRONG_REAGENT in plan.cautions


def test_acid_left_over_takes_its_own_equivalents_worked_by_hand() -> None:
    """2 m³ · (980 − 200 − 2·140) mol/m³ = 1000 eq acid; 40.0 kg NaOH as 100 %, of it 36.0 first; 50 % stock, 1.525 kg/L."""
    density = solutions.solution_density("naoh", 0.5, 293.15)
    plan = plan_neutralization(ACID, 7.0, (ReagentStock("naoh", 0.5, density),))
    assert plan.chemical == "naoh"
    assert plan.needed_eq.value == pytest.approx(1000.0, rel=1e-4)
    assert plan.stages is not None and plan.first_stock_m3 is not None and plan.second_stock_m3 is not None
    assert plan.stages.first_kg_100.value == pytest.approx(36.0, rel=1e-3)
    assert plan.first_stock_m3.value == pytest.approx(36.0 / 0.5 / 1525.0, rel=0.005)
    assert plan.second_stock_m3.value == pytest.approx(plan.first_stock_m3.value / 9.0)
    # 1000 eq · 57 kJ / (2000 kg · 4.05 kJ/(kg K))
    assert plan.rise_kelvin.value == pytest.approx(7.04, abs=0.01)
    # a tenth of 500 mol/m³ is left: pH near −log10 0.05
    assert plan.ph_after_first.value == pytest.approx(1.3, abs=0.15)


def test_sulfuric_acid_serves_as_well_with_its_own_weight() -> None:
    plan = plan_neutralization(CAUSTIC, 7.0, acid="h2so4")
    assert plan.chemical == "h2so4" and plan.stages is not None
    assert plan.stages.first_kg_100.value == pytest.approx(plan.stages.first_eq.value * 0.0490395)
    hcl = plan_neutralization(CAUSTIC, 7.0)
    assert plan.needed_eq.value == pytest.approx(hcl.needed_eq.value, rel=0.01)


def test_carbonate_wants_more_acid_in_an_open_tank() -> None:
    plan = plan_neutralization(CAUSTIC, 7.0)
    assert abs(plan.needed_open_eq.value) > abs(plan.needed_eq.value)
    assert CARBON_DIOXIDE_GAS in plan.cautions
    # above pH 8 carbonate stays: one figure
    high = plan_neutralization(CAUSTIC, 9.0)
    assert high.needed_open_eq == high.needed_eq


def test_where_gas_decides_between_acid_and_base_nothing_is_given() -> None:
    """Spent soda ash, half used: closed it wants caustic, open it wants acid."""
    plan = plan_neutralization(
        _known("spent soda ash", 5.0, sodium=240.0, chloride=200.0, carbonate=120.0), 7.0
    )
    assert plan.needed_eq.value > 0.0 > plan.needed_open_eq.value
    assert plan.stages is None and plan.chemical == ""
    assert CARBONATE_DECIDES in plan.steps
    assert STRONG_REAGENT not in plan.cautions


def test_neutral_brine_needs_nothing_but_a_measurement() -> None:
    plan = plan_neutralization(_known("spent brine", sodium=600.0, chloride=600.0), 7.0)
    assert plan.steps == (AT_TARGET,)
    assert plan.first_stock_m3 is None and plan.reagent_sensitivity is None


def test_ammonia_is_warned_of_while_the_ph_is_high() -> None:
    waste = _known("spent ammonia", ammonia=300.0, chloride=150.0)
    assert AMMONIA_GAS in plan_neutralization(waste, 7.0).cautions


def test_a_pair_is_planned_after_it_is_poured_together() -> None:
    plan = plan_pair(ACID, CAUSTIC, 7.0)
    assert plan.stream.volume_m3 == pytest.approx(3.8)
    assert plan.stream.temperature_kelvin > 298.15 + 3.0
    assert plan.sensitivity.varied == "spent acid"
    assert plan.reagent_sensitivity is None or plan.reagent_sensitivity.varied != "spent acid"
    one = plan_neutralization(plan.stream, 7.0)
    assert one.needed_eq.value == pytest.approx(plan.needed_eq.value)


def test_refusals_on_both_sides() -> None:
    for target in (4.9, 10.1):
        with pytest.raises(OutOfRange, match="pH wanted"):
            plan_neutralization(ACID, target)
    for share in (0.4, 0.99):
        with pytest.raises(OutOfRange, match="first stage"):
            plan_neutralization(ACID, 7.0, first_share_frac=share)
        with pytest.raises(OutOfRange, match="first stage"):
            plan_neutralization(CAUSTIC, 7.0, first_share_frac=share)
    with pytest.raises(OutOfRange, match="no acid"):
        plan_neutralization(CAUSTIC, 7.0, acid="naoh")
    with pytest.raises(OutOfRange, match="above zero"):
        neutralization_heat.temperature_rise(1.0, 0.0)
    for eq in (-1.0, float("nan")):
        with pytest.raises(OutOfRange, match="equivalents neutralized"):
            neutralization_heat.temperature_rise(eq, 1.0)
        with pytest.raises(OutOfRange, match="equivalents neutralized"):
            neutralization_heat.heat_of_neutralization(eq)
        with pytest.raises(OutOfRange, match="free acid"):
            neutralization_heat.neutralized(eq, 1.0)
        with pytest.raises(OutOfRange, match="free hydroxide"):
            neutralization_heat.neutralized(1.0, eq)


def test_heat_of_neutralization_is_heat_per_equivalent() -> None:
    """500 eq of strong acid: 28.3 MJ at the 56.6 kJ/eq read from the calorimeter study, within the 3 % stated."""
    heat = neutralization_heat.heat_of_neutralization(500.0)
    assert heat.value == pytest.approx(28.3e6, rel=0.03)
    assert neutralization_heat.WEAK_SPECIES_NOT_COUNTED in heat.warnings


# --- sensitivity ----------------------------------------------------------------------------------------------------
@given(wastes, targets)
@settings(max_examples=40, deadline=None)
def test_the_table_rises_with_base_and_falls_with_acid_and_holds_the_target(
    waste: SpentStream, target: float
) -> None:
    plan = plan_neutralization(waste, target)
    rows = plan.sensitivity.rows
    assert plan.sensitivity.ph_at(0.0) == pytest.approx(target, abs=2e-3)
    assert [row.share.value for row in rows] == list(sensitivity.SHARES)
    values = [row.ph.value for row in rows]
    if abs(plan.needed_eq.value) > 0.01 * waste.volume_m3:
        assert values == sorted(values, reverse=plan.needed_eq.value < 0.0)


def test_the_table_of_a_pair_is_the_mixture_with_more_or_less_of_the_first() -> None:
    table = sensitivity.of_pair(ACID, CAUSTIC, (-0.5, 0.0, 0.5))
    for row in table.rows:
        mixture = equilibria.mixed(
            ACID.composition, ACID.volume_m3 * (1.0 + row.share.value), CAUSTIC.composition, CAUSTIC.volume_m3
        )
        assert row.ph.value == pytest.approx(equilibria.mixture_ph(mixture), abs=1e-6)
    assert "A volume cannot replace a pH meter" in table.sentence


def test_one_percent_of_the_neutralizer_of_plain_acid_moves_the_ph_by_units_and_the_sentence_says_so() -> (
    None
):
    plan = plan_neutralization(ACID)
    assert plan.sensitivity.ph_at(0.01) - plan.sensitivity.ph_at(-0.01) > 7.0
    assert "1 % less sodium hydroxide: pH" in plan.sensitivity.sentence


def test_the_table_refuses_what_it_does_not_show() -> None:
    with pytest.raises(OutOfRange, match="not in the table"):
        sensitivity.of_pair(ACID, CAUSTIC).ph_at(0.05)
    for share in (-0.6, 0.6):
        with pytest.raises(OutOfRange, match="error in"):
            sensitivity.of_pair(ACID, CAUSTIC, (share,))


# --- workings and speed ---------------------------------------------------------------------------------------------
def test_printed_formulas_give_their_values() -> None:
    density = solutions.solution_density("hcl", 0.32, 293.15)
    plans = [
        plan_neutralization(ACID),
        plan_neutralization(CAUSTIC, 7.0, (ReagentStock("hcl", 0.32, density),)),
        plan_pair(ACID, CAUSTIC),
    ]
    found = [neutralization_heat.heat_of_neutralization(12.0), *(plan.rise_kelvin for plan in plans)]
    for plan in plans:
        assert plan.stages is not None
        stages = plan.stages
        found += [stages.first_eq, stages.second_eq, stages.first_kg_100, stages.second_kg_100]
        found += [entry for entry in (plan.first_stock_m3, plan.second_stock_m3) if entry is not None]
    assert all(is_closed(estimate) for estimate in found)
    for estimate in found:
        assert worked_out(estimate) == pytest.approx(estimate.value, rel=1e-9, abs=1e-12), estimate.name


def test_a_pair_is_planned_within_ten_milliseconds() -> None:
    """Composition, pH, heat, reagent in two tanks, two tables; best of some runs, other work may share the machine."""
    spent = []
    for run in range(8):
        start = time.perf_counter()
        plan_pair(
            replace(ACID, volume_m3=2.0 + 0.01 * run), CAUSTIC
        )  # never the same, so that nothing is remembered
        spent.append(time.perf_counter() - start)
    assert min(spent) < 0.010


def test_solids_over_saturation_are_named_highest_first_and_others_are_not() -> None:
    def index(value: float) -> Estimate:
        return Estimate(
            "SI", "saturation index", value, "dimensionless", "index", "solve", (), "given", "plant_record"
        )

    said = solids_expected({"gypsum": index(0.48), "calcite": index(-0.1), "brucite": index(5.35)})
    assert [sentence.split(":")[0] for sentence in said] == ["Brucite", "Gypsum"]
    assert "+5.3" in said[0] or "+5.4" in said[0]
    assert solids_expected({"gypsum": index(0.0)}) == ()
