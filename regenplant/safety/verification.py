"""The safety desk's records against one another: a refused tank that left was refused, a near miss is answered by another person."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.core.process.lifecycle import VisitState
from regenplant.safety.models import NearMiss, RefusedAway


def check_refused(look: Look) -> Iterator[Finding]:
    """Each leaving against its visit."""
    rows = RefusedAway.objects.select_related("visit__tank").order_by("pk")
    for row in rows.iterator(200):
        look.saw()
        if row.visit.state != VisitState.REFUSED:
            yield Finding(
                "refused", f"{row.visit.tank.serial} left as refused on {row.left_on}, and visit {row.visit.number} is {row.visit.state}."
            )  # fmt: skip


def check_near_misses(look: Look) -> Iterator[Finding]:
    """Each near miss: told, then answered, then closed, in this order."""
    for row in NearMiss.objects.order_by("pk").iterator(200):
        look.saw()
        times = [at for at in (row.reported_at, row.answered_at, row.closed_at) if at is not None]
        if times != sorted(times):
            yield Finding("near_miss", f"Near miss {row.number} was answered or closed before it was told.")


register(Check("refused", "Refused tanks that left", "tanks", check_refused), place=83)
register(Check("near_miss", "Near misses", "near misses", check_near_misses), place=84)
