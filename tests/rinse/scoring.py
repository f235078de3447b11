"""The score of forecasts against truth, by the rules of the exchange format; written from its description.

Reached: 4 · mean pinball loss of ln(bed volumes) at 5, 50 and 95 % + p². Never: (1 − p)². A reached rinse without quantiles counts
0.20 as its pinball loss; a missing p counts as 0.5.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

SHARES = np.array([0.05, 0.50, 0.95])
WITHOUT_QUANTILES = 0.20
LOWEST_BV, HIGHEST_BV = 0.05, 200.0


@dataclass(frozen=True)
class Judged:
    """One forecast. ``pinball`` and what follows are NaN where the end point is never reached or nothing was said."""

    loss: float
    brier: float
    is_never: bool
    is_silent: bool
    pinball: float
    is_covered: float
    error: float
    width: float


def judged(endpoint_bv: float | None, entry: dict[str, Any]) -> Judged:
    chance = entry.get("p_never")
    chance = 0.5 if chance is None or not 0.0 <= chance <= 1.0 else float(chance)
    volumes = [entry.get(name) for name in ("p05_bv", "p50_bv", "p95_bv")]
    is_silent = not entry.get("enough_data", True) or any(value is None for value in volumes)
    nothing = math.nan
    if endpoint_bv is None:
        brier = (1.0 - chance) ** 2
        return Judged(brier, brier, True, is_silent, nothing, nothing, nothing, nothing)
    brier = chance**2
    if is_silent:
        return Judged(4.0 * WITHOUT_QUANTILES + brier, brier, False, True, nothing, nothing, nothing, nothing)
    quantiles = np.clip(np.array(volumes, dtype=float), LOWEST_BV, HIGHEST_BV)
    away = math.log(endpoint_bv) - np.log(quantiles)
    pinball = float(np.maximum(SHARES * away, (SHARES - 1.0) * away).mean())
    return Judged(
        4.0 * pinball + brier, brier, False, False, pinball,
        float(quantiles[0] <= endpoint_bv <= quantiles[2]),
        abs(quantiles[1] / endpoint_bv - 1.0),
        float((quantiles[2] - quantiles[0]) / quantiles[1]),
    )  # fmt: skip


@dataclass(frozen=True)
class Summary:
    count: int
    never_share: float
    score: float
    coverage: float
    median_error: float
    median_width: float
    brier: float
    base_brier: float
    silent_share: float

    HEADINGS = ("n", "never", "score", "coverage", "median error", "width", "Brier", "base Brier", "silent")

    def as_cells(self) -> tuple[str, ...]:
        return (
            str(self.count), f"{self.never_share:.2f}", f"{self.score:.3f}", f"{self.coverage:.3f}", f"{self.median_error:.3f}",
            f"{self.median_width:.2f}", f"{self.brier:.3f}", f"{self.base_brier:.3f}", f"{self.silent_share:.3f}",
        )  # fmt: skip


def summary(rows: Sequence[Judged]) -> Summary:
    never = float(np.mean([row.is_never for row in rows]))
    said = [row for row in rows if not math.isnan(row.pinball)]
    return Summary(
        len(rows), never, float(np.mean([row.loss for row in rows])),
        float(np.mean([row.is_covered for row in said])) if said else math.nan,
        float(np.median([row.error for row in said])) if said else math.nan,
        float(np.median([row.width for row in said])) if said else math.nan,
        float(np.mean([row.brier for row in rows])), never * (1.0 - never),
        float(np.mean([row.is_silent for row in rows])),
    )  # fmt: skip
