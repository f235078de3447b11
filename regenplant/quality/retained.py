"""Retained samples: which batches need one, which are kept, which are due to be discarded. Nothing is changed here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import QuerySet

from regenplant.batches.models import Batch
from regenplant.core.process.lifecycle import BatchState
from regenplant.plant.limits import content_in_force
from regenplant.plant.selectors import plant_day
from regenplant.quality.models import RetainedSample

WHILE_TAKEN = (BatchState.AWAITING_QC, BatchState.PASSED, BatchState.FILLED)
"""States in which a sample of the batch may still be written down: from the handover to QC up to the release."""


def days_kept(segregation_class: str, at: datetime) -> int:
    """How long a sample of this class is kept [days] by the plant's limits in force; 0 where none is needed."""
    return content_in_force(at).samples.days(segregation_class)


def keep_until(segregation_class: str, taken_at: datetime) -> date:
    """The day up to which a sample taken at this time is kept; the day itself where the class needs none."""
    return plant_day(taken_at) + timedelta(days=days_kept(segregation_class, taken_at))


def kept_samples() -> QuerySet[RetainedSample]:
    """Samples that still stand in their place."""
    return RetainedSample.objects.filter(discard__isnull=True).select_related("batch__resin_type", "taken_by")


def samples_of(batch: Batch) -> list[RetainedSample]:
    """Every sample of a batch, discarded ones too, oldest first. One query."""
    rows = RetainedSample.objects.filter(batch=batch).select_related("taken_by", "discard__discarded_by")
    return list(rows.order_by("taken_at", "pk"))


def current_sample(batch: Batch) -> RetainedSample | None:
    """The newest sample that stands, taken after the rinse went on for the last time."""
    rows = kept_samples().filter(batch=batch)
    last = batch.rinse_continuations.order_by("-round").first()
    if last is not None:
        rows = rows.filter(taken_at__gt=last.continued_at)
    return rows.order_by("-taken_at", "-pk").first()


def sample_missing(batch: Batch) -> str:
    """Why the release waits for a sample; "" where one stands or the class needs none.

    Asked by the limits in force when the batch was planned, so that a limit changed later holds for later batches.
    """
    days = days_kept(batch.segregation_class, batch.planned_at)
    if not days or current_sample(batch) is not None:
        return ""
    return (
        f"No retained sample is written down. Class {batch.segregation_class} keeps one for {days} days: take it and write it "
        "down first."
    )


def against_release(batch: Batch) -> tuple[str, ...]:
    """What a missing sample holds against the release (``quality.guards``)."""
    missing = sample_missing(batch)
    return (missing,) if missing else ()


@dataclass(frozen=True, slots=True)
class SampleShelf:
    """The register: what is due to be discarded, what is kept, what is gone."""

    due: tuple[RetainedSample, ...]
    kept: tuple[RetainedSample, ...]
    gone: tuple[RetainedSample, ...]
    """The last fifty."""
    missing: tuple[Batch, ...]
    """Batches on their way to a release that need a sample and have none."""


def sample_shelf(now: datetime) -> SampleShelf:
    """All of it, the longest overdue first. A handful of queries for each batch that waits, and four for the rest."""
    today = plant_day(now)
    rows = list(kept_samples().order_by("keep_until", "pk"))
    gone = RetainedSample.objects.filter(discard__isnull=False).select_related(
        "batch__resin_type", "taken_by", "discard__discarded_by"
    )
    waiting = Batch.objects.filter(state__in=WHILE_TAKEN).select_related("resin_type").order_by("planned_at")
    return SampleShelf(
        due=tuple(row for row in rows if row.keep_until < today),
        kept=tuple(row for row in rows if row.keep_until >= today),
        gone=tuple(gone.order_by("-discard__discarded_at", "-pk")[:50]),
        missing=tuple(batch for batch in waiting if sample_missing(batch)),
    )


def sample_numbered(number: str) -> RetainedSample | None:
    """The sample with this number, with what its page shows."""
    if "\x00" in number:
        return None
    rows = RetainedSample.objects.select_related(
        "batch__resin_type", "batch__vessel", "taken_by", "discard__discarded_by"
    )
    return rows.filter(number__iexact=number.strip()).first()
