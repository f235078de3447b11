"""The one writer of a batch's state and of a step's state: snapshot, ask the table, compare and set.

``select_for_update`` does nothing on SQLite, so the guard is the update itself: it names the state and the version it
expects and must touch exactly one row.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.selectors import actors_about
from regenplant.audit.use_case import require
from regenplant.batches import taken
from regenplant.batches.checking import unchecked
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import (
    OPEN,
    next_safe_point,
    predecessors,
    standing_chemicals,
    standing_words,
    vessels_of,
)
from regenplant.batches.models import (
    Batch,
    BatchTank,
    Hold,
    MeterLog,
    MeterLogSetAside,
    RinseReading,
    StepEntry,
    StepRun,
)
from regenplant.batches.reopened import is_reopened
from regenplant.core.errors import StaleRecord
from regenplant.core.process.entry_rules import may_be_left
from regenplant.core.process.lifecycle import (
    BATCH,
    STEP,
    BatchAction,
    BatchSnapshot,
    BatchState,
    StepAction,
    StepSnapshot,
    StepState,
    label,
)
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from regenplant.plant.models import Vessel
from regenplant.plant.selectors import is_eyewash_overdue, plant_day, profile


def locked(batch_id: int, version: int | None = None) -> Batch:
    """The batch, locked for this act. Raises StaleRecord when it moved on since the page was shown."""
    batch = (
        Batch.objects.select_for_update(of=("self",))
        .select_related("vessel", "anion_vessel", "resin_type")
        .get(pk=batch_id)
    )
    if version is not None and batch.version != version:
        raise StaleRecord(
            f"Batch {batch.number} moved on since this page was shown: it is {label(BatchState(batch.state))} now. "
            "Look again; what you typed is kept below.",
            seen=version,
            present=batch.version,
            table=Batch._meta.db_table,
            key=str(batch.pk),
        )
    return batch


def move_batch(
    batch: Batch, action: BatchAction, *, by: By, snapshot: BatchSnapshot, **fields: Any
) -> BatchState:
    """Take one action. Checks the permission of the move, the guards, and writes state and ``fields`` together.

    Raises: NotAllowed, TransitionRefused, StaleRecord (somebody else was faster).
    """
    state = BatchState(batch.state)
    require(by, BATCH.rule(state, action).permission, batch.segregation_class)
    target = BATCH.transition(
        state, action, snapshot, held_from=BatchState(batch.held_from) if batch.held_from else None
    )
    touched = Batch.objects.filter(pk=batch.pk, state=state.value, version=batch.version).update(
        state=target.value, version=batch.version + 1, **fields
    )
    if touched != 1:
        raise StaleRecord(
            f"Batch {batch.number} was changed by somebody else at the same moment. Look again."
        )
    batch.refresh_from_db()
    taken.told(batch)
    return target


def touch(batch: Batch) -> None:
    """Count a change inside a batch, so that a page shown before it is known to be old."""
    if Batch.objects.filter(pk=batch.pk, version=batch.version).update(version=batch.version + 1) != 1:
        raise StaleRecord(
            f"Batch {batch.number} was changed by somebody else at the same moment. Look again."
        )
    batch.version += 1


def move_step(
    step: StepRun, action: StepAction, *, by: By, snapshot: StepSnapshot, **fields: Any
) -> StepState:
    """Take one action on a step; same rules as ``move_batch``."""
    state = StepState(step.state)
    require(by, STEP.rule(state, action).permission, step.batch.segregation_class)
    target = STEP.transition(state, action, snapshot)
    touched = StepRun.objects.filter(pk=step.pk, state=state.value).update(state=target.value, **fields)
    if touched != 1:
        raise StaleRecord(f"Step {step.number} was changed by somebody else at the same moment. Look again.")
    step.refresh_from_db()
    return target


# --- snapshots ------------------------------------------------------------------------------------------------------
def batch_snapshot(
    batch: Batch,
    *,
    by: By,
    blocking_checks: tuple[str, ...] = (),
    qc_verdict: str = "",
    qc_reasons: tuple[str, ...] = (),
    also_took_part: tuple[str, ...] = (),
) -> BatchSnapshot:
    """What the guards look at. Quality adds what only it knows (verdict, who measured)."""
    steps = list(batch.steps.order_by("number"))
    links = list(BatchTank.objects.filter(batch=batch, is_current=True))
    plan = plan_of(batch)
    standing = standing_chemicals(steps, plan)
    performed = performed_by(batch, by.user.pk)
    return BatchSnapshot(
        blocking_checks=blocking_checks,
        chemical_in_bed=standing_words(standing),
        stands_in=ResinFamily(batch.resin_type.family).stands_in,
        may_stop_here=not standing,
        checks_missing=_checks_missing(batch, steps),
        steps_before_qc_open=tuple(
            s.name for s in steps if s.state in (StepState.WAITING, StepState.RUNNING)
        ),
        next_safe_point=next_safe_point(steps, standing),
        qc_verdict=qc_verdict,
        qc_reasons=qc_reasons,
        open_deviations=batch.deviations.filter(decided_at__isnull=True).count(),
        tanks_not_filled=sum(1 for link in links if not link.is_filled and not link.set_aside_reason),
        tanks_filled=sum(1 for link in links if link.is_filled and not link.is_withdrawn),
        actor_name=by.user.full_name,
        actor_performed=performed,
        actor_took_part=(
            *performed,
            *recorded_by(batch, by.user.pk),
            *filled_by(batch, by.user.pk),
            *also_took_part,
        ),
        has_live_child=batch.children.exclude(
            state__in=[BatchState.ABORTED, BatchState.SCRAPPED, BatchState.FAILED]
        ).exists(),
        is_resin_gone=batch.is_in_tanks and not any(link.is_filled for link in links),
        is_started=batch.started_at is not None,
        is_reopened=is_reopened(batch.pk),
    )


def _checks_missing(batch: Batch, steps: list[StepRun]) -> tuple[str, ...]:
    """Critical entries nobody checked, looked for only where the batch is about to be handed to QC."""
    if batch.state != BatchState.RINSING or sum(1 for step in steps if step.state in OPEN) > 1:
        return ()
    return tuple(one.name for one in unchecked(batch))


def performed_by(batch: Batch, person_id: int) -> tuple[str, ...]:
    """What work on the bed this person did."""
    names: list[str] = []
    for step in batch.steps.order_by("number"):
        if person_id in (step.started_by_id, step.finished_by_id):
            names.append(step.name[:1].lower() + step.name[1:])
    return (f"performed {', '.join(names)}",) if names else ()


def people_of_step(step: StepRun) -> set[int]:
    """Keys of everybody who started, ended or wrote down something in this step."""
    wrote = StepEntry.objects.filter(step=step).values_list("entered_by_id", flat=True)
    read = step.readings.values_list("entered_by_id", flat=True)
    logged = step.meter_logs.values_list("entered_by_id", flat=True)
    worked = (step.started_by_id, step.finished_by_id)
    return {pk for pk in (*worked, *wrote, *read, *logged) if pk is not None}


def recorded_by(batch: Batch, person_id: int) -> tuple[str, ...]:
    """What this person wrote down."""
    parts = []
    if StepEntry.objects.filter(step__batch=batch, entered_by=person_id).exists():
        parts.append("wrote down step entries")
    if RinseReading.objects.filter(batch=batch, entered_by=person_id).exists():
        parts.append("took rinse readings")
    if MeterLog.objects.filter(batch=batch, entered_by=person_id).exists():
        parts.append("handed in a log of the rinse")
    if MeterLogSetAside.objects.filter(log__batch=batch, set_aside_by=person_id).exists():
        parts.append("set a log of the rinse aside")
    if batch.top_ups.filter(topped_by=person_id).exists():
        parts.append("topped up the bed")
    return tuple(parts)


FILLING_ACTS = ("batch.tank_filled", "batch.tank_set_aside", "batch.shell_added", "batch.filled")
"""Work on what is released that stands in the log only."""


def filled_by(batch: Batch, person_id: int) -> tuple[str, ...]:
    """Whether this person filled the tanks that a release would let go."""
    fillers = actors_about("batch", batch.number, FILLING_ACTS)
    return ("filled its tanks",) if str(person_id) in fillers else ()


def step_snapshot(
    step: StepRun, batch: Batch, *, now: datetime, end_not_reached: tuple[str, ...] = ()
) -> StepSnapshot:
    """What the guards of a step look at."""
    state = BatchState(batch.state)
    planned = plan_of(batch).step(step.number)
    written = current_entries(step)
    before = tuple(e.name for e in planned.entries if e.is_before and _is_missing(e, written))
    missing = tuple(e.name for e in planned.entries if _is_missing(e, written))
    earlier = predecessors(step, batch.steps.filter(number__lt=step.number, state__in=OPEN))
    return StepSnapshot(
        batch_is_held=state is BatchState.HELD,
        batch_state_label=label(state),
        batch_may_run=state in (BatchState.RUNNING, BatchState.RINSING),
        safety_blocks=_safety_blocks(vessels_of(batch, step), planned.chemical, now),
        predecessors_open=tuple(s.name for s in earlier),
        entries_missing_before=before,
        entries_missing=missing,
        end_not_reached=end_not_reached,
        checks_missing=_checks_missing(batch, list(batch.steps.all()))
        if StepKind(step.kind) is StepKind.SAMPLE and state is BatchState.RINSING
        else (),
        may_be_skipped=_may_be_skipped(step, batch),
        name=step.name,
    )


def _is_missing(spec: EntrySpec, written: dict[str, StepEntry]) -> bool:
    """Whether a step waits for this entry. Not done and not applicable are answers too, but not to what must be true before
    a step starts."""
    if not spec.is_required:
        return False
    entry = written.get(spec.key)
    return entry is None or (entry.standing != StepEntry.Standing.WRITTEN and not may_be_left(spec))


def _may_be_skipped(step: StepRun, batch: Batch) -> bool:
    """A backwash or a settling may be left out, but not between the separation of a mixed bed, in water or in a dense
    solution, and its cut: there the layers decide what each regenerant meets."""
    if StepKind(step.kind) not in (StepKind.BACKWASH, StepKind.SETTLE):
        return False
    numbers = {one.kind: one.number for one in plan_of(batch).steps}
    cut = numbers.get(StepKind.CUT)
    parts = [numbers[kind] for kind in (StepKind.SEPARATE, StepKind.FLOAT) if kind in numbers]
    return not parts or cut is None or not min(parts) < step.number < cut


def _safety_blocks(vessels: tuple[Vessel, ...], chemical: Chemical | None, now: datetime) -> tuple[str, ...]:
    blocks = [
        f"{vessel.code} is locked out: {vessel.lock_out_reason}."
        for vessel in vessels
        if vessel.is_locked_out
    ]
    if chemical:
        plant = profile()
        if is_eyewash_overdue(plant, plant_day(now)):
            blocks.append(
                f"The eyewash test is overdue. {chemical.label} cannot start until the test is written down."
            )
    return tuple(blocks)


def current_entries(step: StepRun) -> dict[str, StepEntry]:
    """The newest entry of each key that no later entry replaces."""
    found: dict[str, StepEntry] = {}
    for entry in step.entries.filter(replaced_by__isnull=True).order_by("occurred_at", "id"):
        found[entry.key] = entry
    return found


def open_hold(batch: Batch) -> Hold | None:
    return batch.holds.filter(resumed_at__isnull=True).first()
