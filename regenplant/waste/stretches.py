"""To which waste tank the drains ran, and when: what a step drains while the valves are changed over came into more than one.

When they were changed over stands in the log of acts, which is chained, and nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from regenplant.audit.selectors import acts_since
from regenplant.batches.models import Hold, StepRun
from regenplant.batches.timing import worked_s
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank

SWITCHED = "waste.drains_switched"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A time during which the drains ran to one tank."""

    tank: WasteTank
    start: datetime
    end: datetime


def received_between(start: datetime, end: datetime) -> list[Stretch]:
    """To which tanks the drains ran from ``start`` to ``end`` (UTC), in order; none before set-up. Reads the log of acts."""
    acts = sorted(acts_since([SWITCHED], start), key=lambda line: (line.occurred_at, line.number))
    by_pk = {str(tank.pk): tank for tank in WasteTank.objects.all()}
    before = [line for line in acts if line.occurred_at <= start]
    after = [line for line in acts if line.occurred_at > start]
    if before:
        tank = by_pk.get(before[-1].subject_key)
    elif after:
        tank = next((one for one in by_pk.values() if one.code == after[0].facts["before"]["receives"]), None)
    else:
        tank = waste_tank()
    found: list[Stretch] = []
    since = start
    for line in after:
        if line.occurred_at >= end:
            break
        if tank is not None:
            found.append(Stretch(tank, since, line.occurred_at))
        tank, since = by_pk.get(line.subject_key), line.occurred_at
    return [*found, Stretch(tank, since, end)] if tank is not None else found


def worked_into(step: StepRun, holds: Iterable[Hold], end: datetime) -> dict[int, float]:
    """How long a step worked while the drains ran to each tank, by the tank's key, the first one first [s]; a hold does not count.

    Empty for a step that was not started, and before set-up. A step that did not work at all is of the tank at its end.
    """
    if step.started_at is None:
        return {}
    holds, times = list(holds), dict[int, float]()
    stretches = received_between(step.started_at, max(end, step.started_at))
    for one in stretches:
        worked = worked_s(step, holds, one.end) - worked_s(step, holds, one.start)
        times[one.tank.pk] = times.get(one.tank.pk, 0.0) + max(worked, 0.0)
    if stretches and sum(times.values()) <= 0.0:
        return {stretches[-1].tank.pk: 1.0}
    return {key: worked for key, worked in times.items() if worked > 0.0}
