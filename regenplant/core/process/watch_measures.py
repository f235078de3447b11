"""What a supervisor watches beside the use of chemicals, from which level on, and how each figure is worked out.

A level stops nothing: it marks what a person looks at. The usual ones are common practice of the trade, from memory of the trade and
held against no publication; the plant writes its own.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.errors import OutOfRange

RISE_OVER = 10
"""Rinses over which a rise is followed (common practice of the trade)."""
FEWEST_FOR_MEDIAN = 5
"""Times of a series before a longest one is told from the middle one; this program's choice."""


class Beyond(StrEnum):
    """On which side of its level a figure is marked."""

    ABOVE = "above"
    BELOW = "below"
    FROM = "from"

    def holds(self, figure: float, level: float) -> bool:
        """Whether a figure is marked. A level itself is not above and not below itself."""
        if self is Beyond.ABOVE:
            return figure > level + 1e-9
        if self is Beyond.BELOW:
            return figure < level - 1e-9
        return figure >= level - 1e-9


class Shown(StrEnum):
    """How figure and level read."""

    PERCENT = "percent"
    TIMES = "times"
    COUNT = "count"


class Watched(StrEnum):
    """One measure each, in the order a supervisor reads them."""

    RINSE_RISE = "rinse_rise"
    WASTE_RISE = "waste_rise"
    TIME_LONG = "time_long"
    YIELD_MIXED = "yield_mixed"
    YIELD_SOFTENER = "yield_softener"
    YIELD_OTHER = "yield_other"
    IN_A_ROW = "in_a_row"
    TOGETHER = "together"
    RESIN_LOSS = "resin_loss"
    LATE = "late"
    OVERDUE = "overdue"
    OWN_WORK = "own_work"
    EXCURSIONS = "excursions"

    @property
    def measure(self) -> Measure:
        """What is measured, and its usual level."""
        return MEASURES[self]


@dataclass(frozen=True, slots=True)
class Measure:
    """``usual`` and the bounds are shares for ``PERCENT``, else plain numbers."""

    name: str
    how: str
    """How the figure is worked out, as a sentence."""
    shown: Shown
    beyond: Beyond
    usual: float
    lowest: float
    highest: float
    is_practice: bool = True
    """Common practice of the trade; else a proposal of this program."""


MEASURES: dict[Watched, Measure] = {
    Watched.RINSE_RISE: Measure(
        "Rinse water per volume of resin rises",
        f"A straight line through the last {RISE_OVER} rinses of a lot by one recipe to one limit: its end over its beginning.",
        Shown.PERCENT, Beyond.ABOVE, 0.20, 0.02, 2.0,
    ),
    Watched.WASTE_RISE: Measure(
        "Waste per volume of resin rises",
        f"A straight line through what the last {RISE_OVER} batches of a lot by one recipe sent down their drains with chemical in it, "
        "over the volume of their resin: its end over its beginning.",
        Shown.PERCENT, Beyond.ABOVE, 0.20, 0.02, 2.0, is_practice=False,
    ),
    Watched.TIME_LONG: Measure(
        "Time of the fast rinse",
        f"A rinse over the middle one (median) of its lot, recipe and limit; told from {FEWEST_FOR_MEDIAN} rinses on.",
        Shown.TIMES, Beyond.ABOVE, 1.5, 1.05, 10.0,
    ),
    Watched.YIELD_MIXED: Measure(
        "Passed at once, mixed beds", "First regenerations that passed, of all that were judged or given up.",
        Shown.PERCENT, Beyond.BELOW, 0.92, 0.5, 1.0,
    ),
    Watched.YIELD_SOFTENER: Measure(
        "Passed at once, softeners", "First regenerations that passed, of all that were judged or given up.",
        Shown.PERCENT, Beyond.BELOW, 0.97, 0.5, 1.0,
    ),
    Watched.YIELD_OTHER: Measure(
        "Passed at once, other families", "First regenerations that passed, of all that were judged or given up.",
        Shown.PERCENT, Beyond.BELOW, 0.92, 0.5, 1.0, is_practice=False,
    ),
    Watched.IN_A_ROW: Measure(
        "Failures one after the other", "Batches with one lot of resin, vessel, customer or person at a step in common that failed without one that passed between them. It says where to look, not whose fault it was.",
        Shown.COUNT, Beyond.FROM, 2.0, 2.0, 20.0,
    ),
    Watched.TOGETHER: Measure(
        "Failures that gather", "Failed batches of the period with one lot of resin, chemical lot, vessel or customer in common.",
        Shown.COUNT, Beyond.FROM, 3.0, 2.0, 50.0,
    ),
    Watched.RESIN_LOSS: Measure(
        "Resin lost in a cycle", "What came in and was topped up less what went out, over what came in; all batches of the period together, marked from 3 of them on.",
        Shown.PERCENT, Beyond.ABOVE, 0.03, 0.005, 0.5,
    ),
    Watched.LATE: Measure(
        "Late entries and corrections", "For every 100 entries and readings that were written in the period.",
        Shown.COUNT, Beyond.ABOVE, 5.0, 0.0, 100.0,
    ),
    Watched.OVERDUE: Measure(
        "Calibrations, showers and eyewashes overdue", "As they stand today.",
        Shown.COUNT, Beyond.ABOVE, 0.0, 0.0, 100.0,
    ),
    Watched.OWN_WORK: Measure(
        "Second signatures tried by the same person", "Who may not sign own work is told so before a signature can be typed; what was typed all the same stands here.",
        Shown.COUNT, Beyond.ABOVE, 0.0, 0.0, 100.0,
    ),
    Watched.EXCURSIONS: Measure(
        "Excursions at the sewer", "What went outside the permit in the period.",
        Shown.COUNT, Beyond.ABOVE, 0.0, 0.0, 100.0,
    ),
}  # fmt: skip
assert list(MEASURES) == list(Watched)


def rise_frac(values: Sequence[float]) -> float | None:
    """How much the last ``RISE_OVER`` values rose: the straight line of least squares through them, its end over its beginning, less one
    [-]. None for fewer, or where the line does not begin above zero. Source: textbook statistics."""
    last = list(values)[-RISE_OVER:]
    if len(last) < RISE_OVER:
        return None
    slope, begin = statistics.linear_regression(range(RISE_OVER), last)
    return slope * (RISE_OVER - 1) / begin if begin > 0.0 else None


def over_median(value: float, values: Sequence[float]) -> float | None:
    """A value over the middle one of ``values`` [-]; None for fewer than ``FEWEST_FOR_MEDIAN``."""
    if len(values) < FEWEST_FOR_MEDIAN:
        return None
    middle = statistics.median(values)
    return value / middle if middle > 0.0 else None


def longest_row(failed: Sequence[bool]) -> int:
    """How many followed one another at most."""
    longest = now = 0
    for is_failed in failed:
        now = now + 1 if is_failed else 0
        longest = max(longest, now)
    return longest


def checked_level(watched: Watched, level: float) -> float:
    """A level of the plant's own. Raises: OutOfRange."""
    measure = watched.measure
    if not (math.isfinite(level) and measure.lowest <= level <= measure.highest):
        raise OutOfRange(
            f"The level of “{measure.name}” is {said(measure, level)}; allowed is from {said(measure, measure.lowest)} to "
            f"{said(measure, measure.highest)}.",
            field="level", seen=level, allowed_low=measure.lowest, allowed_high=measure.highest,
        )  # fmt: skip
    if measure.shown is Shown.COUNT and measure.beyond is Beyond.FROM and level != round(level):
        raise OutOfRange(f"“{measure.name}” is counted: write a whole number.", field="level", seen=level)
    return level


def said(measure: Measure, value: float) -> str:
    """A figure or a level in words: "20 %", "1.5 times", "3"."""
    if measure.shown is Shown.PERCENT:
        return f"{100 * value:.3g} %"
    if measure.shown is Shown.TIMES:
        return f"{value:.3g} times"
    return f"{value:.3g}"


def level_said(measure: Measure, level: float) -> str:
    """ "above 20 %", "below 92 %", "from 3 on"."""
    if measure.beyond is Beyond.FROM:
        return f"from {said(measure, level)} on"
    return f"{measure.beyond.value} {said(measure, level)}"
