"""The specification a batch is judged by, and the verdict as it stands now. Nothing is changed here."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import F

from regenplant.batches.models import Batch
from regenplant.batches.rinse import EndPoint, end_point_of, rinse_verdict
from regenplant.core.process.acceptance import Verdict
from regenplant.core.process.specification import CONDUCTIVITY, LabResult, Limit, Specification
from regenplant.quality.models import Downgrade, QcMeasurement
from regenplant.recipes.models import SpecificationVersion
from regenplant.recipes.selectors import specification_definition


def downgrade_of(batch: Batch) -> Downgrade | None:
    """How the batch went down to a lower product; None for all others. One query for each batch that is at hand, then none."""
    return getattr(batch, "downgrade", None)


def applied_version(batch: Batch) -> SpecificationVersion:
    """The specification version the batch is judged by: that it was frozen with, or the lower one it was passed against."""
    down = downgrade_of(batch)
    return down.to_version if down is not None else batch.specification_version


def applied_specification(batch: Batch) -> Specification:
    """What the batch must show, as ``applied_version`` says it."""
    return specification_definition(applied_version(batch))


def applied_class(batch: Batch) -> str:
    """The class its resin has once it passed: that of the batch, or the lower one."""
    down = downgrade_of(batch)
    return down.to_class if down is not None else batch.segregation_class


def sample_limits(batch: Batch) -> tuple[Limit, ...]:
    """The limits that are measured on the sample, not read during the rinse."""
    return tuple(limit for limit in applied_specification(batch).limits if limit.measurement != CONDUCTIVITY)


def current_measurements(batch: Batch) -> list[QcMeasurement]:
    """Measurements that no later one replaces, oldest first. Those of a sample taken before the rinse went on are left out."""
    rows = QcMeasurement.objects.filter(batch=batch, replaced_by__isnull=True).select_related(
        "instrument", "entered_by"
    )
    older = rows.filter(batch__rinse_continuations__continued_at__gte=F("occurred_at")).values("pk")
    return list(rows.exclude(pk__in=older).order_by("occurred_at", "id"))


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict with what it rests on."""

    verdict: Verdict
    end_point: EndPoint
    measurements: tuple[QcMeasurement, ...]


def judgement(batch: Batch, against: Specification | None = None) -> Judged:
    """Judge the batch as it stands: rinse readings and sample against the specification it was frozen with, or the lower one it was
    passed against. ``against`` asks how it would stand by another one; nothing is decided by that."""
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
    specification = against if against is not None else applied_specification(batch)
    verdict = rinse_verdict(batch, results=results, specification=specification)
    return Judged(verdict, end_point_of(verdict, specification), tuple(rows))
