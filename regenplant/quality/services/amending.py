"""Correcting a signed record: opened with a reason, corrected by new rows, signed anew as the next version."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.reasons import reason_of
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.batches.checking import unchecked
from regenplant.batches.models import Batch
from regenplant.batches.moves import locked, move_batch, touch
from regenplant.batches.services import fail_tanks
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.lifecycle import (
    AFTER_A_PASS,
    BatchAction,
    BatchSnapshot,
    BatchState,
    release_blockers,
)
from regenplant.core.process.wording import listed
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.quality.models import QcDecision, RecordReopening, decision_of
from regenplant.quality.record import record_of
from regenplant.quality.services._outcomes import keep_outcome
from regenplant.quality.services._signing import refuse_altered_plan, refuse_no_verdict, signed_release, told
from regenplant.quality.signed_content import (
    FAIL_MEANING,
    PASS_MEANING,
    REOPEN_MEANING,
    decision_content,
    release_content,
    reopening_content,
)
from regenplant.quality.specification import Judged, judgement
from regenplant.quality.standing import filled_snapshot, open_reopening, quality_snapshot, standing_of


@use_case("record.reopened", permission="batch.reopen")
def reopen_record(
    *,
    by: By,
    batch_id: int,
    category: str,
    reason: str,
    permit: SignaturePermit,
    version: int | None = None,
) -> Outcome:
    """Open the signed record of a judged batch so that wrong entries, readings and measurements can be corrected by new rows.

    The signed decision stays as it is. Until it is signed anew nothing of the batch is released. ``category`` is one of
    ``audit.reasons.REASON_CATEGORIES``.

    Raises: RecordRefused for a batch nobody judged yet, and for a record that is open already; SignatureRefused, StaleRecord.
    """
    batch = locked(batch_id, version)
    decision = decision_of(batch)
    if decision is None:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()} and nobody signed for it yet. Correct the value where it stands.",
            code="not_signed",
        )
    if open_reopening(batch.pk) is not None:
        raise RecordRefused("The record is open for correction already.", code="already_open")
    why = reason_of(category, reason, "what is wrong in the signed record")
    signature = bind(
        permit,
        by=by,
        meaning=REOPEN_MEANING,
        record_kind="reopening",
        record_key=batch.number,
        record_version=decision.version,
        content=reopening_content(batch, decision, why.category, why.words),
        zone=profile().time_zone,
    )
    row = RecordReopening.objects.create(
        batch=batch,
        decision=decision,
        reason_category=why.category,
        reason=why.words,
        reopened_by=by.user,
        reopened_at=by.happened_at,
        signature=signature,
    )
    touch(batch)
    return Outcome(
        subject=_subject(batch),
        facts={"version": decision.version, "digest": signature.digest, "reason_category": why.category},
        reason=why.sentence,
        signature=told(signature),
        result=row,
    )


@use_case("decision.amended", permission="qc.judge")
def amend_decision(
    *,
    by: By,
    batch_id: int,
    verdict: str,
    permit: SignaturePermit,
    reason: str = "",
    version: int | None = None,
) -> Outcome:
    """Sign the decision of a reopened record anew, as the next version over the corrected values. This closes the record.

    What was failed stays failed: such resin is reworked or scrapped, never passed afterwards. A pass may turn to fail, and the
    batch with it, wherever its resin is: tanks of it that are still here are withdrawn, those that are shipped are named.

    Raises: RecordRefused, TransitionRefused, SignatureRefused, StaleRecord.
    """
    batch = locked(batch_id, version)
    refuse_no_verdict(verdict, reason)
    before, reopening = decision_of(batch), open_reopening(batch.pk)
    if before is None or reopening is None:
        raise RecordRefused(
            f"The record of {batch.number} is not open for correction. A supervisor opens it, with a reason.",
            code="not_reopened",
        )
    judged = judgement(batch)
    snapshot = quality_snapshot(
        batch,
        record_of(batch),
        by=by,
        qc_verdict=judged.verdict.outcome.value,
        qc_reasons=tuple(one.sentence for one in judged.verdict.open_reasons),
    )
    _refuse_amending(by, batch, before, verdict, snapshot, judged)
    signature = bind(
        permit,
        by=by,
        meaning=PASS_MEANING if verdict == "pass" else FAIL_MEANING,
        record_kind="qc_decision",
        record_key=batch.number,
        record_version=before.version + 1,
        content=decision_content(batch, judged, verdict, reason.strip(), amends=before),
        zone=profile().time_zone,
    )
    tanks: dict[str, Any] = {}
    if verdict == "fail" and batch.state in AFTER_A_PASS:
        is_in_tanks = batch.state != BatchState.PASSED
        move_batch(batch, BatchAction.FAIL, by=by, snapshot=snapshot, is_in_tanks=is_in_tanks)
        tanks = fail_tanks(by=by, batch_id=batch.pk).facts
        batch.refresh_from_db()
    else:
        touch(batch)
    decision = QcDecision.objects.create(
        batch=batch,
        version=before.version + 1,
        replaces=before,
        reopening=reopening,
        verdict=verdict,
        reason=reason.strip(),
        content=signature.content,
        decided_by=by.user,
        decided_at=by.happened_at,
        signature=signature,
    )
    keep_outcome(by, batch, verdict, reason.strip())
    return Outcome(
        subject=_subject(batch),
        before={"verdict": before.verdict, "version": before.version},
        after={"verdict": verdict, "version": decision.version, "state": batch.state},
        facts={
            "findings": [one.sentence for one in judged.verdict.reasons],
            "digest": signature.digest,
            "replaces_digest": before.signature.digest,
            **tanks,
        },
        reason=reason.strip() or reopening.reason,
        signature=told(signature),
        result=decision,
    )


def _refuse_amending(
    by: By, batch: Batch, before: QcDecision, verdict: str, snapshot: BatchSnapshot, judged: Judged
) -> None:
    if snapshot.actor_performed:
        raise RecordRefused(
            f"{by.user.full_name} {' and '.join(snapshot.actor_performed)} in this batch, so another person must judge it.",
            code="own_work",
        )
    missing = [one.name for one in unchecked(batch)]
    if missing:
        raise RecordRefused(
            f"Not checked a second time yet: {listed(missing)}. The decision is signed anew when it is.",
            code="checks_missing",
        )
    if verdict == "fail":
        return
    if before.verdict == "fail":
        raise RecordRefused(
            f"Batch {batch.number} failed, and its resin is reworked or scrapped. A corrected record is signed as failed again.",
            field="verdict",
            code="stays_failed",
        )
    if judged.verdict.outcome.value != "pass":
        reasons = " ".join(one.sentence for one in judged.verdict.open_reasons)
        raise RecordRefused(f"Pass is not met any more. {reasons}", field="verdict", code="qc_not_met")


@use_case("release.amended", permission="batch.release")
def release_anew(*, by: By, batch_id: int, permit: SignaturePermit, version: int | None = None) -> Outcome:
    """Release a batch anew whose record was amended after its release: the next version, over the amended decision and a new
    review. Its tanks stay where they are.

    Raises: RecordRefused when nothing was amended; TransitionRefused, SignatureRefused, StaleRecord.
    """
    batch = locked(batch_id, version)
    refuse_altered_plan(batch)
    record = record_of(batch)
    standing = standing_of(batch, record)
    is_or_was_released = batch.state in (BatchState.RELEASED, BatchState.FAILED)
    if not is_or_was_released or not standing.is_amended_after_release:
        raise RecordRefused(
            f"Nothing of {batch.number} was amended after a release. It is released once.", code="not_amended"
        )
    require(by, "batch.release", batch.segregation_class)
    snapshot = filled_snapshot(quality_snapshot(batch, record, by=by), batch)
    if blockers := release_blockers(snapshot):
        raise TransitionRefused(
            " ".join(blocker.sentence for blocker in blockers), blockers=blockers, code=blockers[0].code
        )
    release = signed_release(by, batch, permit, release_content(batch))
    touch(batch)
    tanks = batch.tank_links.filter(is_filled=True).select_related("visit__tank")
    return Outcome(
        subject=_subject(batch),
        facts={"version": release.version, "digest": release.signature.digest},
        signature=told(release.signature),
        related=tuple(("tank", link.visit.tank.serial) for link in tanks),
        result=release,
    )


def _subject(batch: Batch) -> tuple[str, str, str]:
    return ("batch", batch.number, f"Batch {batch.number}")


def _amended(subject: str, stored: dict[str, Any]) -> str:
    before, after = stored.get("before", {}), stored.get("after", {})
    turned = "" if before.get("verdict") == after.get("verdict") else f", from {before.get('verdict')}"
    return f"{subject}: the decision was signed anew as version {after.get('version')}, {after.get('verdict')}{turned}"


say("record.reopened", "{subject}: the signed record, version {version}, was opened for correction")
say("decision.amended", _amended)
say("release.amended", "{subject} was released anew, version {version}")
