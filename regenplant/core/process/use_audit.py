"""The audit of use in whole numbers: masses to the gram, volumes to the millilitre, so that a sum is the same in any order.

What was used is compared with the plan of the same batch. Count, mean and spread of the comparison follow from three sums, so that
months can be added up beforehand and still say the same as every batch taken singly.

Shares (of a batch among the customers whose resin was in it, or among the lots it came from) go by volume and are rounded by the largest
remainder, a common rule of apportionment, so that they always add up to the whole.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields

from regenplant.core.errors import OutOfRange

VARIANCE_STEP = 100_000
"""Variances are kept in hundred-thousandths: 5.123 % is 5123."""
MOST_VARIANCE = 100.0
"""A variance is kept up to this many times the plan; beyond it is a slip of units, and says "at least"."""
LEAST_FOR_SPREAD = 3
"""Comparisons from which a standard deviation is shown: of fewer it says nothing."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What one group of batches took of one chemical. Masses as 100 % in grams; resin as loaded in millilitres, of a mixed bed the
    component that the chemical regenerates."""

    batches: int = 0
    volume_ml: int = 0
    theory_grams: int = 0
    """Stoichiometric: what the eluted equivalents ask for; 0 where the chemical elutes nothing."""
    planned_grams: int = 0
    used_grams: int = 0
    regenerating_grams: int = 0
    """Of the used mass, what was fed to regenerate, and not to clean, sanitize or separate."""
    compared: int = 0
    """Batches whose use was compared with a plan."""
    variance_sum: int = 0
    """Sum of (used - planned) / planned over the compared batches, in steps of ``VARIANCE_STEP``."""
    variance_squares: int = 0
    """Sum of their squares, in steps of ``VARIANCE_STEP`` squared."""
    cost_milli: int = 0
    """Thousandths of the plant's currency."""
    priced_grams: int = 0
    """Of the used mass, how much has a price."""

    def __add__(self, other: Sums) -> Sums:
        return Sums(*(getattr(self, name) + getattr(other, name) for name in NAMES))

    def __neg__(self) -> Sums:
        return Sums(*(-getattr(self, name) for name in NAMES))

    @property
    def variance_frac(self) -> float | None:
        """Of the whole group: (used - planned) / planned; None without a plan."""
        if self.planned_grams <= 0:
            return None
        return (self.used_grams - self.planned_grams) / self.planned_grams

    @property
    def mean_variance_frac(self) -> float | None:
        """Mean of the batches' own variances, each batch counting the same; None where none was compared."""
        return self.variance_sum / self.compared / VARIANCE_STEP if self.compared else None

    @property
    def spread_frac(self) -> float | None:
        """Standard deviation of the batches' variances (n - 1); None below ``LEAST_FOR_SPREAD``."""
        if self.compared < LEAST_FOR_SPREAD:
            return None
        # n Σx² − (Σx)², in whole numbers: no digit is lost to the difference of two large sums
        scaled = self.compared * self.variance_squares - self.variance_sum**2
        return math.sqrt(scaled / (self.compared * (self.compared - 1))) / VARIANCE_STEP

    @property
    def ratio(self) -> float | None:
        """Regenerant fed over what stoichiometry asks for; 1 would be perfect. None where nothing was to be eluted."""
        return self.regenerating_grams / self.theory_grams if self.theory_grams > 0 else None

    @property
    def efficiency_frac(self) -> float | None:
        """Share of the regenerant fed that stoichiometry asks for; None where nothing was fed or to be eluted."""
        if self.theory_grams <= 0 or self.regenerating_grams <= 0:
            return None
        return self.theory_grams / self.regenerating_grams

    @property
    def used_kg_per_m3(self) -> float | None:
        """Dose as used, as 100 % per resin as loaded (g/L is the same number); None without a volume."""
        return self.used_grams / self.volume_ml * 1000.0 if self.volume_ml > 0 else None

    @property
    def planned_kg_per_m3(self) -> float | None:
        """Dose as planned, likewise."""
        return self.planned_grams / self.volume_ml * 1000.0 if self.volume_ml > 0 else None


NAMES: tuple[str, ...] = tuple(field.name for field in fields(Sums))


def summed(parts: Iterable[Sums]) -> Sums:
    """All of them together."""
    found = Sums()
    for part in parts:
        found += part
    return found


def variance_step(used_grams: int, planned_grams: int) -> int | None:
    """The variance of one batch as it is kept; None without a plan. Held to ``MOST_VARIANCE``."""
    if planned_grams <= 0:
        return None
    exact = round((used_grams - planned_grams) * VARIANCE_STEP / planned_grams)
    return min(exact, round(MOST_VARIANCE * VARIANCE_STEP))


def compared_sums(variance: int | None) -> tuple[int, int, int]:
    """Count, sum and sum of squares that one batch adds."""
    return (0, 0, 0) if variance is None else (1, variance, variance * variance)


def shared(whole: int, weights: Mapping[str, float]) -> dict[str, int]:
    """A whole number split by weight, so that the parts add up to it: whole parts first, then one more each to the largest remainders; of
    equal ones the first by name.

    Raises: OutOfRange for weights that are not finite, below zero, or none above zero.
    """
    total = math.fsum(weights.values())
    if not weights or not math.isfinite(total) or total <= 0 or any(w < 0 for w in weights.values()):
        raise OutOfRange("Shares need weights of zero or more, one of them above zero.", seen=total)
    exact = {key: whole * (weight / total) for key, weight in weights.items()}
    parts = {key: math.floor(value) for key, value in exact.items()}
    left = whole - sum(parts.values())
    order = sorted(weights, key=lambda key: (parts[key] - exact[key], key))
    step = 1 if left > 0 else -1
    for number in range(abs(left)):
        parts[order[number % len(order)]] += step
    return parts


def shared_sums(whole: Sums, weights: Mapping[str, float]) -> dict[str, Sums]:
    """What each part takes of a batch: volume, masses and cost by weight; the comparison is the batch's own and stands with each."""
    split = {name: shared(getattr(whole, name), weights) for name in SPLIT}
    kept = {name: getattr(whole, name) for name in NAMES if name not in SPLIT}
    return {key: Sums(**{name: split[name][key] for name in SPLIT}, **kept) for key in weights}


SPLIT = (
    "volume_ml",
    "theory_grams",
    "planned_grams",
    "used_grams",
    "regenerating_grams",
    "cost_milli",
    "priced_grams",
)
"""What is divided among customers and lots; counts and comparisons are not: a batch in two lots is one batch in each."""


# --- the shift --------------------------------------------------------------------------------------------------------
USUAL_SHIFTS = ("06:00", "14:00", "22:00")
"""Beginnings of three shifts of eight hours: common practice, the plant writes its own."""


def minutes_of(text: str) -> int:
    """Minutes after midnight of "06:00". Raises: OutOfRange."""
    hours, colon, minutes = text.partition(":")
    is_number = all(part.isascii() and part.isdigit() for part in (hours, minutes))
    if colon and is_number and len(hours) <= 2 == len(minutes) and int(hours) < 24 and int(minutes) < 60:
        return int(hours) * 60 + int(minutes)
    raise OutOfRange(f"“{text[:12]}” is no time of day. Write it as 06:00, from 00:00 to 23:59.")


def shift_at(minute_of_day: int, beginnings: Sequence[str]) -> str:
    """The shift a minute falls into, named by its beginning and end: "06:00–14:00". Before the first beginning it is the last shift of the
    day before. One beginning is one shift of a whole day.

    Raises: OutOfRange for a beginning that is no time of day.
    """
    ordered = sorted({minutes_of(text): text for text in beginnings}.items())
    if not ordered:
        raise OutOfRange("A day has at least one shift.")
    place = max((number for number, (minute, _) in enumerate(ordered) if minute <= minute_of_day), default=-1)
    return f"{_clock(ordered[place][0])}–{_clock(ordered[(place + 1) % len(ordered)][0])}"


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"
