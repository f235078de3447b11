"""The checks of a plan: each rule broken once, the sentence with the number seen and the number allowed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, Check, PlanRequest, Severity
from regenplant.core.process.recipes import SetPoint
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind, WaterKind
from tests.core.process.plan_requests import FAMILIES, RECIPES, request, stock, with_setting, with_water

H, NA, OH1, OH2 = FAMILIES


def _check(plan: BatchPlan, code: str) -> Check:
    """The check with this code, one that is not met if there is one."""
    found = [check for check in plan.checks if check.code == code]
    assert found, f"{code} is not among {sorted({check.code for check in plan.checks})}"
    return next((check for check in found if not check.is_met), found[0])


def _vessel(plain: PlanRequest, **changes: object) -> PlanRequest:
    return replace(plain, vessel=replace(plain.vessel, **changes))  # type: ignore[arg-type]


def _stock(plain: PlanRequest, key: str, **changes: object) -> PlanRequest:
    return replace(plain, stock={**plain.stock, key: replace(plain.stock[key], **changes)})  # type: ignore[arg-type]


def _skid(plain: PlanRequest, key: str, **changes: object) -> PlanRequest:
    return replace(plain, skids={**plain.skids, key: replace(plain.skids[key], **changes)})  # type: ignore[arg-type]


def _water(plain: PlanRequest, kind: WaterKind, **changes: object) -> PlanRequest:
    return replace(plain, waters={**plain.waters, kind.value: replace(plain.waters[kind.value], **changes)})  # type: ignore[arg-type]


def _waste(plain: PlanRequest, **changes: object) -> PlanRequest:
    return replace(plain, waste=replace(plain.waste, **changes))  # type: ignore[arg-type]


def _resin(plain: PlanRequest, **changes: object) -> PlanRequest:
    return replace(plain, resin=replace(plain.resin, **changes))  # type: ignore[arg-type]


def _without(plain: PlanRequest, field: str, key: str) -> PlanRequest:
    kept = {name: entry for name, entry in getattr(plain, field).items() if name != key}
    return replace(plain, **{field: kept})


BLOCKERS: list[tuple[str, ResinFamily, Callable[[PlanRequest], PlanRequest], str]] = [
    ("vessel_fill", H, lambda r: replace(r, resin_volume_m3=0.51), r"Too few to start: 510.L, vessel V1 needs 600.L"),
    ("vessel_fill", H, lambda r: replace(r, resin_volume_m3=1.2), r"Too much for vessel V1: 1.200.L, at most 1.000.L"),
    ("vessel_family", H, lambda r: _vessel(r, families=(NA,)), r"may hold SAC-Na; the resin is SAC-H"),
    ("vessel_class", H, lambda r: _vessel(r, segregation_classes=("A",)), r"may hold class A; this batch is class D"),
    ("class_regenerable", H, lambda r: replace(r, segregation_class="F"), r"Class F \(Metal-bearing\) enters no batch"),
    ("class_regenerable", H, lambda r: replace(r, segregation_class="Z"), r"'Z' is no segregation class"),
    ("class_sequence", H, lambda r: _vessel(replace(r, segregation_class="C"), last_segregation_class="D"),
     r"last held class D; class C needs a written clean-down"),
    ("vessel_lock_out", H, lambda r: _vessel(r, lock_out_reason="liner inspection"), r"locked out: liner inspection"),
    ("last_chemical", H, lambda r: _vessel(r, last_chemical=Chemical.SODIUM_HYDROXIDE, is_flushed=False), r"They react with heat"),
    ("recipe_family", H, lambda r: replace(r, recipe=RECIPES[NA]), r"is for Softening resin"),
    ("freeboard", H, lambda r: _vessel(r, straight_height_m=1.15), r"the bed expands to 1.23.m; the vessel has 1.15.m"),
    ("bed_height", OH1, lambda r: _vessel(r, straight_height_m=1.0), r"Fully swollen the bed is 1.13.m deep; the vessel has 1.m"),
    ("contact_time", H, lambda r: replace(r, recipe=with_setting(r.recipe, StepKind.INJECT, flow_bv_per_h=SetPoint(4.5, 4.0, 5.0))),
     r"flows for 26.min, at least 30.min. Lower the flow to 55.4.L/min"),
    ("linear_velocity", H, lambda r: _vessel(r, internal_diameter_m=0.5, bed_volume_max_m3=2.0, straight_height_m=9.0),
     r"flows at 51.9.m/h on the bed, at most 48.9.m/h"),
    ("injection_temperature", OH1, lambda r: _skid(r, "naoh", heater_max_temperature_kelvin=None),
     r"comes at 20.1.°C and needs 35 to 49.°C. Warm the dilution water"),
    ("resin_temperature", OH2, lambda r: _resin(r, max_temperature_kelvin=303.15), r"comes at 35.°C; resin RT-1 bears at most 30.°C"),
    ("heater", OH1, lambda r: _skid(r, "naoh", heater_max_temperature_kelvin=308.15), r"the heater of K-naoh gives at most 35.°C"),
    ("caustic_hardness", OH1, lambda r: replace(r, recipe=with_water(r.recipe, StepKind.INJECT, WaterKind.RAW)),
     r"raw water for Caustic injection has 250.mg/L as CaCO₃, at most 20"),
    ("chemical_for_family", H, lambda r: replace(r, recipe=RECIPES[OH1]), r"Sodium hydroxide \(caustic\) regenerates no Strong-acid cation"),
    ("stock_present", H, lambda r: _without(r, "stock", "hcl"), r"No acid stock is on record"),
    ("stock_strength", H, lambda r: _stock(r, "hcl", strength_frac=0.04), r"holds 4.%; the acid must come at 5.%"),
    ("stock_density", H, lambda r: _stock(r, "hcl", strength_frac=0.39), r"is not measured, and HCl of 39.%"),
    ("stock_sufficient", H, lambda r: _stock(r, "hcl", available_kg_100=60.0), r"takes 85.kg of HCl as 100 %; 60.kg stand"),
    ("strength_check", H, lambda r: _stock(r, "hcl", check_age_days=9.0), r"Strength check of lot hcl-118 is 9 days old, at most 7"),
    ("strength_check", H, lambda r: _stock(r, "hcl", check_age_days=None), r"never checked at the plant"),
    ("strength_check", H, lambda r: _stock(r, "hcl", check_age_days=-2.0), r"dated 2 days ahead"),
    ("skid_present", H, lambda r: _without(r, "skids", "hcl"), r"No dilution skid for acid"),
    ("skid_chemical", H, lambda r: _skid(r, "hcl", chemical=Chemical.SODIUM_HYDROXIDE), r"carries sodium hydroxide"),
    ("skid_lock_out", H, lambda r: _skid(r, "hcl", lock_out_reason="pump seal"), r"K-hcl is locked out: pump seal"),
    ("skid_range", H, lambda r: _skid(r, "hcl", flow_min_m3_per_s=2e-3), r"needs 49.6.L/min; skid K-hcl gives 120 to 300.L/min"),
    ("regenerant_ratio", H, lambda r: replace(r, eluted_equivalents=2600.0), r"brings 89.7.% of the equivalents on the resin"),
    ("water_present", H, lambda r: _without(r, "waters", "raw"), r"No raw water supply is on record for Backwash"),
    ("water_flow", H, lambda r: _water(r, WaterKind.RAW, max_flow_m3_per_s=2e-3), r"takes 250.L/min of raw water; the supply gives 120.L/min"),
    ("vessel_flow", H, lambda r: _vessel(r, max_flow_m3_per_s=3e-3), r"takes at most 180.L/min"),
    ("waste_room", H, lambda r: _waste(r, level_m3=22.0), r"5.912.L go to the waste tank; it takes 3.000.L with 5.000.L kept"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "family", "change", "sentence"),
    BLOCKERS,
    ids=[f"{code}-{index}" for index, (code, *_) in enumerate(BLOCKERS)],
)
def test_a_broken_rule_blocks_with_a_sentence(
    code: str, family: ResinFamily, change: Callable[[PlanRequest], PlanRequest], sentence: str
) -> None:
    plan = plan_batch(change(request(family)))
    check = _check(plan, code)
    assert check.blocks, check
    assert check in plan.blockers
    assert re.search(sentence, check.sentence), check.sentence


WARNINGS: list[tuple[str, ResinFamily, Callable[[PlanRequest], PlanRequest], str]] = [
    ("bed_depth", H, lambda r: _vessel(r, internal_diameter_m=1.5), r"0.48.m deep; even flow wants at least 0.6.m"),
    ("expansion", H, lambda r: _vessel(r, straight_height_m=1.5), r"leaves room for .*% expansion; the recipe aims at 50.%"),
    ("freeboard_margin", H, lambda r: _vessel(r, straight_height_m=1.24), r"15.% off, the bed reaches"),
    ("linear_velocity", H, lambda r: _vessel(r, internal_diameter_m=0.58, bed_volume_max_m3=2.0, straight_height_m=9.0), r"at most 36.7.m/h"),
    ("pressure_drop", H, lambda r: _vessel(r, internal_diameter_m=0.5, bed_volume_max_m3=2.0, straight_height_m=9.0), r"at most 138.kPa"),
    ("strength_window", H, lambda r: replace(r, recipe=with_setting(r.recipe, StepKind.INJECT, strength_frac=SetPoint(0.03, 0.02, 0.06))),
     r"HCl of 3.% at the bed; usual is 4 to 10.%"),
    ("recipe_temperature", OH2, lambda r: replace(r, recipe=RECIPES[OH1], resin=replace(r.resin, max_temperature_kelvin=320.15)),
     r"lets the feed reach 49.°C"),
    ("caustic_hardness", OH1, lambda r: _water(r, WaterKind.DEIONIZED, hardness_eq_per_m3=0.06), r"3.mg/L as CaCO₃, at most 2"),
    ("rinse_water", H, lambda r: replace(r, recipe=with_water(r.recipe, StepKind.FAST_RINSE, WaterKind.SOFTENED)), r"uses softened water"),
    ("caustic_cold", OH1, lambda r: _stock(r, "naoh", temperature_kelvin=284.15), r"stands at 11.°C; caustic this strong freezes near 12"),
    ("regenerant_excess", H, lambda r: replace(r, eluted_equivalents=200.0), r"11.7 times what the resin holds"),
    ("load_within_capacity", H, lambda r: replace(r, eluted_equivalents=1900.0), r"load is 1.900.eq; the resin can hold 1.700.eq"),
    ("water_stored", H, lambda r: _water(r, WaterKind.DEIONIZED, available_m3=4.0), r"of deionized water; 4.000.L are stored"),
    ("last_chemical", NA, lambda r: _vessel(r, last_chemical=Chemical.HYDROCHLORIC_ACID, is_flushed=False), r"Traces carry over"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "family", "change", "sentence"),
    WARNINGS,
    ids=[f"{code}-{index}" for index, (code, *_) in enumerate(WARNINGS)],
)
def test_what_a_person_must_weigh_is_a_warning(
    code: str, family: ResinFamily, change: Callable[[PlanRequest], PlanRequest], sentence: str
) -> None:
    plan = plan_batch(change(request(family)))
    check = _check(plan, code)
    assert check.warns, check
    assert not check.blocks
    assert re.search(sentence, check.sentence), check.sentence


@pytest.mark.parametrize("family", FAMILIES)
def test_what_was_checked_is_listed_also_when_it_is_met(family: ResinFamily) -> None:
    codes = {check.code for check in plan_batch(request(family)).checks}
    always = {
        "vessel_fill", "vessel_family", "vessel_class", "freeboard", "linear_velocity", "contact_time", "strength_window",
        "resin_temperature", "stock_sufficient", "strength_check", "skid_range", "skid_lock_out", "waste_room", "last_chemical",
        "class_sequence", "vessel_lock_out", "regenerant_ratio", "heat_of_dilution", "water_flow",
    }  # fmt: skip
    assert always <= codes
    if family in (OH1, OH2):
        assert "caustic_hardness" in codes


def test_checks_that_block_are_separate_from_those_that_warn() -> None:
    plan = plan_batch(_vessel(request(H), internal_diameter_m=1.5, lock_out_reason="x"))
    assert {check.code for check in plan.blockers} >= {"vessel_lock_out"}
    assert "bed_depth" in {check.code for check in plan.warnings}
    assert all(check.severity is not Severity.NOTE for check in (*plan.blockers, *plan.warnings))


def test_a_plan_without_usable_stock_still_shows_what_it_can() -> None:
    plan = plan_batch(_without(request(H), "stock", "hcl"))
    step = next(step for step in plan.steps if step.kind is StepKind.INJECT)
    assert "stock_m3" not in step.figures
    assert step.value("chemical_kg_100") == pytest.approx(85.0)
    assert step.value("volume_m3") > 1.6
    assert plan.blockers


def test_a_class_that_is_less_clean_may_follow_a_cleaner_one() -> None:
    plan = plan_batch(_vessel(request(H), last_segregation_class="C"))
    assert _check(plan, "class_sequence").is_met


def test_flushing_makes_the_last_chemical_harmless() -> None:
    plan = plan_batch(_vessel(request(H), last_chemical=Chemical.SODIUM_HYDROXIDE, is_flushed=True))
    assert _check(plan, "last_chemical").is_met


def test_sulfuric_acid_above_two_percent_warns_of_gypsum() -> None:
    plain = request(H)
    steps = tuple(
        replace(step, chemical=Chemical.SULFURIC_ACID) if step.kind is StepKind.INJECT else step
        for step in plain.recipe.steps
    )
    sulfuric = replace(
        plain,
        recipe=replace(plain.recipe, steps=steps),
        stock={**plain.stock, "h2so4": stock(Chemical.SULFURIC_ACID, 0.93)},
        skids={**plain.skids, "h2so4": replace(plain.skids["hcl"], chemical=Chemical.SULFURIC_ACID)},
    )
    check = _check(plan_batch(sulfuric), "calcium_sulfate")
    assert check.warns
    assert "gypsum" in check.sentence
