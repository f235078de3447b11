"""The review of a whole record, signed by a person who took no part."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.moves import locked
from regenplant.core.errors import RecordRefused
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.quality.exceptions import exceptions_of
from regenplant.quality.models import RecordReview, review_of
from regenplant.quality.record import record_of
from regenplant.quality.selectors import review_blockers
from regenplant.quality.services._signing import told
from regenplant.quality.signed_content import REVIEW_MEANING, review_content
from regenplant.quality.standing import quality_snapshot


@use_case("record.reviewed", permission="batch.review")
def review_record(
    *,
    by: By,
    batch_id: int,
    permit: SignaturePermit,
    remarks: str = "",
    version: int | None = None,
) -> Outcome:
    """Sign that the whole record was looked through. What was unusual is signed as it stands, with the digest of the record:
    once something is written after it, the review no longer holds.

    Raises: RecordRefused while a deviation is open or the record is open for correction, for a batch that is not at its end,
    and for anybody who took part in it; SignatureRefused, StaleRecord.
    """
    batch = locked(batch_id, version)
    record = record_of(batch)
    took_part = quality_snapshot(batch, record, by=by).actor_took_part
    for blocker in review_blockers(record, by, took_part):
        raise RecordRefused(blocker.sentence, code=blocker.code)
    before = review_of(batch)
    found = exceptions_of(batch, record)
    number = before.version + 1 if before else 1
    signature = bind(
        permit,
        by=by,
        meaning=REVIEW_MEANING,
        record_kind="record_review",
        record_key=batch.number,
        record_version=number,
        content=review_content(
            batch, record.digest, found, words_of(remarks, "The remark", field="remarks", most=400)
        ),
        zone=profile().time_zone,
    )
    review = RecordReview.objects.create(
        batch=batch,
        version=number,
        record_digest=record.digest,
        content=signature.content,
        unusual=len(found.findings),
        remarks=remarks.strip(),
        reviewed_by=by.user,
        reviewed_at=by.happened_at,
        signature=signature,
    )
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        facts={
            "unusual": review.unusual,
            "words": "nothing unusual"
            if not review.unusual
            else f"{review.unusual} unusual thing{'s' if review.unusual > 1 else ''} seen",
            "version": number,
            "record_digest": record.digest,
            "digest": signature.digest,
        },
        reason=remarks.strip(),
        signature=told(signature),
        result=review,
    )


say("record.reviewed", "{subject}: the whole record was reviewed, {words}")
