"""The late part of a curve on its own: where does it lead, and to what floor, if what it does now goes on?

For each of a row of floors the rest of the curve is a straight line, once over volume (exponential) and once over its logarithm (power
of volume); each floor counts by how well its line fits. It knows nothing of the pool or the beginning, so that it errs in other
ways than ``particles.py``; the learned part is given both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.forecasting.rinse_so_far import HORIZON_BV
from regenplant.core.process.forecasting.tracks import Track

_LATE = 0.40
"""Readings after this share of the volume passed count as late."""
_LEAST_POINTS = 4
_FLOORS = 36
_WORTH = 9.0
"""So many independent readings the late part is worth at most."""
_LEAST_NOISE = 0.012
"""No form is truer than this, in natural logarithms."""
_BELOW, _ABOVE = 0.83 / 5.0, 0.17 / 2.5
"""Density of ln(floor / limit) below and above the limit before anything is read."""
_SLOWEST = 0.02
"""A fall of less per unit of ln(volume) leads nowhere."""


@dataclass(frozen=True, slots=True)
class LateFit:
    """What the late part says; volumes as ln(end point / volume passed)."""

    is_known: bool
    never_frac: float
    early: float
    middle: float
    late: float
    floor_logarithm: float
    misfit: float


_NOTHING = LateFit(False, 0.17, 0.3, 0.8, 1.6, -1.5, 0.0)


def of_track(track: Track) -> LateFit:
    """Weigh the floors by the late readings; nothing is known where they are few, clipped or at the limit already."""
    np = array_library()
    late = (track.bv >= _LATE * track.last_bv) & ~track.clipped
    level = track.last_logarithm
    if int(late.sum()) < _LEAST_POINTS or level <= 0.0:
        return _NOTHING
    ratio = np.maximum(track.bv[late], 1e-3) / track.last_bv
    if float(ratio[0]) > 0.9:
        return _NOTHING
    over = np.exp(np.minimum(track.logarithms[late] - level, 20.0))
    lowest = min(float(np.sort(over)[: max(len(over) // 4, 1)].mean()), 1.0)
    shares = 1.0 / (1.0 + np.exp(-np.linspace(-5.5, 4.5, _FLOORS)))
    floors = shares * lowest
    both = [_line(np, along, over, floors) for along in (ratio - 1.0, np.log(ratio))]
    logarithms = np.log(floors) + level
    prior = np.where(logarithms < 0.0, _BELOW, _ABOVE) * np.gradient(np.log(floors))
    worth = min(_WORTH, float(late.sum()))
    score = np.array([-0.5 * worth * np.log(square + _LEAST_NOISE**2) for _, _, square in both])
    weights = np.exp(score - score.max()) * prior
    weights /= weights.sum()
    ends = np.array([_ends(np, line, floors, level, is_power) for is_power, line in enumerate(both)])
    never = ~(ends + math.log(track.last_bv) <= math.log(HORIZON_BV))
    reached = float(weights[~never].sum())
    floor = float((weights * logarithms).sum())
    misfit = math.sqrt(min(float(square.min()) for _, _, square in both))
    if reached < 1e-6:
        return LateFit(True, 1.0, 0.8, 1.5, 2.0, floor, misfit)
    order = np.argsort(ends[~never])
    sums = np.cumsum(weights[~never][order]) / reached
    early, middle, last = (float(np.interp(share, sums, ends[~never][order])) for share in (0.1, 0.5, 0.9))
    return LateFit(True, 1.0 - reached, early, middle, last, floor, misfit)


def _line(np: Any, along: Any, over: Any, floors: Any) -> tuple[Any, Any, Any]:
    """Height at the last reading and slope of ln(what is above the floor), and the mean square it leaves of the readings, by floor.

    Readings far from the line count less, in two rounds, so that one wild reading bends nothing.
    """
    above = np.maximum(over[None, :] - floors[:, None], 0.02 * over[None, :])
    heights = np.log(above)
    share = above / over[None, :]
    weights = share * share
    for _ in range(3):
        total = weights.sum(axis=1)
        middle_along = (weights * along).sum(axis=1) / total
        middle = (weights * heights).sum(axis=1) / total
        apart = along[None, :] - middle_along[:, None]
        slope = (weights * apart * (heights - middle[:, None])).sum(axis=1) / np.maximum(
            (weights * apart * apart).sum(axis=1), 1e-9
        )
        height = middle - slope * middle_along
        left = (heights - height[:, None] - slope[:, None] * along[None, :]) * share
        usual = 1.5 * np.median(np.abs(left), axis=1)[:, None] + _LEAST_NOISE
        trust = 1.0 / (1.0 + (left / (2.0 * usual)) ** 2)
        weights = share * share * trust
    square = (trust * left * left).sum(axis=1) / trust.sum(axis=1)
    return height, slope, square


def _ends(np: Any, line: tuple[Any, Any, Any], floors: Any, level: float, is_power: int) -> Any:
    """ln(end point / volume passed) by floor; infinite where the floor lies above the limit or nothing falls."""
    height, slope, _ = line
    room = math.exp(-level) - floors
    with np.errstate(divide="ignore", invalid="ignore"):
        further = np.where((room > 0.0) & (slope < -_SLOWEST), (height - np.log(room)) / -slope, np.inf)
    further = np.maximum(further, 0.0)
    return further if is_power else np.log1p(further)
