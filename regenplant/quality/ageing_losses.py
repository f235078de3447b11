"""What the regenerations behind a lot lost of its resin: which batches speak for it, and the rate they make."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from regenplant.batches.cycle_losses import BatchLoss
from regenplant.core.process.resin_losses import Cycle, LossRate, loss_rate
from regenplant.quality.ageing_lines import Line

LEAST_OF_LOT = 0.05
"""Batches through which less of the lot went say little of it; this program's choice."""
ODD_FRAC = 0.5
"""A loss or a gain of more than half is a slip of a count; shown, and not counted. This program's choice."""


@dataclass(frozen=True, slots=True)
class LotCycle:
    """One batch behind a lot."""

    loss: BatchLoss
    share_frac: float
    """Share of the lot that went through it [-]."""
    steps_back: int
    """0 for the batch that made the lot."""
    why_not: str
    """Why it is not counted; "" where it is."""

    @property
    def lost_frac(self) -> float | None:
        """Of what came in [-]; None where nothing did."""
        return self.loss.lost_m3 / self.loss.came_in_m3 if self.loss.came_in_m3 > 0.0 else None


def cycles_of(line: Line, losses: Mapping[int, BatchLoss]) -> tuple[LotCycle, ...]:
    """The batches behind a lot, newest first."""
    found = [
        LotCycle(losses[pk], min(1.0, share), line.steps[pk], _why_not(losses[pk]))
        for pk, share in line.shares.items()
        if share >= LEAST_OF_LOT and pk in losses and pk in line.steps
    ]
    return tuple(sorted(found, key=lambda one: (one.loss.filled_at, one.loss.number), reverse=True))


def _why_not(loss: BatchLoss) -> str:
    if loss.came_in_m3 <= 0.0 or abs(loss.lost_m3) > ODD_FRAC * loss.came_in_m3:
        return "this cannot be: look at the volumes counted"
    return ""


def rate_of(cycles: Sequence[LotCycle]) -> LossRate | None:
    """The rate of those that count; None where none does."""
    counted = [
        Cycle(one.loss.came_in_m3, one.loss.topped_up_m3, one.loss.out_m3, one.share_frac, one.steps_back)
        for one in reversed(cycles)
        if not one.why_not
    ]
    return loss_rate(counted)
