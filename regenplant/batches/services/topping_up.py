"""Resin from the store into the bed of a running batch, and what is left of a batch into the store."""

from __future__ import annotations

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches import resin_volumes
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, BatchTopUp
from regenplant.batches.moves import locked, touch
from regenplant.batches.services._subject import batch_subject
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.lifecycle import BatchState, StepState, VisitState, label
from regenplant.core.process.resin_lots import COUNT_BAND_FRAC
from regenplant.core.process.vocabulary import StepKind
from regenplant.resins import bodies
from regenplant.resins.services import Counted, keep_in_store, take_for_batch

LEAST_OF_BED_FRAC = 0.5
"""A bed counted below this share of its book is taken for a slip of unit or of a decimal (ours)."""


@use_case("batch.topped_up", permission="batch.run")
def top_up_batch(
    *,
    by: By,
    batch_id: int,
    resin_lot_id: int,
    added: Counted,
    bed: Counted,
    reason: str,
    version: int | None = None,
) -> Outcome:
    """Add conditioned resin of the same key from the store to the bed of a running batch; ``bed`` is the settled volume counted afterwards.

    Before the first chemical only, so that all of the bed gets the whole regeneration; never above what the plan and its dose were
    made for.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    batch = locked(batch_id, version)
    _may_be_topped_up(batch)
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    before = resin_volumes.counted_bed_m3(batch)
    volume = take_for_batch(
        by=by,
        resin_lot_id=resin_lot_id,
        counted=added,
        reference=batch.number,
        resin_type_id=batch.resin_type_id,
        segregation_class=batch.segregation_class,
        dedicated_to=_owner(batch),
        reason=words,
    ).result
    after = bodies.exhausted_m3(batch.resin_type, bed.volume_m3, bed.form)
    _bed_can_be(batch, before, volume, after)
    row = BatchTopUp.objects.create(
        batch=batch, lot_id=resin_lot_id, volume_m3=added.volume_m3, volume_form=added.form, added_m3=volume,
        bed_volume_m3=bed.volume_m3, bed_form=bed.form, bed_m3=after, before_m3=before, reason=words,
        topped_at=by.happened_at, topped_by=by.user,
    )  # fmt: skip
    touch(batch)
    return Outcome(
        subject=batch_subject(batch),
        before={"bed_m3": before},
        after={"bed_m3": after},
        facts={
            "lot": row.lot.code,
            "added": units.twin(volume, "resin_volume"),
            "bed": units.twin(after, "resin_volume"),
            "lost": f"{row.lost_m3 * 1000:.1f} L",
        },
        reason=words,
        related=(("resin_lot", str(resin_lot_id)),),
        result=row,
    )


@use_case("batch.rest_kept", permission="batch.run")
def keep_rest(*, by: By, batch_id: int, rest: Counted, version: int | None = None) -> Outcome:
    """What was left in the vessel after all tanks were filled goes into the store under the lot of the batch.

    Raises: RecordRefused when the tanks are not filled yet, or more is written than can be left; OutOfRange; StaleRecord.
    """
    batch = locked(batch_id, version)
    if batch.state not in (BatchState.FILLED, BatchState.RELEASED) or batch.lot_id is None:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}. What is left is kept once its tanks are filled.",
            code="not_filled",
        )
    volume = keep_in_store(by=by, resin_lot_id=batch.lot_id, counted=rest, reference=batch.number).result
    balance = resin_volumes.balance_of(batch)
    slack = COUNT_BAND_FRAC * balance.came_in_m3
    if balance.missing_m3 < -slack - 1e-9:
        left = max(0.0, balance.missing_m3 + volume)
        raise OutOfRange(
            f"{units.twin(volume, 'resin_volume')} in the exhausted form were written; by the book about "
            f"{units.twin(left, 'resin_volume')} are left of {batch.number}, {COUNT_BAND_FRAC:.0%} of the bed allowed for counts. Count again.",
            field="volume_m3",
            seen=volume,
            allowed_high=left + slack,
        )
    touch(batch)
    return Outcome(
        subject=batch_subject(batch),
        facts={"rest": units.twin(volume, "resin_volume"), "lot": batch.lot.code if batch.lot else ""},
        related=(("resin_lot", str(batch.lot_id)),),
        result=batch,
    )


def _may_be_topped_up(batch: Batch) -> None:
    """Raises: RecordRefused unless it runs, its tanks are empty and no chemical has met the bed."""
    if batch.state != BatchState.RUNNING:
        raise RecordRefused(
            f"Batch {batch.number} is {label(BatchState(batch.state))}. A bed is topped up while the batch runs, before its first chemical.",
            code="not_running",
        )
    links = batch.tank_links.filter(is_current=True).select_related("visit__tank")
    full = [link.visit.tank.serial for link in links if link.visit.state != VisitState.EMPTIED]
    if full and batch.parent_id is None:
        raise RecordRefused(f"{', '.join(full)} is not emptied into the vessel yet.", code="not_loaded")
    plan = plan_of(batch)
    begun = [
        step.name
        for step in batch.steps.exclude(state=StepState.WAITING.value).order_by("number")
        if plan.step(step.number).chemical or StepKind(step.kind) in resin_volumes.PARTING
    ]
    if begun:
        raise RecordRefused(
            f"{begun[0]} has begun in {batch.number}; resin added now would miss part of what the bed goes through. Top up before the first "
            "chemical and before a mixed bed is parted, or in the next batch.",
            code="chemical_begun",
        )


def _bed_can_be(batch: Batch, before_m3: float, added_m3: float, after_m3: float) -> None:
    """Raises: OutOfRange for a bed above the plan or above what went in, or so far below that it is a slip."""
    planned = resin_volumes.loaded_m3(batch)
    most = min(planned, before_m3 + added_m3) * (1.0 + COUNT_BAND_FRAC)
    least = max(added_m3, LEAST_OF_BED_FRAC * planned)
    if not least - 1e-9 <= after_m3 <= most + 1e-9:
        raise OutOfRange(
            f"The bed was counted at {units.twin(after_m3, 'resin_volume')} in the exhausted form; possible here is "
            f"{units.twin(least, 'resin_volume')} to {units.twin(most, 'resin_volume')}: the plan and its dose were made for "
            f"{units.twin(planned, 'resin_volume')}. Count again, or add less.",
            field="bed_m3",
            seen=after_m3,
            allowed_low=least,
            allowed_high=most,
        )


def _owner(batch: Batch) -> str:
    """Code of the customer to whom the tanks of a dedicated batch belong; "" for a pool."""
    owners = batch.tank_links.filter(visit__tank__dedicated_to__isnull=False)
    return owners.values_list("visit__tank__dedicated_to__code", flat=True).first() or ""


say(
    "batch.topped_up",
    "{subject}: {added} of resin lot {lot} were added; the bed was counted at {bed}, {lost} had been lost",
)
say("batch.rest_kept", "{subject}: {rest} that were left were kept in the store as {lot}")
