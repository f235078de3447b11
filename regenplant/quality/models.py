"""Quality: measurements on the sample, the decision, reopenings for correction, reviews, and the release."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import ObjectDoesNotExist
from django.db import models
from django.db.models import Q

from regenplant.audit.reasons import LONGEST_CATEGORY
from regenplant.batches.models import Batch, BatchTank
from regenplant.people.models import Signature
from regenplant.plant.models import Instrument


class QcMeasurement(models.Model):
    """One measured value on the sample of a batch. Append-only; a correction is a new row."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="qc_measurements")
    tank = models.ForeignKey(BatchTank, on_delete=models.PROTECT, null=True, related_name="qc_measurements")
    """The tank it was measured on; null for the sample of the batch."""
    key = models.CharField(max_length=40)
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=20)
    value_as_typed = models.CharField(max_length=40)
    unit_as_typed = models.CharField(max_length=40, blank=True)
    value = models.FloatField()
    temperature_kelvin = models.FloatField(null=True)
    method = models.CharField(max_length=120, blank=True)
    instrument = models.ForeignKey(
        Instrument, on_delete=models.PROTECT, null=True, related_name="qc_measurements"
    )
    instrument_was_valid = models.BooleanField(default=True)
    occurred_at = models.DateTimeField()
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    is_late = models.BooleanField(default=False)
    """Entered longer after it was measured than the plant's limit of that day allowed."""
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    """Why it was corrected, or written late."""

    class Meta:
        ordering = ["entered_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(replaces__isnull=True) | ~Q(reason=""), name="corrected_qc_has_reason"
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.value_as_typed}"


class RecordReopening(models.Model):
    """A signed record opened for correction, signed, with a reason. Append-only.

    It stands open until a decision of the next version answers it (``QcDecision.reopening``).
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="reopenings")
    decision = models.OneToOneField("QcDecision", on_delete=models.PROTECT, related_name="reopened")
    """The decision that stood: each is reopened once, and answered by the next version."""
    reason_category = models.CharField(max_length=LONGEST_CATEGORY)
    reason = models.CharField(max_length=300)
    reopened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reopened_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="reopening")

    class Meta:
        ordering = ["reopened_at", "id"]
        constraints = [models.CheckConstraint(condition=~Q(reason=""), name="reopening_has_reason")]

    def __str__(self) -> str:
        return self.reason


class QcDecision(models.Model):
    """Pass or fail of a batch, signed. ``content`` is what was judged, as canonical text. Append-only.

    What was wrong in a signed record is corrected after a reopening; then the decision is signed anew as the next version.
    ``batch.qc_decision`` is the newest one.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="qc_decisions")
    version = models.PositiveSmallIntegerField(default=1)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    reopening = models.OneToOneField(
        RecordReopening, on_delete=models.PROTECT, null=True, related_name="answered_by"
    )
    """Why there is a version after the first."""
    verdict = models.CharField(max_length=4, choices=[("pass", "pass"), ("fail", "fail")])
    reason = models.CharField(max_length=400, blank=True)
    content = models.TextField()
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="qc_decision")

    class Meta:
        ordering = ["batch", "version"]
        constraints = [
            models.CheckConstraint(condition=Q(verdict="pass") | ~Q(reason=""), name="failed_has_reason"),
            models.UniqueConstraint(fields=["batch", "version"], name="decision_version_once"),
            models.CheckConstraint(
                condition=Q(version=1, replaces__isnull=True, reopening__isnull=True)
                | Q(version__gt=1, replaces__isnull=False, reopening__isnull=False),
                name="amended_decision_says_what_and_why",
            ),
        ]

    def __str__(self) -> str:
        return self.verdict


class RecordReview(models.Model):
    """A person who took no part looked through the record, signed. Append-only.

    ``content`` holds what was unusual as it was shown, and ``record_digest``: while the record still has that digest, the
    review holds; once something was written after it, the record is reviewed anew.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="reviews")
    version = models.PositiveSmallIntegerField(default=1)
    record_digest = models.CharField(max_length=64)
    content = models.TextField()
    unusual = models.PositiveIntegerField()
    """How many things were unusual."""
    remarks = models.CharField(max_length=400, blank=True)
    reviewed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    reviewed_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="record_review")

    class Meta:
        ordering = ["batch", "version"]
        constraints = [models.UniqueConstraint(fields=["batch", "version"], name="review_version_once")]

    def __str__(self) -> str:
        return f"{self.version}"


class Release(models.Model):
    """The release of a batch and its tanks, signed by a person who took no part in it. Append-only.

    When the record of a released batch was amended, it is released anew as the next version. ``batch.release`` is the
    newest one.
    """

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="releases")
    version = models.PositiveSmallIntegerField(default=1)
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    decision = models.ForeignKey(QcDecision, on_delete=models.PROTECT, null=True, related_name="releases")
    """The version of the decision it rests on; null where it was released before decisions had versions."""
    review = models.ForeignKey(RecordReview, on_delete=models.PROTECT, null=True, related_name="releases")
    """The review it rests on; null where it was released before records were reviewed."""
    released_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    released_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="release")

    class Meta:
        ordering = ["batch", "version"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "version"], name="release_version_once"),
            models.CheckConstraint(
                condition=Q(version=1, replaces__isnull=True) | Q(version__gt=1, replaces__isnull=False),
                name="release_anew_says_which",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.released_at:%Y-%m-%d %H:%M}"


class NoneYet(AttributeError, ObjectDoesNotExist):
    """The batch has no decision, or no release, yet."""


class Newest:
    """The newest version of what a batch has in versions: ``batch.qc_decision``, ``batch.release``."""

    def __init__(self, many: str):
        self.many = many

    def __get__(self, batch: Batch | None, owner: type[Batch]) -> Any:
        if batch is None:
            return self
        found = newest_of(batch, self.many)
        if found is None:
            raise NoneYet(f"{batch} has no {self.many} yet.")
        return found


def newest_of(batch: Batch, many: str) -> Any:
    """The row with the highest version among ``batch.<many>``; None where there is none. No query where they are prefetched."""
    rows = getattr(batch, many)
    if many in getattr(batch, "_prefetched_objects_cache", {}):
        return max(rows.all(), key=lambda row: row.version, default=None)
    return rows.select_related("signature").order_by("-version").first()


Batch.qc_decision = Newest("qc_decisions")  # type: ignore[attr-defined]
Batch.release = Newest("releases")  # type: ignore[attr-defined]
# As the backward side of a relation is, these are set on Batch by the app that keeps the rows.


def decision_of(batch: Batch) -> QcDecision | None:
    """The decision that stands: the newest version."""
    found: QcDecision | None = newest_of(batch, "qc_decisions")
    return found


def release_of(batch: Batch) -> Release | None:
    """The release that stands: the newest version."""
    found: Release | None = newest_of(batch, "releases")
    return found


def review_of(batch: Batch) -> RecordReview | None:
    """The newest review of the record, whether or not it still holds."""
    found: RecordReview | None = newest_of(batch, "reviews")
    return found


# The rows of the other ways stand in a file of their own; Django finds models here.
from regenplant.quality.ways_models import (  # noqa: E402
    Downgrade,
    DowngradeOrder,
    RetainedSample,
    ReworkProposal,
    RinseContinuation,
    SampleDiscard,
)

__all__ = [
    "Downgrade",
    "DowngradeOrder",
    "Newest",
    "NoneYet",
    "QcDecision",
    "QcMeasurement",
    "RecordReopening",
    "RecordReview",
    "Release",
    "RetainedSample",
    "ReworkProposal",
    "RinseContinuation",
    "SampleDiscard",
    "decision_of",
    "newest_of",
    "release_of",
    "review_of",
]
