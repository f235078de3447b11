"""Keeping how a rinse stands, inside the act that changed its readings."""

from __future__ import annotations

from datetime import datetime

from regenplant.batches.models import Batch, ForecastMade, RinseReading, RinseStanding
from regenplant.batches.standing import standing_of, worked_out

KEPT_EVERY_S = 60.0
"""Of what is forecast from readings of a meter, at most one is kept in so long a time [s]."""


def renew(batch: Batch, at: datetime) -> RinseStanding:
    """Work out anew how the rinse stands, keep it, and keep what is forecast now in the history of forecasts.

    A meter that reads every second is not forecast from every second: between two forecasts lies ``standing.FORECAST_EVERY_S``, unless a person
    wrote a reading down.
    """
    kept = standing_of(batch)
    found = worked_out(batch, at, last=kept)
    if kept is not None:
        found.pk = kept.pk
    found.save()
    if found.forecast_at == at:
        _keep_forecast(batch, found, at)
    return found


def renew_what_is_kept(batch: Batch, at: datetime) -> None:
    """The same after an act that changed no reading but what they are judged by: a volume written down, a rinse ended. Before the
    first reading there is nothing to renew; the forecast stays, since the readings do."""
    kept = standing_of(batch)
    if kept is not None:
        found = worked_out(batch, at, kept, is_read_anew=False)
        found.pk = kept.pk
        found.save()


def _keep_forecast(batch: Batch, standing: RinseStanding, at: datetime) -> None:
    said = standing.forecast
    if not said or said["minutes"] is None:
        return
    last = ForecastMade.objects.filter(batch=batch).order_by("-at", "-id").first()
    by_hand = RinseReading.objects.filter(batch=batch, entered_at=at).exists()
    if last is not None and not by_hand and 0.0 <= (at - last.at).total_seconds() < KEPT_EVERY_S:
        return
    ForecastMade.objects.create(
        batch=batch,
        at=at,
        minutes=said["minutes"],
        rinsed_bv=said["rinsed_bv"],
        p05_bv=said["p05_bv"],
        p50_bv=said["p50_bv"],
        p95_bv=said["p95_bv"],
        p_never=said["p_never"],
        enough_data=said["enough_data"],
        model=said["model"][:40],
    )
