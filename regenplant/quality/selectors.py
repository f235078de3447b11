"""Reading quality: the queue, one decision, and the supervisor's review by exception."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.audit.by import By
from regenplant.audit.selectors import Line, actors_about, acts_since
from regenplant.batches.models import Batch, BatchTank, Deviation, Hold, RinseReading, StepEntry
from regenplant.batches.moves import FILLING_ACTS, batch_snapshot
from regenplant.batches.offers import as_seen_by
from regenplant.batches.rinse import EndPoint, current_readings, specification_of
from regenplant.batches.separation import SeparationRecord, separation_record
from regenplant.core.process.acceptance import Verdict
from regenplant.core.process.lifecycle import BATCH, BatchAction, BatchState, Offer
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.people.models import Person
from regenplant.people.selectors import people_who_may
from regenplant.quality.models import QcDecision, QcMeasurement, Release
from regenplant.quality.specification import judgement, sample_limits


@dataclass(frozen=True, slots=True)
class QueueLine:
    """A batch that rinses, awaits QC or awaits release."""

    batch: Batch
    waits_since: datetime | None
    newest: RinseReading | None
    """The newest reading that stands."""
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
            "vessel", "resin_type", "specification_version__specification", "recipe_version__recipe"
        )
        .prefetch_related("readings", "qc_measurements")
        .order_by("planned_at")
    )
    lines = []
    for batch in batches:
        keys = {m.key for m in batch.qc_measurements.all()}
        wanted = [limit.measurement for limit in sample_limits(batch)]
        lines.append(
            QueueLine(
                batch=batch,
                waits_since=batch.judged_at or batch.rinsed_at or batch.started_at,
                newest=_newest(batch.readings.all()),
                limit=specification_of(batch).limit(CONDUCTIVITY),
                measured=sum(1 for key in wanted if key in keys),
                to_measure=len(wanted),
            )
        )
    return lines


def _newest(readings: Iterable[RinseReading]) -> RinseReading | None:
    rows = list(readings)
    replaced = {row.replaces_id for row in rows}
    return max(
        (row for row in rows if row.pk not in replaced),
        key=lambda row: (row.occurred_at, row.pk),
        default=None,
    )


@dataclass(frozen=True, slots=True)
class QcPage:
    """Everything the decision rests on, as the acting person sees it."""

    batch: Batch
    specification: Specification
    end_point: EndPoint
    sample_limits: tuple[Limit, ...]
    verdict: Verdict
    readings: tuple[RinseReading, ...]
    """The rinse readings that stand, in order of time."""
    measurements: tuple[QcMeasurement, ...]
    all_measurements: tuple[QcMeasurement, ...]
    open_deviations: tuple[Deviation, ...]
    decided_deviations: tuple[Deviation, ...]
    corrections: int
    late_entries: int
    outside_entries: tuple[StepEntry, ...]
    holds: tuple[Hold, ...]
    tanks: tuple[BatchTank, ...]
    decision: QcDecision | None
    release: Release | None
    offers: tuple[Offer[BatchAction], ...]
    took_part: tuple[str, ...]
    """What the acting person did in this batch."""
    who_may_release: tuple[Person, ...]
    separation: SeparationRecord | None
    """How a mixed bed parted, since the decision covers it; None for any other batch."""

    def offer(self, action: str) -> Offer[BatchAction] | None:
        return next((offer for offer in self.offers if offer.action == action), None)


def qc_page(batch: Batch, *, by: By) -> QcPage:
    """The decision page of one batch."""
    judged = judgement(batch)
    measured_by_me = any(row.entered_by_id == by.user.pk for row in batch.qc_measurements.all())
    snapshot = batch_snapshot(
        batch,
        by=by,
        qc_verdict=judged.verdict.outcome.value,
        qc_reasons=tuple(reason.sentence for reason in judged.verdict.open_reasons),
        also_took_part=("measured the sample",) if measured_by_me else (),
    )
    deviations = list(batch.deviations.select_related("opened_by", "decided_by", "step"))
    entries = StepEntry.objects.filter(step__batch=batch).select_related("step", "entered_by")
    readings = list(batch.readings.all())
    measured = list(batch.qc_measurements.all())
    late = sum(_is_late(row.occurred_at, row.entered_at) for row in entries if row.replaces_id is None)
    late += sum(_is_late(row.occurred_at, row.entered_at) for row in readings if row.replaces_id is None)
    corrections = sum(
        sum(1 for row in rows if row.replaces_id is not None) for rows in (list(entries), readings, measured)
    )
    return QcPage(
        batch=batch,
        specification=specification_of(batch),
        end_point=judged.end_point,
        sample_limits=sample_limits(batch),
        verdict=judged.verdict,
        readings=tuple(current_readings(batch)),
        measurements=judged.measurements,
        all_measurements=tuple(
            batch.qc_measurements.select_related("instrument", "entered_by", "replaced_by").order_by(
                "-entered_at", "-id"
            )
        ),
        open_deviations=tuple(d for d in deviations if d.is_open),
        decided_deviations=tuple(d for d in deviations if not d.is_open),
        corrections=corrections,
        late_entries=late,
        outside_entries=tuple(row for row in entries if row.is_within is False),
        holds=tuple(batch.holds.select_related("held_by")),
        tanks=tuple(
            batch.tank_links.select_related("visit__tank__size", "visit__customer").order_by("position")
        ),
        decision=QcDecision.objects.filter(batch=batch).select_related("decided_by", "signature").first(),
        release=Release.objects.filter(batch=batch).select_related("released_by", "signature").first(),
        offers=as_seen_by(BATCH.offers(BatchState(batch.state), snapshot), by),
        took_part=snapshot.actor_took_part,
        who_may_release=tuple(people_who_may("batch.release", except_pks=participants(batch))),
        separation=separation_record(batch),
    )


def _is_late(occurred_at: datetime, entered_at: datetime) -> bool:
    """Written down more than a quarter of an hour after it happened."""
    return (entered_at - occurred_at).total_seconds() > 900


def participants(batch: Batch) -> set[int]:
    """Everybody who performed, recorded, measured or filled in this batch: none of them releases it."""
    found: set[int | None] = {int(pk) for pk in actors_about("batch", batch.number, FILLING_ACTS)}
    for started, finished in batch.steps.values_list("started_by_id", "finished_by_id"):
        found |= {started, finished}
    found |= set(StepEntry.objects.filter(step__batch=batch).values_list("entered_by_id", flat=True))
    found |= set(RinseReading.objects.filter(batch=batch).values_list("entered_by_id", flat=True))
    found |= set(QcMeasurement.objects.filter(batch=batch).values_list("entered_by_id", flat=True))
    return {pk for pk in found if pk is not None}


@dataclass(frozen=True, slots=True)
class ReviewBoard:
    """What was unusual, first: the supervisor reviews by exception."""

    open_deviations: tuple[Deviation, ...]
    failed: tuple[Batch, ...]
    held: tuple[Batch, ...]
    to_release: tuple[Batch, ...]
    refused_signatures: tuple[Line, ...]
    """Of the last seven days: a wrong password, or somebody else at the keys."""


def review_board(now: datetime) -> ReviewBoard:
    """Open deviations, failed and held batches, batches that wait for release, signatures that were refused."""
    live = Batch.objects.select_related("vessel", "resin_type", "recipe_version__recipe")
    return ReviewBoard(
        open_deviations=tuple(
            Deviation.objects.filter(decided_at__isnull=True)
            .select_related("batch__vessel", "step", "opened_by")
            .order_by("opened_at")
        ),
        failed=tuple(
            live.filter(state__in=[BatchState.FAILED, BatchState.ABORTED], tank_links__is_current=True)
            .distinct()
            .select_related("qc_decision__decided_by")
        ),
        held=tuple(live.filter(state=BatchState.HELD).prefetch_related("holds__held_by")),
        to_release=tuple(live.filter(state=BatchState.FILLED).order_by("judged_at")),
        refused_signatures=tuple(acts_since(["signature.refused"], now - timedelta(days=7))),
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
