"""Pass or fail, and the release by a person who took no part."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.legs import vessel_codes
from regenplant.batches.models import Batch
from regenplant.batches.moves import batch_snapshot, locked, move_batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BATCH, BatchAction, BatchState
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.quality.models import QcDecision
from regenplant.quality.record import record_of
from regenplant.quality.services._lots import lot_from
from regenplant.quality.services._outcomes import keep_outcome
from regenplant.quality.services._proposing import proposal_content, proposed, write_proposal
from regenplant.quality.services._signing import (
    refuse_altered_plan,
    refuse_no_verdict,
    signed_release,
    told,
)
from regenplant.quality.signed_content import (
    FAIL_MEANING,
    PASS_MEANING,
    decision_content,
    release_content,
)
from regenplant.quality.specification import judgement
from regenplant.quality.standing import is_open_for_correction, quality_snapshot
from regenplant.tanks.services import release_tank


@use_case("batch.judged", permission="qc.judge")
def decide_batch(
    *,
    by: By,
    batch_id: int,
    verdict: str,
    permit: SignaturePermit,
    reason: str = "",
    proposal: str = "",
    version: int | None = None,
) -> Outcome:
    """Sign pass or fail. ``proposal``: how QC would rework what it fails (``ReworkKind``), signed with it; "" for none. Pass needs every limit of the frozen specification met; fail needs a reason.

    The resin of a passed batch becomes a lot of its own, made of the lots that went in.

    Raises: RecordRefused, TransitionRefused, SignatureRefused.
    """
    batch = locked(batch_id, version)
    refuse_no_verdict(verdict, reason)
    _refuse_judged_twice(batch)
    judged = judgement(batch)
    snapshot = batch_snapshot(
        batch,
        by=by,
        qc_verdict=judged.verdict.outcome.value,
        qc_reasons=tuple(reason.sentence for reason in judged.verdict.open_reasons),
    )
    is_pass = verdict == "pass"
    action = BatchAction.PASS if is_pass else BatchAction.FAIL
    BATCH.transition(BatchState(batch.state), action, snapshot)  # refused before a lot is made of it
    option = proposed(batch, judged, verdict, proposal)
    content = decision_content(batch, judged, verdict, reason.strip(), **proposal_content(option))
    signature = bind(
        permit,
        by=by,
        meaning=PASS_MEANING if is_pass else FAIL_MEANING,
        record_kind="qc_decision",
        record_key=batch.number,
        record_version=1,
        content=content,
        zone=profile().time_zone,
    )
    fields: dict[str, Any] = {"judged_at": by.happened_at}
    if is_pass:
        fields["lot"] = lot_from(batch, by)
    move_batch(batch, action, by=by, snapshot=snapshot, **fields)
    decision = QcDecision.objects.create(
        batch=batch,
        verdict=verdict,
        reason=reason.strip(),
        content=signature.content,
        decided_by=by.user,
        decided_at=by.happened_at,
        signature=signature,
    )
    write_proposal(decision, option)
    keep_outcome(by, batch, verdict, reason.strip())
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        before={"state": BatchState.AWAITING_QC.value},
        after={"state": batch.state, "verdict": verdict},
        facts={
            "findings": [reason.sentence for reason in judged.verdict.reasons],
            "digest": signature.digest,
            **({"proposal": option.kind.label} if option else {}),
        },
        reason=reason.strip(),
        signature=told(signature),
        related=tuple(("vessel", code) for code in vessel_codes(batch)),
        result=decision,
    )


@use_case("batch.released", permission="batch.release")
def release_batch(*, by: By, batch_id: int, permit: SignaturePermit, version: int | None = None) -> Outcome:
    """Release a filled batch and its tanks, but for those that are withdrawn. Refused for anybody who performed, recorded or measured in it, while a deviation is
    open, and unless a review covers the record as it stands.

    Raises: TransitionRefused, SignatureRefused, RecordRefused.
    """
    batch = locked(batch_id, version)
    refuse_altered_plan(batch)
    snapshot = quality_snapshot(batch, record_of(batch), by=by)
    content = release_content(batch)
    move_batch(batch, BatchAction.RELEASE, by=by, snapshot=snapshot, finished_at=by.happened_at)
    release = signed_release(by, batch, permit, content)
    going = batch.tank_links.filter(is_current=True, withdrawn_at__isnull=True)
    links = list(going.filter(is_filled=True).select_related("visit__tank"))
    for link in links:
        release_tank(by=by, visit_id=link.visit_id, batch_is_released=True)
    going.update(is_current=False)
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        before={"state": BatchState.FILLED.value},
        after={"state": batch.state},
        facts={"tanks": len(links), "digest": release.signature.digest},
        signature=told(release.signature),
        related=tuple(("tank", link.visit.tank.serial) for link in links),
        result=release,
    )


def _refuse_judged_twice(batch: Batch) -> None:
    """A reopened record has a way of its own: its next version says what it amends."""
    if batch.state != BatchState.AWAITING_QC and is_open_for_correction(batch.pk):
        raise RecordRefused(
            f"Batch {batch.number} was judged already and its record is open for correction. Sign its decision anew.",
            code="sign_anew",
        )


say("batch.judged", "{subject} was judged: {verdict}")
say("batch.released", "{subject} was released with {tanks} tanks")
