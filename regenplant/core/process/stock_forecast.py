"""How long a stock lasts: what the plan still draws first, then the usual use of a day with its spread.

The batches that are planned, ready or running draw before anything else, at once: that is the worst they can do. They are part of
the usual use, not on top of it: the stock falls by whichever is more, the plan or the usual use up to that day. The band holds 90 of
100 courses if days are alike and know nothing of each other; a plant that stops for a holiday is outside it.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.errors import OutOfRange

Z_90 = 1.6449
"""One-sided 95 % point of the normal distribution, so that a band holds 90 % (NIST/SEMATECH e-Handbook 1.3.6.7.1)."""
FEWEST_DAYS = 7
"""Days of the ledger below which no usual use is said."""
HORIZON_DAYS = 120


@dataclass(frozen=True, slots=True)
class UsualUse:
    """The use of a day [kg as 100 %]: its mean, the standard deviation of single days, and of how many days."""

    mean_kg: float
    deviation_kg: float
    days: int


@dataclass(frozen=True, slots=True)
class Crossing:
    """In how many days a stock falls under a mark: early (1 in 20 is sooner), likely, late (1 in 20 is later).

    0 is today; None is not within ``HORIZON_DAYS``.
    """

    early_days: int | None
    likely_days: int | None
    late_days: int | None


@dataclass(frozen=True, slots=True)
class StockForecast:
    """One tank or chemical [kg as 100 %]."""

    held_kg: float
    low_kg: float
    planned_kg: float
    usual: UsualUse | None
    low: Crossing
    empty: Crossing

    @property
    def after_plan_kg(self) -> float:
        """What is left when every planned batch has drawn; below zero the plan needs a delivery."""
        return self.held_kg - self.planned_kg


def usual_use(days_kg: Sequence[float]) -> UsualUse | None:
    """Mean and spread of the use of single days, idle ones included; None for too few of them or no use at all."""
    if len(days_kg) < FEWEST_DAYS or not any(use > 0.0 for use in days_kg):
        return None
    mean = statistics.fmean(days_kg)
    return UsualUse(mean, statistics.stdev(days_kg), len(days_kg)) if mean > 0.0 else None


def fall_kg(days: float, planned_kg: float, usual: UsualUse | None, z: float = 0.0) -> float:
    """By how much the stock falls within some days [kg]; ``z`` standard deviations above the usual use.

    The uncertainty of the mean itself counts with that of the days: variance s² d (1 + d/n).
    """
    if usual is None:
        return planned_kg
    spread = usual.deviation_kg * math.sqrt(days * (1.0 + days / usual.days))
    return max(planned_kg, usual.mean_kg * days + z * spread, 0.0)


def forecast(
    held_kg: float,
    low_kg: float,
    planned_kg: float,
    usual: UsualUse | None,
    coming: Sequence[tuple[int, float]] = (),
) -> StockForecast:
    """When a stock falls under its low mark, and when nothing is left.

    Parameters
    ----------
    held_kg : float
        What stands there now
    low_kg : float
        >= 0; the low mark
    planned_kg : float
        >= 0; what planned, ready and running batches still draw
    usual : UsualUse | None
        None: only the plan is known
    coming : Sequence[tuple[int, float]]
        Expected deliveries: in how many days, and how much [kg]; each counts from the day after, when it is surely unloaded

    Raises: OutOfRange for a mark, a plan, a delivery or its day below nothing.
    """
    if low_kg < 0.0 or planned_kg < 0.0 or any(day < 0 or kg < 0.0 for day, kg in coming):
        raise OutOfRange(
            "A low mark, a planned mass and what is expected are at least nothing.", code="below_nothing"
        )
    return StockForecast(
        held_kg,
        low_kg,
        planned_kg,
        usual,
        _crossing(held_kg, low_kg, planned_kg, usual, coming),
        _crossing(held_kg, 0.0, planned_kg, usual, coming),
    )


def _crossing(
    held_kg: float,
    mark_kg: float,
    planned_kg: float,
    usual: UsualUse | None,
    coming: Sequence[tuple[int, float]],
) -> Crossing:
    def day(z: float) -> int | None:
        for passed in range(HORIZON_DAYS + 1):
            came = sum(kg for on, kg in coming if on < passed)
            if held_kg + came - fall_kg(float(passed), planned_kg, usual, z) < mark_kg:
                return passed
        return None

    return Crossing(day(Z_90), day(0.0), day(-Z_90))
