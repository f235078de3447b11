"""Reading quality: the queue, one decision, and the supervisor's review by exception."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from regenplant.audit.by import By
from regenplant.audit.selectors import Line, actors_about, acts_since
from regenplant.batches.models import (
    Batch,
    BatchTank,
    Deviation,
    MeterLog,
    MeterLogSetAside,
    RinseReading,
    RinseStanding,
    StepEntry,
)
from regenplant.batches.moves import FILLING_ACTS
from regenplant.batches.offers import as_seen_by
from regenplant.batches.rinse import EndPoint, current_readings, judged_steps
from regenplant.batches.selectors.rinse import AT_25, MINUTES
from regenplant.batches.separation import SeparationRecord, separation_record
from regenplant.batches.standing import rinse_began_at
from regenplant.core.process.acceptance import Verdict
from regenplant.core.process.lifecycle import BATCH, BatchAction, BatchState, Blocker, Offer, release_blockers
from regenplant.core.process.review_rules import Exceptions
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.core.process.wording import listed
from regenplant.people.models import Person
from regenplant.people.selectors import people_who_may
from regenplant.quality.exceptions import exceptions_of
from regenplant.quality.models import QcDecision, QcMeasurement, RecordReview, Release, RetainedSample
from regenplant.quality.record import BatchRecord, record_of
from regenplant.quality.specification import Judged, TankTest, applied_specification, judgement, sample_limits
from regenplant.quality.standing import (
    REVIEWABLE,
    Standing,
    amended_batches,
    filled_snapshot,
    quality_snapshot,
    standing_of,
)


@dataclass(frozen=True, slots=True)
class NewestValue:
    """What the rinse was last read at, and when."""

    at: datetime
    conductivity_25_siemens_per_m: float


@dataclass(frozen=True, slots=True)
class QueueLine:
    """A batch that rinses, awaits QC or awaits release."""

    batch: Batch
    waits_since: datetime | None
    newest: NewestValue | None
    """While it rinses: the newest value that can be believed, by hand or of a meter; where none can, the newest reading by hand."""
    limit: Limit | None
    """The conductivity limit of the rinse."""
    measured: int
    to_measure: int


def qc_queue() -> list[QueueLine]:
    """What rinses, what awaits QC, what awaits release, oldest first."""
    states = [
        BatchState.RINSING,
        BatchState.AWAITING_QC,
        BatchState.PASSED,
        BatchState.FILLED,
        BatchState.FAILED,
    ]
    batches = (
        Batch.objects.filter(state__in=states, tank_links__is_current=True)
        .distinct()
        .select_related(
            "vessel",
            "resin_type",
            "specification_version__specification",
            "recipe_version__recipe",
            "downgrade__to_version",
            "rinse_standing",
        )
        .prefetch_related("qc_measurements", "steps")
        .order_by("planned_at")
    )
    lines = []
    for batch in batches:
        keys = {m.key for m in batch.qc_measurements.all()}
        wanted = [limit.measurement for limit in sample_limits(batch) if not limit.each_tank]
        lines.append(
            QueueLine(
                batch=batch,
                waits_since=batch.judged_at or batch.rinsed_at or batch.started_at,
                newest=_newest(batch) if batch.state == BatchState.RINSING else None,
                limit=applied_specification(batch).limit(CONDUCTIVITY),
                measured=sum(1 for key in wanted if key in keys),
                to_measure=len(wanted),
            )
        )
    return lines


def _newest(batch: Batch) -> NewestValue | None:
    kept: RinseStanding | None = getattr(batch, "rinse_standing", None)
    began = rinse_began_at(judged_steps(batch))
    if kept is not None and kept.curve and began is not None:
        row = kept.curve[-1]
        return NewestValue(began + timedelta(minutes=row[MINUTES]), row[AT_25])
    last = current_readings(batch).last()
    return NewestValue(last.occurred_at, last.conductivity_25_siemens_per_m) if last else None


@dataclass(frozen=True, slots=True)
class QcPage:
    """Everything the decision rests on, as the acting person sees it."""

    batch: Batch
    specification: Specification
    judged: Judged
    """The verdict with what it rests on, worked out from every reading for this page."""
    end_point: EndPoint
    sample_limits: tuple[Limit, ...]
    verdict: Verdict
    readings: tuple[RinseReading, ...]
    """The rinse readings that stand, in order of time."""
    measurements: tuple[QcMeasurement, ...]
    all_measurements: tuple[QcMeasurement, ...]
    exceptions: Exceptions
    """What was unusual, worst first."""
    standing: Standing
    """How the signed record stands."""
    tanks: tuple[BatchTank, ...]
    decision: QcDecision | None
    release: Release | None
    offers: tuple[Offer[BatchAction], ...]
    took_part: tuple[str, ...]
    """What the acting person did in this batch."""
    who_may_release: tuple[Person, ...]
    separation: SeparationRecord | None
    """How a mixed bed parted, since the decision covers it; None for any other batch."""
    performed: tuple[str, ...] = ()
    """The part of it that was work on the bed."""
    tank_tests: tuple[TankTest, ...] = ()
    """What is measured on each tank, tank by tank."""
    anew: tuple[Blocker, ...] = ()
    """Why a batch whose record was amended after its release is not released anew yet; empty when it may be, or needs not."""

    def offer(self, action: str) -> Offer[BatchAction] | None:
        """The act with this name; None where the page offers it to nobody."""
        return next((offer for offer in self.offers if offer.action == action), None)


def qc_page(batch: Batch, *, by: By) -> QcPage:
    """The decision page of one batch."""
    judged, record = judgement(batch), record_of(batch)
    standing = standing_of(batch, record)
    snapshot = quality_snapshot(
        batch,
        record,
        by=by,
        qc_verdict=judged.verdict.outcome.value,
        qc_reasons=tuple(reason.sentence for reason in judged.verdict.open_reasons),
        standing=standing,
        judged=judged,
    )
    return QcPage(
        batch=batch,
        specification=applied_specification(batch),
        judged=judged,
        end_point=judged.end_point,
        sample_limits=sample_limits(batch),
        verdict=judged.verdict,
        readings=tuple(current_readings(batch)),
        measurements=judged.measurements,
        all_measurements=tuple(
            batch.qc_measurements.select_related(
                "instrument", "entered_by", "replaced_by", "tank__visit__tank"
            ).order_by("-entered_at", "-id")
        ),
        exceptions=exceptions_of(batch, record, judged),
        standing=standing,
        tanks=tuple(
            batch.tank_links.select_related("visit__tank__size", "visit__customer").order_by("position")
        ),
        decision=standing.decision,
        release=standing.release,
        offers=as_seen_by(BATCH.offers(BatchState(batch.state), snapshot), by, batch.segregation_class),
        took_part=snapshot.actor_took_part,
        performed=snapshot.actor_performed,
        who_may_release=tuple(
            people_who_may(
                "batch.release", segregation_class=batch.segregation_class, except_pks=participants(batch)
            )
        ),
        separation=separation_record(batch),
        tank_tests=judged.tanks,
        anew=release_blockers(filled_snapshot(snapshot, batch)) if standing.is_amended_after_release else (),
    )


def participants(batch: Batch) -> set[int]:
    """Everybody who performed, recorded, measured, sampled or filled in this batch: none of them releases it."""
    found: set[int | None] = {int(pk) for pk in actors_about("batch", batch.number, FILLING_ACTS)}
    for started, finished in batch.steps.values_list("started_by_id", "finished_by_id"):
        found |= {started, finished}
    found |= set(StepEntry.objects.filter(step__batch=batch).values_list("entered_by_id", flat=True))
    found |= set(RinseReading.objects.filter(batch=batch).values_list("entered_by_id", flat=True))
    found |= set(MeterLog.objects.filter(batch=batch).values_list("entered_by_id", flat=True))
    found |= set(MeterLogSetAside.objects.filter(log__batch=batch).values_list("set_aside_by_id", flat=True))
    found |= set(batch.top_ups.values_list("topped_by_id", flat=True))
    found |= set(QcMeasurement.objects.filter(batch=batch).values_list("entered_by_id", flat=True))
    found |= set(RetainedSample.objects.filter(batch=batch).values_list("taken_by_id", flat=True))
    return {pk for pk in found if pk is not None}


def anew_offer(page: QcPage, by: By) -> Offer[BatchAction]:
    """The release signed anew after an amendment, as the acting person sees it."""
    offer = Offer(BatchAction.RELEASE, "batch.release", page.anew)
    (seen,) = as_seen_by((offer,), by, page.batch.segregation_class)
    return seen


@dataclass(frozen=True, slots=True)
class ReviewLine:
    """A batch that waits for its review or its release, with how much was unusual in it."""

    batch: Batch
    unusual: int
    grave: int
    """How many of them stop the release as they stand."""
    is_reviewed: bool
    review: RecordReview | None
    flag: str = ""
    """What is wrong with its signed record; "" for nothing."""


@dataclass(frozen=True, slots=True)
class ReviewBoard:
    """What was unusual, first: the supervisor reviews by exception."""

    open_deviations: tuple[Deviation, ...]
    failed: tuple[Batch, ...]
    held: tuple[Batch, ...]
    to_review: tuple[ReviewLine, ...]
    """Filled batches whose record nobody has reviewed as it stands."""
    to_release: tuple[ReviewLine, ...]
    """Filled and reviewed."""
    amended: tuple[ReviewLine, ...]
    """Signed records that stand open for correction, or were amended after the release."""
    refused_signatures: tuple[Line, ...]
    """Of the last seven days: a wrong password, or somebody else at the keys."""


def _undecided() -> QuerySet[Deviation]:
    return Deviation.objects.filter(decided_at__isnull=True)


def _in_state(state: BatchState) -> QuerySet[Batch]:
    return Batch.objects.filter(state=state)


def _failed() -> QuerySet[Batch]:
    """Failed or aborted, with tanks that still wait for what becomes of it."""
    ended = [BatchState.FAILED, BatchState.ABORTED]
    return Batch.objects.filter(state__in=ended, tank_links__is_current=True).distinct()


def review_count() -> int:
    """How many lines of the review wait for somebody: those of ``review_board``, each section counted. One query."""
    sections: list[QuerySet[Any]] = [
        _undecided(),
        _failed(),
        _in_state(BatchState.HELD),
        _in_state(BatchState.FILLED),
        amended_batches(),
    ]
    first, *others = (section.order_by().values_list("pk") for section in sections)
    return first.union(*others, all=True).count()


def review_board(now: datetime) -> ReviewBoard:
    """Open deviations, failed and held batches, what waits for review or release, signatures that were refused."""
    shown = ("vessel", "resin_type", "recipe_version__recipe")
    to_release = _in_state(BatchState.FILLED).select_related(*shown).order_by("judged_at")
    filled = [review_line(batch) for batch in to_release]
    return ReviewBoard(
        open_deviations=tuple(
            _undecided().select_related("batch__vessel", "step", "opened_by").order_by("opened_at")
        ),
        failed=tuple(_failed().select_related(*shown).prefetch_related("qc_decisions__decided_by")),
        held=tuple(_in_state(BatchState.HELD).select_related(*shown).prefetch_related("holds__held_by")),
        to_review=tuple(line for line in filled if not line.is_reviewed),
        to_release=tuple(line for line in filled if line.is_reviewed),
        amended=tuple(review_line(batch) for batch in amended_batches()),
        refused_signatures=tuple(acts_since(["signature.refused"], now - timedelta(days=7))),
    )


def review_line(batch: Batch) -> ReviewLine:
    """One line of the queue: the record is read and the rules are asked, as the page of the batch does."""
    record = record_of(batch)
    standing, found = standing_of(batch, record), exceptions_of(batch, record)
    grave = sum(1 for finding in found.findings if finding.is_grave)
    return ReviewLine(batch, len(found.findings), grave, standing.is_reviewed, standing.review, standing.flag)


@dataclass(frozen=True, slots=True)
class ReviewPage:
    """One record to review: what was unusual, then all of it."""

    batch: Batch
    record: BatchRecord
    exceptions: Exceptions
    standing: Standing
    reviews: tuple[RecordReview, ...]
    """Every review of it, oldest first."""
    blockers: tuple[Blocker, ...]
    """Why the acting person does not review it now; empty when the way is open."""
    who_may_review: tuple[Person, ...]
    took_part: tuple[str, ...]


def review_page(batch: Batch, *, by: By) -> ReviewPage:
    """The record of one batch as the acting person may review it."""
    record = record_of(batch)
    standing = standing_of(batch, record)
    took_part = quality_snapshot(batch, record, by=by, standing=standing).actor_took_part
    may = people_who_may(
        "batch.review", segregation_class=batch.segregation_class, except_pks=participants(batch)
    )
    return ReviewPage(
        batch=batch,
        record=record,
        exceptions=exceptions_of(batch, record),
        standing=standing,
        reviews=tuple(batch.reviews.select_related("signature", "reviewed_by").order_by("version")),
        blockers=tuple(review_blockers(record, by, took_part)),
        who_may_review=tuple(may),
        took_part=took_part,
    )


def review_blockers(record: BatchRecord, by: By, took_part: tuple[str, ...]) -> Iterator[Blocker]:
    """Why this person does not review this record now."""
    batch = record.batch
    if BatchState(batch.state) not in REVIEWABLE:
        yield Blocker(
            "not_at_its_end",
            f"Batch {batch.number} is {batch.get_state_display()}; a record is reviewed when its tanks are filled, or it failed.",
        )
    if record.reopening is not None:
        yield Blocker("reopened", "The record is open for correction. Its decision is signed anew first.")
    open_ones = [row.number for row in record.deviations if row.is_open]
    if open_ones:
        which = (
            f"Deviation {open_ones[0]} is" if len(open_ones) == 1 else f"Deviations {listed(open_ones)} are"
        )
        yield Blocker("open_deviation", f"{which} open. Decide first, then review.")
    if took_part:
        yield Blocker(
            "own_work",
            f"{by.user.full_name} {' and '.join(took_part)} in this batch, so another person must review it.",
        )


def deviation_numbered(number: str) -> Deviation | None:
    """The deviation with this number, with what its page shows."""
    if "\x00" in number:
        return None
    return (
        Deviation.objects.select_related(
            "batch__vessel", "batch__resin_type", "step", "opened_by", "decided_by"
        )
        .filter(number__iexact=number.strip())
        .first()
    )
