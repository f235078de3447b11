"""Room in the waste tank that is spoken for: what batches under way still send there (EV-08)."""

from __future__ import annotations

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.routes import destination_of
from regenplant.core.process.drains import Destination
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_waste import waste_shares

UNDER_WAY = (BatchState.RUNNING, BatchState.RINSING, BatchState.HELD)
"""Begun batches: what they drain cannot wait."""
STEP_STATES = ("waiting", "running")
LITRE_M3 = 1e-3


def waste_by_step(batch: Batch) -> dict[int, float]:
    """What each step of a batch sends to the waste tank as planned, by number [m^3]."""
    return _by_step(batch.plan_digest, plan_of(batch))


_KEPT: dict[str, dict[int, float]] = {}


def _by_step(digest: str, plan: BatchPlan) -> dict[int, float]:
    if digest not in _KEPT:
        if len(_KEPT) > 512:
            _KEPT.clear()
        shares = waste_shares(PlanBasis(plan.request), plan.steps)
        _KEPT[digest] = {share.step.number: share.volume_m3 for share in shares}
    return _KEPT[digest]


def committed_m3(besides: int | None = None) -> float:
    """What begun batches still send to the waste tank, to the litre [m^3]; without the batch with this key. One query."""
    steps = (
        StepRun.objects.filter(batch__state__in=[state.value for state in UNDER_WAY], state__in=STEP_STATES)
        .exclude(batch=besides)
        .select_related("batch")
    )
    coming = sum(
        waste_by_step(step.batch).get(step.number, 0.0)
        for step in steps
        if destination_of(step, step.batch) is Destination.NEUTRALIZATION
    )
    return round(coming / LITRE_M3) * LITRE_M3
