"""What can be said now about a rinse that runs: when it reaches its end point, and how likely it never does."""

from __future__ import annotations

from typing import Any

from regenplant.batches.models import Batch
from regenplant.batches.points import Points

MODEL = ""
"""Version of what forecasts; "" while nothing does."""


def forecast_of(batch: Batch, points: Points) -> dict[str, Any]:
    """Plain data to keep: ``minutes`` and ``rinsed_bv`` of the newest reading, ``p05_bv``, ``p50_bv``, ``p95_bv``, ``p_never``,
    ``enough_data``, ``model``, and what a page shows beside them. Empty where nothing can be forecast."""
    return {}
