"""What a batch is told: forecast, chance of "never", whether the data say enough, and what to look at, as plain values.

Made by ``of_batch.forecast_of_batch``; nothing here computes.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from regenplant.core.process.forecasting.diagnosis import Suggestion


@dataclass(frozen=True, slots=True)
class BatchPoint:
    """One quantile of the end point, in the units a rinse is spoken of in.

    ``bed_volumes_bv`` and ``water_litres`` since the rinse began; ``left_bv``, ``left_litres`` and ``left_min`` from the last
    reading; ``minutes_from_now`` from the moment that was called now, 0 where it has gone by. Times hold for the flow of the last readings.
    """

    bed_volumes_bv: float
    water_litres: float
    left_bv: float
    left_litres: float
    left_min: float
    minutes_from_now: float


@dataclass(frozen=True, slots=True)
class BatchForecast:
    """The forecast of one batch at one moment.

    The three points are None exactly when ``enough_data`` is False; they hold given that the limit is reached. ``p_never`` is None
    only where there is nothing to forecast from at all.
    """

    p05: BatchPoint | None
    p50: BatchPoint | None
    p95: BatchPoint | None
    p_never: float | None
    """Chance that the limit is not reached within 60 BV, 0 to 1."""
    enough_data: bool
    reason: str
    """Why not, as a sentence with what to do; "" with enough data."""
    reason_code: str
    """ "" | "not_forecast" | "no_readings" | "set_points" | "band_too_wide"."""
    sentence: str
    """What to show in one line, in either case."""
    is_below_limit: bool
    """The last readings lie at or below the limit; whether that is the end point is for the judgement."""
    rinsed_bv: float | None
    """Bed volumes at the last reading taken."""
    at_s: float | None
    """Moment of the last reading taken, from the caller's own zero [s]."""
    taken: int
    left_out: int
    """Readings that cannot be (not above zero, better than water, no number, volume running backwards)."""
    notes: tuple[str, ...]
    """What was assumed or left out, each as a sentence."""
    causes: tuple[Suggestion, ...]
    """What may be behind it, the likeliest first, each with what was seen, the next test, what helps and a caution. Suggestions only."""
    diagnosis: str
    """The first cause and its test in one line, or that nothing unusual is seen."""
    model: str
    """Version of what made the forecast."""

    def as_json(self) -> dict[str, Any]:
        """Everything as numbers, text, lists and objects, for a column of JSON; the points also as ``p05_bv``, ``p50_bv``, ``p95_bv``."""
        found = asdict(self)
        for name in ("p05", "p50", "p95"):
            point = getattr(self, name)
            found[f"{name}_bv"] = None if point is None else point.bed_volumes_bv
        found["notes"] = list(self.notes)
        found["causes"] = [{**asdict(cause), "because": list(cause.because)} for cause in self.causes]
        return found
