"""What readings and history say together, by the physics of a rinse: front, two tails, floor.

A fixed set of particles, each one whole rinse, is centred on the pool's history and weighed by the readings. A particle is
named by its own end point, so that history speaks of the very thing that is asked for; the tail follows backwards from it.
Some particles have a floor above the limit and never end. Noise is heavy-tailed, unknown, and readings close to each other
count less than their number, because what disturbs one disturbs the next.

Source: displacement and tail as in ``rinse.py`` (tanks_in_series, rinse_tail), here with a second tail and a logistic front; the
ranges of the particles are common practice, wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.forecasting.history import PoolHistory
from regenplant.core.process.forecasting.rinse_so_far import HORIZON_BV, RinsedBed
from regenplant.core.process.forecasting.tracks import Track

COUNT = 4000
_NORMALS, _UNIFORMS = 4, 8
_NEVER = 0.22
"""Share of particles that never end; their weight follows from history."""
_START_SIEMENS_PER_M = {
    RinsedBed.CATION_AFTER_ACID: 22.0, RinsedBed.ANION_AFTER_CAUSTIC: 13.0, RinsedBed.MIXED_BED: 0.03,
    RinsedBed.SOFTENER_AFTER_BRINE: 11.0,
}  # fmt: skip
"""Conductivity of the first water [S/m]; common practice, good to a factor of three."""
_POWERED = 0.6
"""Share of particles whose tail is a power of volume."""
_MODEL_ERROR = 0.10
"""What the form of the curve is not true to, in natural logarithms."""
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)


@dataclass(frozen=True, slots=True)
class Posterior:
    """What the particles say. Volumes are ln(end point / volume passed so far), >= 0."""

    end_logarithms: tuple[float, ...]
    """At ``QUANTILES``, of the particles that end."""
    never_frac: float
    floor_logarithm: float
    """Mean of ln(floor / limit)."""
    effective_count: float
    misfit: float
    """Mean departure of the readings from the best particles, in natural logarithms."""
    decade_logarithm: float
    """Mean of ln(last scale of the tail / end point)."""


@dataclass(frozen=True, slots=True)
class _Draws:
    normal: Any
    uniform: Any


_kept: list[_Draws] = []


def _draws() -> _Draws:
    """The same spread of particles for every rinse: a forecast depends on nothing but what is known of the rinse.

    Points that fill the cube evenly: multiples of the powers of 1/g, g the root of g^(n + 1) = g + 1 in n dimensions.
    """
    if not _kept:
        np = array_library()
        dimensions = _NORMALS + _UNIFORMS
        g = 1.5
        for _ in range(60):
            g = (1.0 + g) ** (1.0 / (dimensions + 1))
        steps = (1.0 / g) ** np.arange(1, dimensions + 1)
        points = (0.5 + np.arange(1, COUNT + 1)[:, None] * steps[None, :]) % 1.0
        inverse = NormalDist().inv_cdf
        normal = np.array(
            [
                [inverse(min(max(float(value), 1e-9), 1.0 - 1e-9)) for value in row[:_NORMALS]]
                for row in points
            ]
        )
        _kept.append(_Draws(normal, points[:, _NORMALS:]))
    return _kept[0]


def posterior(bed: RinsedBed, track: Track, history: PoolHistory, limit_siemens_per_m: float) -> Posterior:
    """What readings and history say of the end point.

    Parameters
    ----------
    bed : RinsedBed
        What is rinsed
    track : Track
        Readings, thinned
    history : PoolHistory
        What earlier rinses of the pool say
    limit_siemens_per_m : float
        End point, > 0 [S/m]

    Returns
    -------
    posterior : Posterior
        Quantiles of the end point and the chance that there is none
    """
    np = array_library()
    draws = _draws()
    normal, uniform = draws.normal, draws.uniform
    spread = np.where(uniform[:, 0] < 0.75, history.spread, 0.25 + 1.6 * history.spread)
    end = np.exp(np.clip(history.centre + spread * normal[:, 0], math.log(0.3), math.log(150.0)))
    ends = uniform[:, 1] >= _NEVER
    slow = end * np.exp(np.clip(history.scale_centre + history.scale_spread * normal[:, 1], -3.5, 0.7))
    fast = slow * (0.12 + 0.6 * uniform[:, 2])
    share = 0.25 + 0.75 * uniform[:, 3]
    floor = _floors(np, ends, uniform, normal, track.water_logarithm, bed)
    excess = np.where(ends, np.maximum(1.0 - floor, 0.003), 0.1 + uniform[:, 4])
    start = _START_SIEMENS_PER_M[bed] / limit_siemens_per_m * np.exp(0.5 * normal[:, 2])
    where, steep = 0.5 + 0.45 * uniform[:, 5], 5.0 + 8.0 * uniform[:, 6]
    b = track.bv.astype(np.float32)[None, :]
    tail = _tails(np, b, end, slow, fast, share, uniform[:, 2]) * excess[:, None].astype(np.float32)
    start_of, where_of, steep_of, floor_of = _single(np, start, where, steep, floor)
    begun = start_of / (
        1.0 + np.exp(np.clip(steep_of * (np.log(np.maximum(b, 1e-3)) - np.log(where_of)), -40.0, 60.0))
    )
    tail = tail / (1.0 + tail / (0.4 * start_of))
    model = np.log(begun + tail + floor_of)
    noise = np.exp(np.log(0.01) + uniform[:, 7] * np.log(20.0))[:, None]
    logarithm, misfits = _likelihood(np, track, model, np.hypot(noise, _MODEL_ERROR))
    chance = history.never_frac
    logarithm = logarithm + np.where(ends, math.log(1.0 - chance), math.log(chance * (1 - _NEVER) / _NEVER))
    # an end point that has gone by unseen is no end point
    logarithm = logarithm - np.where(
        ends & (end < track.last_bv), 6.0 if track.last_logarithm > 0.05 else 0.0, 0.0
    )
    weights = np.exp(logarithm - logarithm.max())
    weights /= weights.sum()
    return _read_off(np, weights, end, ends, floor, slow, misfits, track)


def _single(np: Any, *values: Any) -> tuple[Any, ...]:
    """In single precision, one row for each particle: twice as fast, and a millionth of the conductivity is no reading."""
    return tuple(value.astype(np.float32)[:, None] for value in values)


def _tails(np: Any, b: Any, end: Any, slow: Any, fast: Any, share: Any, shifting: Any) -> Any:
    """The tail over its height at the end point; the first ``_POWERED`` of the particles fall by a power of volume."""
    first = int(COUNT * _POWERED)
    # release from the inside of beads falls by a power of volume; same steepness at the end point
    shift = end * (0.02 + 0.4 * shifting)
    power = np.clip((end + shift) / slow, 0.6, 9.0)
    of_power, of_end, of_shift = _single(np, power[:first], (end + shift)[:first], shift[:first])
    powered = np.exp(of_power * (np.log(of_end) - np.log(b + of_shift)))
    at_end, of_slow, of_fast, of_share = _single(np, end[first:], slow[first:], fast[first:], share[first:])
    back = at_end - b
    exponential = (1.0 - of_share) * np.exp(np.minimum(back / of_fast, 25.0)) + of_share * np.exp(
        np.minimum(back / of_slow, 25.0)
    )
    return np.concatenate([powered, exponential])


def _floors(np: Any, ends: Any, uniform: Any, normal: Any, water_logarithm: float, bed: RinsedBed) -> Any:
    """Floor over limit: below 1 for particles that end, above for the others."""
    if bed is RinsedBed.SOFTENER_AFTER_BRINE:
        own = np.exp(water_logarithm + 0.04 * normal[:, 3]) + 0.05 * uniform[:, 4] ** 2
        below = np.minimum(own, 0.995)
    else:
        below = np.exp(-5.0 * uniform[:, 4])
    above = 1.0 + np.exp(np.log(0.02) + uniform[:, 4] * np.log(400.0))
    return np.where(ends, below, above)


def _likelihood(np: Any, track: Track, model: Any, sigma: Any) -> tuple[Any, Any]:
    """Student's t with three degrees of freedom; a clipped reading only says "at least". With it the weighed misfit."""
    residuals = track.logarithms.astype(np.float32)[None, :] - model
    sigma = sigma.astype(np.float32)
    reach = residuals / sigma
    each = -2.0 * np.log1p(reach * reach / 3.0) - np.log(sigma)
    if track.clipped.any():
        # logistic instead of the normal integral: near enough, and never minus infinity
        clipped = -np.log1p(np.exp(np.clip(1.7 * reach, -40.0, 40.0)))
        each = np.where(track.clipped[None, :], clipped, each)
        residuals = np.where(track.clipped[None, :], np.maximum(residuals, 0.0), residuals)
    return each.astype(float) @ track.weights, np.abs(residuals).astype(float) @ track.weights


def _read_off(
    np: Any, weights: Any, end: Any, ends: Any, floor: Any, slow: Any, misfits: Any, track: Track
) -> Posterior:
    reaches = ends & (end <= HORIZON_BV)
    reached = float(weights[reaches].sum())
    beyond = np.maximum(np.log(end / max(track.last_bv, 1e-3)), 0.0)
    if reached > 1e-9:
        order = np.argsort(beyond[reaches])
        sums = np.cumsum(weights[reaches][order]) / reached
        sorted_ends = beyond[reaches][order]
        quantiles = tuple(float(np.interp(share, sums, sorted_ends)) for share in QUANTILES)
    else:
        quantiles = (0.0, 0.5, 1.0, 1.5, 2.0)
    return Posterior(
        end_logarithms=quantiles,
        never_frac=float(min(max(1.0 - reached, 0.0), 1.0)),
        floor_logarithm=float((weights * np.log(floor)).sum()),
        effective_count=float(1.0 / (weights * weights).sum()),
        misfit=float(weights @ misfits / track.weights.sum()),
        decade_logarithm=float((weights * np.log(slow / end)).sum()),
    )
