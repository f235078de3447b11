"""The stages of the day plan hold what the batch plan holds: its time, its chemicals, its waters, its waste, its holds."""

from __future__ import annotations

from math import ceil

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_waste import waste_shares
from regenplant.core.process.sewer_budget import loads_of_plan
from regenplant.core.process.vocabulary import Leg, StepKind
from regenplant.core.scheduling.from_plan import Hands, stages_of
from regenplant.core.scheduling.problem import Stage
from tests.core.process.plan_requests import ALL_RECIPES
from tests.core.process.recipe_plants import FITTING

HANDS = Hands(slot_min=1)
RECIPES = sorted(ALL_RECIPES)


def waste_of(plan: BatchPlan) -> dict[int, float]:
    shares = waste_shares(PlanBasis(plan.request), plan.steps)
    return {share.step.number: share.volume_m3 for share in shares}


def litres_of(plan: BatchPlan) -> float:
    return plan.totals["resin_volume_m3"].value * 1000


def chemical_kg(stages: tuple[Stage, ...], litres: float) -> dict[str, float]:
    found: dict[str, float] = {}
    for stage in stages:
        for part in stage.parts:
            if part.chemical is not None:
                found[part.chemical] = found.get(part.chemical, 0.0) + part.dose_g_per_l * litres / 1000
    return found


def flowed_m3(stages: tuple[Stage, ...], litres: float, *, waste_only: bool) -> float:
    return sum(
        (part.flow_bv_per_h * litres / 60 or part.flow_l_per_min) * stage.minutes / 1000
        for stage in stages
        for part in stage.parts
        if part.to_waste or not waste_only
    )


@pytest.mark.parametrize("code", RECIPES)
def test_chemicals_are_those_of_the_batch_plan(code: str) -> None:
    plan = plan_batch(FITTING[code])
    expected = {
        key.split(":")[1]: figure.value
        for key, figure in plan.totals.items()
        if key.startswith("chemical_kg_100:")
    }
    assert chemical_kg(stages_of(plan, waste_of(plan), HANDS), litres_of(plan)) == pytest.approx(expected)


@pytest.mark.parametrize("code", RECIPES)
def test_water_and_waste_are_those_of_the_steps(code: str) -> None:
    """Minutes are whole, so what goes to the waste tank is right to the flow of a minute for each step that is cut."""
    plan = plan_batch(FITTING[code])
    stages, litres = stages_of(plan, waste_of(plan), HANDS), litres_of(plan)
    taken = sum(
        step.figures[key].value
        for step in plan.steps
        for key in ("loop_fill_m3" if step.kind is StepKind.RECIRCULATE else "volume_m3",)
        if key in step.figures and step.water is not None
    )
    assert flowed_m3(stages, litres, waste_only=False) == pytest.approx(taken)
    minute_m3 = max((part.flow_bv_per_h for stage in stages for part in stage.parts), default=0.0)
    minute_m3 *= litres / 1000 / 60
    wasted = flowed_m3(stages, litres, waste_only=True)
    cut = sum(stage.name.endswith(", clean") for stage in stages)
    assert 0.0 <= wasted - plan.totals["waste_m3"].value + 1e-9 <= minute_m3 * cut + 1e-9


@pytest.mark.parametrize("code", RECIPES)
def test_it_lasts_as_long_as_the_batch_plan(code: str) -> None:
    """Each step to the next whole minute; the legs at the same time, the longer one decides."""
    plan = plan_batch(FITTING[code])
    inside = list(stages_of(plan, waste_of(plan), HANDS))[:-3]
    minutes = dict.fromkeys(Leg, 0)
    for step in plan.steps:
        minutes[step.leg] += max(1, ceil(step.value("duration_s") / 60 - 1e-9))
    expected = minutes[Leg.WHOLE] + max(minutes[Leg.CATION], minutes[Leg.ANION])
    assert sum(stage.minutes for stage in inside) == expected
    assert expected * 60 >= plan.totals["duration_s"].value - 1e-6


@pytest.mark.parametrize("code", RECIPES)
def test_a_bed_is_left_only_after_a_safe_hold_point(code: str) -> None:
    plan = plan_batch(FITTING[code])
    stages = stages_of(plan, waste_of(plan), HANDS)[:-3]
    holds = {step.name for step in plan.steps if step.is_safe_hold_after}
    for stage in stages:
        if stage.max_wait_after_min > HANDS.unsafe_wait_min:
            for part in stage.name.removesuffix(", clean").split(" + "):
                assert part.split(" ", 1)[1] in holds, stage.name
    for step in plan.steps:
        if step.kind is StepKind.INJECT and step.leg is Leg.WHOLE:
            stage = next(stage for stage in stages if stage.name == f"{step.number} {step.name}")
            assert stage.max_wait_after_min == 0
            assert stage.in_one_opening


def test_the_load_of_the_sewer_counts_once_and_with_the_first_chemical() -> None:
    plan = plan_batch(FITTING["H-HCL-100"])
    stages, litres = stages_of(plan, waste_of(plan), HANDS), litres_of(plan)
    loads = loads_of_plan({key: figure.value for key, figure in plan.totals.items()})
    holders = [stage for stage in stages if stage.load_g_per_l]
    assert len(holders) == 1
    assert holders[0] is next(stage for stage in stages if stage.chemical is not None)
    assert holders[0].load_g_per_l["tds"] * litres / 1000 == pytest.approx(loads.tds_kg)


@pytest.mark.parametrize(
    "code", [code for code in RECIPES if FITTING[code].anion_vessel is not None and code.startswith("MB")]
)
def test_the_legs_of_a_mixed_bed_hold_their_skids_for_as_long_as_they_are_fed(code: str) -> None:
    plan = plan_batch(FITTING[code])
    stages = stages_of(plan, waste_of(plan), HANDS)
    for step in plan.steps:
        if step.leg is Leg.WHOLE or step.chemical is None:
            continue
        held = sum(
            stage.minutes
            for stage in stages
            if f"{step.number} {step.name}" in stage.name
            and any(part.chemical == step.chemical.value for part in stage.parts)
        )
        assert held == max(1, ceil(step.value("duration_s") / 60 - 1e-9))


def test_what_follows_every_recipe() -> None:
    plan = plan_batch(FITTING[RECIPES[0]])
    judge, fill, release = stages_of(plan, waste_of(plan), Hands(filling_per_tank_min=8))[-3:]
    assert (judge.technicians, judge.attention) == (1, 0)
    assert (fill.attention, fill.minutes_per_tank) == (4, 8)
    assert (release.second_people, release.after_vessel) == (1, True)
