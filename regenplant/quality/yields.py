"""First-pass yield: how often a batch passes at once, by month, family, vessel and recipe. Limits: ``core.process.shares``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo

from regenplant.core.process.shares import Share, share_of
from regenplant.quality.rinse_series import Rinse

FEWEST_FOR_YIELD = 20
"""Batches before limits of a yield are said; common practice, this program's choice."""


@dataclass(frozen=True, slots=True)
class YieldLine:
    """First-pass yield of one month, family, vessel or recipe."""

    name: str
    passed: int
    batches: int
    share: Share | None
    """With exact limits; None while there are too few batches altogether."""

    @property
    def yield_frac(self) -> float:
        """Share that passed at once, 0 to 1 [-]."""
        return self.passed / self.batches

    @property
    def is_low(self) -> bool:
        """Fewer than chance explains; False while there are too few batches to say."""
        return self.share is not None and self.share.is_low


@dataclass(frozen=True, slots=True)
class Yields:
    """First-pass yield: batches that passed at once, of all first regenerations that were judged or given up."""

    passed: int
    batches: int
    by_month: tuple[YieldLine, ...]
    by_family: tuple[YieldLine, ...]
    by_vessel: tuple[YieldLine, ...]
    by_recipe: tuple[YieldLine, ...]

    @property
    def has_limits(self) -> bool:
        """Whether there are enough batches for limits."""
        return self.batches >= FEWEST_FOR_YIELD

    @property
    def yield_frac(self) -> float | None:
        """Share that passed at once, 0 to 1 [-]; None without a batch."""
        return self.passed / self.batches if self.batches else None

    @property
    def low(self) -> tuple[YieldLine, ...]:
        """Every line below what chance explains."""
        return tuple(
            line
            for lines in (self.by_month, self.by_family, self.by_vessel, self.by_recipe)
            for line in lines
            if line.is_low
        )


def yields(found: Sequence[Rinse], zone: tzinfo) -> Yields:
    """Months are those of the plant. A rework is no first pass and no failed one: its first regeneration counted already."""
    first = [rinse for rinse in found if not rinse.is_rework]
    passed = sum(rinse.passed_first for rinse in first)

    def grouped(key: Callable[[Rinse], str]) -> tuple[YieldLine, ...]:
        all_of, good = Counter(map(key, first)), Counter(key(rinse) for rinse in first if rinse.passed_first)
        return tuple(
            _yield_line(name, good[name], all_of[name], passed, len(first)) for name in sorted(all_of)
        )

    return Yields(
        passed,
        len(first),
        by_month=grouped(lambda rinse: f"{rinse.ended_at.astimezone(zone):%Y-%m}"),
        by_family=grouped(lambda rinse: rinse.family),
        by_vessel=grouped(lambda rinse: rinse.vessel),
        by_recipe=grouped(lambda rinse: rinse.recipe),
    )


def _yield_line(name: str, passed: int, batches: int, all_passed: int, all_batches: int) -> YieldLine:
    if all_batches < FEWEST_FOR_YIELD:
        return YieldLine(name, passed, batches, None)
    return YieldLine(name, passed, batches, share_of(passed, batches, all_passed / all_batches))
