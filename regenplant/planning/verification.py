"""Accepted plans and their planned batches: whether they still say what was accepted."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.batches.models import BatchTank
from regenplant.core.process.canonical import digest
from regenplant.planning.accepted_text import accepted_content
from regenplant.planning.members import READ, members
from regenplant.planning.models import PlanAcceptance, PlannedBatch


def check_plans(look: Look) -> Iterator[Finding]:
    """Each accepted plan against its digest, and its planned batches against what it says of them."""
    read = (f"batches__{name}" for name in READ)
    rows = PlanAcceptance.objects.prefetch_related(*read, "batches__vessel").order_by("number")
    for row in rows:
        look.saw()
        if digest(row.content) != row.digest:
            yield Finding("day_plan", f"What day plan {row.number} says is not what was accepted.")
            continue
        planned = {one["id"]: one for one in accepted_content(row.content)["plan"]["batches"]}
        batches = list(row.batches.all())
        for batch in batches:
            yield from _batch(row.number, batch, planned.pop(batch.plan_batch, None))
        for name in planned:
            yield Finding(
                "day_plan", f"Day plan {row.number} says {name}, and there is no planned batch of it."
            )


def _batch(number: str, batch: PlannedBatch, said: dict[str, object] | None) -> Iterator[Finding]:
    if said is None:
        yield Finding("day_plan", f"Planned batch {batch.code} does not stand in day plan {number}.")
        return
    tanks = members(batch)
    serials = [one.tank.serial for one in tanks]
    if serials != said["tanks"] or batch.vessel.code != said["vessel"]:
        yield Finding(
            "day_plan",
            f"Planned batch {batch.code} has other tanks or another vessel than day plan {number} says.",
        )
    links = BatchTank.objects.filter(batch__number=batch.batch_number).values_list("visit_id", flat=True)
    if links and not set(links) & {one.visit.pk for one in tanks if one.visit is not None}:
        yield Finding("day_plan", f"Planned batch {batch.code} names a batch that has none of its tanks.")


register(Check("day_plan", "Accepted plans of the day", "plans", check_plans), place=56)
