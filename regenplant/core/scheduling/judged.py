"""A batch of a plan with its parts, as the checkers read it."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.scheduling import figures
from regenplant.core.scheduling.plan import PlannedBatch
from regenplant.core.scheduling.problem import Key, Tank, Vessel


@dataclass(frozen=True, slots=True)
class Judged:
    """A batch that can be judged: its parts are known."""

    batch: PlannedBatch
    vessel: Vessel
    tanks: tuple[Tank, ...]
    key: Key
    needs: tuple[figures.StageNeed, ...]

    @property
    def vessel_free_min(self) -> int:
        """When the vessel is free again; what follows takes people only."""
        inside = [
            stage.end_min
            for stage, need in zip(self.batch.stages, self.needs, strict=True)
            if not need.stage.after_vessel
        ]
        return max(inside, default=self.batch.end_min)

    @property
    def is_underfilled(self) -> bool:
        """Whether it needs a waiver of the minimum fill."""
        return sum(tank.volume_l for tank in self.tanks) < self.vessel.min_fill_l
