"""What was forecast of a rinse at each quarter of its way, beside how it came out. Shown to whoever judges; it decides nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

QUARTERS = (0.25, 0.5, 0.75, 1.0)


class Forecast(Protocol):
    """One forecast as it was made; volumes in bed volumes."""

    at: datetime
    rinsed_bv: float
    p05_bv: float | None
    p50_bv: float | None
    p95_bv: float | None
    p_never: float | None
    enough_data: bool


@dataclass(frozen=True, slots=True)
class ForecastLine:
    """What was forecast when this share of the way had passed."""

    share: float
    forecast: Forecast | None
    """The last one made until then; None where there was none."""
    came_out: str
    """"inside", "sooner", "later", "never" where the end point was not met, or "" where nothing was forecast."""


def quarters(
    forecasts: Sequence[Forecast], rinsed_bv: float, end_point_bv: float | None
) -> tuple[ForecastLine, ...]:
    """One line for each quarter of the way to the end point, or of what was rinsed where it was never met; none without forecasts."""
    way = end_point_bv if end_point_bv is not None else rinsed_bv
    if not forecasts or way <= 0.0:
        return ()
    ordered = sorted(forecasts, key=lambda one: (one.rinsed_bv, one.at))
    found = []
    for share in QUARTERS:
        until = [one for one in ordered if one.rinsed_bv <= share * way * (1 + 1e-9)]
        newest = until[-1] if until else None
        found.append(ForecastLine(share, newest, _came_out(newest, end_point_bv)))
    return tuple(found)


def _came_out(forecast: Forecast | None, end_point_bv: float | None) -> str:
    if forecast is None or not forecast.enough_data:
        return ""
    if end_point_bv is None:
        return "never"
    if forecast.p05_bv is None or forecast.p95_bv is None:
        return ""
    if end_point_bv < forecast.p05_bv:
        return "sooner"
    return "later" if end_point_bv > forecast.p95_bv else "inside"
