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


class RinseOutcome(models.Model):
    """What the trends know of one batch that was judged, or given up after its start: how much rinse it took, and whether it passed.

    Derived from the record, written anew whenever the batch is judged; no record itself. It names its batch by number instead
    of pointing to it, so that the trend of a lot outlives a batch whose record was purged.
    """

    class Verdict(models.TextChoices):
        """How the batch ended for the trends."""

        PASS = "pass", "passed"
        FAIL = "fail", "failed"
        GIVEN_UP = "given_up", "given up"

    number = models.CharField(max_length=16, unique=True)
    ended_at = models.DateTimeField()
    """When it was judged first, or given up."""
    family = models.CharField(max_length=12)
    resin_type = models.CharField(max_length=24)
    segregation_class = models.CharField(max_length=1)
    vessel = models.CharField(max_length=12)
    recipe = models.CharField(max_length=16)
    line = models.CharField(max_length=24, blank=True)
    """Code of the lot its resin goes back to, over the largest parent each time; the lot it made where nothing older is known."""
    lot_in = models.CharField(max_length=24, blank=True)
    """The lot most of its resin came from."""
    lot_made = models.CharField(max_length=24, blank=True)
    is_rework = models.BooleanField(default=False)
    verdict = models.CharField(max_length=8, choices=Verdict.choices)
    limit_siemens_per_m = models.FloatField(null=True)
    """The conductivity limit of its rinse; null for one that is judged by its volume alone."""
    is_reached = models.BooleanField(default=False)
    """Whether the limit was held as asked."""
    rinsed_bv = models.FloatField(null=True)
    """Bed volumes until the limit was reached for good; as far as it went where it was not."""
    rinse_s = models.FloatField(null=True)
    """Time until then, without holds [s]."""
    load_frac = models.FloatField(null=True)
    """What its resin had taken up in service, over the operating capacity of new resin; null where nobody wrote a throughput."""
    is_load_whole = models.BooleanField(default=False)
    """Whether every tank came back exhausted: else the resin may have had more."""
    chemical_lots = models.JSONField(default=list)
    """Codes of the lots it was planned with."""
    reason = models.CharField(max_length=400, blank=True)
    """Why it failed, in the words of the decision."""

    class Meta:
        ordering = ["ended_at", "id"]
        indexes = [
            models.Index(fields=["line", "ended_at"], name="rinse_outcome_line"),
            models.Index(fields=["ended_at"], name="rinse_outcome_time"),
        ]

    def __str__(self) -> str:
        return self.number


class TrendAlert(models.Model):
    """A lot of resin takes more rinse than it did. What was seen stays; a supervisor looks at it once, with words.

    The next alert of the same series comes when a later rinse is worse than anything that was seen when this one was looked at.
    """

    line = models.CharField(max_length=24)
    recipe = models.CharField(max_length=16)
    limit_siemens_per_m = models.FloatField()
    batch = models.CharField(max_length=16)
    """The batch whose rinse raised it."""
    rules = models.JSONField()
    """The rules it met, by their codes."""
    rinsed_bv = models.FloatField()
    centre_bv = models.FloatField()
    upper_bv = models.FloatField()
    level_bv = models.FloatField()
    """The weighted mean of the last rinses."""
    baseline = models.PositiveSmallIntegerField()
    """How many rinses the limits are from."""
    raised_at = models.DateTimeField()
    worst_bv = models.FloatField(null=True)
    """The largest volume of the series when it was looked at."""
    looked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    looked_at = models.DateTimeField(null=True)
    words = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-raised_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(looked_by__isnull=True, looked_at__isnull=True, worst_bv__isnull=True, words="")
                | Q(looked_by__isnull=False, looked_at__isnull=False, worst_bv__isnull=False) & ~Q(words=""),
                name="trend_looked_at_whole_or_not",
            ),
            models.UniqueConstraint(
                fields=["line", "recipe", "limit_siemens_per_m"],
                condition=Q(looked_at__isnull=True),
                name="one_open_trend_alert",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}, {self.batch}"


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


# The rows of the other ways and of ageing stand in files of their own; Django finds models here.
from regenplant.quality.ageing_models import LotLook, ResinFigure, ResinOf, ResinSample  # noqa: E402
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
    "LotLook",
    "Newest",
    "NoneYet",
    "QcDecision",
    "QcMeasurement",
    "RecordReopening",
    "RecordReview",
    "Release",
    "ResinFigure",
    "ResinOf",
    "ResinSample",
    "RetainedSample",
    "ReworkProposal",
    "RinseContinuation",
    "SampleDiscard",
    "decision_of",
    "newest_of",
    "release_of",
    "review_of",
]
