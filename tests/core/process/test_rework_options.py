"""Which reworks fit a family and what it misses, and what each costs by the plan: sums worked out here by hand."""

from __future__ import annotations

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.continued import MOST_ROUNDS, continued_numbers
from regenplant.core.process.rework_options import ReworkKind, rework_options
from regenplant.core.process.vocabulary import ResinFamily, StepKind
from tests.core.process.plan_requests import request


def kinds(family: ResinFamily, missed: set[str], **more: bool) -> list[str]:
    return [one.kind.value for one in rework_options(plan_batch(request(family)), missed, **more)]


@pytest.mark.parametrize(
    ("family", "missed", "offered"),
    [
        (ResinFamily.SAC_HYDROGEN, {"conductivity"}, ["rinse", "inject_half", "inject_full", "clean"]),
        (ResinFamily.SAC_HYDROGEN, {"hardness"}, ["inject_half", "inject_full", "clean"]),
        (ResinFamily.SBA_TYPE_1, {"silica", "conductivity"}, ["inject_half", "inject_full", "clean"]),
        (ResinFamily.SBA_TYPE_1, {"rinse_volume"}, ["rinse"]),
        (
            ResinFamily.MIXED_BED,
            {"conductivity"},
            ["rinse", "inject_half", "inject_full", "separate", "clean"],
        ),
        (ResinFamily.CARBON, {"ph"}, ["rinse"]),
        (ResinFamily.SAC_HYDROGEN, set(), []),
    ],
)
def test_a_way_is_offered_where_it_makes_sense(
    family: ResinFamily, missed: set[str], offered: list[str]
) -> None:
    assert kinds(family, missed) == offered


def test_no_plain_rinse_once_the_water_is_used_up() -> None:
    assert "rinse" not in kinds(ResinFamily.SAC_HYDROGEN, {"conductivity"}, water_used_up=True)


def test_what_each_way_costs_is_the_sum_of_its_steps() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    found = {one.kind: one.cost for one in rework_options(plan, {"conductivity"})}
    by_kind = {step.kind: step for step in plan.steps}
    inject, displace = by_kind[StepKind.INJECT], by_kind[StepKind.DISPLACE]
    rinse, sample = by_kind[StepKind.FAST_RINSE], by_kind[StepKind.SAMPLE]
    assert found[ReworkKind.RINSE].chemicals == ()
    assert found[ReworkKind.RINSE].water_m3 == pytest.approx(rinse.value("volume_m3"))
    half = found[ReworkKind.INJECT_HALF]
    assert half.chemicals[0][1] == pytest.approx(inject.value("chemical_kg_100") / 2)
    assert half.water_m3 == pytest.approx(
        inject.value("dilution_water_m3") / 2 + displace.value("volume_m3") + rinse.value("volume_m3")
    )
    later = [step for step in plan.steps if step.number > inject.number]
    assert half.duration_s == pytest.approx(
        inject.value("duration_s") / 2 + sum(step.value("duration_s") for step in later)
    )
    assert found[ReworkKind.INJECT_FULL].chemicals[0][1] == pytest.approx(inject.value("chemical_kg_100"))
    assert found[ReworkKind.CLEAN].is_beside and sample.number == len(plan.steps)


def test_every_way_names_the_test_that_comes_first() -> None:
    for family in ResinFamily:
        for one in rework_options(plan_batch(request(family)), {"conductivity", "hardness", "silica"}):
            assert one.next_test and one.why and one.cost.duration_s > 0


def test_a_rinse_that_goes_on_repeats_rinse_and_sample_behind_the_plan() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    last = len(plan.steps)
    rinse, sample = plan.step(last + 1), plan.step(last + 2)
    assert (rinse.kind, sample.kind) == (StepKind.FAST_RINSE, StepKind.SAMPLE)
    assert (plan.step(last + 3).kind, plan.step(last + 3).number) == (StepKind.FAST_RINSE, last + 3)
    volume = next(spec for spec in rinse.entries if spec.key == "volume")
    assert volume.low is None, "its planned volume passed in the first round"
    assert len(continued_numbers(plan.steps)) == MOST_ROUNDS and continued_numbers(plan.steps)[0] == last + 1
