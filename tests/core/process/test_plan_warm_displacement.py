"""Warm caustic is displaced with water about as warm: said in the step, and checked."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan, Check, PlanRequest, Severity
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind, WaterKind
from tests.core.process.plan_requests import request

WARM, COLD, MIXED = ResinFamily.SBA_TYPE_1, ResinFamily.SAC_HYDROGEN, ResinFamily.MIXED_BED


def checks(plan: BatchPlan) -> list[Check]:
    return [check for check in plan.checks if check.code == "displacement_temperature"]


def instruction(plan: BatchPlan, leg: Leg = Leg.WHOLE) -> str:
    return next(s.instruction for s in plan.steps if s.kind is StepKind.DISPLACE and s.leg is leg)


def without_heater(plain: PlanRequest) -> PlanRequest:
    skid = replace(plain.skids["naoh"], heater_max_temperature_kelvin=None)
    return replace(plain, skids={**plain.skids, "naoh": skid})


def test_cold_water_behind_warm_caustic_is_said_with_what_to_do() -> None:
    plain = request(WARM)
    plan = plan_batch(plain)
    (check,) = checks(plan)
    fed = next(step for step in plan.steps if step.chemical is Chemical.SODIUM_HYDROXIDE)
    water = plain.waters[WaterKind.DEIONIZED.value].temperature_kelvin
    assert check.seen == pytest.approx(fed.value("temperature_kelvin") - water)
    assert not check.is_met and check.severity is Severity.NOTE
    assert "Leave the heater on" in check.sentence and "silica stays dissolved" in check.sentence
    assert "(common practice)" in check.sentence
    assert "Leave the heater on: the water comes about as warm as the caustic" in instruction(plan)
    assert "Switch it off before the water stops, and at once if the water fails" in instruction(plan)


def test_water_about_as_warm_needs_no_word() -> None:
    plain = request(WARM)
    deionized = replace(plain.waters[WaterKind.DEIONIZED.value], temperature_kelvin=309.15)
    plan = plan_batch(replace(plain, waters={**plain.waters, WaterKind.DEIONIZED.value: deionized}))
    (check,) = checks(plan)
    assert check.is_met and "heater" not in instruction(plan)


def test_acid_at_the_temperature_of_the_water_needs_no_word() -> None:
    plan = plan_batch(request(COLD))
    assert [check.is_met for check in checks(plan)] == [True]
    assert "heater" not in instruction(plan)


def test_without_a_heater_the_caustic_comes_as_cool_as_the_blend_and_nothing_is_left_on() -> None:
    plan = plan_batch(without_heater(request(WARM)))
    (check,) = checks(plan)
    assert check.is_met is (check.seen is not None and check.seen <= 10.0)
    assert "heater" not in instruction(plan)


def test_warm_stock_without_a_heater_is_a_warning() -> None:
    plain = without_heater(request(WARM))
    hot = replace(plain.stock["naoh"], temperature_kelvin=323.15)
    icy = replace(plain.waters[WaterKind.DEIONIZED.value], temperature_kelvin=276.15)
    limits = replace(plain.limits, displacement_cooler_warn_kelvin=1.0)
    plan = plan_batch(
        replace(
            plain,
            stock={**plain.stock, "naoh": hot},
            waters={**plain.waters, WaterKind.DEIONIZED.value: icy},
            limits=limits,
        )
    )
    (check,) = checks(plan)
    assert check.warns and "no heater is on record. Begin slowly" in check.sentence


def test_each_leg_of_a_mixed_bed_is_looked_at_by_its_own_chemical() -> None:
    plan = plan_batch(request(MIXED))
    by_leg = {plan.step(check.step_number or 0).leg: check for check in checks(plan)}
    assert by_leg[Leg.CATION].is_met and not by_leg[Leg.ANION].is_met
    assert "heater" in instruction(plan, Leg.ANION) and "heater" not in instruction(plan, Leg.CATION)
