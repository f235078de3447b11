"""Issues of papers: which paper, of what, the how manyth time, and the hash of its bytes. Certificates of quality, frozen."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from regenplant.audit.reasons import LONGEST_CATEGORY


class IssuedPaper(models.Model):
    """One issue of one paper. Append-only: a paper that left the printer cannot be called back by deleting a row.

    ``sha256`` covers the bytes that were handed out, so a file can be proven to be this issue.
    """

    kind = models.CharField(max_length=20)
    subject_key = models.CharField(max_length=64)
    """Batch number or tank serial."""
    issue_number = models.PositiveIntegerField()
    page_size = models.CharField(max_length=8)
    sha256 = models.CharField(max_length=64)
    chain_number = models.BigIntegerField(default=0)
    """The newest act of the record when it was printed; 0 for papers from before this was kept."""
    chain_head = models.CharField(max_length=64, blank=True)
    """Its digest, whose beginning the paper bears."""
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-issued_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "subject_key", "issue_number"], name="paper_issue_once"),
            models.CheckConstraint(condition=Q(issue_number__gte=1), name="paper_issue_from_one"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.subject_key}, issue {self.issue_number}"


class Certificate(models.Model):
    """A certificate of quality, as it was issued, for good. Append-only: what no longer holds is withdrawn, or replaced by a new one.

    ``content`` is the canonical text of ``certificate.content.CertificateContent``: everything the paper says. Each print of it is an
    ``IssuedPaper`` with the certificate's number as its key.
    """

    class Scope(models.TextChoices):
        TANK = "tank", "one tank"
        DELIVERY = "delivery", "a delivery"

    number = models.CharField(max_length=16, unique=True)
    scope = models.CharField(max_length=8, choices=Scope.choices)
    customer_code = models.CharField(max_length=24)
    content = models.TextField()
    digest = models.CharField(max_length=64)
    """SHA-256 over ``content``; the paper bears it."""
    replaces = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="replaced_by")
    """The certificate that this one was issued in place of."""
    issued_at = models.DateTimeField()
    issued_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-issued_at", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(scope__in=["tank", "delivery"]), name="certificate_scope_known"
            ),
            models.CheckConstraint(condition=~Q(content=""), name="certificate_says_something"),
        ]

    def __str__(self) -> str:
        return self.number


class CertifiedTank(models.Model):
    """One tank on a certificate, with the versions of the signed record it rests on. Append-only.

    Tank and batch are named in words, not pointed to: a certificate outlives what was purged.
    """

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="tanks")
    position = models.PositiveSmallIntegerField()
    tank_serial = models.CharField(max_length=24)
    visit_number = models.CharField(max_length=16)
    batch_number = models.CharField(max_length=16)
    decision_version = models.PositiveSmallIntegerField()
    release_version = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["certificate", "position"]
        indexes = [
            models.Index(fields=["batch_number"], name="certified_batch"),
            models.Index(fields=["tank_serial"], name="certified_tank"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["certificate", "visit_number"], name="tank_once_on_certificate"),
        ]

    def __str__(self) -> str:
        return f"{self.tank_serial} of {self.batch_number}"


class CertificateWithdrawal(models.Model):
    """A certificate that holds no more, and why. Append-only."""

    certificate = models.OneToOneField(Certificate, on_delete=models.PROTECT, related_name="withdrawal")
    reason_category = models.CharField(max_length=LONGEST_CATEGORY)
    reason = models.CharField(max_length=300)
    withdrawn_at = models.DateTimeField()
    withdrawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="withdrawn_certificate_has_reason")
        ]

    def __str__(self) -> str:
        return self.reason
