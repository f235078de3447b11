"""What is kept about the keeping of records: one class for each thing, each with its own numbered migration."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.audit.version_model import Version, constraints_of
from regenplant.batches.models import Batch
from regenplant.people.models import Signature


class PaperForm(models.Model):
    """One numbered blank form, issued for hours without the system. Its number is used once."""

    class Kind(models.TextChoices):
        STEP_RECORD = "step_record", "step record"
        RINSE_LOG = "rinse_log", "rinse log"
        CHEMICAL_DRAW = "chemical_draw", "chemical draw"
        QC = "qc", "QC measurement"
        INTAKE = "intake", "intake"

    class State(models.TextChoices):
        ISSUED = "issued", "issued"
        ENTERING = "entering", "being entered"
        ENTERED = "entered", "entered, to be confirmed"
        CONFIRMED = "confirmed", "confirmed"
        SPOILED = "spoiled", "spoiled"
        MISSING = "missing", "missing"

    number = models.CharField(max_length=16, unique=True)
    kind = models.CharField(max_length=16, choices=Kind.choices)
    pad = models.CharField(max_length=16)
    """Number of the first form of the pad it was issued with."""
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, null=True, related_name="paper_forms")
    """The batch it was printed for; for an empty form, the batch it turned out to be about."""
    content = models.TextField()
    """Canonical text of the ``PaperFormContent``: everything that is printed."""
    digest = models.CharField(max_length=64)
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()
    prints = models.PositiveSmallIntegerField(default=0)
    """How often it was printed; from the second time on the paper says so."""
    state = models.CharField(max_length=10, choices=State.choices, default=State.ISSUED.value)
    transcriber = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    taken_up_at = models.DateTimeField(null=True)
    entered_at = models.DateTimeField(null=True)
    remarks = models.CharField(max_length=400, blank=True)
    """What the transcriber could not read, or did not enter, and why."""
    transcription_signature = models.OneToOneField(
        Signature, on_delete=models.PROTECT, null=True, related_name="transcribed_form"
    )
    sent_back = models.CharField(max_length=400, blank=True)
    """Why the second person sent the transcription back the last time."""
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    confirmed_at = models.DateTimeField(null=True)
    confirmation_signature = models.OneToOneField(
        Signature, on_delete=models.PROTECT, null=True, related_name="confirmed_form"
    )
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    closing_reason = models.CharField(max_length=300, blank=True)
    """Why it is spoiled, or how it came to be missing."""
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["number"]
        indexes = [models.Index(fields=["state", "issued_at"], name="paper_form_state")]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["issued", "entering", "entered", "confirmed", "spoiled", "missing"]),
                name="paper_form_state_known",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["entering", "entered", "confirmed"]) | Q(transcriber__isnull=False),
                name="used_form_has_transcriber",
            ),
            models.CheckConstraint(
                condition=~Q(state="confirmed")
                | Q(transcription_signature__isnull=False, confirmation_signature__isnull=False)
                & ~Q(confirmed_by=F("transcriber")),
                name="confirmed_form_has_two_people",
            ),
            models.CheckConstraint(
                condition=~Q(state__in=["spoiled", "missing"]) | ~Q(closing_reason=""),
                name="lost_form_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class PaperScan(models.Model):
    """A scan or photograph of a form that was filled in. Append-only; ``sha256`` covers its bytes."""

    form = models.ForeignKey(PaperForm, on_delete=models.PROTECT, related_name="scans")
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=20)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    content = models.BinaryField()
    added_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["form", "sha256"], name="scan_once_for_a_form"),
            models.CheckConstraint(condition=Q(size__gt=0, size__lte=10_000_000), name="scan_size"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, {self.sha256[:8]}"


class RetentionVersion(Version):
    """One version of the rules for how long records are kept; ``content`` is canonical text, years by class of record."""

    class Meta:
        ordering = ["-number"]
        constraints = constraints_of("retention")

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("retention", "rules", "Rules of retention")

    @property
    def noun(self) -> str:
        return "the rules of retention"


class LegalHold(models.Model):
    """Records that nobody removes, whatever their period says, until the hold is lifted with a reason. Never deleted."""

    class Subject(models.TextChoices):
        BATCH = "batch", "batch"
        TANK = "tank", "tank"
        CUSTOMER = "customer", "customer"
        RESIN_LOT = "resin_lot", "resin lot"
        CHEMICAL_LOT = "chemical_lot", "chemical lot"

    number = models.CharField(max_length=16, unique=True)
    subject_kind = models.CharField(max_length=14, choices=Subject.choices)
    subject_key = models.CharField(max_length=64)
    """The code people know it by: batch number, serial, customer code, lot code."""
    reason = models.CharField(max_length=300)
    placed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    placed_at = models.DateTimeField()
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    lifted_at = models.DateTimeField(null=True)
    lifting_reason = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-placed_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(lifted_by__isnull=True, lifted_at__isnull=True, lifting_reason="")
                | (Q(lifted_by__isnull=False, lifted_at__isnull=False) & ~Q(lifting_reason="")),
                name="hold_lifted_whole_or_not",
            ),
            models.CheckConstraint(
                condition=Q(lifted_by__isnull=True) | ~Q(lifted_by=F("placed_by")),
                name="hold_lifted_by_another",
            ),
            models.UniqueConstraint(
                fields=["subject_kind", "subject_key", "reason"],
                condition=Q(lifted_at=None),
                name="hold_once",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} on {self.get_subject_kind_display()} {self.subject_key}"


class Purge(models.Model):
    """One batch whose rows were removed after their time, by two people. ``content`` is what both signed."""

    number = models.CharField(max_length=16, unique=True)
    batch_number = models.CharField(max_length=16, unique=True)
    segregation_class = models.CharField(max_length=1)
    kept_until = models.DateField()
    reason = models.CharField(max_length=300)
    copy_sha256 = models.CharField(max_length=64)
    """Digest of the complete copy that was made and read back before the rows went."""
    content = models.TextField()
    """Canonical text: batch, period, copy, reason, and how many rows of which table went, with a digest over all."""
    purged_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    confirmed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    purged_at = models.DateTimeField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="+")
    confirmation_signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(confirmed_by=F("purged_by")), name="purge_confirmed_by_another"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class PurgedRow(models.Model):
    """What stays of a row that was purged: where it stood and its digest. Only a row named here can be deleted."""

    purge = models.ForeignKey(Purge, on_delete=models.PROTECT, related_name="rows")
    table_name = models.CharField(max_length=64)
    row_key = models.CharField(max_length=64)
    number = models.CharField(max_length=16, blank=True)
    """The running number it had, "" for none; it is not given out again."""
    digest = models.CharField(max_length=64)
    """Of the row as it stood last: the same that its seal and the copy have."""

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["number"], name="purged_number")]
        constraints = [models.UniqueConstraint(fields=["table_name", "row_key"], name="row_purged_once")]

    def __str__(self) -> str:
        return f"{self.table_name} {self.row_key}"
