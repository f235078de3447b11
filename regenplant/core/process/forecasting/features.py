"""Numbers that describe a rinse so far, for the learned part: what a practised eye looks at.

All are without dimension and nothing depends on the unit of conductivity. The list is fixed: the learned weights belong to it,
and ``NAMES`` is checked against them when they are loaded.
"""

from __future__ import annotations

import math
from typing import Any

from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.forecasting import shapes
from regenplant.core.process.forecasting.history import PoolHistory
from regenplant.core.process.forecasting.particles import Posterior
from regenplant.core.process.forecasting.rinse_so_far import RinsedBed, RinseSoFar
from regenplant.core.process.forecasting.tracks import Raw, Track

_BEDS = tuple(RinsedBed)
_LEVEL = 7.0
"""Logarithms over the limit are kept within this many."""


def describe(
    rinse: RinseSoFar, raw: Raw, track: Track, history: PoolHistory, said: Posterior
) -> dict[str, float]:
    """Every number by its name."""
    found = {f"bed_{bed.value}": float(rinse.bed is bed) for bed in _BEDS}
    found["water"] = min(max(track.water_logarithm, -5.0), 3.0)
    found["flow_set"] = math.log(rinse.flow_bv_per_h / 12.0)
    found |= _of_history(history, track.last_bv)
    found |= _of_levels(raw, track, history)
    found |= shapes.of_slopes(raw, track, history)
    found |= shapes.of_doings(rinse, raw, track)
    found |= _of_posterior(said)
    return {name: min(max(value, -12.0), 12.0) for name, value in found.items()}


def _of_history(history: PoolHistory, last_bv: float) -> dict[str, float]:
    return {
        "history_count": math.log1p(history.count),
        "history_centre": _tamed(history.centre - math.log(last_bv)),
        "history_end": history.centre - 1.8,
        "history_spread": math.log(history.spread / 0.2),
        "history_rough": history.rough_spread,
        "history_last": history.last - history.centre,
        "history_low": history.lowest - history.centre,
        "history_high": history.highest - history.centre,
        "history_trend": history.trend,
        "history_given_up": history.given_up_frac,
        "history_decade": history.decade_ratio,
    }


def _tamed(value: float) -> float:
    return min(max(value, -2.0), 3.5)


def _of_levels(raw: Raw, track: Track, history: PoolHistory) -> dict[str, float]:
    """Where the curve was at shares of what has passed, and at shares of the pool's usual end."""
    np = array_library()
    bv, logarithms = track.bv, track.logarithms
    last = track.last_logarithm
    found = {
        "count": math.log(len(raw.bv)),
        "passed": math.log(track.last_bv),
        "first": math.log(max(float(raw.bv[0]), 0.02) / track.last_bv),
        "level": min(max(last, -3.0), _LEVEL),
        "level_near": min(max(last, -1.0), 1.0),
        "lowest": min(max(float(raw.logarithms.min()), -3.0), _LEVEL),
        "clipped": float(raw.clipped.mean()),
        "clipped_last": float(raw.clipped[-1]),
    }
    for share in (0.3, 0.5, 0.65, 0.8, 0.9):
        at = track.last_bv * share
        known = bv[0] <= at
        value = float(np.interp(at, bv, logarithms)) - last if known else 0.0
        found[f"back_{share:g}"] = min(max(value, -3.0), _LEVEL)
        found[f"back_{share:g}_known"] = float(known)
    usual = math.exp(history.centre)
    for share in (0.15, 0.25, 0.35, 0.5, 0.65, 0.8):
        at = usual * share
        known = bv[0] <= at <= track.last_bv
        value = float(np.interp(at, bv, logarithms)) if known else 0.0
        found[f"usual_{share:g}"] = min(max(value, -2.0), _LEVEL)
        found[f"usual_{share:g}_known"] = float(known)
    return found


def _of_posterior(said: Posterior) -> dict[str, float]:
    found = {f"ends_{number}": _tamed(value) for number, value in enumerate(said.end_logarithms)}
    chance = min(max(said.never_frac, 0.002), 0.998)
    found["never"] = math.log(chance / (1.0 - chance)) / 2.0
    found["floor"] = min(max(said.floor_logarithm, -5.0), 3.0)
    found["effective"] = math.log(said.effective_count) / 4.0
    found["misfit"] = math.log(said.misfit + 0.01)
    found["decade"] = said.decade_logarithm
    return found


def anchor(described: dict[str, float]) -> Any:
    """ln(end point / passed) that the learned part corrects: the posterior's median."""
    return described["ends_2"]


def as_row(described: dict[str, float]) -> Any:
    return array_library().array(list(described.values()), dtype=float)
