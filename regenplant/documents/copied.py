"""Which papers belong to a batch: printed of it, of one of its tanks while it was in the batch, of its samples, or of a certificate that
names it."""

from __future__ import annotations

from django.db.models import Q

from regenplant.batches.models import Batch
from regenplant.documents.models import Certificate, CertifiedTank

TANK_TAG, SAMPLE_LABEL, CERTIFICATE = "tank_tag", "sample_label", "certificate"


def papers_of(batch: Batch) -> Q:
    """Papers printed of the batch, and tags of its tanks printed one by one since it was planned."""
    serials = list(batch.tank_links.values_list("visit__tank__serial", flat=True))
    of_tanks = Q(kind=TANK_TAG, subject_key__in=serials, issued_at__gte=batch.planned_at)
    if batch.finished_at is not None:
        of_tanks &= Q(issued_at__lte=batch.finished_at)
    samples = batch.retained_samples.values_list("number", flat=True)
    of_samples = Q(kind=SAMPLE_LABEL, subject_key__in=list(samples))
    of_certificates = Q(kind=CERTIFICATE, subject_key__in=_numbers(batch))
    return Q(subject_key=batch.number) | of_tanks | of_samples | of_certificates


def certificates_of(batch: Batch) -> Q:
    """Certificates that name the batch."""
    return Q(number__in=_numbers(batch))


def _numbers(batch: Batch) -> list[str]:
    named = CertifiedTank.objects.filter(batch_number=batch.number).values("certificate_id")
    return list(Certificate.objects.filter(pk__in=named).order_by("pk").values_list("number", flat=True))
