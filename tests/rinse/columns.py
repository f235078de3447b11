"""True conductivity of many rinses at once: three ways a rinse may fall, none of them the form that is fitted.

All curves stand on one grid of bed volumes. Conductivities are µS/cm at 25 °C. The three forms are a column of mixed cells
with stagnant regions (solved step by step), a dispersed front with a stretched or power-law tail, and a front with
the release from spheres (a sum over n²). Faults are put on in ``faults.py``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import erfc

HORIZON_BV = 60.0
GRID = np.concatenate([np.arange(0.0, 8.0, 0.02), np.arange(8.0, HORIZON_BV + 1.0, 0.1)])
"""Bed volumes at which every true curve is kept; a little beyond the horizon."""
FORMS = ("column", "stretched", "spheres")
PLAIN = "plain"
"""Front, one exponential and floor: the textbook's tail. In the training only, so that a clean tail is not taken for a bent one."""
_REGIONS = 4


@dataclass
class Beds:
    """Arrays with one row for each rinse. Regions are stagnant parts of the bed, the fastest first."""

    start: np.ndarray
    accessible: np.ndarray
    cells: int
    amplitudes: np.ndarray
    """What each region adds to the outlet when the tail begins, (rinses, regions) [µS/cm]."""
    scales: np.ndarray
    """Bed volumes for a fall by e at the flow set, (rinses, regions)."""
    time_control: np.ndarray
    """1: the tail goes by minutes, 0: by bed volumes."""
    exponent: np.ndarray
    """Stretching of the tail in the second form, 0.4 to 1; above 1 a power law, with this less a half as its power."""


def pace(flow: np.ndarray, nominal: np.ndarray, warmth: np.ndarray, control: np.ndarray) -> np.ndarray:
    """How far the tail gets in one bed volume: slower flow and warmer water let more out, (rinses, grid)."""
    return (nominal[:, None] / flow) ** control[:, None] * warmth[:, None]


def outlet(form: str, beds: Beds, paces: np.ndarray, pauses: np.ndarray) -> np.ndarray:
    """Conductivity from the bed itself, without what the rinse water brings, (rinses, grid) [µS/cm].

    ``pauses`` holds, at the grid point where a standstill happens, its length as so many bed volumes' worth of exchange.
    """
    if form == "column":
        return _column(beds, paces, pauses)
    return _closed(form, beds, paces, pauses)


def _column(beds: Beds, paces: np.ndarray, pauses: np.ndarray) -> np.ndarray:
    count, cells = len(beds.start), beds.cells
    mobile_share = 0.6
    mobile = (beds.accessible * mobile_share).astype(np.float32)
    ratio = np.maximum(beds.amplitudes / beds.start[:, None], 1e-12)
    # the first region is the pore water, the rest of the accessible volume
    volumes = np.minimum(ratio * beds.scales, 0.5)
    volumes[:, 0] = beds.accessible * (1.0 - mobile_share)
    rates = (volumes / beds.scales).astype(np.float32)
    volumes = volumes.astype(np.float32)
    flowing = np.ones((count, cells), np.float32)
    held = np.ones((count, _REGIONS, cells), np.float32)
    step = float(0.85 * mobile.min() / cells)
    times = np.arange(0.0, GRID[-1], step)
    index = np.minimum(np.searchsorted(GRID, times), len(GRID) - 1)
    courant = (step * cells / mobile)[:, None]
    found = np.empty((count, len(times)), np.float32)
    last_index = -1
    for number, at in enumerate(index):
        speed = paces[:, at].astype(np.float32)
        worth = np.full(count, step, np.float32) * speed
        if at != last_index:
            stood = pauses[:, last_index + 1 : at + 1].sum(axis=1)
            if stood.any():
                worth = worth + stood.astype(np.float32)
            last_index = int(at)
        give = 1.0 - np.exp(-(rates / volumes) * worth[:, None])
        change = give[:, :, None] * (flowing[:, None, :] - held)
        held += change
        flowing -= (change * volumes[:, :, None]).sum(axis=1) / mobile[:, None]
        np.clip(flowing, 0.0, 1.0, out=flowing)
        before = flowing.copy()
        found[:, number] = before[:, -1]
        flowing[:, 1:] += courant * (before[:, :-1] - before[:, 1:])
        flowing[:, 0] -= courant[:, 0] * before[:, 0]
    curves = np.empty((count, len(GRID)))
    for row in range(count):
        curves[row] = np.interp(GRID, times, np.log(np.maximum(found[row], 1e-12)))
    return np.exp(curves) * beds.start[:, None]


def _closed(form: str, beds: Beds, paces: np.ndarray, pauses: np.ndarray) -> np.ndarray:
    widths = np.diff(GRID, prepend=0.0)
    along = np.cumsum(paces * widths + pauses * 0.6, axis=1)
    front = _front(beds)
    arrived = 1.0 - front / beds.start[:, None]
    tail = np.zeros_like(along)
    for region in range(_REGIONS if form != PLAIN else 2):
        reach = along / beds.scales[:, region, None]
        if form == "spheres":
            part = sum(np.exp(-(n * n) * reach) for n in range(1, 9)) / 2.0
        elif form == PLAIN:
            part = np.exp(-reach) * (region > 0)
        else:
            power = beds.exponent[:, None]
            stretched = np.exp(-np.minimum(reach ** np.minimum(power, 1.0), 60.0))
            part = np.where(power > 1.0, (1.0 + reach) ** -(power - 0.5), stretched)
        tail += beds.amplitudes[:, region, None] * part
    bump = _after_pauses(tail, pauses)
    return front + arrived * tail * bump


def _front(beds: Beds) -> np.ndarray:
    ratio = np.maximum(GRID, 1e-3)[None, :] / beds.accessible[:, None]
    return beds.start[:, None] * 0.5 * erfc((ratio - 1.0) / (2.0 * np.sqrt(ratio / (2.0 * beds.cells))))


def _after_pauses(tail: np.ndarray, pauses: np.ndarray) -> np.ndarray:
    """What has come out of the beads while the water stood leaves in the first bed volume after."""
    bump = np.ones_like(tail)
    for row, at in zip(*np.nonzero(pauses > 0.0), strict=True):
        since = GRID - GRID[at]
        bump[row] += np.where(
            since >= 0.0, min(2.0 * pauses[row, at], 4.0) * np.exp(-np.maximum(since, 0.0) / 0.35), 0.0
        )
    return bump


def endpoints(curves: np.ndarray, limits: np.ndarray, hold_bv: float = 0.5) -> np.ndarray:
    """Start of the first stretch of ``hold_bv`` at or below the limit; NaN where none begins within the horizon."""
    found = np.full(len(curves), np.nan)
    for row, (curve, limit) in enumerate(zip(curves, limits, strict=True)):
        below = curve <= limit
        if not below.any():
            continue
        changes = np.diff(below.astype(np.int8), prepend=0, append=0)
        for first, after in zip(np.nonzero(changes == 1)[0], np.nonzero(changes == -1)[0], strict=True):
            end = GRID[min(after, len(GRID) - 1)]
            if end - GRID[first] >= hold_bv and GRID[first] <= HORIZON_BV:
                found[row] = _crossing(curve, limit, first)
                break
    return found


def _crossing(curve: np.ndarray, limit: float, first: int) -> float:
    if first == 0:
        return 0.02
    high, low = np.log(curve[first - 1] / limit), np.log(limit / curve[first])
    share = high / (high + low) if high + low > 0 else 1.0
    return float(GRID[first - 1] + share * (GRID[first] - GRID[first - 1]))
