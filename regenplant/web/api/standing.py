"""How a rinse stands, for a program."""

from __future__ import annotations

from dataclasses import asdict

from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.batches.rinse import running_rinse
from regenplant.batches.standing import end_point_in, fresh
from regenplant.web.api.schemas import EndPointOut, ForecastOut, NewestOut, RinseOut

_ROW = (
    "minutes",
    "rinsed_bv",
    "conductivity_25_siemens_per_m",
    "conductivity_siemens_per_m",
    "temperature_kelvin",
)
"""What a row of ``RinseStanding.curve`` holds."""


def rinse_out(batch: Batch) -> RinseOut:
    """The standing of a batch as it is kept, or worked out now; writes nothing."""
    standing = fresh(batch, timezone.now())
    end_point = asdict(end_point_in(standing))
    said = standing.forecast
    return RinseOut(
        batch=batch.number,
        vessel=batch.vessel.code,
        state=batch.get_state_display(),
        is_rinsing=running_rinse(batch) is not None,
        readings=standing.points,
        newest_at=standing.newest_at,
        newest=NewestOut(**dict(zip(_ROW, standing.curve[-1], strict=True))) if standing.curve else None,
        end_point=EndPointOut(**{name: end_point[name] for name in EndPointOut.model_fields}),
        forecast=ForecastOut(**{name: said[name] for name in ForecastOut.model_fields}) if said else None,
    )
