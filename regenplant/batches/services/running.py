"""Running a batch, step by step."""

from __future__ import annotations

from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.reasons import Reason
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.batches import drained, taken
from regenplant.batches.allowances import over_allowance
from regenplant.batches.endings import end_not_reached, mass_fed_kg_100
from regenplant.batches.frozen import judged_rinses, plan_of
from regenplant.batches.legs import BEGUN, predecessors, standing_chemicals, vessel_of, vessels_of
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.batches.moves import batch_snapshot, locked, move_batch, move_step, step_snapshot, touch
from regenplant.batches.readiness import changed_strengths, live_blockers
from regenplant.batches.routes import destination_of, metal_flag_of, route_refusal
from regenplant.batches.services._as_typed import why_late
from regenplant.batches.services._deviations import write_deviation
from regenplant.batches.services._standing import renew_what_is_kept
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.batches.timing import is_too_long, is_too_short, span_words, worked_s
from regenplant.chemicals.services import draw_for_batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchAction, BatchState, StepAction, StepState, VisitState
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.plant.models import Vessel
from regenplant.plant.services import note_vessel_state
from regenplant.tanks.services import empty_tank


@use_case("batch.started", permission="batch.run")
def start_batch(*, by: By, batch_id: int, version: int | None = None, late: Reason | None = None) -> Outcome:
    """Start a ready batch: its tanks are emptied into the vessel and the first step begins.

    Everything that could block is looked at again, since the plant may have changed since the plan was frozen.
    """
    batch = locked(batch_id, version)
    reason = why_late(by, late)
    move_batch(
        batch,
        BatchAction.START,
        by=by,
        snapshot=batch_snapshot(batch, by=by, blocking_checks=live_blockers(batch, by.at)),
        started_at=by.happened_at,
    )
    links = batch.tank_links.filter(is_current=True)
    if (
        batch.parent_id is not None
    ):  # its resin stands in the vessel, but for tanks that were filled before it failed
        links = links.filter(visit__state=VisitState.WITHDRAWN)
    for link in links:
        empty_tank(by=by, visit_id=link.visit_id, is_in_batch=True)
    _note_class(by, batch, batch.vessel)
    first = batch.steps.order_by("number")[0]
    start_step(by=by, step_id=first.pk, late=late)
    batch.refresh_from_db()
    return Outcome(
        subject=batch_subject(batch),
        before={"state": BatchState.READY.value},
        after={"state": batch.state},
        facts={"vessel": batch.vessel.code},
        reason=reason.sentence if reason else "",
        related=with_tanks(batch),
        result=batch,
    )


@use_case("step.started", permission="batch.run")
def start_step(*, by: By, step_id: int, version: int | None = None, late: Reason | None = None) -> Outcome:
    """Start the next step. Entries that must stand before it (gear on, water flowing) are required.

    A chemical that stands in the tank at another strength than the plan took opens a deviation.
    """
    step = StepRun.objects.select_related("batch").get(pk=step_id)
    batch = locked(step.batch_id, version)
    _in_order_of_time(by, batch, step)
    _refuse_route(batch, step, by.at)
    reason = why_late(by, late)
    move_step(
        step,
        StepAction.START,
        by=by,
        snapshot=step_snapshot(step, batch, now=by.at),
        started_at=by.happened_at,
        started_by=by.user,
    )
    planned = plan_of(batch).step(step.number)
    if planned.chemical:
        _note_strength(by, batch, step, planned.chemical)
        vessel = vessel_of(batch, step.leg)
        _note_vessel(by, batch, vessel, last_chemical=planned.chemical.value, is_flushed=False)
    if StepKind(step.kind) is StepKind.CUT and batch.anion_vessel is not None:
        _note_class(by, batch, batch.anion_vessel)
    if step.number in judged_rinses(plan_of(batch)) and batch.state == BatchState.RUNNING:
        move_batch(batch, BatchAction.BEGIN_RINSE, by=by, snapshot=batch_snapshot(batch, by=by))
    else:
        touch(batch)
    renew_what_is_kept(batch, by.at)
    return _step_outcome(batch, step, reason=reason.sentence if reason else "")


@use_case("step.finished", permission="batch.run")
def finish_step(
    *,
    by: By,
    step_id: int,
    version: int | None = None,
    reason: str = "",
    late: Reason | None = None,
    soon_is_true: bool = False,
) -> Outcome:
    """End the running step.

    A step with a chemical that ends much sooner than planned is refused until the person says that it is true
    (``soon_is_true``); then it ends and a deviation is opened. When its end is not reached (chemical still to
    feed, end point not met), or a rinse that went on took more water than QC allowed, it can only be ended with a reason of at
    least 10 characters by a person who may skip steps; that opens a deviation. Ending the sample hands the batch to QC.
    """
    step = StepRun.objects.select_related("batch").get(pk=step_id)
    batch = locked(step.batch_id, version)
    _in_order_of_time(by, batch, step)
    late_reason = why_late(by, late)
    open_ends = end_not_reached(step, batch) if step.state == StepState.RUNNING else ()
    if open_ends and reason:
        require(by, "step.skip", batch.segregation_class)
        if len(reason.strip()) < 10:
            raise RecordRefused(
                "The reason is too short. Say in at least 10 characters why this step ends here.",
                field="reason",
            )
        source, how = _source_and_words(step, batch, open_ends)
        write_deviation(
            by=by,
            batch=batch,
            step=step,
            severity="major",
            source=source,
            what=f"{step.name} {how}: {reason.strip()} ({' '.join(open_ends)})",
        )
        open_ends = ()
    elif not open_ends:
        _watch_time(by, batch, step, soon_is_true=soon_is_true)
    move_step(
        step,
        StepAction.FINISH,
        by=by,
        snapshot=step_snapshot(step, batch, now=by.at, end_not_reached=open_ends),
        finished_at=by.happened_at,
        finished_by=by.user,
    )
    facts = _after_finish(by, batch, step)
    said = "; ".join(filter(None, (reason.strip(), late_reason.sentence if late_reason else "")))
    renew_what_is_kept(batch, by.at)
    return _step_outcome(batch, step, reason=said, **facts)


def _refuse_route(batch: Batch, step: StepRun, now: datetime) -> None:
    """No step starts whose drain the class table does not let go where it goes (EV-01, EV-02). Raises: RecordRefused."""
    if not plan_of(batch).step(step.number).drain_to:
        return
    words = route_refusal(step, batch, destination_of(step, batch), metal=metal_flag_of(batch), now=now)
    if words:
        raise RecordRefused(words, code="destination")


def _source_and_words(step: StepRun, batch: Batch, open_ends: tuple[str, ...]) -> tuple[str, str]:
    """Of the deviation: ended before its end, or at its end with more water than it was allowed."""
    if open_ends == over_allowance(step, batch):
        return Deviation.Source.LIMIT.value, "took more water than it was allowed"
    return Deviation.Source.ENDED_EARLY.value, "ended early"


@use_case("step.skipped", permission="step.skip")
def skip_step(*, by: By, step_id: int, reason: str, version: int | None = None) -> Outcome:
    """Skip a waiting step formally. Steps that keep the bed safe or prove it are never skipped."""
    step = StepRun.objects.select_related("batch").get(pk=step_id)
    batch = locked(step.batch_id, version)
    if len(reason.strip()) < 10:
        raise RecordRefused(
            "The reason is too short. Say in at least 10 characters why this step is skipped.", field="reason"
        )
    move_step(
        step,
        StepAction.SKIP,
        by=by,
        snapshot=step_snapshot(step, batch, now=by.at),
        skip_reason=reason.strip(),
    )
    write_deviation(
        by=by,
        batch=batch,
        step=step,
        severity="minor",
        source=Deviation.Source.SKIPPED.value,
        what=f"{step.name} was skipped: {reason.strip()}",
    )
    touch(batch)
    renew_what_is_kept(batch, by.at)
    return _step_outcome(batch, step, reason=reason.strip())


def _after_finish(by: By, batch: Batch, step: StepRun) -> dict[str, object]:
    """What the end of a step brings with it: stock drawn, vessel flushed, batch handed to QC."""
    planned = plan_of(batch).step(step.number)
    facts = _drawn(by, batch, step, planned) if planned.chemical else {}
    _note_flushed(by, batch, step)
    drained.told(by, batch, step)
    if StepKind(step.kind) is StepKind.SAMPLE and not batch.steps.filter(number__gt=step.number).exists():
        move_batch(
            batch,
            BatchAction.HAND_TO_QC,
            by=by,
            snapshot=batch_snapshot(batch, by=by),
            rinsed_at=by.happened_at,
        )
    else:
        touch(batch)
    return facts


def _drawn(by: By, batch: Batch, step: StepRun, planned: PlannedStep) -> dict[str, object]:
    """The stock this step used leaves the ledger, as 100 %; nothing where nothing went in."""
    assert planned.chemical is not None
    used_kg = mass_fed_kg_100(step, planned)
    grams = round(used_kg * 1000)
    if grams:
        draw_for_batch(
            by=by,
            chemical=planned.chemical.value,
            grams_100=grams,
            reference=batch.number,
            step_number=step.number,
        )
    else:
        taken.told(batch)
    return {
        "chemical": planned.chemical.label,
        "used_kg_100": used_kg,
        "planned_kg_100": planned.value("chemical_kg_100"),
    }


def _note_flushed(by: By, batch: Batch, step: StepRun) -> None:
    """A vessel is flushed once nothing stands in any leg it holds."""
    vessel = vessel_of(batch, step.leg)
    if vessel.is_flushed or StepKind(step.kind) not in FLUSHING:
        return
    standing = standing_chemicals(batch.steps.all(), plan_of(batch))
    if not any(vessel_of(batch, leg) == vessel for leg in standing):
        _note_vessel(by, batch, vessel, last_chemical=vessel.last_chemical, is_flushed=True)


FLUSHING = (StepKind.DISPLACE, StepKind.RINSE, StepKind.FAST_RINSE)


def _watch_time(by: By, batch: Batch, step: StepRun, *, soon_is_true: bool) -> None:
    """A step with a chemical that ends implausibly soon is asked about, one that took far too long is a deviation.

    Raises: RecordRefused.
    """
    if step.state != StepState.RUNNING or plan_of(batch).step(step.number).chemical is None:
        return
    took_s, planned_s = worked_s(step, batch.holds.all(), by.happened_at), step.planned_duration_s
    words = f"after {span_words(took_s)}, planned are {span_words(planned_s)}"
    if is_too_short(took_s, planned_s):
        if not soon_is_true:
            raise RecordRefused(
                f"{step.name} would end {words}. Write when it really ended, or say that it is true.",
                code="too_soon",
                seen=took_s,
                planned=planned_s,
            )
        severity, what = "major", f"{step.name} ended {words}, and that was said to be true"
    elif is_too_long(took_s, planned_s):
        severity, what = "minor", f"{step.name} ended {words}"
    else:
        return
    write_deviation(
        by=by, batch=batch, step=step, severity=severity, source=Deviation.Source.TIME.value, what=what
    )


def _note_strength(by: By, batch: Batch, step: StepRun, chemical: Chemical) -> None:
    """A batch that runs keeps its plan. When its chemical stands in the tank at another strength than it was planned with, that
    is a deviation of the first step that brings it: the dose is off, and somebody decides what that means."""
    plan = plan_of(batch)
    earlier = [one.number for one in plan.steps if one.chemical is chemical and one.number < step.number]
    if batch.steps.filter(number__in=earlier, state__in=BEGUN).exists():
        return
    for change in changed_strengths(batch, by.at):
        if change.chemical is chemical:
            write_deviation(
                by=by,
                batch=batch,
                step=step,
                severity=Deviation.Severity.MAJOR.value,
                source=Deviation.Source.LIMIT.value,
                what=change.sentence,
            )


def _in_order_of_time(by: By, batch: Batch, step: StepRun) -> None:
    """A step starts after those before it ended (of its own leg and of the whole bed), and ends after it started; nothing
    lies ahead.

    Raises: RecordRefused.
    """
    ended = [one for one in predecessors(step, batch.steps.filter(number__lt=step.number)) if one.finished_at]
    before = max(ended, key=lambda one: (one.finished_at, one.number), default=None)
    earliest = step.started_at or (before.finished_at if before else batch.planned_at)
    if earliest and by.happened_at < earliest:
        what = (
            f"{step.name} started"
            if step.started_at
            else f"{before.name} ended"
            if before
            else "it was planned"
        )
        raise RecordRefused(f"The time lies before {what}.", field="occurred_at", code="before_start")


def _note_vessel(by: By, batch: Batch, vessel: Vessel, *, last_chemical: str, is_flushed: bool) -> None:
    note_vessel_state(
        by=by,
        vessel_id=vessel.pk,
        last_chemical=last_chemical,
        is_flushed=is_flushed,
        segregation_class=batch.segregation_class,
    )
    vessel.refresh_from_db()


def _note_class(by: By, batch: Batch, vessel: Vessel) -> None:
    """Resin of this batch comes into the vessel: from now on it is of the batch's class."""
    _note_vessel(by, batch, vessel, last_chemical=vessel.last_chemical, is_flushed=vessel.is_flushed)


def _step_outcome(batch: Batch, step: StepRun, *, reason: str = "", **facts: object) -> Outcome:
    return Outcome(
        subject=batch_subject(batch),
        after={"step_state": step.state},
        facts={"number": step.number, "name": step.name, "leg": step.leg, **facts},
        reason=reason,
        related=tuple(("vessel", vessel.code) for vessel in vessels_of(batch, step)),
        result=step,
    )


say("batch.started", "{subject} was started in {vessel}")
say("step.started", "{subject}: step {number}, {name}, started")
say("step.finished", "{subject}: step {number}, {name}, done")
say("step.skipped", "{subject}: step {number}, {name}, skipped")
