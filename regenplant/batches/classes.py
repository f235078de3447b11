"""The segregation class of what an act on batches is about, by the name of its argument (``audit.classes``)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import QuerySet

from regenplant.audit.classes import Finder
from regenplant.batches.models import Batch, Deviation, MeterLog, RinseReading, StepEntry, StepRun


def _of(rows: QuerySet[Any], path: str) -> Iterable[str]:
    return rows.values_list(path, flat=True)


FINDERS: dict[str, Finder] = {
    "batch_id": lambda pk: _of(Batch.objects.filter(pk=pk), "segregation_class"),
    "step_id": lambda pk: _of(StepRun.objects.filter(pk=pk), "batch__segregation_class"),
    "entry_id": lambda pk: _of(StepEntry.objects.filter(pk=pk), "step__batch__segregation_class"),
    "reading_id": lambda pk: _of(RinseReading.objects.filter(pk=pk), "batch__segregation_class"),
    "log_id": lambda pk: _of(MeterLog.objects.filter(pk=pk), "batch__segregation_class"),
    "deviation_id": lambda pk: _of(Deviation.objects.filter(pk=pk), "batch__segregation_class"),
}
