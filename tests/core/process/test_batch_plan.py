"""One whole plan: what stands in it, that it can be worked out by hand, that it can be stored and read again."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.errors import OutOfRange
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.canonical import canonical_text, digest, from_plain, to_plain
from regenplant.core.process.plan import BatchPlan, FeedData, PlannedStep
from regenplant.core.process.recipes import RecipeStep, SetPoint
from regenplant.core.process.vocabulary import REGENERATED_FORM, Chemical, IonicForm, ResinFamily, StepKind
from regenplant.core.process.wording import say
from tests.core.formula import is_closed, worked_out
from tests.core.process.plan_requests import (
    ALL_RECIPES,
    FAMILIES,
    FEED,
    MIXED,
    SINGLE,
    request,
    request_for,
    stock,
)

PLANS = {family: plan_batch(request(family)) for family in FAMILIES}
FED = {
    code: plan_batch(request_for(recipe, feed=FEED, throughput_m3=200.0))
    for code, recipe in ALL_RECIPES.items()
}
REGENERATED = (*SINGLE, *MIXED)


def _figures(plan: BatchPlan) -> list[tuple[str, Estimate]]:
    steps = [(f"{step.number} {key}", figure) for step in plan.steps for key, figure in step.figures.items()]
    return [*steps, *plan.totals.items()]


def _step(plan: BatchPlan, kind: StepKind) -> PlannedStep:
    return next(step for step in plan.steps if step.kind is kind)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_sound_request_gives_a_plan_without_blockers_or_warnings(family: ResinFamily) -> None:
    plan = PLANS[family]
    assert plan.blockers == ()
    assert plan.warnings == ()
    assert [step.number for step in plan.steps] == list(range(1, len(plan.steps) + 1))


INJECTION = {
    "flow_m3_per_s", "flow_bv_per_h", "linear_velocity_m_per_s", "duration_s", "volume_m3", "volume_bv", "chemical_kg_100",
    "stock_kg", "stock_m3", "dilution_water_kg", "dilution_water_m3", "strength_frac", "density_kg_per_m3",
    "temperature_kelvin", "contact_time_s", "dose_kg_per_m3", "applied_eq", "regenerant_ratio_frac",
}  # fmt: skip
BACKWASH = {
    "flow_m3_per_s", "flow_bv_per_h", "linear_velocity_m_per_s", "duration_s", "volume_m3", "volume_bv", "expansion_frac",
    "expanded_height_m",
}  # fmt: skip
RINSE = {"flow_m3_per_s", "flow_bv_per_h", "linear_velocity_m_per_s", "duration_s", "volume_m3", "volume_bv"}


@pytest.mark.parametrize("family", SINGLE)
def test_every_figure_promised_stands_in_its_step(family: ResinFamily) -> None:
    plan = PLANS[family]
    assert all("duration_s" in step.figures for step in plan.steps)
    assert _step(plan, StepKind.INJECT).figures.keys() >= INJECTION
    assert _step(plan, StepKind.BACKWASH).figures.keys() >= BACKWASH
    for kind in (StepKind.DISPLACE, StepKind.FAST_RINSE):
        assert _step(plan, kind).figures.keys() >= RINSE


@pytest.mark.parametrize("family", SINGLE)
def test_every_total_promised_stands_in_the_plan(family: ResinFamily) -> None:
    totals = PLANS[family].totals
    chemical = _step(PLANS[family], StepKind.INJECT).chemical
    assert chemical is not None
    promised = {
        "duration_s", "resin_volume_m3", "bed_depth_m", "bed_fill_frac", "waste_m3", "eluted_eq", "excess_eq", "waste_ph",
        "neutralizer_first_eq", "neutralizer_second_eq", "chloride_kg", "sodium_kg", "applied_eq", "regenerant_ratio_frac",
        *(f"{key}:{chemical.value}" for key in ("chemical_kg_100", "stock_kg", "stock_m3")),
    }  # fmt: skip
    assert promised <= totals.keys()
    assert any(key.startswith("water_m3:") for key in totals)


EVERY_PLAN = {**{family.value: plan for family, plan in PLANS.items()}, **FED}


@pytest.mark.parametrize("name", EVERY_PLAN)
def test_every_working_gives_its_value(name: str) -> None:
    """The formula printed with each figure, worked out from the inputs printed with it."""
    checked = 0
    for key, figure in _figures(EVERY_PLAN[name]):
        if is_closed(figure):
            assert worked_out(figure) == pytest.approx(figure.value, rel=1e-9, abs=1e-9), key
            checked += 1
    assert checked >= 25


@pytest.mark.parametrize("name", EVERY_PLAN)
def test_every_figure_is_a_number_with_a_source_a_unit_and_a_kind(name: str) -> None:
    for key, figure in _figures(EVERY_PLAN[name]):
        assert math.isfinite(figure.value), key
        assert figure.source in SOURCES, (key, figure.source)
        assert figure.method and figure.formula and figure.name, key
        for entry in (figure, *figure.inputs):
            assert math.isfinite(entry.value), (key, entry)
            if entry.kind:
                assert entry.unit == units.KINDS[entry.kind].si_unit, (key, entry.symbol, entry.unit)
            else:
                units.registry().Unit(entry.unit)  # any unit that the unit module reads


@pytest.mark.parametrize("family", FAMILIES)
def test_entries_and_checks_use_known_kinds_and_limits_in_order(family: ResinFamily) -> None:
    plan = PLANS[family]
    for step in plan.steps:
        keys = [entry.key for entry in step.entries]
        assert len(keys) == len(set(keys)), step.name
        started = False
        for entry in step.entries:
            assert entry.kind in units.KINDS or entry.kind in ("confirm", "choice", "text"), entry
            started = started or not entry.is_before
            assert not (started and entry.is_before), (
                f"{step.name}: {entry.key} stands after entries of the running step"
            )
            bounds = [value for value in (entry.low, entry.target, entry.high) if value is not None]
            assert bounds == sorted(bounds), entry
    for check in plan.checks:
        assert check.kind == "" or check.kind in units.KINDS, check


@pytest.mark.parametrize("family", FAMILIES)
def test_a_plan_survives_storage_as_canonical_text(family: ResinFamily) -> None:
    plan = PLANS[family]
    text = canonical_text(plan)
    again = from_plain(BatchPlan, json.loads(text))
    assert again == plan
    assert digest(canonical_text(again)) == digest(text)
    assert plan_batch(from_plain(type(plan.request), to_plain(plan.request))) == plan


# --- what a person does ---------------------------------------------------------------------------------------------
@pytest.mark.parametrize("family", REGENERATED)
def test_no_injection_starts_before_gear_and_water(family: ResinFamily) -> None:
    before = [entry.key for entry in _step(PLANS[family], StepKind.INJECT).entries if entry.is_before]
    assert {"gear_on", "shower_ready", "drain_open", "dilution_water_flow"} <= set(before)
    assert all(entry.is_required for entry in _step(PLANS[family], StepKind.INJECT).entries)


def test_caustic_asks_for_soft_water_before_it_starts() -> None:
    keys = {
        entry.key
        for entry in _step(PLANS[ResinFamily.SBA_TYPE_1], StepKind.INJECT).entries
        if entry.is_before
    }
    assert "soft_water" in keys


@pytest.mark.parametrize("family", FAMILIES)
def test_instructions_are_in_the_house_voice(family: ResinFamily) -> None:
    for step in PLANS[family].steps:
        for text in (step.instruction, step.ends_when):
            assert text.endswith(".")
            assert "!" not in text
            assert not {"please", "oops", "successfully", "error", "invalid"} & set(text.lower().split())


def test_the_acid_sentence_carries_its_figures() -> None:
    step = _step(PLANS[ResinFamily.SAC_HYDROGEN], StepKind.INJECT)
    assert "of deionized water first, then the acid" in step.instruction
    assert 228.0 < step.value("stock_m3") * 1000 < 230.0
    assert f"{say(step.value('stock_m3'), 'liquid_volume')} of stock" in step.instruction
    assert "1\u202f662\u00a0L of 5\u00a0% acid" in step.instruction


@pytest.mark.parametrize("family", SINGLE)
def test_cautions_stand_at_the_step_where_the_hazard_is(family: ResinFamily) -> None:
    plan = PLANS[family]
    injection, displacement = _step(plan, StepKind.INJECT), _step(plan, StepKind.DISPLACE)
    assert any(caution.code == "chemical_in_bed" for caution in injection.cautions)
    if family is not ResinFamily.SAC_SODIUM:
        assert any("GHS05" in caution.pictograms for caution in injection.cautions)
        assert displacement.cautions, "gear stays on through displacement"
    for step in plan.steps:
        for caution in step.cautions:
            assert "SDS" in caution.measures[-1] and "licensed practice" in caution.measures[-1]
            assert caution.source in SOURCES


def test_only_an_injection_is_no_safe_hold() -> None:
    for family in SINGLE:
        holds = [step.kind for step in PLANS[family].steps if not step.is_safe_hold_after]
        assert holds == [StepKind.INJECT], family


# --- the arithmetic, by hand ----------------------------------------------------------------------------------------
def test_acid_by_hand() -> None:
    """850 L at 100 g/L, 32 % stock of 1160.4 kg/m³ at 18 °C, 5 % regenerant: worked out on paper."""
    step = _step(PLANS[ResinFamily.SAC_HYDROGEN], StepKind.INJECT)
    assert step.value("chemical_kg_100") == pytest.approx(85.0)
    assert step.value("stock_kg") == pytest.approx(85.0 / 0.32)
    assert step.value("stock_m3") * 1000 == pytest.approx(265.625 / 1.1604, rel=1e-3)
    assert step.value("dilution_water_kg") == pytest.approx(85.0 / 0.05 - 85.0 / 0.32)
    assert step.value("volume_m3") * 1000 == pytest.approx(1700.0 / 1.0228, rel=1e-3)
    assert step.value("applied_eq") == pytest.approx(85.0 / 0.036461)
    assert step.value("contact_time_s") / 60 == pytest.approx(1662.0 / 850.0 / 3.5 * 60, rel=1e-3)
    assert step.value("regenerant_ratio_frac") == pytest.approx(2331.3 / 977.5, rel=1e-3)


def test_volume_counted_regenerated_is_brought_to_the_reference_form() -> None:
    family = ResinFamily.SBA_TYPE_1
    counted = plan_batch(
        request(family, resin_volume_m3=0.85 * 1.2, resin_volume_form=REGENERATED_FORM[family])
    )
    assert counted.totals["resin_volume_m3"].value == pytest.approx(0.85)
    for key in ("chemical_kg_100:naoh", "waste_m3", "excess_eq"):
        assert counted.totals[key].value == pytest.approx(PLANS[family].totals[key].value)


def test_a_measured_density_is_used_before_a_calculated_one() -> None:
    family = ResinFamily.SAC_HYDROGEN
    plain = request(family)
    measured = replace(plain.stock["hcl"], density_kg_per_m3=1163.0)
    plan = plan_batch(replace(plain, stock={**plain.stock, "hcl": measured}))
    figure = _step(plan, StepKind.INJECT).figures["stock_m3"]
    assert figure.value == pytest.approx(265.625 / 1163.0)
    assert "measured" in figure.inputs[1].name


def test_the_heater_brings_caustic_to_its_set_point_and_its_duty_is_planned() -> None:
    step = _step(PLANS[ResinFamily.SBA_TYPE_1], StepKind.INJECT)
    assert step.value("temperature_kelvin") == pytest.approx(318.15)
    assert 288.15 < step.value("dilution_water_temperature_kelvin") < step.value("temperature_kelvin")
    water_kg_per_s = step.value("dilution_water_kg") / step.value("duration_s")
    rise = step.value("dilution_water_temperature_kelvin") - 288.15
    assert step.value("heating_duty_watt") == pytest.approx(water_kg_per_s * 4181.0 * rise)


def test_a_known_load_replaces_the_operating_capacity() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN, eluted_equivalents=1200.0))
    assert plan.totals["eluted_eq"].value == 1200.0
    assert plan.totals["excess_eq"].value == pytest.approx(plan.totals["applied_eq"].value - 1200.0)


def test_brine_leaves_no_acid_or_alkali_and_its_salt_is_counted() -> None:
    totals = PLANS[ResinFamily.SAC_SODIUM].totals
    assert totals["excess_eq"].value == 0.0
    assert totals["waste_ph"].value == pytest.approx(7.0, abs=0.01)
    assert totals["chloride_kg"].value == pytest.approx(136.0 * 35.453 / 58.443)
    taken = totals["eluted_eq"].value * 0.02299
    assert totals["sodium_kg"].value == pytest.approx(136.0 * 22.99 / 58.443 - taken)


# --- nonsense is refused --------------------------------------------------------------------------------------------
@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_volume_that_cannot_be_is_refused(bad: float) -> None:
    with pytest.raises(OutOfRange):
        plan_batch(request(ResinFamily.SAC_HYDROGEN, resin_volume_m3=bad))


def test_an_anion_counted_in_hydrogen_form_is_refused_with_the_forms_that_fit() -> None:
    with pytest.raises(OutOfRange, match="chloride form or hydroxide form") as refusal:
        plan_batch(request(ResinFamily.SBA_TYPE_1, resin_volume_form=IonicForm.HYDROGEN))
    assert refusal.value.field == "resin_volume_form"


def test_a_number_that_is_none_anywhere_in_the_request_is_refused_by_name() -> None:
    plain = request(ResinFamily.SAC_HYDROGEN)
    broken = replace(plain, waste=replace(plain.waste, level_m3=math.nan))
    with pytest.raises(OutOfRange, match="level_m3"):
        plan_batch(broken)


def test_water_that_is_ice_is_refused() -> None:
    plain = request(ResinFamily.SAC_HYDROGEN)
    ice = replace(plain.waters["raw"], temperature_kelvin=268.15)
    with pytest.raises(OutOfRange, match="Liquid water"):
        plan_batch(replace(plain, waters={**plain.waters, "raw": ice}))


def test_every_chemical_has_its_place_in_the_plan() -> None:
    """A new chemical starts in the vocabulary; this fails until the engineering floor knows it."""
    from regenplant.core.engineering.substances import SUBSTANCES

    assert {chemical.value for chemical in Chemical} == SUBSTANCES.keys()


# --- a recipe in two strengths --------------------------------------------------------------------------------------
def test_two_injections_of_one_chemical_are_summed() -> None:
    """Stepwise sulfuric acid, 2 % then 4 %: totals add, one displacement follows the last, sulfate is counted."""
    plain = request(ResinFamily.SAC_HYDROGEN)
    first = next(step for step in plain.recipe.steps if step.kind is StepKind.INJECT)

    def acid(name: str, strength: float, dose: float, flow: float) -> RecipeStep:
        settings = {
            **first.settings,
            "strength_frac": SetPoint(strength, strength * 0.9, strength * 1.1),
            "dose_kg_per_m3": SetPoint(dose, dose * 0.9, dose * 1.1),
            "flow_bv_per_h": SetPoint(flow, flow * 0.8, flow * 1.2),
            "contact_time_s": SetPoint(900.0, 600.0, 3600.0),
        }
        return replace(first, name=name, chemical=Chemical.SULFURIC_ACID, settings=settings)

    steps = [step for step in plain.recipe.steps if step.kind is not StepKind.INJECT]
    steps[3:3] = [acid("First acid", 0.02, 60.0, 9.0), acid("Second acid", 0.04, 60.0, 5.0)]
    lot = stock(Chemical.SULFURIC_ACID, 0.93)
    plan = plan_batch(
        replace(
            plain,
            recipe=replace(plain.recipe, steps=tuple(steps)),
            feed=FeedData(sodium_eq_per_m3=3.0, chloride_eq_per_m3=3.0),  # no calcium, no gypsum
            stock={**plain.stock, "h2so4": lot},
            skids={**plain.skids, "h2so4": replace(plain.skids["hcl"], chemical=Chemical.SULFURIC_ACID)},
        )
    )
    assert plan.blockers == ()
    assert plan.totals["chemical_kg_100:h2so4"].value == pytest.approx(2 * 60.0 * 0.85)
    assert plan.totals["applied_eq"].value == pytest.approx(2 * 60.0 * 0.85 / 0.0490395)
    assert plan.totals["sulfate_kg"].value == pytest.approx(
        plan.totals["applied_eq"].value * 0.04803, rel=1e-3
    )
    assert any(check.code == "injection_order" and check.is_met for check in plan.checks)


def test_the_waste_of_warm_caustic_is_warmer_than_its_rinse_water() -> None:
    totals = PLANS[ResinFamily.SBA_TYPE_1].totals
    assert 288.15 < totals["waste_temperature_kelvin"].value < 318.15
    assert totals["neutralization_rise_kelvin"].value > 1.0
