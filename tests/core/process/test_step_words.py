"""What a person reads and writes down at each kind of step: sentences, entries and cautions of every recipe to begin with."""

from __future__ import annotations

import re

import pytest

from regenplant import units
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, EntrySpec, PlannedStep
from regenplant.core.process.vocabulary import Leg, StepKind
from tests.core.process.recipe_plants import FITTING

PLANS = {code: plan_batch(request) for code, request in FITTING.items()}
_each = pytest.mark.parametrize("code", PLANS)


def _step(plan: BatchPlan, kind: StepKind, leg: Leg | None = None) -> PlannedStep:
    return next(step for step in plan.steps if step.kind is kind and (leg is None or step.leg is leg))


def _entries(step: PlannedStep) -> dict[str, EntrySpec]:
    return {entry.key: entry for entry in step.entries}


def test_the_recipes_to_begin_with_use_every_kind_of_step() -> None:
    assert {step.kind for plan in PLANS.values() for step in plan.steps} == set(StepKind)


# --- every step -------------------------------------------------------------------------------------------------------
@_each
def test_every_step_has_a_sentence_an_end_and_entries(code: str) -> None:
    for step in PLANS[code].steps:
        for text in (step.instruction, step.ends_when):
            assert text.endswith(".") and "!" not in text, (step.name, text)
            assert "None" not in text and "  " not in text, text
            assert not {"please", "oops", "successfully", "error", "invalid"} & set(text.lower().split())
        assert step.entries, step.name


@_each
def test_entries_have_known_kinds_one_key_each_and_limits_in_order(code: str) -> None:
    for step in PLANS[code].steps:
        keys = [entry.key for entry in step.entries]
        assert len(keys) == len(set(keys)), step.name
        begun = False
        for entry in step.entries:
            assert entry.kind in units.KINDS or entry.kind in ("confirm", "choice", "text"), entry
            begun = begun or not entry.is_before
            assert not (begun and entry.is_before), (step.name, entry.key)
            bounds = [bound for bound in (entry.low, entry.target, entry.high) if bound is not None]
            assert bounds == sorted(bounds), entry
            assert entry.name and "!" not in entry.name + entry.help


@_each
def test_every_caution_of_a_plan_ends_with_its_authority(code: str) -> None:
    for step in PLANS[code].steps:
        for caution in step.cautions:
            assert "SDS" in caution.measures[-1] and caution.source in SOURCES


@_each
def test_no_chemical_is_brought_before_gear_shower_drain_and_water(code: str) -> None:
    for step in PLANS[code].steps:
        if step.kind not in (StepKind.INJECT, StepKind.SANITIZE, StepKind.FLOAT):
            continue
        before = {entry.key for entry in step.entries if entry.is_before and entry.is_required}
        assert {"gear_on", "shower_ready", "drain_open"} <= before
        if step.kind in (StepKind.INJECT, StepKind.FLOAT):
            assert "dilution_water_flow" in before
        assert step.cautions


# --- legs and mixed beds ------------------------------------------------------------------------------------------------
MIXED = ("MB-APART-110", "MBP-APART-160", "MB-TOGETHER-107", "MB-FLOAT-110")


@pytest.mark.parametrize("code", MIXED)
def test_a_step_of_a_leg_says_which_leg_and_which_vessel(code: str) -> None:
    plan = PLANS[code]
    anion = plan.request.anion_vessel.code if plan.request.anion_vessel else plan.request.vessel.code
    for step in plan.steps:
        if step.leg is Leg.CATION:
            assert step.instruction.startswith(f"Cation leg in vessel {plan.request.vessel.code}: ")
        elif step.leg is Leg.ANION:
            assert step.instruction.startswith(f"Anion leg in vessel {anion}: ")
        else:
            assert not re.match(r"(Cation|Anion) leg", step.instruction)


@pytest.mark.parametrize("code", MIXED)
def test_the_flow_of_a_leg_is_that_of_its_own_resin(code: str) -> None:
    plan = PLANS[code]
    volume = plan.request.resin_volume_m3
    for leg, share in ((Leg.CATION, 0.4), (Leg.ANION, 0.6)):
        step = _step(plan, StepKind.INJECT, leg)
        setting = plan.request.recipe.steps[step.number - 1].settings["flow_bv_per_h"]
        assert _entries(step)["flow"].target == pytest.approx(setting.target * share * volume / 3600.0)


@pytest.mark.parametrize("code", MIXED)
def test_the_separation_record_is_complete_and_required(code: str) -> None:
    entries = _entries(_step(PLANS[code], StepKind.CUT))
    for key in (
        "interface_height", "cation_volume", "anion_volume", "cut_volume", "cation_in_anion", "anion_in_cation", "cut_container", "cut_kept",
    ):  # fmt: skip
        assert entries[key].is_required, key
    most = PLANS[code].request.recipe.limits["cross_contamination_max_frac"]
    assert entries["cation_in_anion"].high == entries["anion_in_cation"].high == most
    assert entries["cut_container"].kind == "text" and entries["cut_kept"].kind == "confirm"
    parts = [entries[key].target or 0.0 for key in ("cation_volume", "anion_volume", "cut_volume")]
    assert sum(parts) == pytest.approx(PLANS[code].request.resin_volume_m3)
    layers = _entries(_step(PLANS[code], StepKind.SEPARATE))
    assert layers["layers_seen"].is_required


@pytest.mark.parametrize("code", MIXED)
def test_legs_join_only_rinsed_and_air_is_clean_and_the_bed_locks(code: str) -> None:
    join = _entries(_step(PLANS[code], StepKind.JOIN))
    assert all(
        join[key].is_before and join[key].is_required for key in ("cation_ph", "anion_ph", "legs_rinsed")
    )
    air = _entries(_step(PLANS[code], StepKind.AIR_MIX))
    assert all(air[key].is_before for key in ("air_oil_free", "vent_open", "water_above_bed"))
    assert air["drained_fast"].is_required
    # 108 to 180 m/h of standard air around 144 (common practice), which is what an air gauge of a supply is marked in
    planned = _step(PLANS[code], StepKind.AIR_MIX).value("air_standard_flow_m3_per_s")
    assert air["air_flow"].target == pytest.approx(planned)
    assert air["air_flow"].low == pytest.approx(planned * 108.0 / 144.0)
    assert air["air_flow"].high == pytest.approx(planned * 180.0 / 144.0)
    loop = _entries(_step(PLANS[code], StepKind.RECIRCULATE))
    assert loop["loop_closed"].is_before


def test_both_legs_in_one_vessel_start_together_and_the_drain_is_watched() -> None:
    plan = PLANS["MB-TOGETHER-107"]
    for leg in (Leg.CATION, Leg.ANION):
        step = _step(plan, StepKind.INJECT, leg)
        entries = _entries(step)
        assert entries["both_legs_ready"].is_before and entries["vent_open"].is_before
        assert entries["drain_temperature"].high == plan.request.limits.blend_temperature_limit_kelvin
        assert "same moment as the other leg" in step.instruction
        assert step.cautions[0].code == "unbalanced_legs"
    assert "both_legs_ready" not in _entries(_step(PLANS["MB-APART-110"], StepKind.INJECT, Leg.ANION))
    assert "interface collector" in _step(plan, StepKind.CUT).instruction


def test_a_float_is_read_by_hydrometer_and_comes_down_slowly() -> None:
    plan = PLANS["MB-FLOAT-110"]
    step = _step(plan, StepKind.FLOAT)
    entries = _entries(step)
    assert entries["drained_to_bed"].is_before and entries["catcher_in_place"].is_before
    # 22 to 25.5 % brine at 17.6 °C: 1165.3 and 1193.9 kg/m³ (read rows of 22 and 24 % at 15 °C: 1166.5 and 1183.1)
    fed, stands = entries["density"], entries["standing_density"]
    assert (fed.low, fed.target, fed.high) == (
        pytest.approx(1163.4, abs=0.5), pytest.approx(1181.6, abs=0.5), pytest.approx(1195.9, abs=0.5),
    )  # fmt: skip
    assert stands.low == pytest.approx(step.value("soaked_anion_density_kg_per_m3"))
    assert (
        entries["layers_seen"].is_required and stands.is_required and entries["contact_time"].low == 45 * 60
    )
    assert "slowly upward from below" in step.instruction and "the anion resin floats" in step.instruction
    assert {"brine", "soaking", "floating_resin", "separated_bed"} <= {
        caution.code for caution in step.cautions
    }
    settle, down, flush = (plan.steps[index] for index in (5, 7, 8))
    assert settle.instruction.endswith("before the water is drained down to the bed.")
    assert (
        "from the top downward" in down.instruction and "comes down onto the cation resin" in down.instruction
    )
    assert flush.instruction.endswith("Downward only: the layers wait for their cut.")
    assert not any(one.is_safe_hold_after for one in plan.steps[4:9])


# --- chemicals ----------------------------------------------------------------------------------------------------------
def test_sulfuric_acid_does_not_pause() -> None:
    steps = [step for step in PLANS["H-H2SO4-120"].steps if step.kind is StepKind.INJECT]
    assert len(steps) == 3
    for step in steps:
        assert _entries(step)["no_pause"].is_before and "effluent_clear" in _entries(step)
        assert step.instruction.endswith("Do not let it pause.")


@pytest.mark.parametrize(
    ("code", "keys"),
    [
        ("FB-NA2CO3-85", {"soft_water"}),
        ("FB-NH3-27", {"air_moving"}),
        ("OH1-NAOH-96", {"soft_water"}),
        ("CL-FE-NA", {"no_acid", "made_today"}),
    ],
)
def test_what_one_chemical_asks_for_stands_before_its_start(code: str, keys: set[str]) -> None:
    step = _step(PLANS[code], StepKind.INJECT)
    assert keys <= {entry.key for entry in step.entries if entry.is_before}


def test_a_soak_names_what_stands_and_goes_straight_to_displacement() -> None:
    step = _step(PLANS["CL-ORG-OH1"], StepKind.SOAK)
    assert "let the caustic stand for 240\u00a0min" in step.instruction
    assert "displacement at once" in step.instruction
    assert _entries(step)["vessel_tagged"].is_before
    assert _entries(step)["duration"].low == 3600.0
    assert not step.is_safe_hold_after
    assert {"soaking", "caustic_in_line"} <= {caution.code for caution in step.cautions}


def test_a_rinse_asks_for_what_the_chemical_before_it_leaves() -> None:
    assert _entries(_step(PLANS["SAN-NA-PAA"], StepKind.RINSE))["residual_sanitizer"].high == 1e-4
    assert "reductant_gone" in _entries(_step(PLANS["CL-FE-NA"], StepKind.RINSE))
    ph = _entries(_step(PLANS["CL-FE-H"], StepKind.RINSE))["ph"]
    assert (ph.low, ph.high) == (3.5, 10.5)
    brine = _entries(_step(PLANS["MB-APART-110"], StepKind.RINSE, Leg.WHOLE))
    assert not {"ph", "residual_sanitizer", "reductant_gone"} & brine.keys()


# --- carbon -------------------------------------------------------------------------------------------------------------
def test_carbon_is_filled_only_after_the_sanitizer_is_gone() -> None:
    fill = _entries(_step(PLANS["GAC-EXCHANGE"], StepKind.FILL))
    assert fill["residual_sanitizer"].is_before and fill["residual_sanitizer"].high == 1e-4
    assert fill["carbon_in"].target == pytest.approx(PLANS["GAC-EXCHANGE"].request.resin_volume_m3)
    empty = _step(PLANS["GAC-EXCHANGE"], StepKind.EMPTY)
    assert {"carbon_takes_oxygen", "spent_carbon"} <= {caution.code for caution in empty.cautions}
    assert "emptied tanks" in _step(PLANS["GAC-EXCHANGE"], StepKind.SANITIZE).instruction
