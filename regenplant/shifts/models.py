"""Shifts: handovers that two people sign, and open items that carry on from one to the next until somebody closes them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from regenplant.people.models import Signature


class Handover(models.Model):
    """One handover of the whole plant. ``content`` is what the leaving person signed: the live state of that moment, the open
    items and the notes, as canonical text.
    """

    class State(models.TextChoices):
        SIGNED = "signed", "signed, not taken over yet"
        TAKEN = "taken", "taken over"

    number = models.CharField(max_length=16, unique=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.SIGNED.value)
    handed_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    handed_at = models.DateTimeField()
    content = models.TextField()
    signature = models.OneToOneField(Signature, on_delete=models.PROTECT, related_name="handover")
    taken_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    taken_at = models.DateTimeField(null=True)
    remarks = models.CharField(max_length=600, blank=True)
    """What the coming person found otherwise."""
    taking_signature = models.OneToOneField(
        Signature, on_delete=models.PROTECT, null=True, related_name="handover_taken"
    )
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["-handed_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=Q(state__in=["signed", "taken"]), name="handover_state_known"),
            models.UniqueConstraint(fields=["state"], condition=Q(state="signed"), name="one_handover_waits"),
            models.CheckConstraint(
                condition=~Q(state="taken")
                | Q(taken_by__isnull=False, taken_at__isnull=False, taking_signature__isnull=False)
                & ~Q(taken_by=F("handed_by")),
                name="taken_handover_has_two_people",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class HandoverItem(models.Model):
    """Something open that the next shift must know. It stands in every handover until it is closed with words."""

    class Kind(models.TextChoices):
        SAFETY = "safety", "safety"
        WATCH = "watch", "to watch"
        TO_DO = "to_do", "to do"
        WAITING = "waiting", "waits for somebody"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    words = models.CharField(max_length=400)
    about = models.CharField(max_length=40, blank=True)
    """The code of what it is about: a batch, tank, vessel, skid, instrument; "" for nothing with a code."""
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    first_handover = models.ForeignKey(
        Handover, on_delete=models.PROTECT, null=True, related_name="first_items"
    )
    """The first handover it stood in; null until the shift in which it was opened ends."""
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    closing_words = models.CharField(max_length=400, blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["opened_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(closed_at__isnull=True, closed_by__isnull=True, closing_words="")
                | Q(closed_at__isnull=False, closed_by__isnull=False) & ~Q(closing_words=""),
                name="closed_item_has_words",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.words[:60]}"
