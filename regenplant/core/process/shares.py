"""Shares of counted things, such as first-pass yields: what chance alone would explain, exact.

Exact binomial limits, because a month has too few batches for the normal curve.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2 (proportions); Clopper & Pearson, Biometrika 26:404 (1934).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from regenplant.core.errors import OutOfRange

TAIL = 0.00135
"""Chance beyond three standard deviations on one side: what the exact limits of a yield leave out on each side."""


def at_most(count: int, trials: int, share: float) -> float:
    """Chance of ``count`` or fewer in so many trials: the binomial sum, exact.

    Raises: OutOfRange for a share outside 0 to 1 or less than no trial.
    """
    if not 0 <= share <= 1 or trials < 0:
        raise OutOfRange(f"A share lies from 0 to 1, not {share:g}.", field="share")
    if count < 0:
        return 0.0
    if count >= trials or share == 0:
        return 1.0
    if share == 1:
        return 0.0
    if count < trials * share:
        return _downward(count, trials, share)
    return max(0.0, 1.0 - _downward(trials - count - 1, trials, 1.0 - share))


def _downward(count: int, trials: int, share: float) -> float:
    """The binomial sum from ``count`` down, each term from the one above it, until nothing is added any more."""
    ways = math.lgamma(trials + 1) - math.lgamma(count + 1) - math.lgamma(trials - count + 1)
    term = math.exp(ways + count * math.log(share) + (trials - count) * math.log1p(-share))
    total = term
    for k in range(count, 0, -1):
        term *= k / (trials - k + 1) * (1.0 - share) / share
        total += term
        if term < total * 1e-18:
            break
    return total


def count_limits(trials: int, share: float, tail: float = TAIL) -> tuple[int, int]:
    """The lowest and the highest count that chance explains: beyond each of them lies at most ``tail``. Exact, so that a month
    of five batches is not judged by a curve that would give it limits below 0 and above 5."""
    return _lowest(trials, share, tail), trials - _lowest(trials, 1.0 - share, tail)


def _lowest(trials: int, share: float, tail: float) -> int:
    """The lowest count that is reached with more than ``tail``; halved between none and all until it is found."""
    low, high = 0, trials
    while low < high:
        middle = (low + high) // 2
        if at_most(middle, trials, share) > tail:
            high = middle
        else:
            low = middle + 1
    return low


def exact_interval(count: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Between what a true share lies, given ``count`` of ``trials``: Clopper & Pearson, each side with half of the rest.

    Raises: OutOfRange for no trial, or more counted than tried.
    """
    if not 0 <= count <= trials or trials < 1:
        raise OutOfRange(f"{count} of {trials} is no share.", field="count")
    rest = (1.0 - confidence) / 2.0
    low = _where(lambda p: 1.0 - at_most(count - 1, trials, p), rest) if count else 0.0
    high = _where(lambda p: -at_most(count, trials, p), -rest) if count < trials else 1.0
    return low, high


def _where(rising: Callable[[float], float], wanted: float) -> float:
    """The share at which a function that rises reaches a value; halved until it is found."""
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        if rising(middle) < wanted:
            low = middle
        else:
            high = middle
    return (low + high) / 2


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many, beside the share that all of them had together."""

    count: int
    trials: int
    overall: float
    low: int
    high: int

    @property
    def share(self) -> float:
        """The share itself, 0 to 1 [-]."""
        return self.count / self.trials

    @property
    def is_low(self) -> bool:
        """Fewer than chance explains."""
        return self.count < self.low

    @property
    def interval(self) -> tuple[float, float]:
        """Between what its true value lies in 95 of 100 such cases, exact, 0 to 1 [-]."""
        return exact_interval(self.count, self.trials)


def share_of(count: int, trials: int, overall: float) -> Share:
    """A share with its exact limits around the overall one."""
    return Share(count, trials, overall, *count_limits(trials, overall))
