"""The specification a batch is judged by, and the verdict as it stands now. Nothing is changed here."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.batches.models import Batch
from regenplant.batches.rinse import EndPoint, end_point_of, rinse_verdict, specification_of
from regenplant.core.process.acceptance import Verdict
from regenplant.core.process.specification import CONDUCTIVITY, LabResult, Limit
from regenplant.quality.models import QcMeasurement


def sample_limits(batch: Batch) -> tuple[Limit, ...]:
    """The limits that are measured on the sample, not read during the rinse."""
    return tuple(limit for limit in specification_of(batch).limits if limit.measurement != CONDUCTIVITY)


def current_measurements(batch: Batch) -> list[QcMeasurement]:
    """Measurements that no later one replaces, oldest first."""
    rows = QcMeasurement.objects.filter(batch=batch, replaced_by__isnull=True).select_related(
        "instrument", "entered_by"
    )
    return list(rows.order_by("occurred_at", "id"))


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict with what it rests on."""

    verdict: Verdict
    end_point: EndPoint
    measurements: tuple[QcMeasurement, ...]


def judgement(batch: Batch) -> Judged:
    """Judge the batch as it stands: rinse readings and sample against the frozen specification version."""
    rows = current_measurements(batch)
    results = [
        LabResult(
            measurement=row.key,
            value=row.value,
            at_s=row.occurred_at.timestamp(),
            instrument_code=row.instrument.code if row.instrument else "",
            instrument_is_valid=row.instrument_was_valid,
        )
        for row in rows
    ]
    verdict = rinse_verdict(batch, results=results)
    return Judged(verdict, end_point_of(verdict, specification_of(batch)), tuple(rows))
