"""What each step drains against the plan's own spent streams: nothing lost, and neutral."""

from __future__ import annotations

from fractions import Fraction

import pytest

from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange
from regenplant.core.process import drained_steps
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.drained_steps import (
    DrainedStep,
    amounts_of,
    as_run,
    planned_drains,
    split_by_time,
)
from regenplant.core.process.drains import Drained
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_spent import leg_balances, spent_streams, streams_with_shares
from regenplant.core.process.plan_waste import waste_shares
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind
from tests.core.process.plan_requests import ALL_RECIPES, FAMILIES, request, request_for

pytestmark = pytest.mark.requirement("EV-01")


@pytest.mark.parametrize("recipe", ALL_RECIPES.values(), ids=lambda recipe: recipe.code)
def test_the_steps_together_bring_what_the_plan_counts(recipe) -> None:
    plan = plan_batch(request_for(recipe))
    drains = planned_drains(plan)
    assert sum(step.waste_m3 for step in drains.values()) == pytest.approx(plan.totals["waste_m3"].value)
    basis = PlanBasis(plan.request)
    together = spent_streams(basis, leg_balances(basis, plan.steps), waste_shares(basis, plan.steps)).together
    if together is None:
        return
    expected = amounts_of(together.composition, together.volume_m3)
    seen: dict[str, float] = {}
    for step in drains.values():
        for name, moles in step.amounts_mol.items():
            seen[name] = seen.get(name, 0.0) + moles
    assert seen == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("recipe", ALL_RECIPES.values(), ids=lambda recipe: recipe.code)
def test_every_step_that_drains_says_what(recipe) -> None:
    plan = plan_batch(request_for(recipe))
    assert set(planned_drains(plan)) == {step.number for step in plan.steps if step.drain_to}
    for number, drained in planned_drains(plan).items():
        if drained.waste_m3 > 0.0:
            assert drained.drained is not Drained.WATER, plan.step(number).name


def test_chloride_of_an_acid_regeneration_by_hand() -> None:
    """All chloride of the acid reaches the drains: dose times volume over 36.461 g/mol (IUPAC standard atomic weights)."""
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    brought = sum(step.amounts_mol.get("chloride", 0.0) for step in planned_drains(plan).values())
    assert brought == pytest.approx(plan.totals["chemical_kg_100:hcl"].value / 0.036461, rel=1e-4)


def test_more_chemical_leaves_as_it_came() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    step = next(step for step in plan.steps if step.kind is StepKind.INJECT)
    planned = planned_drains(plan)[step.number]
    kg = step.value("chemical_kg_100")
    more = as_run(planned, step, fed_kg_100=1.1 * kg)
    gained = more.amounts_mol["chloride"] - planned.amounts_mol["chloride"]
    assert gained == pytest.approx(0.1 * kg / substance("hcl").molar_mass_kg_per_mol, rel=1e-6)
    assert more.volume_m3 == pytest.approx(1.1 * planned.volume_m3)
    others = {name for name in planned.amounts_mol if name != "chloride"}
    assert all(more.amounts_mol[name] == planned.amounts_mol[name] for name in others)


def test_less_brings_less_in_proportion_and_more_water_no_more_ions() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    inject = next(step for step in plan.steps if step.kind is StepKind.INJECT)
    displace = next(step for step in plan.steps if step.kind is StepKind.DISPLACE)
    drains = planned_drains(plan)
    half = as_run(drains[inject.number], inject, fed_kg_100=0.5 * inject.value("chemical_kg_100"))
    for name, moles in drains[inject.number].amounts_mol.items():
        assert half.amounts_mol[name] == pytest.approx(0.5 * moles)
    planned = drains[displace.number]
    longer = as_run(planned, displace, passed_m3=2.0 * planned.volume_m3)
    assert longer.amounts_mol == planned.amounts_mol and longer.waste_m3 == pytest.approx(
        2 * planned.waste_m3
    )
    nothing = as_run(planned, displace, passed_m3=0.0)
    assert nothing.volume_m3 == 0.0 and not any(nothing.amounts_mol.values())


def test_of_a_fast_rinse_only_the_first_part_goes_to_the_tank() -> None:
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    rinse = next(step for step in plan.steps if step.kind is StepKind.FAST_RINSE)
    planned = planned_drains(plan)[rinse.number]
    assert 0.0 < planned.waste_m3 < planned.volume_m3
    longer = as_run(planned, rinse, passed_m3=3.0 * planned.volume_m3)
    assert longer.waste_m3 == planned.waste_m3
    short = as_run(planned, rinse, passed_m3=0.5 * planned.waste_m3)
    assert short.waste_m3 == pytest.approx(0.5 * planned.waste_m3)


@pytest.mark.parametrize("frac", [0.3, 0.9, 1.0, 1.2])
def test_all_steps_of_a_stream_together_bring_what_was_fed(frac: float) -> None:
    """Chloride of the acid, of which the resin keeps nothing, mole for mole (mass balance): nothing lost, nothing made."""
    plan = plan_batch(request(ResinFamily.SAC_HYDROGEN))
    planned = planned_drains(plan)
    (inject,) = [step for step in plan.steps if step.kind is StepKind.INJECT]
    together = 0.0
    for step in plan.steps:
        if step.number in planned:
            fed = frac * step.value("chemical_kg_100") if step is inject else None
            ran = as_run(planned[step.number], step, fed_kg_100=fed, fed_fracs={inject.number: frac})
            together += ran.amounts_mol.get("chloride", 0.0)
    assert together == pytest.approx(frac * inject.value("applied_eq"), rel=1e-9)


JOINING = [
    recipe for recipe in ALL_RECIPES.values() if any(step.kind is StepKind.JOIN for step in recipe.steps)
]


@pytest.mark.parametrize("recipe", JOINING, ids=lambda recipe: recipe.code)
def test_the_rinse_of_a_joined_mixed_bed_is_never_counted_as_clean(recipe) -> None:
    """Of each leg's chloride it has T · V / (V + W): V is the part of the rinse that goes with the leg's resin, W what the leg drained."""
    plan = plan_batch(request_for(recipe))
    basis, drains = PlanBasis(plan.request), planned_drains(plan)
    shares = waste_shares(basis, plan.steps)
    (rinse,) = [share for share in shares if share.chemical is None]
    beds = {leg: basis.bed(leg).volume_m3 for leg in (Leg.CATION, Leg.ANION)}
    expected = 0.0
    for leg, stream, own in streams_with_shares(basis, leg_balances(basis, plan.steps), shares):
        if leg in beds:
            drained = sum(share.volume_m3 for share in own)
            part = rinse.volume_m3 * beds[leg] / sum(beds.values())
            chloride = amounts_of(stream.composition, drained).get("chloride", 0.0)
            expected += chloride * part / (part + drained)
    drain = drains[rinse.step.number]
    assert drain.is_known and 0.0 < drain.amounts_mol["chloride"] == pytest.approx(expected, rel=1e-9)


def test_the_rinse_of_a_joined_bed_is_unknown_where_a_leg_is_not_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plan = plan_batch(request_for(JOINING[0]))
    monkeypatch.setattr(drained_steps, "UNCOUNTED", (Chemical.HYDROCHLORIC_ACID,))
    drains = planned_drains(plan)
    (rinse,) = [step for step in plan.steps if step.kind is StepKind.FAST_RINSE]
    of_anion = [step for step in plan.steps if step.leg is Leg.ANION and step.kind is StepKind.DISPLACE]
    assert not drains[rinse.number].is_known and all(drains[step.number].is_known for step in of_anion)


def test_there_are_recipes_that_join() -> None:
    assert len(JOINING) >= 3


def test_families_are_many_enough() -> None:
    assert len(FAMILIES) >= 7 and len(ALL_RECIPES) >= 20


@pytest.mark.parametrize(
    "times", [(600.0,), (1.0, 3.0), (3599.9, 0.1), (0.0, 7.0), (7.0, 11.0, 13.0), (0.1,) * 10]
)
def test_parts_by_time_are_the_whole_to_the_last_bit(times: tuple[float, ...]) -> None:
    """Mass balance: in exact arithmetic, as fractions of integers, the parts are the whole."""
    whole = DrainedStep(5, Drained.REGENERANT, 1.7, 1.1, 298.15, {"chloride": 1234.567, "sodium": 0.1})
    parts = split_by_time(whole, times)
    assert len(parts) == len(times)
    assert sum(Fraction(part.volume_m3) for part in parts) == Fraction(1.7)
    assert sum(Fraction(part.waste_m3) for part in parts) == Fraction(1.1)
    for name, moles in whole.amounts_mol.items():
        assert sum(Fraction(part.amounts_mol.get(name, 0.0)) for part in parts) == Fraction(moles), name
    for part, seconds in zip(parts, times, strict=True):
        assert part.waste_m3 == pytest.approx(1.1 * seconds / sum(times), rel=1e-9)


@pytest.mark.parametrize("times", [(), (0.0, 0.0), (-1.0, 2.0)])
def test_no_time_is_no_part(times: tuple[float, ...]) -> None:
    whole = DrainedStep(5, Drained.REGENERANT, 1.7, 1.1, 298.15)
    with pytest.raises(OutOfRange, match="times not below zero"):
        split_by_time(whole, times)
