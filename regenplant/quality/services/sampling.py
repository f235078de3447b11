"""Retained samples: written down when they are taken, discarded with a reason."""

from __future__ import annotations

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.moves import locked, touch
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.plant.selectors import plant_day
from regenplant.quality.models import RetainedSample, SampleDiscard
from regenplant.quality.retained import WHILE_TAKEN, keep_until

LEAST_M3, MOST_M3 = 1e-5, 0.02
"""10 mL to 20 L: outside of it a slip of unit is likely. This program's own bounds."""


@use_case("sample.kept", permission="qc.keep_sample")
def keep_sample(
    *, by: By, batch_id: int, volume_text: str, place: str, system: units.UnitSystem = "metric"
) -> Outcome:
    """A sample of the batch is kept: how much, and where it stands. How long follows from the class by the plant's limits.

    Raises: RecordRefused unless QC has the batch; UnitNotUnderstood, OutOfRange for the volume.
    """
    batch = locked(batch_id)
    if batch.state not in WHILE_TAKEN:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; a sample is kept from its handover to QC up to its release.",
            code="not_at_qc",
        )
    if batch.rinsed_at is not None and by.happened_at < batch.rinsed_at:
        raise RecordRefused(
            "The sample would be older than the end of the rinse. Write when it was taken.",
            field="occurred_at",
        )
    volume = units.understand(volume_text, "liquid_volume", system=system)
    if not LEAST_M3 <= volume.value <= MOST_M3:
        raise OutOfRange(
            f"{units.twin(volume.value, 'liquid_volume')} is no sample: {units.twin(LEAST_M3, 'liquid_volume')} to "
            f"{units.twin(MOST_M3, 'liquid_volume')}.",
            field="volume",
            seen=volume.value,
            allowed_low=LEAST_M3,
            allowed_high=MOST_M3,
        )
    row = RetainedSample.objects.create(
        number=next_number(RetainedSample, "number", "RS", 1001),
        batch=batch,
        taken_at=by.happened_at,
        taken_by=by.user,
        volume_as_typed=volume_text.strip(),
        volume_m3=volume.value,
        place=words_of(place, "The place", field="place", most=80, least=2),
        keep_until=keep_until(batch.segregation_class, by.happened_at),
        entered_at=by.at,
    )
    touch(batch)
    return Outcome(
        subject=("retained_sample", row.number, f"Sample {row.number}"),
        after={"volume_m3": row.volume_m3, "place": row.place, "keep_until": row.keep_until.isoformat()},
        facts={"batch": batch.number, "place": row.place, "until": row.keep_until.isoformat()},
        related=(("batch", batch.number),),
        result=row,
    )


@use_case("sample.discarded", permission="qc.discard_sample")
def discard_sample(*, by: By, sample_id: int, why: str, reason: str) -> Outcome:
    """A retained sample is kept no longer. Before its day only what is used up, lost or broken goes.

    Raises: RecordRefused.
    """
    sample = RetainedSample.objects.select_for_update(of=("self",)).select_related("batch").get(pk=sample_id)
    one_of(why, SampleDiscard.Why.values, "What became of it", field="why")
    if SampleDiscard.objects.filter(sample=sample).exists():
        raise RecordRefused(f"{sample.number} is discarded already.", code="discarded")
    today = plant_day(by.happened_at)
    if why == SampleDiscard.Why.DUE and today <= sample.keep_until:
        raise RecordRefused(
            f"{sample.number} is kept until {sample.keep_until:%Y-%m-%d}; today is {today:%Y-%m-%d}. It is not due yet.",
            code="not_due",
            field="why",
        )
    row = SampleDiscard.objects.create(
        sample=sample,
        why=why,
        reason=words_of(reason, "The reason", field="reason", most=300, least=10),
        discarded_at=by.happened_at,
        discarded_by=by.user,
    )
    return Outcome(
        subject=("retained_sample", sample.number, f"Sample {sample.number}"),
        after={"discarded": why},
        facts={"batch": sample.batch.number, "why": str(SampleDiscard.Why(why).label)},
        reason=row.reason,
        related=(("batch", sample.batch.number),),
        result=row,
    )


say("sample.kept", "{subject} of batch {batch} is kept until {until}: {place}")
say("sample.discarded", "{subject} of batch {batch} was discarded, {why}")
