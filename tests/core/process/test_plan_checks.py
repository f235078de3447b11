"""The checks of a plan: each rule broken once, the sentence with the number seen and the number allowed."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.plan import BatchPlan, Check, FeedData, PlanRequest, Severity
from regenplant.core.process.recipes import RecipeDefinition, SetPoint
from regenplant.core.process.vocabulary import (
    Chemical,
    Leg,
    LegArrangement,
    ResinFamily,
    StepKind,
    WaterKind,
)
from tests.core.process.plan_requests import ALL_RECIPES, RECIPES, request, with_setting, with_water
from tests.core.process.recipe_plants import FITTING

H, NA, WH = ResinFamily.SAC_HYDROGEN, ResinFamily.SAC_SODIUM, ResinFamily.WAC_HYDROGEN
OH1, OH2, FB = ResinFamily.SBA_TYPE_1, ResinFamily.SBA_TYPE_2, ResinFamily.WBA
MB, MBP, GAC = ResinFamily.MIXED_BED, ResinFamily.MIXED_BED_POLISHING, ResinFamily.CARBON
SINGLE = (H, NA, OH1, OH2)


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
    ("freeboard", H, lambda r: _vessel(r, straight_height_m=1.15), r"the bed expands to 1.229.m; the vessel has 1.15.m"),
    ("bed_height", OH1, lambda r: _vessel(r, straight_height_m=1.0), r"Fully swollen the bed is 1.134.m deep; the vessel has 1.m"),
    ("contact_time", H, lambda r: replace(r, recipe=with_setting(r.recipe, StepKind.INJECT, flow_bv_per_h=SetPoint(4.5, 4.0, 5.0))),
     r"flows for 26.min, at least 30.min. Lower the flow to 55.4.L/min"),
    ("linear_velocity", H, lambda r: _vessel(r, internal_diameter_m=0.5, bed_volume_max_m3=2.0, straight_height_m=9.0),
     r"flows at 51.9.m/h on the bed, at most 48.9.m/h"),
    ("injection_temperature", OH1, lambda r: _skid(r, "naoh", heater_max_temperature_kelvin=None),
     r"comes at 20.1.°C and needs 35 to 49.°C. Warm the dilution water"),
    ("resin_temperature", OH2, lambda r: _resin(r, max_temperature_kelvin=301.15), r"comes at 30.°C; resin RT-1 bears at most 28.°C"),
    ("heater", OH1, lambda r: _skid(r, "naoh", heater_max_temperature_kelvin=308.15), r"the heater of K-naoh gives at most 35.°C"),
    ("caustic_hardness", OH1, lambda r: replace(r, recipe=with_water(r.recipe, StepKind.INJECT, WaterKind.RAW)),
     r"raw water for Caustic injection has 250.mg/L as CaCO₃, at most 20"),
    ("chemical_for_family", H, lambda r: replace(r, recipe=RECIPES[OH1]), r"Sodium hydroxide \(caustic\) regenerates no Strong-acid cation"),
    ("stock_present", H, lambda r: _without(r, "stock", "hcl"), r"No acid stock is on record"),
    ("stock_strength", H, lambda r: _stock(r, "hcl", strength_frac=0.04), r"holds 4.%; the acid must come at 5.%"),
    ("stock_density", H, lambda r: _stock(r, "hcl", strength_frac=0.45), r"is not measured, and HCl of 45.%"),
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
    ("water_flow", H, lambda r: _water(r, WaterKind.RAW, max_flow_m3_per_s=2e-3), r"takes 250.4.L/min of raw water; the supply gives 120.L/min"),
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
    ("bed_depth", H, lambda r: _vessel(r, internal_diameter_m=1.5), r"0.481.m deep; even flow wants at least 0.6.m"),
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


@pytest.mark.parametrize("family", SINGLE)
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


@pytest.mark.requirement("CS-03")
def test_flushing_makes_the_last_chemical_harmless() -> None:
    plan = plan_batch(_vessel(request(H), last_chemical=Chemical.SODIUM_HYDROXIDE, is_flushed=True))
    assert _check(plan, "last_chemical").is_met


# --- mixed beds, carbon, many chemicals -----------------------------------------------------------------------------
def _anion_vessel(plain: PlanRequest, **changes: object) -> PlanRequest:
    assert plain.anion_vessel is not None
    return replace(plain, anion_vessel=replace(plain.anion_vessel, **changes))  # type: ignore[arg-type]


def _limits(plain: PlanRequest, **limits: float) -> PlanRequest:
    return replace(plain, recipe=replace(plain.recipe, limits={**plain.recipe.limits, **limits}))


def _mixed(plain: PlanRequest, **changes: object) -> PlanRequest:
    """Changes of both resins of a mixed bed."""
    assert plain.mixed is not None
    return replace(
        plain,
        mixed=replace(
            plain.mixed,
            cation=replace(plain.mixed.cation, **changes),  # type: ignore[arg-type]
            anion=replace(plain.mixed.anion, **changes),  # type: ignore[arg-type]
        ),
    )


def _leg_setting(plain: PlanRequest, leg: Leg, **settings: SetPoint) -> PlanRequest:
    """The injection of one leg with other settings."""
    steps = tuple(
        replace(step, settings={**step.settings, **settings})
        if step.leg is leg and step.kind is StepKind.INJECT
        else step
        for step in plain.recipe.steps
    )
    return replace(plain, recipe=replace(plain.recipe, steps=steps))


TOGETHER, SULFURIC = FITTING["MB-TOGETHER-107"], FITTING["H-H2SO4-120"]

FLOATED = FITTING["MB-FLOAT-110"]


def _floated(**settings: SetPoint) -> PlanRequest:
    return replace(FLOATED, recipe=with_setting(FLOATED.recipe, StepKind.FLOAT, **settings))


def _float_caustic(**settings: SetPoint) -> PlanRequest:
    """The same bed floated in 15 % caustic, unheated; blending alone brings it to about 45 °C."""
    recipe = with_setting(
        FLOATED.recipe,
        StepKind.FLOAT,
        **{
            "strength_frac": SetPoint(0.15, 0.14, 0.16),
            "temperature_kelvin": SetPoint(308.15, 283.15, 322.15),
            **settings,
        },
    )
    steps = tuple(
        replace(step, chemical=Chemical.SODIUM_HYDROXIDE) if step.kind is StepKind.FLOAT else step
        for step in recipe.steps
    )
    return replace(
        FLOATED, recipe=replace(recipe, steps=steps), feed=FeedData(0.01, 0.01, 2.0, 1.0, 0.5, 0.1, 0.42)
    )


def _short_displacement() -> PlanRequest:
    steps = tuple(
        replace(step, settings={**step.settings, "volume_bv": SetPoint(1.0, 0.8, 1.2)})
        if step.name == "Displace the dense brine downward"
        else step
        for step in FLOATED.recipe.steps
    )
    return replace(FLOATED, recipe=replace(FLOATED.recipe, steps=steps))


def _lighter_cation(density: float) -> PlanRequest:
    both = FLOATED.mixed
    assert both is not None
    return replace(FLOATED, mixed=replace(both, cation=replace(both.cation, bead_density_kg_per_m3=density)))


MORE_BLOCKERS: list[tuple[str, Callable[[], PlanRequest], str]] = [
    ("anion_vessel", lambda: replace(request(MB), anion_vessel=None), r"no vessel is chosen for the anion resin"),
    ("anion_vessel", lambda: _anion_vessel(request(MB), code="V1"), r"keeps the cation resin; the anion resin needs another"),
    ("vessel_family", lambda: _anion_vessel(request(MB), families=(NA,)), r"Vessel V2 may hold SAC-Na; the resin is SBA1-OH"),
    ("vessel_class", lambda: _anion_vessel(request(MB), segregation_classes=("A",)), r"Vessel V2 may hold class A"),
    ("vessel_whole_bed", lambda: _vessel(request(MB), takes_anion_leg_only=True), r"Vessel V1 takes the anion leg of a mixed bed only"),
    ("vessel_chemicals", lambda: _vessel(SULFURIC, chemicals=(Chemical.HYDROCHLORIC_ACID,)),
     r"Sulfuric acid is not piped to vessel V1, which gets hydrochloric acid\. Choose another recipe or another vessel"),
    ("vessel_chemicals", lambda: _vessel(TOGETHER, chemicals=(Chemical.SODIUM_CHLORIDE,)),
     r"Hydrochloric acid and sodium hydroxide \(caustic\) are not piped to vessel V1"),
    ("vessel_chemicals", lambda: _anion_vessel(request(MB), chemicals=(Chemical.HYDROCHLORIC_ACID,)), r"is not piped to vessel V2"),
    ("vessel_lock_out", lambda: _anion_vessel(request(MB), lock_out_reason="liner"), r"Vessel V2 is locked out: liner"),
    ("vessel_fill", lambda: _anion_vessel(request(MB), bed_volume_max_m3=1.0), r"Anion leg: Too much for vessel V2: 1.200.L"),
    ("bed_height", lambda: _anion_vessel(request(MB), straight_height_m=0.9), r"Anion leg: Fully swollen the bed is 1.085.m deep"),
    ("last_chemical", lambda: _anion_vessel(request(MB), last_chemical=Chemical.HYDROCHLORIC_ACID, is_flushed=False),
     r"Vessel V2 last held hydrochloric acid.*They react with heat"),
    ("class_sequence", lambda: _anion_vessel(request(MBP), last_segregation_class="D"), r"Vessel V2 last held class D; class C needs"),
    ("vessel_flow", lambda: _anion_vessel(request(MB), max_flow_m3_per_s=1e-4), r"vessel V2 takes at most 6.L/min"),
    ("linear_velocity", lambda: _anion_vessel(request(MB), internal_diameter_m=0.5, straight_height_m=9.0), r"anion leg flows at 61.1.m/h"),
    ("freeboard", lambda: _vessel(request(MB), straight_height_m=2.0), r"the bed expands to 2.253.m; the vessel has 2.m"),
    ("resin_temperature", lambda: replace(request(MB), mixed=replace(request(MB).mixed, anion=replace(request(MB).mixed.anion, max_temperature_kelvin=313.15))),  # type: ignore[union-attr, type-var]
     r"comes at 42.°C; resin RT-A bears at most 40"),
    ("caustic_temperature", lambda: replace(request(MB), mixed=replace(request(MB).mixed, anion=replace(request(MB).mixed.anion, family=OH2))),  # type: ignore[union-attr, type-var]
     r"comes at 42.°C; Strong-base anion type 2, hydroxide form takes caustic of at most 35"),
    ("resin_grade", lambda: replace(request(MBP), resin=replace(request(MBP).resin, grade="working")), r"is of grade working; recipe MBP-APART-160 takes polishing and virgin only"),
    ("resin_grade", lambda: _mixed(request(MBP), grade="working"), r"Resin RT-C is of grade working"),
    ("resin_cycles", lambda: _mixed(request(MBP), cycles=21), r"has 21 regenerations behind it, at most 20. Use it in a working bed"),
    ("velocity_ratio", lambda: _limits(request(MB), velocity_ratio_min=9.0), r"settles 2.89 times as fast as the anion resin, at least 9"),
    ("cross_contamination", lambda: _mixed(request(MBP), bead_diameter_spread_frac=0.25, bead_density_spread_kg_per_m3=20.0),
     r"are to be expected, at most 0.2.%. Draw off a larger cut"),
    ("interface_collector", lambda: _vessel(TOGETHER, side_outlet_height_m=None), r"V1 has no interface collector on record"),
    ("interface_height", lambda: _vessel(TOGETHER, side_outlet_height_m=0.3), r"expected 0.303.m above the collector, at most 0.15"),
    ("leg_balance", lambda: _leg_setting(TOGETHER, Leg.CATION, strength_frac=SetPoint(0.06, 0.05, 0.065)),
     r"out of balance, at most 10.%. Unbalanced acid and caustic heat and can steam"),
    ("air_supply", lambda: _vessel(request(MB), air_max_m3_per_s=None), r"no clean air is on record for vessel V1"),
    ("air_supply", lambda: _vessel(request(MB), air_max_m3_per_s=0.01), r"vessel V1 has 600.L/min"),
    ("regenerant_ratio", lambda: _leg_setting(request(MB), Leg.ANION, dose_kg_per_m3=SetPoint(20.0, 19.0, 21.0)),
     r"Anion leg: The dose brings .*at least 100 %"),
    ("gypsum", lambda: _limits(SULFURIC, gypsum_index_warn=-1.0, gypsum_index_stop=-0.5), r"saturation index of gypsum.*at most −0.50. Weaken the acid"),
    ("recipe_rules", lambda: replace(request(H), recipe=_hydrogen_by_strong_sulfuric()), r"sulfuric acid of 5.%; the first step takes at most 2.%"),
    ("hold_after_injection", lambda: replace(SULFURIC, recipe=replace(SULFURIC.recipe, steps=tuple(
        replace(step, is_safe_hold_after=True) for step in SULFURIC.recipe.steps))), r"is no hold point: chemical stands in the bed"),
    ("chemical_for_family", lambda: replace(request(MB), recipe=_caustic_on_cation()), r"regenerates no Strong-acid cation"),
    ("no_injection", lambda: replace(request(H), recipe=replace(RECIPES[H], steps=(RECIPES[H].steps[0], *RECIPES[H].steps[-2:]))), r"injects nothing"),
    ("stock_density", lambda: _stock(FITTING["CL-FE-NA"], "na2s2o4", density_kg_per_m3=None), r"is not in the tables. Measure it"),
    ("stock_present", lambda: _without(FITTING["SAN-NA-PAA"], "stock", "paa"), r"No peracetic acid stock is on record"),
    ("stock_sufficient", lambda: _stock(FITTING["SAN-NA-NAOCL"], "naocl", available_kg_100=0.1), r"takes 0.255.kg of NaOCl"),
    ("caustic_hardness", lambda: replace(request(FB), recipe=with_water(ALL_RECIPES["FB-NA2CO3-85"], StepKind.INJECT, WaterKind.RAW)),
     r"raw water for Soda ash injection has 250"),
    ("class_regenerable", lambda: replace(request(GAC), segregation_class="F"), r"enters no batch without a written disposition"),
    ("anion_floats", lambda: _floated(strength_frac=SetPoint(0.09, 0.08, 0.1)), r"less than 0.1.% of the anion beads float by their density in water, at least 50.%. Most of them sink: take a stronger solution"),
    ("cation_sinks", lambda: _lighter_cation(1170.0), r"of the cation beads sink, at least 99.%. What floats ends in the anion resin: take a weaker solution"),
    ("float_height", lambda: _vessel(FLOATED, straight_height_m=2.7), r"The solution stands at 2.742.m.*leaves room to 2.565.m. Feed less of it"),
    ("skid_range", lambda: _skid(FLOATED, "nacl", flow_max_m3_per_s=1e-3, flow_min_m3_per_s=1e-5), r"Float separation in dense brine needs 66.7.L/min"),
    ("stock_strength", lambda: _stock(FLOATED, "nacl", strength_frac=0.23), r"holds 23.%; the brine must come at 24.%. It cannot be diluted"),
    ("stock_sufficient", lambda: _stock(FLOATED, "nacl", available_kg_100=800.0), r"takes 88[01].*kg of NaCl as 100 %; 800.kg stand"),
    ("injection_temperature", lambda: _float_caustic(temperature_kelvin=SetPoint(288.15, 283.15, 298.15)), r"Float separation in dense brine comes at .* and needs 10 to 25"),
    ("caustic_hardness", lambda: replace(_float_caustic(), recipe=with_water(_float_caustic().recipe, StepKind.FLOAT, WaterKind.RAW)),
     r"raw water for Float separation in dense brine has 250"),
    ("hold_after_injection", lambda: replace(FLOATED, recipe=replace(FLOATED.recipe, steps=tuple(
        replace(step, is_safe_hold_after=True) if step.kind is StepKind.FLOAT else step for step in FLOATED.recipe.steps))),
     r"Step 7 is no hold point: chemical stands in the bed"),
]  # fmt: skip


def _hydrogen_by_strong_sulfuric() -> RecipeDefinition:
    return replace(
        RECIPES[H],
        steps=tuple(
            replace(step, chemical=Chemical.SULFURIC_ACID) if step.kind is StepKind.INJECT else step
            for step in RECIPES[H].steps
        ),
    )


def _caustic_on_cation() -> RecipeDefinition:
    return replace(
        RECIPES[MB],
        steps=tuple(
            replace(step, chemical=Chemical.SODIUM_HYDROXIDE)
            if step.leg is Leg.CATION and step.kind is StepKind.INJECT
            else step
            for step in RECIPES[MB].steps
        ),
    )


@pytest.mark.parametrize(
    ("code", "make", "sentence"),
    MORE_BLOCKERS,
    ids=[f"{code}-{index}" for index, (code, *_) in enumerate(MORE_BLOCKERS)],
)
def test_a_broken_rule_of_a_leg_or_a_chemical_blocks(
    code: str, make: Callable[[], PlanRequest], sentence: str
) -> None:
    plan = plan_batch(make())
    found = [check for check in plan.checks if check.code == code and check.blocks]
    assert found, [check for check in plan.checks if check.code == code]
    assert any(re.search(sentence, check.sentence) for check in found), [check.sentence for check in found]


MORE_WARNINGS: list[tuple[str, Callable[[], PlanRequest], str]] = [
    ("bed_depth", lambda: _anion_vessel(request(MB), internal_diameter_m=1.8), r"Anion leg: The bed is 0.472.m deep"),
    ("velocity_ratio", lambda: replace(_limits(request(MB), velocity_ratio_min=0.5), limits=PlantLimits(velocity_ratio_warn=5.0)),
     r"at least 5 for layers to part"),
    ("cross_contamination", lambda: _mixed(request(MB), bead_diameter_spread_frac=0.35, bead_density_spread_kg_per_m3=30.0),
     r"are to be expected, at most 1.%"),
    ("settling_time", lambda: replace(request(MB), recipe=with_setting(RECIPES[MB], StepKind.SETTLE, duration_s=SetPoint(60.0, 30.0, 90.0))),
     r"settle in about .*; the recipe gives them 1.min"),
    ("interface_height", lambda: _vessel(request(MB), side_outlet_height_m=0.5), r"above the collector, at most 0.05"),
    ("leg_balance", lambda: _limits(request(MB), leg_balance_max_frac=0.05), r"Keep their drains apart"),
    ("legs_end_together", lambda: _leg_setting(TOGETHER, Leg.CATION, dose_kg_per_m3=SetPoint(100.0, 95.0, 110.0)), r"Where one runs alone"),
    ("rinse_water", lambda: replace(request(MB), recipe=with_water(RECIPES[MB], StepKind.RINSE, WaterKind.SOFTENED)), r"cation leg uses softened water"),
    ("gypsum", lambda: _limits(SULFURIC, gypsum_index_warn=-1.0, gypsum_index_stop=9.0), r"Keep the flow up and do not pause"),
    ("calcium_share", lambda: replace(SULFURIC, feed=None), r"not known and assumed; gypsum depends on it"),
    ("weak_ratio", lambda: replace(request(WH), recipe=with_setting(RECIPES[WH], StepKind.INJECT, dose_kg_per_m3=SetPoint(110.0, 100.0, 120.0))),
     r"WAC-H takes its regenerant almost whole: 159.% of the load, usual is 105 to 120.%. Lower the dose"),
    ("weak_ratio", lambda: replace(request(WH), recipe=with_setting(RECIPES[WH], StepKind.INJECT, dose_kg_per_m3=SetPoint(71.0, 70.0, 72.0))),
     r"Raise the dose"),
    ("weak_ratio", lambda: replace(request(FB), recipe=with_setting(RECIPES[FB], StepKind.INJECT, dose_kg_per_m3=SetPoint(90.0, 80.0, 95.0))),
     r"WBA takes its regenerant almost whole"),
    ("strength_window", lambda: replace(FITTING["SAN-NA-PAA"], recipe=with_setting(ALL_RECIPES["SAN-NA-PAA"], StepKind.SANITIZE, strength_frac=SetPoint(0.004, 0.003, 0.005))),
     r"CH₃CO₃H of 0.4.% as it is fed; usual is 0.05 to 0.2"),
    ("brine_cold", lambda: _stock(request(NA), "nacl", temperature_kelvin=275.15), r"nearly saturated brine below 5.°C drops salt"),
    ("caustic_solids", lambda: replace(_water(request(OH1), WaterKind.DEIONIZED, hardness_eq_per_m3=2.0),
     limits=PlantLimits(caustic_hardness_limit_eq_per_m3=5.0)), r"of chalk and magnesia, at most 20.mg/L"),
    ("soaked_anion_floats", lambda: _floated(strength_frac=SetPoint(0.16, 0.15, 0.2)), r"give or take 15.kg/m³: .* of them float, at least 95.%. Take a stronger solution"),
    ("float_clear_height", lambda: _floated(volume_bv=SetPoint(0.4, 0.3, 0.5)), r"of clear solution stand between the floating and the sunken resin, at least 0.15.m. Feed more"),
    ("float_time", lambda: _floated(contact_time_s=SetPoint(600.0, 300.0, 900.0)), r"need about 84.min to part.*give them 46.min. Let it stand longer"),
    ("float_feed", lambda: _floated(flow_bv_per_h=SetPoint(15.0, 1.0, 20.0)), r"lifts the cation resin to .*Feed it more slowly"),
    ("float_displaced", _short_displacement, r"Part of the solution stays in the bed"),
    ("float_hardness", lambda: replace(_float_caustic(), feed=None), r"not known; in caustic it drops as chalk and magnesia"),
    ("float_hardness", lambda: replace(_float_caustic(), feed=FeedData(1.0, 0.5, 0.5, 1.0, 0.5, 0.1, 0.4)), r"75.% of what the cation resin took up is hardness, at most 5.%"),
    ("velocity_ratio", lambda: _limits(FLOATED, velocity_ratio_min=9.0), r"at least 9 for layers to part. The float separation after it must part them"),
    ("strength_window", lambda: _floated(strength_frac=SetPoint(0.09, 0.08, 0.1)), r"NaCl of 9.% as it is fed; usual is 10 to 26"),
    ("heater_time", lambda: _skid(request(OH1), "naoh", heater_power_watt=20_000.0), r"the injection takes 70.min. Warm a tank of water"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("code", "make", "sentence"),
    MORE_WARNINGS,
    ids=[f"{code}-{index}" for index, (code, *_) in enumerate(MORE_WARNINGS)],
)
def test_what_a_person_must_weigh_of_a_leg_or_a_chemical_is_a_warning(
    code: str, make: Callable[[], PlanRequest], sentence: str
) -> None:
    plan = plan_batch(make())
    found = [check for check in plan.checks if check.code == code and check.warns]
    assert found, [check for check in plan.checks if check.code == code]
    assert any(re.search(sentence, check.sentence) for check in found), [check.sentence for check in found]


def test_beads_that_rise_with_the_backwash_warn_with_the_velocity_to_stay_below() -> None:
    fine = _resin(
        request(OH1),
        bead_diameter_m=3.5e-4,
        bead_diameter_spread_frac=0.5,
        bead_density_spread_kg_per_m3=20.0,
    )
    check = _check(plan_batch(fine), "carry_over")
    assert check.warns
    assert re.search(
        r"of the beads, the finest and lightest, rise with the water, at most 1.%. Stay below", check.sentence
    )


def test_carbon_is_checked_for_its_class_and_its_sanitizer_and_for_no_bed() -> None:
    codes = {check.code for check in plan_batch(request(GAC)).checks}
    assert {
        "vessel_family",
        "class_regenerable",
        "recipe_rules",
        "stock_sufficient",
        "strength_window",
    } <= codes
    assert (
        not {
            "vessel_fill",
            "bed_depth",
            "regenerant_ratio",
            "no_injection",
            "skid_present",
            "linear_velocity",
        }
        & codes
    )
    assert _check(plan_batch(request(GAC)), "class_regenerable").sentence == "Class D may be exchanged."


def test_a_loop_takes_its_flow_from_its_own_pump() -> None:
    weak = _water(request(MB), WaterKind.DEIONIZED, max_flow_m3_per_s=7e-3)
    plan = plan_batch(weak)
    assert not any(check.code == "water_flow" and check.blocks for check in plan.checks)


def test_the_checks_of_both_legs_stand_in_the_plan() -> None:
    sentences = [
        check.sentence for check in plan_batch(request(MB)).checks if check.code == "regenerant_ratio"
    ]
    assert [sentence.split(":")[0] for sentence in sentences] == ["Cation leg", "Anion leg"]


def test_a_recipe_approved_before_a_rule_existed_is_caught_in_the_plan() -> None:
    unsafe = replace(RECIPES[MB], limits={})
    together = replace(unsafe, arrangement=LegArrangement.TOGETHER)
    plan = plan_batch(replace(TOGETHER, recipe=together))
    assert any("sets no limit for the balance" in check.sentence for check in plan.blockers)


# --- what is piped to a vessel ------------------------------------------------------------------------------------------
def test_a_vessel_that_gets_what_is_injected_or_says_nothing_about_it_passes() -> None:
    acid = (Chemical.HYDROCHLORIC_ACID,)
    assert _check(plan_batch(_vessel(request(H), chemicals=acid)), "vessel_chemicals").is_met
    assert not [check for check in plan_batch(request(H)).checks if check.code == "vessel_chemicals"]


def test_the_anion_vessel_needs_caustic_alone_and_the_other_vessel_none_of_it() -> None:
    piped = _anion_vessel(
        _vessel(request(MB), chemicals=(Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID)),
        chemicals=(Chemical.SODIUM_HYDROXIDE,),
    )
    checks = [check for check in plan_batch(piped).checks if check.code == "vessel_chemicals"]
    assert [check.is_met for check in checks] == [True, True]


def test_the_vessel_of_the_anion_leg_may_take_nothing_but_the_anion_leg() -> None:
    plan = plan_batch(_anion_vessel(request(MB), takes_anion_leg_only=True))
    assert not plan.blockers
    assert _check(plan, "vessel_whole_bed").is_met


def test_a_sanitizer_is_made_up_by_hand_and_needs_no_pipe() -> None:
    softener = FITTING["SAN-NA-NAOCL"]
    assert _check(
        plan_batch(_vessel(softener, chemicals=(Chemical.SODIUM_CHLORIDE,))), "vessel_chemicals"
    ).is_met
