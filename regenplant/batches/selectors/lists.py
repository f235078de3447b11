"""Lists of batches, finding one, and its story."""

from __future__ import annotations

from django.db.models import Count, Q, QuerySet

from regenplant.batches.models import Batch, BatchTank
from regenplant.chemicals.models import Movement
from regenplant.core.errors import RecordRefused


def batch_list() -> QuerySet[Batch]:
    """All batches, newest first, with what a listing shows; one query."""
    return (
        Batch.objects.select_related(
            "vessel", "anion_vessel", "resin_type", "recipe_version__recipe", "planned_by", "parent"
        )
        .annotate(
            tank_count=Count("tank_links", distinct=True),
            open_deviation_count=Count(
                "deviations", filter=Q(deviations__decided_at__isnull=True), distinct=True
            ),
        )
        .order_by("-planned_at", "-id")
    )


def filtered_batches(
    *, text: str = "", state: str = "", vessel: str = "", family: str = ""
) -> QuerySet[Batch]:
    """The listing narrowed by what a person chose; empty means all. ``text`` is part of a number, recipe or tank serial."""
    wanted = Q()
    if text.strip():
        words = text.strip()
        with_tank = (
            BatchTank.objects.filter(visit__tank__serial__icontains=words).order_by().values("batch_id")
        )
        wanted &= (
            Q(number__icontains=words)
            | Q(recipe_version__recipe__code__icontains=words)
            | Q(resin_type__code__icontains=words)
            | Q(pk__in=with_tank)
        )
    if state:
        wanted &= Q(state=state)
    if vessel:
        wanted &= Q(vessel__code=vessel) | Q(anion_vessel__code=vessel)
    if family:
        wanted &= Q(resin_type__family=family)
    return batch_list().filter(wanted)


def count_by_state() -> dict[str, int]:
    """How many batches are in each state. One query."""
    rows = Batch.objects.order_by().values("state").annotate(batches=Count("id"))
    return {row["state"]: row["batches"] for row in rows}


def batch_numbered(number: str) -> Batch:
    """The batch with this number. Raises RecordRefused when there is none."""
    found = (
        Batch.objects.select_related(
            "vessel",
            "anion_vessel",
            "resin_type",
            "recipe_version__recipe",
            "specification_version__specification",
            "planned_by",
            "parent",
            "lot",
        )
        .filter(number__iexact=number.strip())
        .first()
    )
    if found is None:
        raise RecordRefused(f"There is no batch {number} here.", code="unknown_batch")
    return found


def story_subjects(batch: Batch) -> list[tuple[str, str]]:
    """What the story of a batch is about: the batch itself, its deviations and the chemical drawn for it."""
    deviations = batch.deviations.values_list("number", flat=True)
    movements = Movement.objects.filter(reference=batch.number).values_list("number", flat=True)
    return [
        ("batch", batch.number),
        *(("deviation", number) for number in deviations),
        *(("movement", str(number)) for number in movements),
    ]
