"""The frozen plan of a batch as data: parsed once per digest, never changed."""

from __future__ import annotations

import json
from functools import lru_cache

from regenplant.batches.models import Batch
from regenplant.core.process.canonical import canonical_text, digest, from_plain
from regenplant.core.process.continued import continued_numbers
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.vocabulary import Leg


def plan_of(batch: Batch) -> BatchPlan:
    """The plan this batch was frozen with."""
    return _parse(batch.plan_digest, batch.plan_text)


def judged_rinses(plan: BatchPlan) -> tuple[int, ...]:
    """Numbers of the steps whose readings are held against the specification: the rinses of the whole bed after the last
    chemical. The last of them ends on the end point."""
    last = max((step.number for step in plan.steps if step.chemical is not None), default=0)
    return tuple(
        step.number
        for step in plan.steps
        if step.kind.is_judged_rinse and step.leg is Leg.WHOLE and step.number > last
    )


def all_judged_rinses(plan: BatchPlan) -> tuple[int, ...]:
    """Those of ``judged_rinses`` and the numbers of a rinse that goes on behind the plan (``core.process.continued``)."""
    planned = judged_rinses(plan)
    return (*planned, *continued_numbers(plan.steps)) if planned else ()


def ends_on_end_point(plan: BatchPlan, number: int) -> bool:
    """Whether this step ends when the end point is met: the last judged rinse, and every round it goes on for."""
    planned = judged_rinses(plan)
    return bool(planned) and (number == planned[-1] or number in continued_numbers(plan.steps))


@lru_cache(maxsize=256)
def _parse(plan_digest: str, text: str) -> BatchPlan:
    return from_plain(BatchPlan, json.loads(text))


def freeze(plan: BatchPlan) -> tuple[str, str]:
    """Canonical text of a plan and its digest."""
    text = canonical_text(plan)
    return text, digest(text)


def is_untouched(batch: Batch) -> bool:
    """Whether the stored plan still fits its digest."""
    return digest(batch.plan_text) == batch.plan_digest
