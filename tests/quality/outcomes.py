"""Rows of rinse outcomes for tests of trends: derived rows are no record, so they may be put there by hand, many at once."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from regenplant.quality.models import RinseOutcome
from tests.factories import START

STEADY = (6.8, 7.0, 6.7, 6.9, 7.1, 6.8, 7.0, 6.9, 6.7, 7.0, 6.9, 6.8)
"""Twelve made-up rinse volumes that stay where they are."""


def outcome(number: int, rinsed_bv: float | None, *, at: datetime | None = None, **more: Any) -> RinseOutcome:
    """One row, not written yet; ``more`` takes the place of what it usually is."""
    values: dict[str, Any] = {
        "number": f"B-{number}",
        "ended_at": at or START + timedelta(days=number % 10_000),
        "family": "sac_h",
        "resin_type": "T-SAC_H",
        "segregation_class": "D",
        "vessel": "C1",
        "recipe": "H-HCL-100",
        "line": "N-1",
        "lot_in": "N-1",
        "lot_made": f"L-{number}",
        "verdict": "pass",
        "limit_siemens_per_m": 0.005,
        "is_reached": True,
        "rinsed_bv": rinsed_bv,
        "rinse_s": rinsed_bv * 300 if rinsed_bv is not None else None,
        "chemical_lots": ["LOT-hcl"],
        **more,
    }
    return RinseOutcome(**values)


def line_of(volumes: Sequence[float], *, first: int = 1, **more: Any) -> list[RinseOutcome]:
    """Rows of one line, a day apart, written."""
    return RinseOutcome.objects.bulk_create(
        outcome(first + index, volume, **more) for index, volume in enumerate(volumes)
    )


def many(count: int, *, end: datetime) -> None:
    """So many batches over the year before ``end``: 40 lines, 8 vessels, some failed, some reworked, some given up."""
    dice = random.Random(4)
    rows = []
    for index in range(count):
        line, draw = dice.randrange(40), dice.random()
        rows.append(
            outcome(
                100_000 + index,
                dice.gauss(6.9, 0.3),
                at=end - timedelta(days=360) * (1 - index / count),
                line=f"N-{line}",
                family=("sac_h", "sba_1", "mb", "sac_na")[line % 4],
                vessel=f"V{line % 8}",
                recipe=f"R-{line % 10}",
                verdict="fail" if draw < 0.04 else "given_up" if draw < 0.045 else "pass",
                is_reached=draw >= 0.03,
                is_rework=0.045 <= draw < 0.08,
                chemical_lots=[f"CL-{index // 200}", f"CN-{index // 300}"],
            )
        )
    RinseOutcome.objects.bulk_create(rows, batch_size=500)
