"""How the signed record of a batch stands: open for correction, reviewed as it is now, to be signed or released anew."""

from __future__ import annotations

from dataclasses import dataclass, replace

from django.db.models import Q, QuerySet

from regenplant.audit.by import By
from regenplant.batches.models import Batch
from regenplant.batches.moves import batch_snapshot
from regenplant.core.process.lifecycle import AFTER_A_PASS, BatchSnapshot, BatchState
from regenplant.quality import guards
from regenplant.quality.models import (
    QcDecision,
    RecordReopening,
    RecordReview,
    Release,
    decision_of,
    release_of,
    review_of,
)
from regenplant.quality.record import BatchRecord
from regenplant.quality.specification import Judged, applied_specification, judgement, waits_for_tanks
from regenplant.tanks.models import TankVisit

REVIEWABLE = (BatchState.FILLED, BatchState.RELEASED, BatchState.FAILED)
"""States in which a record is looked through: what may be released, what was released and amended, what failed."""


def open_reopening(batch_id: int) -> RecordReopening | None:
    """The reopening that no decision answers yet; None while the record is closed. One query."""
    return RecordReopening.objects.filter(batch_id=batch_id, answered_by__isnull=True).first()


def is_open_for_correction(batch_id: int) -> bool:
    """Whether the signed record of this batch is open for correction."""
    return RecordReopening.objects.filter(batch_id=batch_id, answered_by__isnull=True).exists()


@dataclass(frozen=True, slots=True)
class Standing:
    """The signed versions of one record, and what still has to be signed."""

    decision: QcDecision | None
    release: Release | None
    review: RecordReview | None
    reopening: RecordReopening | None
    is_reviewed: bool
    """The newest review covers the record as it stands."""
    review_missing: str
    """Why not; "" when it does."""

    @property
    def is_amended_after_release(self) -> bool:
        """The release rests on an older version of the decision than the one that stands."""
        if self.release is None or self.decision is None:
            return False
        rests_on = self.release.decision_id
        return self.decision.version > 1 if rests_on is None else rests_on != self.decision.pk

    @property
    def flag(self) -> str:
        """What the batch shows on top wherever it is shown; "" while nothing is wrong with its signed record."""
        if self.reopening is not None:
            return "Record open for correction: its decision is to be signed anew."
        if not self.is_amended_after_release:
            return ""
        if self.decision is not None and self.decision.verdict == "fail":
            return "Released, and its decision was amended to fail. Its tanks are to be called back."
        return "Record amended after its release: to be reviewed and released anew."


def standing_of(batch: Batch, record: BatchRecord) -> Standing:
    """How the record stands. One query beside those of the record."""
    review = review_of(batch)
    missing = _review_missing(review, record)
    return Standing(record.decision, record.release, review, record.reopening, not missing, missing)


def _review_missing(review: RecordReview | None, record: BatchRecord) -> str:
    if review is None:
        return "Nobody who took no part has reviewed the record yet."
    if review.record_digest == record.digest:
        return ""
    return f"Something was written after {review.signature.printed_name} reviewed the record. It is reviewed again first."


def flag_of(batch: Batch) -> str:
    """What a batch shows on top wherever it is shown, read without its whole record; "" for nothing. Three queries at most."""
    decision = decision_of(batch)
    if decision is None:
        return ""
    reopening, release = open_reopening(batch.pk), release_of(batch)
    return Standing(decision, release, None, reopening, False, "").flag


def against_shipping(visit: TankVisit) -> tuple[str, ...]:
    """What the signed record of the batch in a tank holds against its leaving; empty for nothing."""
    link = visit.batch_links.filter(is_filled=True).select_related("batch").order_by("-pk").first()
    flag = flag_of(link.batch) if link is not None else ""
    return (
        (f"{visit.tank.serial} is not shipped now. Batch {link.batch.number}: {flag}",)
        if link and flag
        else ()
    )


def quality_snapshot(
    batch: Batch,
    record: BatchRecord,
    *,
    by: By,
    qc_verdict: str = "",
    qc_reasons: tuple[str, ...] = (),
    standing: Standing | None = None,
    judged: Judged | None = None,
) -> BatchSnapshot:
    """What the guards look at, with what only quality knows: who measured, what was signed and reviewed. ``standing``, ``judged``: where
    they were worked out already."""
    standing = standing if standing is not None else standing_of(batch, record)
    did = (
        ("measured the sample", any(row.entered_by_id == by.user.pk for row in record.measurements)),
        ("took the retained sample", any(row.taken_by_id == by.user.pk for row in record.samples)),
    )
    snapshot = batch_snapshot(
        batch,
        by=by,
        qc_verdict=qc_verdict,
        qc_reasons=qc_reasons,
        also_took_part=tuple(words for words, is_so in did if is_so),
    )
    return replace(
        snapshot,
        is_reopened=standing.reopening is not None,
        stands_as=standing.decision.verdict if standing.decision else "",
        is_reviewed=standing.is_reviewed,
        review_missing=standing.review_missing,
        open_elsewhere=(*guards.open_about(batch), *_waits_for_tanks(batch, judged)),
    )


def _waits_for_tanks(batch: Batch, judged: Judged | None) -> tuple[str, ...]:
    """What is measured on each tank and is not inside on one of them; empty for a specification that measures none."""
    if batch.state not in AFTER_A_PASS or not applied_specification(batch).is_measured_on_each_tank:
        return ()
    return waits_for_tanks(judged if judged is not None else judgement(batch))


def filled_snapshot(snapshot: BatchSnapshot, batch: Batch) -> BatchSnapshot:
    """For a release signed anew: its tanks went on with the first one, and count as they were filled then."""
    filled = batch.tank_links.filter(is_filled=True, withdrawn_at__isnull=True).count()
    return replace(snapshot, tanks_filled=filled, tanks_not_filled=0)


def amended_batches() -> QuerySet[Batch]:
    """Batches whose record stands open for correction, or was amended after their release; oldest first. One query."""
    open_ones = RecordReopening.objects.filter(answered_by__isnull=True).values("batch_id")
    newest = QcDecision.objects.filter(replaced_by__isnull=True, version__gt=1).values("pk")
    released = Release.objects.filter(replaced_by__isnull=True, batch__qc_decisions__in=newest)
    amended = released.exclude(decision__in=newest).values("batch_id")
    found = Batch.objects.filter(Q(pk__in=open_ones) | Q(pk__in=amended))
    return found.select_related("vessel", "resin_type").order_by("pk")
