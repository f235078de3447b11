"""Logs of many readings made short: medians over stretches of equal count, so that a forecast takes no longer than of a short one.

What a forecast needs of a log is its course, not every reading; the learned part knows rinses of up to about a hundred readings, and
the median of a stretch is what a careful reader would have written down.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import Any

from regenplant.core.engineering.libraries import array_library

MOST_KEPT = 300
"""So many readings stand as they are."""
_STRETCHES = 200


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings as arrays of equal length, in the order of time: bed volumes [-], time [s], conductivity at 25 °C [S/m], temperature [K]
    (NaN where it was not taken), and whether the meter was at the top of its range."""

    bed_volumes_bv: Any
    at_s: Any
    conductivity_siemens_per_m: Any
    temperature_kelvin: Any
    is_clipped: Any

    def where(self, keep: Any) -> Columns:
        """The rows of a mask or of indices."""
        return Columns(
            self.bed_volumes_bv[keep],
            self.at_s[keep],
            self.conductivity_siemens_per_m[keep],
            self.temperature_kelvin[keep],
            self.is_clipped[keep],
        )


def thinned(every: Columns) -> Columns:
    """At most ``MOST_KEPT`` rows: middle and median of each stretch, and the moment of the last reading with the last stretch's level."""
    np = array_library()
    count = len(every.at_s)
    if count <= MOST_KEPT:
        return every
    edges = np.linspace(0, count, _STRETCHES + 1).astype(int)
    starts, sizes = edges[:-1], np.diff(edges)

    def mean(values: Any) -> Any:
        return np.add.reduceat(values, starts) / sizes

    clipped = mean(every.is_clipped.astype(float)) > 0.5
    bv, at_s = mean(every.bed_volumes_bv), mean(every.at_s)
    temperature = _known_mean(np, every.temperature_kelvin, starts)
    level = np.array(
        [
            np.median(every.conductivity_siemens_per_m[first : first + size])
            for first, size in zip(starts, sizes, strict=True)
        ]
    )
    recent = every.conductivity_siemens_per_m[-max(int(sizes[-1]) // 4, 3) :]
    return Columns(
        np.append(bv, every.bed_volumes_bv[-1]),
        np.append(at_s, every.at_s[-1]),
        np.append(level, np.median(recent)),
        np.append(temperature, every.temperature_kelvin[-1]),
        np.append(clipped, every.is_clipped[-1]),
    )


def _known_mean(np: Any, values: Any, starts: Any) -> Any:
    """Mean of what is known in each stretch, NaN where nothing is."""
    is_known = np.isfinite(values)
    counts = np.add.reduceat(is_known.astype(float), starts)
    sums = np.add.reduceat(np.where(is_known, values, 0.0), starts)
    return np.where(counts > 0.0, sums / np.maximum(counts, 1.0), np.nan)


def in_order(every: Columns) -> tuple[Columns, int]:
    """Rows in the order of time whose volume never falls, and how many were left out: as few as can be.

    A volume typed too high by a digit costs that one reading, not all that follow it.
    """
    np = array_library()
    rows = every.where(np.lexsort((every.bed_volumes_bv, every.at_s)))
    volumes = rows.bed_volumes_bv
    if len(volumes) < 2 or bool((np.diff(volumes) >= 0.0).all()):
        return rows, 0
    keep = _longest_rising(np, volumes)
    return rows.where(keep), len(volumes) - len(keep)


def _longest_rising(np: Any, volumes: Any) -> Any:
    """Indices of the longest part that never falls: each number goes on the shortest pile it fits, and points to the pile before."""
    tops: list[float] = []
    at: list[int] = []
    before = np.empty(len(volumes), dtype=int)
    for index, volume in enumerate(volumes.tolist()):
        pile = bisect_right(tops, volume)
        before[index] = at[pile - 1] if pile else -1
        if pile == len(tops):
            tops.append(volume)
            at.append(index)
        else:
            tops[pile], at[pile] = volume, index
    kept = [at[-1]]
    while before[kept[-1]] >= 0:
        kept.append(int(before[kept[-1]]))
    return np.array(kept[::-1], dtype=int)
