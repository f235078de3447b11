"""Making a batch: from the plan that was shown to a frozen one; and the rework of a failed batch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.frozen import freeze
from regenplant.batches.models import Batch, BatchTank, StepRun
from regenplant.batches.moves import batch_snapshot, locked, move_batch
from regenplant.batches.preview import one_pool, preview, visits_for
from regenplant.batches.readiness import occupants, unfit
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.core.errors import PlanRefused, RecordRefused, StaleRecord
from regenplant.core.process.lifecycle import BatchAction
from regenplant.core.process.plan import BatchPlan
from regenplant.plant.models import Vessel
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.tanks.models import TankVisit


@use_case("batch.frozen", permission="batch.plan")
def freeze_batch(
    *,
    by: By,
    visit_ids: Sequence[int],
    vessel_id: int,
    recipe_version_id: int,
    specification_version_id: int,
    shown_digest: str = "",
    eluted_equivalents: float | None = None,
) -> Outcome:
    """Give the batch its number and freeze its plan, its tanks and its versions.

    ``shown_digest`` is the digest of the plan the person saw; when stock, water or tanks changed since, the plan is another
    one and is shown again instead of being frozen unseen.

    Raises: RecordRefused, PlanRefused (blocking checks), StaleRecord.
    """
    visits = visits_for(visit_ids)
    _refuse_unfit_tanks(visits)
    one_pool(visits)
    vessel = Vessel.objects.select_for_update().get(pk=vessel_id)
    _refuse_occupied(vessel)
    recipe_version = _approved_recipe(recipe_version_id, by.at)
    specification_version = _approved_specification(specification_version_id, by.at)
    plan = preview(
        visits=visits,
        vessel=vessel,
        recipe_version=recipe_version,
        now=by.at,
        eluted_equivalents=eluted_equivalents,
    )
    text, plan_digest = freeze(plan)
    if shown_digest and shown_digest != plan_digest:
        raise StaleRecord(
            "The plan is no longer the one you saw: stock, water, vessel or tanks changed. Look at the new plan, then start.",
            code="plan_changed",
        )
    _refuse_blocked(plan)
    batch = _create(by, plan, text, plan_digest, vessel, recipe_version, specification_version, visits)
    move_batch(batch, BatchAction.MAKE_READY, by=by, snapshot=batch_snapshot(batch, by=by))
    return _frozen_outcome(batch, plan, visits)


@use_case("batch.rework_planned", permission="batch.rework")
def plan_rework(
    *, by: By, batch_id: int, recipe_version_id: int, cause: str, version: int | None = None
) -> Outcome:
    """Rework a failed (or aborted) batch as a child batch in the same vessel with the same tanks. The parent stays failed.

    Raises: TransitionRefused, RecordRefused, PlanRefused.
    """
    parent = locked(batch_id, version)
    if len(cause.strip()) < 10:
        raise RecordRefused(
            "The cause is too short. Say in at least 10 characters why it failed.", field="cause"
        )
    move_batch(parent, BatchAction.REWORK, by=by, snapshot=batch_snapshot(parent, by=by))
    links = list(parent.tank_links.filter(is_current=True).select_related("visit__tank"))
    recipe_version = _approved_recipe(recipe_version_id, by.at)
    visits = visits_for([link.visit_id for link in links])
    plan = preview(
        visits=visits,
        vessel=parent.vessel,
        recipe_version=recipe_version,
        now=by.at,
        resin_volume_m3=parent.resin_volume_m3,
    )
    text, plan_digest = freeze(plan)
    _refuse_blocked(plan)
    parent.tank_links.filter(is_current=True).update(is_current=False)
    child = _create(
        by,
        plan,
        text,
        plan_digest,
        parent.vessel,
        recipe_version,
        parent.specification_version,
        visits,
        parent=parent,
        cause=cause.strip(),
    )
    move_batch(child, BatchAction.MAKE_READY, by=by, snapshot=batch_snapshot(child, by=by))
    outcome = _frozen_outcome(child, plan, visits)
    return Outcome(
        subject=batch_subject(child),
        after=outcome.after,
        facts={**outcome.facts, "parent": parent.number},
        reason=cause.strip(),
        related=(*outcome.related, ("batch", parent.number)),
        result=child,
    )


def _refuse_unfit_tanks(visits: Sequence[TankVisit]) -> None:
    for visit in visits:
        sentence = unfit(visit, None)
        if sentence:
            raise RecordRefused(sentence, code="tank_unfit", field="tanks")


def _refuse_occupied(vessel: Vessel) -> None:
    first = occupants(vessel).first()
    if first is not None:
        raise RecordRefused(
            f"{vessel.code} holds batch {first.number} ({first.get_state_display()}). It is free when that batch is filled or scrapped.",
            code="vessel_occupied",
            field="vessel",
        )


def _approved_recipe(pk: int, now: datetime) -> RecipeVersion:
    version = RecipeVersion.objects.select_related("recipe").get(pk=pk)
    _refuse_unapproved(version, f"Recipe {version.recipe.code} version {version.number}", now)
    return version


def _approved_specification(pk: int, now: datetime) -> SpecificationVersion:
    version = SpecificationVersion.objects.select_related("specification").get(pk=pk)
    _refuse_unapproved(version, f"Specification {version.specification.code} version {version.number}", now)
    return version


def _refuse_unapproved(version: RecipeVersion | SpecificationVersion, name: str, now: datetime) -> None:
    if version.state != version.State.APPROVED:
        raise RecordRefused(
            f"{name} is {version.state}, not approved. Another person than its maker must approve it first.",
            code="not_approved",
        )
    if version.effective_from and version.effective_from > now:
        raise RecordRefused(
            f"{name} holds from {version.effective_from:%Y-%m-%d %H:%M} UTC, not yet.", code="not_effective"
        )


def _refuse_blocked(plan: BatchPlan) -> None:
    if plan.blockers:
        raise PlanRefused(" ".join(check.sentence for check in plan.blockers), checks=plan.blockers)


def _create(
    by: By,
    plan: BatchPlan,
    text: str,
    plan_digest: str,
    vessel: Vessel,
    recipe_version: RecipeVersion,
    specification_version: SpecificationVersion,
    visits: Sequence[TankVisit],
    *,
    parent: Batch | None = None,
    cause: str = "",
) -> Batch:
    request = plan.request
    batch = Batch.objects.create(
        number=next_number(Batch, "number", "B", 10001),
        resin_type=visits[0].resin_type,
        segregation_class=request.segregation_class,
        vessel=vessel,
        recipe_version=recipe_version,
        specification_version=specification_version,
        parent=parent,
        rework_cause=cause,
        resin_volume_m3=request.resin_volume_m3,
        resin_volume_form=request.resin_volume_form.value,
        plan_text=text,
        plan_digest=plan_digest,
        core_version=plan.core_version,
        chemical_lots={
            step.chemical.value: request.stock[step.chemical.value].lot_code
            for step in plan.steps
            if step.chemical
        },
        planned_by=by.user,
        planned_at=by.at,
    )
    BatchTank.objects.bulk_create(
        BatchTank(batch=batch, visit=visit, resin_volume_m3=visit.resin_volume_m3, position=index)
        for index, visit in enumerate(visits, start=1)
    )
    StepRun.objects.bulk_create(
        StepRun(
            batch=batch,
            number=step.number,
            kind=step.kind.value,
            name=step.name,
            planned_duration_s=step.value("duration_s"),
            is_safe_hold_after=step.is_safe_hold_after,
        )
        for step in plan.steps
    )
    return batch


def _frozen_outcome(batch: Batch, plan: BatchPlan, visits: Sequence[TankVisit]) -> Outcome:
    recipe = f"recipe {plan.request.recipe.code} version {plan.request.recipe_version}"
    return Outcome(
        subject=batch_subject(batch),
        after={"state": batch.state, "digest": batch.plan_digest, "resin_volume_m3": batch.resin_volume_m3},
        facts={
            "tanks": len(visits),
            "serials": [visit.tank.serial for visit in visits],
            "recipe": recipe,
            "vessel": batch.vessel.code,
            "digest": batch.plan_digest[:8],
            "warnings": [check.sentence for check in plan.warnings],
        },
        related=with_tanks(batch),
        result=batch,
    )


say("batch.frozen", "{subject} was planned: {tanks} tanks, {recipe}, in {vessel}; plan {digest}")
say("batch.rework_planned", "{subject} was planned as rework of {parent}: {recipe}, in {vessel}")
