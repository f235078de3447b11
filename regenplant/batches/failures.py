"""How often the same resin failed, and what the next rework needs for it.

First failure: a cause in words. Second: also what kind of cause, and another recipe version, or a reason for the same one.
From the third on: a supervisor and a safety lead together, each with their own password; or the resin is scrapped. That the
third failure takes two people is this plant's rule, not a standard's.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.audit.reasons import SHORTEST_REASON
from regenplant.batches.models import Batch
from regenplant.core.process.lifecycle import BatchState


@dataclass(frozen=True, slots=True)
class ReworkNeeds:
    """What a rework asks for after so many failures of one resin."""

    failures: int

    @property
    def needs_cause_category(self) -> bool:
        return self.failures >= 2

    @property
    def needs_another_recipe(self) -> bool:
        """Another recipe version, or a reason why the same one is run again."""
        return self.failures >= 2

    @property
    def needs_two_people(self) -> bool:
        return self.failures >= 3

    @property
    def sentence(self) -> str:
        """What the page of the rework says; "" after the first failure."""
        if self.needs_two_people:
            return (
                f"This resin failed {self.failures} times. A supervisor and a safety lead rework it together, each with their "
                "own password; else it is scrapped."
            )
        if self.needs_cause_category:
            return "This resin failed twice. Say what kind of cause it is, and take another recipe version or say why not."
        return ""

    @property
    def same_recipe(self) -> str:
        """What a rework by the recipe version that failed last is refused with while it has no reason."""
        return (
            f"This resin failed {self.failures} times, and the last time by this very recipe version. Choose another one, or "
            f"say in at least {SHORTEST_REASON} characters why the same is run again."
        )


FIRST_FAILURE = ReworkNeeds(1)


def rework_needs(batch: Batch) -> ReworkNeeds:
    """What a rework of this batch needs; counts this batch and every failed one it reworks."""
    failures, one = 0, batch
    while True:
        failures += one.state == BatchState.FAILED
        if one.parent is None:
            return ReworkNeeds(failures)
        one = one.parent
