"""Reading spills: the open ones, what a release is held against, and others of the same chemical within a day."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Prefetch, QuerySet

from regenplant.chemicals.models import Spill, SpillFigure, SpillNote
from regenplant.core.process.thresholds import Counted

DAY = timedelta(hours=24)
"""The span over which releases of one substance are summed (40 CFR 302.6: "in any 24-hour period"; from memory, confirm)."""


def spills() -> QuerySet[Spill]:
    """Spills with their figures and notes, the latest first."""
    figures = SpillFigure.objects.select_related("written_by", "movement").order_by("-position")
    notes = SpillNote.objects.select_related("written_by").order_by("happened_at", "id")
    return (
        Spill.objects.select_related("place", "lot", "written_by", "closed_by")
        .prefetch_related(Prefetch("figures", figures), Prefetch("notes", notes))
        .order_by("-happened_at", "-id")
    )


def open_spills() -> QuerySet[Spill]:
    return spills().filter(state=Spill.State.OPEN)


def newest_figure(spill: Spill) -> SpillFigure:
    """What is known now of how much it was; reads what was prefetched, if anything was."""
    return max(spill.figures.all(), key=lambda figure: figure.position)


def counted_grams(figure: SpillFigure, counted: Counted) -> int:
    return figure.grams_100 if counted is Counted.PURE else figure.product_grams


def within_a_day(
    chemical: str, at: datetime, counted: Counted, *, but: Iterable[int] = ()
) -> list[tuple[Spill, int]]:
    """Other spills of a chemical in the 24 hours before ``at``, with the grams that count."""
    rows = spills().filter(chemical=chemical, happened_at__gt=at - DAY, happened_at__lte=at)
    return [(row, counted_grams(newest_figure(row), counted)) for row in rows.exclude(pk__in=list(but))]
