"""How a rinse stands, kept beside its readings so that a page need not read them all. Derived, never trusted for a decision.

``services._standing.renew`` keeps it, in the same transaction as every act that writes or corrects readings. A page asks ``fresh``: it takes what is
kept when that still fits the record, else it works it out anew without writing anything.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from django.db.models import OuterRef, Subquery

from regenplant import CORE_VERSION
from regenplant.batches import forecasts
from regenplant.batches.log_models import ForecastMade, MeterLog, MeterLogSetAside, RinseStanding
from regenplant.batches.models import Batch, RinseReading, StepRun
from regenplant.batches.points import Points, points_of
from regenplant.batches.rinse import (
    EndPoint,
    end_point_of,
    judged_steps,
    rinse_sifted,
    rinse_verdict,
    specification_of,
    written_bed_volumes,
)
from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.acceptance import CLOCKS_APART_S
from regenplant.core.process.canonical import from_plain, to_plain
from regenplant.core.process.sifting import Sifted

FORECAST_EVERY_S = 15.0
"""Readings of a meter are forecast from anew at most once in so long a time [s]."""
MOST_ROWS = 600
"""Rows of a curve at most: more than a chart has pixels to tell them apart."""


def standing_of(batch: Batch) -> RinseStanding | None:
    """What is kept; None where nothing is."""
    return RinseStanding.objects.filter(batch=batch).first()


def fresh(batch: Batch, at: datetime, steps: Sequence[StepRun] | None = None) -> RinseStanding:
    """How the rinse stands now: as kept while that fits the record, else worked out anew. Writes nothing; two queries while it fits.

    ``steps``: the judged ones, where they are read already.
    """
    steps = steps if steps is not None else judged_steps(batch)
    kept = RinseStanding.objects.filter(batch=batch).annotate(**_newest_rows()).first()
    if kept is not None and kept.basis == _basis(batch, steps, kept):
        return kept
    return worked_out(batch, at, kept, is_read_anew=False)


def is_fresh(batch: Batch) -> bool:
    """Whether what is kept still fits the record."""
    kept = RinseStanding.objects.filter(batch=batch).annotate(**_newest_rows()).first()
    return kept is not None and kept.basis == _basis(batch, judged_steps(batch), kept)


def end_point_in(standing: RinseStanding) -> EndPoint:
    """The end point as it was worked out: to show, not to decide by."""
    found: EndPoint = from_plain(EndPoint, standing.end_point)
    return found


def forecasts_of(batch: Batch) -> list[ForecastMade]:
    """Every forecast that was kept, oldest first."""
    return list(ForecastMade.objects.filter(batch=batch).order_by("at", "id"))


# --- working it out -------------------------------------------------------------------------------------------------
def worked_out(
    batch: Batch, at: datetime, last: RinseStanding | None = None, *, is_read_anew: bool = True
) -> RinseStanding:
    """How the rinse stands, worked out from its readings and not kept. ``last``: as it stood before, whose forecast stays while it is
    new enough, and where no reading came since (``is_read_anew``)."""
    points = points_of(batch)
    steps = judged_steps(batch)
    marks = Batch.objects.filter(pk=batch.pk).annotate(**_newest_rows("pk")).get()
    found = rinse_sifted(batch, points)
    end_point = end_point_of(rinse_verdict(batch, found=found), specification_of(batch))
    believable = _believable(points, found)
    curve = curve_of(points, believable, steps)
    began = rinse_began_at(steps)
    end_bv, decade_bv = forecasts.end_of(curve, end_point, began.timestamp() if began else None)
    pool = forecasts.pool_of(batch)
    standing = RinseStanding(
        batch=batch,
        basis=_basis(batch, steps, marks),
        points=len(points),
        logs=MeterLog.objects.filter(batch=batch).count(),
        newest_at=datetime.fromtimestamp(float(points.at_s[-1]), tz=UTC) if len(points) else None,
        curve=curve,
        end_point=to_plain(end_point),
        grade=pool.grade[:40],
        lot_code=pool.lot_code[:40],
        endpoint_bv=end_bv,
        decade_bv=decade_bv,
        renewed_at=at,
        seen_version=batch.version,
    )
    if last is not None and (not is_read_anew or _is_new_enough(batch, last, at)):
        standing.forecast, standing.forecast_at = last.forecast, last.forecast_at
    else:
        standing.forecast, standing.forecast_at = forecasts.forecast_of(batch, points, believable), at
    return standing


def _is_new_enough(batch: Batch, last: RinseStanding, at: datetime) -> bool:
    """Whether the forecast made last may stand a while longer: made in time, and no person wrote a reading since."""
    if last.forecast_at is None or not 0.0 <= (at - last.forecast_at).total_seconds() < FORECAST_EVERY_S:
        return False
    return not RinseReading.objects.filter(batch=batch, entered_at__gt=last.forecast_at).exists()


def _believable(points: Points, found: Sifted) -> Any:
    """Mask of the readings that a curve and a forecast are made from: those that do not point to their instrument."""
    np = array_library()
    return ~(found.is_doubted | found.is_jump) & np.isfinite(points.conductivity_25_siemens_per_m)


def rinse_began_at(steps: Iterable[StepRun]) -> datetime | None:
    """When the first of the judged rinses began."""
    return next((step.started_at for step in steps if step.started_at is not None), None)


def curve_of_batch(batch: Batch) -> list[list[float]]:
    """The curve of a batch for which none is kept, from its readings."""
    points = points_of(batch)
    return curve_of(points, _believable(points, rinse_sifted(batch, points)), judged_steps(batch))


def curve_of(points: Points, believable: Any, steps: Sequence[StepRun]) -> list[list[float]]:
    """Rows of the curve: the readings under the mask, thinned."""
    np = array_library()
    began = rinse_began_at(steps)
    if began is None or not len(points):
        return []
    shown = points.where(believable)
    rows = shown.where(thinned_places(shown.conductivity_25_siemens_per_m, MOST_ROWS))
    columns = (
        (rows.at_s - began.timestamp()) / 60.0,
        rows.rinsed_bv,
        rows.conductivity_25_siemens_per_m,
        rows.conductivity_siemens_per_m,
        rows.temperature_kelvin,
    )
    return [[float(f"{value:.9g}") for value in row] for row in np.stack(columns, axis=1).tolist()]


def thinned_places(values: Any, most: int) -> Any:
    """Places of at most ``most`` values, first and last among them, that keep the lowest and the highest of each stretch."""
    np = array_library()
    count = len(values)
    if count <= most:
        return np.arange(count)
    edges = np.linspace(0, count, (most - 2) // 2 + 1).astype(int)
    places = {0, count - 1}
    for first, after in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        stretch = values[first:after]
        places |= {first + int(stretch.argmin()), first + int(stretch.argmax())}
    return np.array(sorted(places))


def _newest_rows(batch: str = "batch") -> dict[str, Subquery]:
    """The newest key of everything that a reading or its standing can change by."""
    own = OuterRef(batch)
    found = {
        "newest_reading": RinseReading.objects.filter(batch=own),
        "newest_log": MeterLog.objects.filter(batch=own),
        "newest_aside": MeterLogSetAside.objects.filter(log__batch=own),
    }
    return {name: Subquery(rows.order_by("-pk").values("pk")[:1]) for name, rows in found.items()}


def _basis(batch: Batch, steps: Sequence[StepRun], marks: Any) -> str:
    """A digest over what the standing is worked out from; one query. ``marks`` has the keys of ``_newest_rows``."""
    plain = {
        "newest": [marks.newest_reading, marks.newest_log, marks.newest_aside],
        "steps": [
            (step.number, step.state, step.started_at.isoformat() if step.started_at else "")
            for step in steps
        ],
        "written": sorted(written_bed_volumes(batch).items()),
        "specification": batch.specification_version_id,
        "core": CORE_VERSION,
        "clocks_apart_s": CLOCKS_APART_S,
    }
    return hashlib.sha256(json.dumps(plain, sort_keys=True).encode()).hexdigest()
