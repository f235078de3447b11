"""Making a batch: from the plan that was shown to a frozen one; and the rework of a failed batch."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.reasons import SHORTEST_REASON
from regenplant.audit.records import one_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.causes import CAUSES, cause_words
from regenplant.batches.failures import ReworkNeeds, rework_needs
from regenplant.batches.frozen import freeze, plan_of
from regenplant.batches.legs import is_apart
from regenplant.batches.models import Batch, BatchTank, StepRun
from regenplant.batches.moves import batch_snapshot, locked, move_batch
from regenplant.batches.preview import Wanted, one_pool, preview, visits_for
from regenplant.batches.readiness import occupants, resin_here_m3, unfit
from regenplant.batches.routes import has_metal_flag, usual
from regenplant.batches.services._rework import NO_CAUSE, Cause, refuse_alone, sign_together
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.batches.worked_out import Chosen, choose, worked_of
from regenplant.core.errors import PlanRefused, RecordRefused, StaleRecord
from regenplant.core.process.lifecycle import BatchAction
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.wording import listed
from regenplant.people.binding import TwoPeople
from regenplant.plant.drain_table import table_in_force
from regenplant.plant.models import Vessel
from regenplant.recipes.models import RecipeVersion, SpecificationVersion
from regenplant.recipes.selectors import runs_apart
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
    anion_vessel_id: int | None = None,
    throughput_m3: float | None = None,
) -> Outcome:
    """Give the batch its number and freeze its plan, its tanks and its versions.

    ``anion_vessel_id`` names where the anion leg of a mixed bed runs, for a recipe that runs the legs apart, and for no
    other. ``throughput_m3`` is the water the tanks treated [m^3]; ``eluted_equivalents`` the load itself [eq], if known.

    ``shown_digest`` is the digest of the plan the person saw; when stock, water or tanks changed since, the plan is another
    one and is shown again instead of being frozen unseen.

    Raises: RecordRefused, PlanRefused (blocking checks), StaleRecord.
    """
    visits = visits_for(visit_ids)
    _refuse_unfit_tanks(visits, by.at)
    one_pool(visits)
    vessel = Vessel.objects.select_for_update().get(pk=vessel_id)
    _refuse_occupied(vessel)
    recipe_version = _approved_recipe(recipe_version_id, by.at)
    chosen = choose(_approved_specification(specification_version_id, by.at), visits, by.at)
    anion_vessel = _anion_vessel(anion_vessel_id, vessel, recipe_version)
    if anion_vessel is not None:
        _refuse_occupied(anion_vessel, field="anion_vessel")
    wanted = Wanted(
        visits=visits,
        vessel=vessel,
        recipe_version=recipe_version,
        anion_vessel=anion_vessel,
        eluted_equivalents=eluted_equivalents,
        throughput_m3=throughput_m3,
    )
    plan = preview(wanted, by.at)
    text, plan_digest = freeze(plan)
    if shown_digest and shown_digest != plan_digest:
        raise StaleRecord(
            "The plan is no longer the one you saw: stock, water, vessel or tanks changed. Look at the new plan, then start.",
            code="plan_changed",
        )
    _refuse_blocked(plan)
    batch = _create(by, plan, text, plan_digest, wanted, chosen)
    move_batch(batch, BatchAction.MAKE_READY, by=by, snapshot=batch_snapshot(batch, by=by))
    return _frozen_outcome(batch, plan, visits)


@use_case("batch.rework_planned", permission="batch.rework")
def plan_rework(
    *,
    by: By,
    batch_id: int,
    recipe_version_id: int,
    cause: str,
    version: int | None = None,
    anion_vessel_id: int | None = None,
    cause_category: str = "",
    same_recipe_reason: str = "",
    together: TwoPeople | None = None,
) -> Outcome:
    """Rework a failed (or aborted) batch as a child batch in the same vessel with the same tanks. The parent stays failed.

    A batch that failed after its tanks were filled is reworked with what is still here of it, when its vessel is free again.

    A resin that failed twice needs a ``cause_category`` (``causes.CAUSES``) and another recipe version, or a
    ``same_recipe_reason``; from the third failure on two people plan it ``together`` (``failures``).

    A mixed bed whose recipe runs the legs apart keeps its anion vessel; ``anion_vessel_id`` names another, free one. While
    the resin stands in two vessels (aborted between cut and join) both stay with it.

    Raises: TransitionRefused, RecordRefused, PlanRefused.
    """
    parent = locked(batch_id, version)
    if len(cause.strip()) < 10:
        raise RecordRefused(
            "The cause is too short. Say in at least 10 characters why it failed.", field="cause"
        )
    needs = rework_needs(parent)
    _refuse_unmet(by, parent, needs, recipe_version_id, cause_category, same_recipe_reason, together)
    move_batch(parent, BatchAction.REWORK, by=by, snapshot=batch_snapshot(parent, by=by))
    links = list(parent.tank_links.filter(is_current=True).select_related("visit__tank"))
    if parent.is_in_tanks:
        _refuse_occupied(parent.vessel)
    recipe_version = _approved_recipe(recipe_version_id, by.at)
    visits = visits_for([link.visit_id for link in links])
    frozen = plan_of(parent).request
    wanted = Wanted(
        visits=visits,
        vessel=parent.vessel,
        recipe_version=recipe_version,
        anion_vessel=_anion_vessel_of_rework(parent, recipe_version, anion_vessel_id),
        resin_volume_m3=resin_here_m3(parent),
        eluted_equivalents=frozen.eluted_equivalents,
        throughput_m3=frozen.throughput_m3,
    )
    plan = preview(wanted, by.at)
    text, plan_digest = freeze(plan)
    _refuse_blocked(plan)
    parent.tank_links.filter(is_current=True).update(is_current=False)
    child = _create(
        by,
        plan,
        text,
        plan_digest,
        wanted,
        Chosen(parent.specification_version, worked_of(parent)),
        parent=parent,
        cause=Cause(cause.strip(), cause_category, same_recipe_reason.strip()),
    )
    signatures = (
        sign_together(by, child, parent, needs, together) if needs.needs_two_people and together else ()
    )
    move_batch(child, BatchAction.MAKE_READY, by=by, snapshot=batch_snapshot(child, by=by))
    outcome = _frozen_outcome(child, plan, visits)
    return Outcome(
        subject=batch_subject(child),
        after=outcome.after,
        facts={
            **outcome.facts,
            "parent": parent.number,
            "failures": needs.failures,
            "same_recipe_reason": same_recipe_reason.strip(),
            "signed_by": [signature.printed_name for signature in signatures],
        },
        reason=cause_words(cause_category, cause.strip()),
        signature={
            "meaning": signatures[0].meaning,
            "digest": signatures[0].digest,
            "name": signatures[0].printed_name,
        }
        if signatures
        else None,
        related=(*outcome.related, ("batch", parent.number)),
        result=child,
    )


def _refuse_unmet(
    by: By,
    parent: Batch,
    needs: ReworkNeeds,
    recipe_version_id: int,
    cause_category: str,
    same_recipe_reason: str,
    together: TwoPeople | None,
) -> None:
    """Raises: RecordRefused, NotAllowed for what a second or third failure asks for and is not there."""
    if cause_category:
        one_of(cause_category, CAUSES, "The kind of cause", field="cause_category")
    if needs.needs_cause_category and not cause_category:
        raise RecordRefused(
            f"This resin failed {needs.failures} times. Choose what kind of cause it is.",
            field="cause_category",
            code="no_category",
        )
    is_same = recipe_version_id == parent.recipe_version_id
    if needs.needs_another_recipe and is_same and len(same_recipe_reason.strip()) < SHORTEST_REASON:
        raise RecordRefused(needs.same_recipe, field="same_recipe_reason", code="same_recipe")
    if needs.needs_two_people:
        refuse_alone(by, parent, needs, together)


def _refuse_unfit_tanks(visits: Sequence[TankVisit], now: datetime) -> None:
    for visit in visits:
        sentence = unfit(visit, None, now)
        if sentence:
            raise RecordRefused(sentence, code="tank_unfit", field="tanks")


def _refuse_occupied(vessel: Vessel, *, field: str = "vessel", except_for: Batch | None = None) -> None:
    others = occupants(vessel)
    first = (others.exclude(pk=except_for.pk) if except_for else others).first()
    if first is None:
        return
    if first.anion_vessel_id == vessel.pk:
        what = f"{vessel.code} is the anion vessel of batch {first.number} ({first.get_state_display()})"
    else:
        what = f"{vessel.code} holds batch {first.number} ({first.get_state_display()})"
    raise RecordRefused(
        f"{what}. It is free when that batch is filled or scrapped.", code="vessel_occupied", field=field
    )


def _anion_vessel(pk: int | None, vessel: Vessel, recipe_version: RecipeVersion) -> Vessel | None:
    """The vessel of the anion leg: wanted by a recipe that runs the legs apart, refused by any other.

    Raises: RecordRefused.
    """
    if not runs_apart(recipe_version):
        if pk is None:
            return None
        raise RecordRefused(
            f"Recipe {recipe_version.recipe.code} needs no anion vessel: only a mixed bed whose legs run apart has one.",
            field="anion_vessel",
            code="anion_vessel_not_needed",
        )
    found = Vessel.objects.select_for_update().filter(pk=pk).first() if pk is not None else None
    if found is None:
        raise RecordRefused(
            f"Recipe {recipe_version.recipe.code} moves the anion resin to a vessel of its own. Choose that vessel.",
            field="anion_vessel",
            code="anion_vessel_missing",
        )
    if found.pk == vessel.pk:
        raise RecordRefused(
            f"{vessel.code} holds the cation resin; the anion resin needs another vessel.",
            field="anion_vessel",
            code="anion_vessel_is_vessel",
        )
    return found


def _anion_vessel_of_rework(parent: Batch, recipe_version: RecipeVersion, pk: int | None) -> Vessel | None:
    stands_apart = is_apart(parent, parent.steps.all())
    if stands_apart and pk not in (None, parent.anion_vessel_id):
        assert parent.anion_vessel is not None
        raise RecordRefused(
            f"The anion resin of {parent.number} stands in {parent.anion_vessel.code}; the rework begins there.",
            field="anion_vessel",
            code="resin_stands_apart",
        )
    if not runs_apart(recipe_version) and pk is None:
        return parent.anion_vessel if stands_apart else None
    found = _anion_vessel(pk if pk is not None else parent.anion_vessel_id, parent.vessel, recipe_version)
    if found is not None:
        _refuse_occupied(found, field="anion_vessel", except_for=parent)
    return found


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
    wanted: Wanted,
    chosen: Chosen,
    *,
    parent: Batch | None = None,
    cause: Cause = NO_CAUSE,
) -> Batch:
    request, visits = plan.request, wanted.visits
    batch = Batch.objects.create(
        number=next_number(Batch, "number", "B", 10001),
        resin_type=visits[0].resin_type,
        segregation_class=request.segregation_class,
        vessel=wanted.vessel,
        anion_vessel=wanted.anion_vessel,
        recipe_version=wanted.recipe_version,
        specification_version=chosen.version,
        specification_text=chosen.text,
        parent=parent,
        rework_cause=cause.words,
        rework_cause_category=cause.category,
        rework_same_recipe_reason=cause.same_recipe_reason,
        resin_volume_m3=request.resin_volume_m3,
        resin_volume_form=request.resin_volume_form.value,
        plan_text=text,
        plan_digest=plan_digest,
        core_version=plan.core_version,
        chemical_lots={
            step.chemical.value: request.stock[step.chemical.value].lot_code
            for step in plan.steps
            if step.chemical and step.chemical.value in request.stock
        },
        planned_by=by.user,
        planned_at=by.at,
    )
    BatchTank.objects.bulk_create(
        BatchTank(batch=batch, visit=visit, resin_volume_m3=visit.resin_volume_m3, position=index)
        for index, visit in enumerate(visits, start=1)
    )
    metal, table = has_metal_flag(visits), table_in_force(by.at)
    StepRun.objects.bulk_create(
        StepRun(
            batch=batch,
            number=step.number,
            kind=step.kind.value,
            name=step.name,
            leg=step.leg.value,
            planned_duration_s=step.value("duration_s"),
            is_safe_hold_after=step.is_safe_hold_after,
            drains_to=usual(plan, step, request.segregation_class, metal=metal, table=table) or "",
        )
        for step in plan.steps
    )
    return batch


def _specification_words(batch: Batch) -> str:
    """Which specifications hold, for the log."""
    worked = worked_of(batch)
    if worked is None:
        version = batch.specification_version
        return f"{version.specification.code} version {version.number}"
    return f"strictest of {listed(part.name for part in worked.parts)}"


def _frozen_outcome(batch: Batch, plan: BatchPlan, visits: Sequence[TankVisit]) -> Outcome:
    anion = batch.anion_vessel
    recipe = f"recipe {plan.request.recipe.code} version {plan.request.recipe_version}"
    return Outcome(
        subject=batch_subject(batch),
        after={"state": batch.state, "digest": batch.plan_digest, "resin_volume_m3": batch.resin_volume_m3},
        facts={
            "tanks": len(visits),
            "serials": [visit.tank.serial for visit in visits],
            "recipe": recipe,
            "vessel": batch.vessel.code + (f" and {anion.code}" if anion else ""),
            "digest": batch.plan_digest[:8],
            "warnings": [check.sentence for check in plan.warnings],
            "specification": _specification_words(batch),
        },
        related=with_tanks(batch),
        result=batch,
    )


say("batch.frozen", "{subject} was planned: {tanks} tanks, {recipe}, in {vessel}; plan {digest}")
say("batch.rework_planned", "{subject} was planned as rework of {parent}: {recipe}, in {vessel}")
