"""Which papers belong to a batch: printed of it, of one of its tanks while it was in the batch, or of its samples."""

from __future__ import annotations

from django.db.models import Q

from regenplant.batches.models import Batch

TANK_TAG, SAMPLE_LABEL = "tank_tag", "sample_label"


def papers_of(batch: Batch) -> Q:
    """Papers printed of the batch, and tags of its tanks printed one by one since it was planned."""
    serials = list(batch.tank_links.values_list("visit__tank__serial", flat=True))
    of_tanks = Q(kind=TANK_TAG, subject_key__in=serials, issued_at__gte=batch.planned_at)
    if batch.finished_at is not None:
        of_tanks &= Q(issued_at__lte=batch.finished_at)
    of_samples = Q(
        kind=SAMPLE_LABEL, subject_key__in=list(batch.retained_samples.values_list("number", flat=True))
    )
    return Q(subject_key=batch.number) | of_tanks | of_samples
