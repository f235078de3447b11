"""How far bands are widened and chances of "never" drawn to the usual one: what would have been best, near the end point and far from it.

The factors lie on a line over ln(end point / passed) as the particles see it (``network.answer``): what is known at the time, not the share
of the way that turns out later. Factors by that share look very different, and following them made forecasts worse.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.rinse.fitting import loss

USUAL_NEVER = 0.17
_QUARTER = np.log(4.0)
_TRIED = np.round(np.arange(0.0, 2.01, 0.1), 1)


@dataclass
class Said:
    """What networks say of rinses whose end is known: ln(end point / passed) at 5, 50 and 95 %, chance, truth (NaN for never), anchor."""

    quantiles: np.ndarray
    chances: np.ndarray
    ends: np.ndarray
    anchors: np.ndarray

    @staticmethod
    def together(parts: list[Said]) -> Said:
        names = ("quantiles", "chances", "ends", "anchors")
        return Said(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))

    def where(self, keep: np.ndarray) -> Said:
        return Said(self.quantiles[keep], self.chances[keep], self.ends[keep], self.anchors[keep])

    @property
    def is_never(self) -> np.ndarray:
        return np.isnan(self.ends)

    def along(self, near: float, far: float) -> np.ndarray:
        return near + np.clip(self.anchors / _QUARTER, 0.0, 1.0) * (far - near)


def _early(said: Said, factors: np.ndarray) -> float:
    quantiles = said.quantiles.copy()
    quantiles[:, 0] = np.maximum(quantiles[:, 1] - factors * (quantiles[:, 1] - quantiles[:, 0]), 0.0)
    return float(loss(quantiles, said.is_never.astype(float), said.ends).mean())


def _late(said: Said, factors: np.ndarray) -> float:
    quantiles = said.quantiles.copy()
    quantiles[:, 2] = quantiles[:, 1] + factors * (quantiles[:, 2] - quantiles[:, 1])
    return float(loss(quantiles, said.is_never.astype(float), said.ends).mean())


def _never(said: Said, factors: np.ndarray) -> float:
    usual = np.log(USUAL_NEVER / (1.0 - USUAL_NEVER))
    kept = np.clip(said.chances, 1e-4, 1.0 - 1e-4)
    chances = 1.0 / (1.0 + np.exp(-(usual + factors * (np.log(kept / (1.0 - kept)) - usual))))
    return float(np.mean((chances - said.is_never) ** 2))


def best(said: Said) -> str:
    """For early point, late point and chance the factors near and far with the least loss, and what they save against 1."""
    kinds: dict[str, Callable[[Said, np.ndarray], float]] = {"early": _early, "late": _late, "never": _never}
    lines = []
    for name, lost in kinds.items():
        found = {(near, far): lost(said, said.along(near, far)) for near in _TRIED for far in _TRIED}
        near, far = min(found, key=lambda each: found[each])
        lines.append(
            f"{name}: near {near:.1f}, far {far:.1f}, saves {found[1.0, 1.0] - found[near, far]:.4f}"
        )
    return "; ".join(lines)
