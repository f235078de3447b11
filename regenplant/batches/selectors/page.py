"""Everything the page of one batch shows, as one frozen object."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.audit.by import By
from regenplant.batches.endings import end_not_reached
from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.batches.models import Batch, BatchTank, Deviation, Hold, StepEntry, StepRun
from regenplant.batches.moves import batch_snapshot, chemical_in_bed, current_entries, step_snapshot
from regenplant.batches.offers import as_seen_by
from regenplant.batches.selectors.progress import Progress, StepLine, progress_of
from regenplant.core.process.lifecycle import (
    BATCH,
    STEP,
    BatchAction,
    BatchState,
    Offer,
    StepAction,
    StepState,
)
from regenplant.core.process.plan import BatchPlan, EntrySpec, PlannedStep


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One thing to write down, with what stands there now."""

    spec: EntrySpec
    entry: StepEntry | None
    is_missing: bool


@dataclass(frozen=True, slots=True)
class BatchPage:
    batch: Batch
    plan: BatchPlan
    progress: Progress
    current: StepLine | None
    current_planned: PlannedStep | None
    following_planned: PlannedStep | None
    entries: tuple[EntryLine, ...]
    written: tuple[StepEntry, ...]
    """Every entry of every step, newest first, replaced ones included."""
    tanks: tuple[BatchTank, ...]
    open_deviations: tuple[Deviation, ...]
    decided_deviations: tuple[Deviation, ...]
    hold: Hold | None
    batch_offers: tuple[Offer[BatchAction], ...]
    step_offers: tuple[Offer[StepAction], ...]
    end_not_reached: tuple[str, ...]
    chemical_in_bed: str
    ready_at: datetime | None
    """When all steps are done if they keep to the plan from now on."""
    is_plan_untouched: bool
    children: tuple[Batch, ...]

    def offer(self, action: str) -> Offer[BatchAction] | None:
        return next((offer for offer in self.batch_offers if offer.action == action), None)

    def step_offer(self, action: str) -> Offer[StepAction] | None:
        return next((offer for offer in self.step_offers if offer.action == action), None)


def batch_page(batch: Batch, *, by: By) -> BatchPage:
    """The page of one batch as the acting person sees it."""
    plan, now = plan_of(batch), by.at
    progress = progress_of(batch, now)
    current = progress.current if batch.state not in _FINISHED else None
    step = StepRun.objects.get(pk=current.id) if current else None
    open_ends = end_not_reached(step, batch) if step and step.state == StepState.RUNNING else ()
    following = progress.following
    steps = list(batch.steps.order_by("number"))
    chemical = chemical_in_bed(steps, batch)
    deviations = list(batch.deviations.select_related("opened_by", "decided_by", "step"))
    return BatchPage(
        batch=batch,
        plan=plan,
        progress=progress,
        current=current,
        current_planned=plan.step(current.number) if current else None,
        following_planned=plan.step(following.number) if following else None,
        entries=_entry_lines(step, plan) if step else (),
        written=tuple(
            StepEntry.objects.filter(step__batch=batch)
            .select_related("step", "entered_by", "instrument", "replaced_by", "replaces")
            .order_by("-occurred_at", "-id")
        ),
        tanks=tuple(
            batch.tank_links.select_related(
                "visit__tank__size", "visit__customer", "visit__tank__dedicated_to"
            ).order_by("position")
        ),
        open_deviations=tuple(d for d in deviations if d.is_open),
        decided_deviations=tuple(d for d in deviations if not d.is_open),
        hold=batch.holds.filter(resumed_at__isnull=True).select_related("held_by").first(),
        batch_offers=as_seen_by(BATCH.offers(BatchState(batch.state), batch_snapshot(batch, by=by)), by),
        step_offers=_step_offers(step, batch, open_ends, by) if step else (),
        end_not_reached=open_ends,
        chemical_in_bed=chemical.label if chemical else "",
        ready_at=now + timedelta(seconds=progress.left_s)
        if current and batch.state not in _FINISHED
        else None,
        is_plan_untouched=is_untouched(batch),
        children=tuple(batch.children.all()),
    )


_FINISHED = (
    BatchState.AWAITING_QC,
    BatchState.PASSED,
    BatchState.FAILED,
    BatchState.FILLED,
    BatchState.RELEASED,
    BatchState.ABORTED,
    BatchState.SCRAPPED,
)


def _entry_lines(step: StepRun, plan: BatchPlan) -> tuple[EntryLine, ...]:
    written = current_entries(step)
    return tuple(
        EntryLine(spec, written.get(spec.key), spec.is_required and spec.key not in written)
        for spec in plan.step(step.number).entries
    )


def _step_offers(
    step: StepRun, batch: Batch, open_ends: tuple[str, ...], by: By
) -> tuple[Offer[StepAction], ...]:
    snapshot = step_snapshot(step, batch, now=by.at, end_not_reached=open_ends)
    return as_seen_by(STEP.offers(StepState(step.state), snapshot), by)
