"""Issues of papers: which paper, of what, the how manyth time, and the hash of its bytes."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q


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
