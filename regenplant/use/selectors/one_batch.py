"""The drill down: one batch, each step that brings a chemical with its theory, its plan and its use, down to entry, check and movement."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.chemicals.models import Movement, StrengthCheck
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.vocabulary import Chemical
from regenplant.use.gathering import StepUse, movements_of, signed_grams, steps_of_movements, steps_used
from regenplant.use.models import UseRow, UseShare


@dataclass(frozen=True, slots=True)
class StepDetail:
    """One step: what it was to bring and brought, what was written down in it, and the movements it made."""

    use: StepUse
    chemical: Chemical
    run: StepRun | None
    planned: PlannedStep | None
    entries: tuple[StepEntry, ...]
    """Every entry, the replaced ones too, in order."""
    movements: tuple[Movement, ...]
    check: StrengthCheck | None
    """The newest plant check of the lot the plan was frozen with, when it was planned."""

    @property
    def net_grams(self) -> int:
        """By the movements shown: what was drawn less what was taken back."""
        return sum(signed_grams(movement) for movement in self.movements)


@dataclass(frozen=True, slots=True)
class BatchUse:
    """A batch down to the last figure of its use."""

    batch: Batch
    rows: tuple[UseRow, ...]
    steps: tuple[StepDetail, ...]
    customers: tuple[UseShare, ...]
    resin_lots: tuple[UseShare, ...]
    chemical_lots: tuple[UseShare, ...]

    @property
    def is_told_alike(self) -> bool:
        """Whether the sums that stand beforehand say what the steps say now."""
        told = {(row.chemical, row.planned_grams, row.used_grams, row.theory_grams) for row in self.rows}
        own: dict[str, list[StepUse]] = {}
        for step in self.steps:
            own.setdefault(step.use.chemical, []).append(step.use)
        found = {
            (
                chemical,
                sum(one.planned_grams for one in uses),
                sum(one.used_grams for one in uses),
                sum(one.theory_grams for one in uses),
            )
            for chemical, uses in own.items()
        }
        return told == found


def batch_use(batch: Batch) -> BatchUse:
    """Everything the audit knows of one batch. The same number of queries for every batch."""
    movements = movements_of(batch.number)
    plan = plan_of(batch)
    runs = {
        step.number: step
        for step in batch.steps.order_by("number").prefetch_related("entries__entered_by")
        if plan.step(step.number).chemical is not None
    }
    ended = [
        (step, plan.step(number))
        for number, step in runs.items()
        if step.state == StepState.DONE and plan.step(number).chemical is not None
    ]
    of_movement = steps_of_movements(movements, ended)
    checks = _checks(batch)
    details = []
    for use in steps_used(batch, movements):
        own = [one for one in movements if of_movement[one.number] == use.number]
        if use.number == 0:
            own = [
                one for one in movements if of_movement[one.number] is None and one.chemical == use.chemical
            ]
        run = runs.get(use.number)
        details.append(
            StepDetail(
                use,
                Chemical(use.chemical),
                run,
                plan.step(use.number) if use.number else None,
                tuple(run.entries.all()) if run is not None else (),
                tuple(own),
                checks.get(use.chemical),
            )
        )
    rows = tuple(UseRow.objects.filter(number=batch.number).order_by("chemical"))
    shares = list(
        UseShare.objects.filter(row__number=batch.number)
        .select_related("row")
        .order_by("row__chemical", "-used_grams", "key")
    )

    def of_kind(kind: UseShare.Kind) -> tuple[UseShare, ...]:
        return tuple(share for share in shares if share.kind == kind)

    return BatchUse(
        batch,
        rows,
        tuple(details),
        of_kind(UseShare.Kind.CUSTOMER),
        of_kind(UseShare.Kind.RESIN_LOT),
        of_kind(UseShare.Kind.CHEMICAL_LOT),
    )


def _checks(batch: Batch) -> dict[str, StrengthCheck]:
    """By chemical: the check that stood when the batch was planned, of the lot it names."""
    rows = StrengthCheck.objects.filter(
        lot__code__in=set(batch.chemical_lots.values()), checked_at__lte=batch.planned_at
    ).select_related("lot", "checked_by")
    found: dict[str, StrengthCheck] = {}
    for check in rows.order_by("-checked_at", "-id"):
        found.setdefault(check.lot.chemical, check)
    return found
