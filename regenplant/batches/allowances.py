"""How much water a rinse that goes on may take.

The app that hands a batch back to its rinse says in ``AppConfig.ready`` how that is found::

    allowances.ask(allowance_of)

More than that is not ended by the hands at the bed alone: a supervisor says why, and that opens a deviation (``services.finish_step``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from regenplant.batches.models import Batch, StepRun
from regenplant.batches.moves import current_entries
from regenplant.batches.points import points_of
from regenplant.batches.rinse import PASSED
from regenplant.core.process.wording import say

CLOSE_ENOUGH_FRAC = 0.02
"""A totalizer is not read closer than this; common practice, from memory [-]."""


@dataclass(frozen=True, slots=True)
class Allowance:
    """What QC allowed for one round: bed volumes that had passed before it, and those it may take besides [-]."""

    rinsed_bv: float
    allowance_bv: float

    def is_exceeded_by(self, taken_bv: float) -> bool:
        return taken_bv > self.allowance_bv * (1.0 + CLOSE_ENOUGH_FRAC)


_where: list[Callable[[int], Allowance | None]] = []


def ask(finder: Callable[[int], Allowance | None]) -> None:
    """Say how the allowance is found, by the key of the step; None for a step that none was given for."""
    _where[:] = [finder]


def over_allowance(step: StepRun, batch: Batch) -> tuple[str, ...]:
    """The sentence for a round of the rinse that took more water than it was allowed; empty where it did not, or none was said."""
    allowed = _where[0](step.pk) if _where else None
    if allowed is None:
        return ()
    taken_bv = _taken_bv(step, batch, allowed)
    if not allowed.is_exceeded_by(taken_bv):
        return ()
    return (
        f"{say(taken_bv, 'bed_volumes')} passed in this round, and at most {say(allowed.allowance_bv, 'bed_volumes')} were allowed. "
        "A supervisor ends it with a reason.",
    )


def _taken_bv(step: StepRun, batch: Batch, allowed: Allowance) -> float:
    """By the volume that is written down; while none is, by what the readings say has passed."""
    written = current_entries(step).get(PASSED)
    if written is not None and written.value is not None:
        return written.value / batch.resin_volume_m3
    rinsed = points_of(batch).rinsed_bv
    return max(0.0, float(rinsed.max()) - allowed.rinsed_bv) if len(rinsed) else 0.0
