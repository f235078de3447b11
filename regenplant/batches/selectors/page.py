"""Everything the page of one batch shows, as one frozen object."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from regenplant.audit.by import By
from regenplant.batches.endings import end_not_reached
from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.batches.legs import Standing, left_standing, standing_chemicals, standing_words, vessel_of
from regenplant.batches.models import Batch, BatchTank, Deviation, Hold, StepEntry, StepRun
from regenplant.batches.moves import batch_snapshot, current_entries, step_snapshot
from regenplant.batches.offers import as_seen_by
from regenplant.batches.readiness import not_as_planned
from regenplant.batches.selectors.progress import Progress, StepLine, progress_of
from regenplant.batches.separation import SeparationRecord, separation_record
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
from regenplant.core.process.vocabulary import Chemical, Leg


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One thing to write down, with what stands there now."""

    spec: EntrySpec
    entry: StepEntry | None
    is_missing: bool


@dataclass(frozen=True, slots=True)
class Work:
    """One step that can be worked on now, as the acting person sees it."""

    line: StepLine
    leg: Leg
    vessel_code: str
    planned: PlannedStep
    following_planned: PlannedStep | None
    entries: tuple[EntryLine, ...]
    offers: tuple[Offer[StepAction], ...]
    end_not_reached: tuple[str, ...]

    def offer(self, action: str) -> Offer[StepAction] | None:
        return next((offer for offer in self.offers if offer.action == action), None)


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
    """What stands in the bed now, leg by leg, as the subject of a sentence; "" where nothing does."""
    ready_at: datetime | None
    """When all steps are done if they keep to the plan from now on."""
    is_plan_untouched: bool
    children: tuple[Batch, ...]
    works: tuple[Work, ...] = ()
    """Every step that can be worked on now; two while the legs of a mixed bed run side by side. The page's own ``current``,
    ``entries`` and ``step_offers`` are those of the one in front."""
    left_standing: tuple[Standing, ...] = ()
    """Legs in which a chemical stands while nothing runs."""
    separation: SeparationRecord | None = None
    """How a mixed bed parted, as written down; None for any other batch."""
    not_as_planned: str = ""
    """Of a batch that is not started: why it must be planned again, "" when it need not."""
    standing: Mapping[Leg, Chemical] = field(default_factory=dict)
    """What stands in which leg now; only legs with a chemical appear."""

    def offer(self, action: str) -> Offer[BatchAction] | None:
        return next((offer for offer in self.batch_offers if offer.action == action), None)

    def step_offer(self, action: str) -> Offer[StepAction] | None:
        return next((offer for offer in self.step_offers if offer.action == action), None)


def batch_page(batch: Batch, *, by: By, step_number: int | None = None) -> BatchPage:
    """The page of one batch as the acting person sees it.

    ``step_number`` puts one of the steps at work in front, where two legs run side by side; a number that is not at work is
    passed over, and the step that runs stands in front.
    """
    plan, now = plan_of(batch), by.at
    progress = progress_of(batch, now)
    steps = list(batch.steps.order_by("number"))
    is_open = batch.state not in _FINISHED
    works = _works(batch, plan, progress, steps, by) if is_open else ()
    front = progress.current.number if progress.current else None
    if step_number in {work.line.number for work in works}:
        front = step_number
    work = next((work for work in works if work.line.number == front), None)
    deviations = list(batch.deviations.select_related("opened_by", "decided_by", "step"))
    standing = standing_chemicals(steps, plan)
    return BatchPage(
        batch=batch,
        plan=plan,
        progress=progress,
        current=work.line if work else None,
        current_planned=work.planned if work else None,
        following_planned=work.following_planned if work else None,
        entries=work.entries if work else (),
        written=tuple(
            StepEntry.objects.filter(step__batch=batch)
            .select_related(
                "step", "entered_by", "instrument", "replaced_by", "replaces", "check_of_it__checked_by"
            )
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
        batch_offers=as_seen_by(
            BATCH.offers(BatchState(batch.state), batch_snapshot(batch, by=by)), by, batch.segregation_class
        ),
        step_offers=work.offers if work else (),
        end_not_reached=work.end_not_reached if work else (),
        chemical_in_bed=standing_words(standing),
        ready_at=now + timedelta(seconds=progress.left_s) if work else None,
        is_plan_untouched=is_untouched(batch),
        children=tuple(batch.children.all()),
        works=works,
        left_standing=left_standing(batch, steps, plan) if is_open else (),
        separation=separation_record(batch),
        not_as_planned=not_as_planned(batch, now),
        standing=standing,
    )


def _works(
    batch: Batch, plan: BatchPlan, progress: Progress, steps: list[StepRun], by: By
) -> tuple[Work, ...]:
    runs = {step.number: step for step in steps}
    found = []
    for line in progress.at_work:
        step, after = runs[line.number], progress.after(line)
        open_ends = end_not_reached(step, batch) if step.state == StepState.RUNNING else ()
        found.append(
            Work(
                line=line,
                leg=Leg(line.leg),
                vessel_code=vessel_of(batch, line.leg).code,
                planned=plan.step(line.number),
                following_planned=plan.step(after.number) if after else None,
                entries=_entry_lines(step, plan),
                offers=_step_offers(step, batch, open_ends, by),
                end_not_reached=open_ends,
            )
        )
    return tuple(found)


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
    return as_seen_by(STEP.offers(StepState(step.state), snapshot), by, batch.segregation_class)
