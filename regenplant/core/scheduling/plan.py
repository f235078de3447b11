"""A plan: batches with their tanks, vessel and stage times. Frozen; says nothing of whether it keeps the limits (checker.py does)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlannedStage:
    """One stage from its start to its end, in minutes."""

    name: str
    start_min: int
    end_min: int


@dataclass(frozen=True, slots=True)
class PlannedBatch:
    """Tanks that go together into a vessel, stage by stage."""

    id: str
    vessel: str
    tanks: tuple[str, ...]
    underfill_waiver: bool
    stages: tuple[PlannedStage, ...]

    @property
    def start_min(self) -> int:
        """When its loading begins."""
        return self.stages[0].start_min

    @property
    def end_min(self) -> int:
        """When its tanks are refilled."""
        return self.stages[-1].end_min


@dataclass(frozen=True, slots=True)
class Plan:
    """The batches of one instance."""

    instance: str
    batches: tuple[PlannedBatch, ...]
