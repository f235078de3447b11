"""What can be said now about a rinse that runs: when it reaches its end point, and how likely it never does. Asked in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from regenplant.batches.frozen import plan_of
from regenplant.batches.log_models import RinseStanding
from regenplant.batches.models import Batch
from regenplant.batches.points import Points
from regenplant.batches.rinse import EndPoint, judged_steps, rinse_flow_m3_per_s, specification_of
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.engineering.water import REFERENCE_KELVIN
from regenplant.core.process.forecasting.of_batch import ReadingColumns, SetPoints, forecast_of_batch
from regenplant.core.process.lifecycle import BatchState
from regenplant.core.process.specification import CONDUCTIVITY, Limit
from regenplant.core.process.vocabulary import ResinFamily

MOST_HISTORY = 10
"""Earlier rinses that a forecast looks at."""
RUNS = (BatchState.RINSING, BatchState.HELD)


def forecast_of(batch: Batch, points: Points, keep: Any) -> dict[str, Any]:
    """Plain data of ``BatchForecast`` over the readings under the mask ``keep``, with ``minutes`` since the rinse began of the newest.
    Empty where no rinse runs, or its specification names no limit for readings."""
    limit = specification_of(batch).limit(CONDUCTIVITY)
    high = limit_at_25(limit)
    begun = [step for step in judged_steps(batch) if step.started_at is not None]
    if high is None or not begun or batch.state not in RUNS:
        return {}
    began = begun[0].started_at
    assert began is not None
    shown = points.where(keep)
    said = forecast_of_batch(
        ReadingColumns(
            shown.at_s, shown.rinsed_bv, shown.conductivity_25_siemens_per_m, shown.temperature_kelvin
        ),
        SetPoints(
            ResinFamily(batch.resin_type.family),
            batch.resin_volume_m3,
            rinse_flow_m3_per_s(batch, begun[-1]),
            high,
        ),
        history_of(batch),
        began_s=began.timestamp(),
    )
    minutes = None if said.at_s is None else (said.at_s - began.timestamp()) / 60.0
    return {**said.as_json(), "minutes": minutes}


def limit_at_25(limit: Limit | None) -> float | None:
    """The limit as conductivity at 25 °C [S/m]; of a table for uncompensated readings its row for 25 °C. None without one."""
    if limit is None:
        return None
    if limit.table:
        return table_limit_siemens_per_m(tuple((row[0], row[1]) for row in limit.table), REFERENCE_KELVIN)
    return limit.high


# --- history of the pool ------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Pool:
    """What earlier rinses must share with this one, and what those share that say most."""

    grade: str
    lot_code: str


def pool_of(batch: Batch) -> Pool:
    """Grade and lot of the resin as the plan was frozen with."""
    resin = plan_of(batch).request.resin
    return Pool(resin.grade, resin.lot_code)


def history_of(batch: Batch) -> list[tuple[float | None, float | None]]:
    """(bed volumes at the end point, bed volumes of the last tenfold fall) of earlier ended rinses of the same resin type, grade and
    segregation class: those of the same lot first, in all at most ``MOST_HISTORY``; the oldest stands first, the same lot last."""
    pool = pool_of(batch)
    rows = (
        RinseStanding.objects.filter(
            batch__resin_type=batch.resin_type_id,
            batch__segregation_class=batch.segregation_class,
            batch__rinsed_at__isnull=False,
            batch__rinsed_at__lte=batch.rinsed_at or batch.started_at or batch.planned_at,
            grade=pool.grade,
        )
        .exclude(batch=batch)
        .order_by("-batch__rinsed_at")
        .values_list("lot_code", "endpoint_bv", "decade_bv")[: 5 * MOST_HISTORY]
    )
    same = [row for row in rows if row[0] == pool.lot_code][:MOST_HISTORY]
    others = [row for row in rows if row[0] != pool.lot_code][: MOST_HISTORY - len(same)]
    return [(end, decade) for _, end, decade in (*reversed(others), *reversed(same))]


def end_of(
    curve: list[list[float]], end_point: EndPoint, began_s: float | None
) -> tuple[float | None, float | None]:
    """(bed volumes when the limit was first held, bed volumes of the tenfold fall before it) from the rows of a curve; None for what
    the curve does not show."""
    high = limit_at_25(end_point.limit)
    if not end_point.is_met or end_point.held_from_s is None or began_s is None or high is None:
        return None, None
    minute = (end_point.held_from_s - began_s) / 60.0
    before = [row for row in curve if row[0] <= minute + 1e-3]
    if not before:
        return None, None
    end_bv = before[-1][1]
    above = [row[1] for row in before if row[2] >= 10.0 * high]
    return end_bv, end_bv - above[-1] if above and end_bv > above[-1] else None
