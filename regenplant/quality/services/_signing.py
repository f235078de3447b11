"""What judging, reviewing, releasing and amending share: refusals, the next version of a release, signatures as acts name them."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.batches.frozen import is_untouched
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.people.models import Signature
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.quality.models import Release, decision_of, release_of, review_of
from regenplant.quality.signed_content import RELEASE_MEANING


def refuse_no_verdict(verdict: str, reason: str) -> None:
    """Raises: RecordRefused."""
    if verdict not in ("pass", "fail"):
        raise RecordRefused("The verdict is pass or fail.", field="verdict")
    if verdict == "fail" and len(reason.strip()) < 10:
        raise RecordRefused(
            "The reason is too short. Say in at least 10 characters why it failed.", field="reason"
        )


def refuse_altered_plan(batch: Batch) -> None:
    """Raises: RecordRefused."""
    if not is_untouched(batch):
        raise RecordRefused(
            f"The frozen plan of {batch.number} does not fit its digest. Call the supervisor; nothing is released."
        )


def signed_release(by: By, batch: Batch, permit: SignaturePermit, content: dict[str, Any]) -> Release:
    """The next version of the release, signed over what stands. Raises: SignatureRefused."""
    before = release_of(batch)
    number = before.version + 1 if before else 1
    signature = bind(
        permit,
        by=by,
        meaning=RELEASE_MEANING,
        record_kind="release",
        record_key=batch.number,
        record_version=number,
        content=content,
        zone=profile().time_zone,
    )
    return Release.objects.create(
        batch=batch,
        version=number,
        replaces=before,
        decision=decision_of(batch),
        review=review_of(batch),
        released_by=by.user,
        released_at=by.happened_at,
        signature=signature,
    )


def told(signature: Signature) -> dict[str, Any]:
    """A signature as acts name it."""
    return {"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name}
