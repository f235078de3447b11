"""Where a drain may go: the class table (EV-01), and metals never into the waste tank (EV-02)."""

from __future__ import annotations

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.drains import (
    CLASS_TABLE,
    METAL_DESTINATIONS,
    Destination,
    Drained,
    allowed,
    drains_of,
    refusal,
    usual_destination,
)
from regenplant.core.process.vocabulary import ResinFamily, SegregationClass, StepKind
from tests.core.process.plan_requests import ALL_RECIPES, request, request_for


@pytest.mark.requirement("EV-01")
@pytest.mark.parametrize("drained", Drained)
def test_metal_class_never_goes_to_neutralization(drained: Drained) -> None:
    words = refusal("F", drained, Destination.NEUTRALIZATION)
    assert "metal-bearing resin may not go to: waste tank" in words and "metal drum, reclaim" in words
    assert refusal("F", drained, Destination.METAL_DRUM) == ""


@pytest.mark.requirement("EV-02")
@pytest.mark.parametrize("segregation_class", "ABCD")
@pytest.mark.parametrize("drained", Drained)
def test_a_metal_flag_counts_as_the_metal_class_whatever_the_table_says(
    segregation_class: str, drained: Drained
) -> None:
    assert set(allowed(segregation_class, drained, has_metal_flag=True)) <= set(METAL_DESTINATIONS)
    open_table = {item: dict.fromkeys(Drained, tuple(Destination)) for item in SegregationClass}
    assert set(allowed("F", drained, table=open_table)) == set(METAL_DESTINATIONS)
    assert refusal(
        segregation_class, drained, Destination.NEUTRALIZATION, has_metal_flag=True, table=open_table
    )


@pytest.mark.requirement("EV-01")
@pytest.mark.parametrize("segregation_class", "EX")
def test_what_is_not_regenerated_drains_nowhere(segregation_class: str) -> None:
    assert all(allowed(segregation_class, item) == () for item in Drained)
    assert "Nothing is allowed" in refusal(segregation_class, Drained.REGENERANT, Destination.NEUTRALIZATION)


def test_the_table_says_something_of_every_class() -> None:
    assert set(CLASS_TABLE) == set(SegregationClass)
    assert all(set(row) == set(Drained) for row in CLASS_TABLE.values())
    with pytest.raises(OutOfRange, match="no segregation class"):
        allowed("Q", Drained.WATER)


@pytest.mark.requirement("EV-01")
@pytest.mark.parametrize("recipe", ALL_RECIPES.values(), ids=lambda recipe: recipe.code)
def test_every_draining_step_has_an_allowed_destination(recipe) -> None:
    plan = plan_batch(request_for(recipe))
    drains = drains_of(plan.steps)
    for step in plan.steps:
        if step.drain_to:
            usual = usual_destination(step, drains[step.number], "D")
            assert usual is not None and refusal("D", drains[step.number], usual) == ""
            metal = usual_destination(step, drains[step.number], "F")
            assert metal in METAL_DESTINATIONS


def test_kinds_of_a_regeneration() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    drains = drains_of(plan.steps)
    by_kind = {step.kind: drains.get(step.number) for step in plan.steps}
    assert by_kind[StepKind.BACKWASH] is Drained.WATER
    assert by_kind[StepKind.INJECT] is by_kind[StepKind.DISPLACE] is Drained.REGENERANT
    assert by_kind[StepKind.FAST_RINSE] is Drained.REGENERANT
    assert StepKind.SAMPLE not in by_kind or by_kind[StepKind.SAMPLE] is None
    brine = plan_batch(request(ResinFamily.SAC_SODIUM))
    assert (
        drains_of(brine.steps)[next(s.number for s in brine.steps if s.kind is StepKind.INJECT)]
        is Drained.BRINE
    )
