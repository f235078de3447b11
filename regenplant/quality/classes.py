"""The segregation class of what an act of quality control is about, by the name of its argument (``audit.classes``)."""

from __future__ import annotations

from regenplant.audit.classes import Finder
from regenplant.quality.models import QcMeasurement, RetainedSample

FINDERS: dict[str, Finder] = {
    "measurement_id": lambda pk: QcMeasurement.objects.filter(pk=pk).values_list(
        "batch__segregation_class", flat=True
    ),
    "sample_id": lambda pk: RetainedSample.objects.filter(pk=pk).values_list(
        "batch__segregation_class", flat=True
    ),
}
