"""What a plan takes and gives, in the figures that people compare: tanks late, hours, batches, chemicals, water, waste."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.checker import check
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem


@dataclass(frozen=True, slots=True)
class Totals:
    """Of one plan. Chemicals as 100 %."""

    tanks: int
    late_tanks: int
    weighted_late_h: float
    batches: int
    makespan_h: float
    score: float
    chemicals_kg: Mapping[str, float] = field(default_factory=dict)
    water_m3: float = 0.0
    waste_m3: float = 0.0

    def to_data(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self)


def totals_of(problem: Problem, plan: Plan) -> Totals:
    """What the batches of a plan take by the recipe, and how it stands by the checker."""
    score = check(problem, plan).score
    tanks = {tank.id: tank for tank in problem.tanks}
    vessels = {vessel.id: vessel for vessel in problem.vessels}
    kilograms: dict[str, float] = defaultdict(float)
    water_m3 = waste_m3 = 0.0
    for batch in plan.batches:
        members = [tanks[name] for name in batch.tanks]
        vessel = vessels[batch.vessel]
        charged_l = figures.charge_l(sum(tank.volume_l for tank in members), vessel)
        percent = figures.dose_percent(problem, members)
        for stage in problem.stages(vessel.id, members[0].key) or ():
            need = figures.stage_need(stage, len(members), charged_l, percent, problem.slot_min)
            for use in need.uses:
                if use.chemical:
                    kilograms[use.chemical] += use.grams / 1000
                if use.water:
                    water_m3 += use.flow_l_per_min * need.minutes / 1000
                    waste_m3 += use.waste_l_per_min * need.minutes / 1000
    return Totals(
        tanks=sum(len(batch.tanks) for batch in plan.batches),
        late_tanks=score.late_tanks,
        weighted_late_h=score.weighted_late_h,
        batches=score.batches,
        makespan_h=score.makespan_h,
        score=score.total,
        chemicals_kg={name: kg for name, kg in sorted(kilograms.items()) if kg},
        water_m3=water_m3,
        waste_m3=waste_m3,
    )
