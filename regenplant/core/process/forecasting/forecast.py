"""The forecast after each reading: volume, water and time to the end point, and how likely it is never reached.

First the physics and the pool's history (``particles.py``), then what is learned about their errors (``network.py``). Where both
leave nearly everything open, the answer is that the readings cannot say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from regenplant.core.process.forecasting import features, history, network, particles, tracks
from regenplant.core.process.forecasting.rinse_so_far import HORIZON_BV, RinseSoFar, checked

HOLD_BV = 0.5
"""Volume for which the limit must be held for the end point to count [-]."""
_LEFT_OPEN = math.log(14.0)
"""A band wider than this factor says nothing."""
_MOST_LIKELY_NEVER = 0.5


@dataclass(frozen=True, slots=True)
class ForecastPoint:
    """One quantile of the end point.

    ``bed_volumes_bv`` since the rinse began [-], ``water_m3`` the same as water [m^3], ``at_s`` since the rinse began [s]; the
    ``left_`` ones count from the last reading. Times hold for the flow of the last readings.
    """

    bed_volumes_bv: float
    water_m3: float
    at_s: float
    left_bv: float
    left_m3: float
    left_s: float


@dataclass(frozen=True, slots=True)
class RinseForecast:
    """What can be said now. The points are None when the readings cannot say; they hold given that the limit is reached."""

    early: ForecastPoint | None
    """5 %."""
    middle: ForecastPoint | None
    late: ForecastPoint | None
    """95 %."""
    never_frac: float
    """Chance that the limit is not reached within 60 bed volumes."""
    has_enough: bool
    is_below_limit: bool
    """The last readings lie at or below the limit; whether that is the end point is for the judgement, not the forecast."""
    sentence: str


def forecast(rinse: RinseSoFar) -> RinseForecast:
    """Volume, water and time to the end point from the readings so far and the pool's history.

    Parameters
    ----------
    rinse : RinseSoFar
        At least one reading, compensated to 25 °C

    Returns
    -------
    forecast : RinseForecast
        Points at 5, 50 and 95 %, chance of "never", and a sentence

    Raises: OutOfRange for what cannot be a rinse, with the number of the reading.
    Range: end points up to 60 bed volumes; a fault that begins after the last reading is in the chances, not in the points.
    Source: tanks_in_series, rinse_tail; learned part as ``network.py`` says.
    """
    rinse = checked(rinse)
    raw = tracks.raw(rinse)
    track = tracks.track(rinse, raw)
    earlier = history.of_pool(rinse.bed, rinse.history)
    said = particles.posterior(rinse.bed, track, earlier, rinse.limit_siemens_per_m)
    described = features.describe(rinse, raw, track, earlier, said)
    answer = network.answer(described, features.anchor(described))
    volumes = _volumes(answer, track.last_bv)
    run = _run_below(rinse)
    if run is not None and track.last_bv - run[1] >= HOLD_BV:
        # by the readings it lies behind; the late bound stays, since a meter may read low
        volumes = (min(volumes[0], max(run[0], 0.01)), min(volumes[1], run[1]), volumes[2])
    is_over = run is None and track.last_bv >= HORIZON_BV
    return _said(rinse, volumes, 1.0 if is_over else answer.never_frac, run is not None)


def _volumes(answer: network.Answer, passed_bv: float) -> tuple[float, float, float]:
    """Bed volumes in order, none before what has passed and none beyond the horizon."""
    early, middle, late = (
        min(passed_bv * math.exp(max(value, 0.0)), max(HORIZON_BV, passed_bv))
        for value in (answer.early, answer.middle, answer.late)
    )
    return early, max(middle, early), max(late, middle, early)


def _run_below(rinse: RinseSoFar) -> tuple[float, float] | None:
    """Bed volumes at the last reading above the limit and at the first after it; None if the last reading is above."""
    first: float | None = None
    for reading in reversed(rinse.readings):
        if reading.conductivity_siemens_per_m > rinse.limit_siemens_per_m or reading.is_clipped:
            return None if first is None else (reading.bed_volumes_bv, first)
        first = reading.bed_volumes_bv
    return None if first is None else (0.0, max(first, 0.02))


def _flow_m3_per_s(rinse: RinseSoFar) -> float:
    """Of the last stretch that moved; the flow set where the readings do not tell."""
    readings = rinse.readings[-6:]
    rates = sorted(
        (later.bed_volumes_bv - earlier.bed_volumes_bv) / (later.at_s - earlier.at_s)
        for earlier, later in pairwise(readings)
        if later.at_s > earlier.at_s and later.bed_volumes_bv > earlier.bed_volumes_bv
    )
    return rates[len(rates) // 2] * rinse.bed_volume_m3 if rates else rinse.flow_m3_per_s


def _said(
    rinse: RinseSoFar, volumes: tuple[float, float, float], never_frac: float, is_below: bool
) -> RinseForecast:
    early, _, late = volumes
    if not is_below and math.log(late / early) > _LEFT_OPEN:
        return RinseForecast(
            None, None, None, never_frac, False, is_below,
            f"Not enough data: the end point may lie anywhere from {early:.3g} to {late:.3g} BV. "
            f"Read on; chance that it is never reached {never_frac:.0%}.",
        )  # fmt: skip
    points = (_point(rinse, volumes[0]), _point(rinse, volumes[1]), _point(rinse, volumes[2]))
    return RinseForecast(*points, never_frac, True, is_below, _sentence(points, never_frac, is_below))


def _point(rinse: RinseSoFar, bed_volumes_bv: float) -> ForecastPoint:
    last = rinse.readings[-1]
    left_bv = max(bed_volumes_bv - last.bed_volumes_bv, 0.0)
    left_m3 = left_bv * rinse.bed_volume_m3
    left_s = left_m3 / _flow_m3_per_s(rinse)
    return ForecastPoint(
        bed_volumes_bv, bed_volumes_bv * rinse.bed_volume_m3, last.at_s + left_s, left_bv, left_m3, left_s
    )


def _sentence(
    points: tuple[ForecastPoint, ForecastPoint, ForecastPoint], never_frac: float, is_below: bool
) -> str:
    early, middle, late = points
    band = f"9 in 10 between {early.bed_volumes_bv:.2f} and {late.bed_volumes_bv:.2f} BV"
    if is_below:
        return "At or below the limit now; the end point counts once it is held as the specification says."
    if never_frac >= _MOST_LIKELY_NEVER:
        return f"Most likely never reached (chance {never_frac:.0%}). If it is: about {middle.bed_volumes_bv:.2f} BV, {band}."
    return (
        f"End point at about {middle.bed_volumes_bv:.2f} BV, {band}; {middle.left_s / 60:.0f} min from the last reading at "
        f"this flow. Never in {never_frac:.0%}."
    )
