"""Control charts: whether a figure that should stay the same still does, and what chance alone would explain.

Individuals and moving ranges for rinse volumes and times (one figure for each batch), and an exponentially weighted average for slow
drift. Yields have limits of another kind: ``core.process.shares``.

Two kinds of points are drawn and never counted as what they are not. A rinse that was given up says "at least so much": it may
prove that a limit was passed, and never that a volume was small. A rework rinses resin that was regenerated twice: it is shown,
and neither sets limits nor breaks a run.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 (runs rules), 6.3.2.2 (individuals), 6.3.2.4 (EWMA). How many
points are needed, and how many set the limits, is common practice and this program's choice, and marked so.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from itertools import pairwise

from regenplant.core.errors import OutOfRange

D2 = 1.128
"""Mean range of two values over their standard deviation (NIST e-Handbook 6.3.2.2)."""
D4 = 3.267
"""Upper limit of the range of two values over its mean (NIST e-Handbook 6.3.2.1, table for n = 2)."""
MEDIAN_RANGE = 0.954
"""Median range of two values over their standard deviation: √2 times the upper quartile of the normal curve."""
SIGMAS = 3.0
FEWEST = 8
"""Points before limits are said; common practice, this program's choice."""
BASELINE = 12
"""The first so many points set the limits, so that a slow drift does not move them; this program's choice."""
FIRM = 20
"""Limits from fewer points are provisional; common practice."""
ALIEN = 4.0
"""A point of the baseline so many standard deviations (from medians) away sets no limits; this program's choice."""
WEIGHT = 0.2
"""Weight of the newest point in the EWMA; usually 0.2 to 0.3 (NIST e-Handbook 6.3.2.4)."""
RECENT = 10
"""A signal stands for this many counted points: rinse water is watched over ten batches (common practice of the trade)."""


class Rule(StrEnum):
    """A rule that calls a rise; falls are marked, and call nobody."""

    BEYOND = "beyond"
    TWO_OF_THREE = "two_of_three"
    EIGHT_ABOVE = "eight_above"
    SLOW = "slow"

    @property
    def words(self) -> str:
        """What was seen, as part of a sentence."""
        return _RULES[self][0]

    @property
    def short(self) -> str:
        """The same beside a point."""
        return _RULES[self][1]

    @property
    def why(self) -> str:
        """What the rule finds, and how often chance meets it."""
        return _RULES[self][2]

    @property
    def source(self) -> str:
        """Where the rule is published."""
        return _RULES[self][3]


_RUNS_RULES = "Runs rules for control charts, as in the NIST e-Handbook of Statistical Methods, 6.3.2"
_RULES: dict[Rule, tuple[str, str, str, str]] = {
    Rule.BEYOND: (
        "one rinse above the upper limit",
        "above the limit",
        "A jump: chance alone does it once in some 740 rinses.",
        _RUNS_RULES,
    ),
    Rule.TWO_OF_THREE: (
        "two of three rinses in the last third below the upper limit, or above it",
        "two of three near it",
        "A jump that just misses the limit.",
        _RUNS_RULES,
    ),
    Rule.EIGHT_ABOVE: (
        "eight rinses in a row above the mean",
        "eight above the mean",
        "A step that stays.",
        _RUNS_RULES,
    ),
    Rule.SLOW: (
        "the weighted mean of the last rinses is above its limit",
        "slow rise",
        "Slow drift, as of resin that ages, before any single rinse is out. A jump is taken for no more than the upper limit.",
        "EWMA, NIST e-Handbook of Statistical Methods, 6.3.2.4",
    ),
}
"""Rule: in words, in short, why it is asked, where it is from. The handbook’s other runs rules are left out: each rule more calls more
often for nothing (all four together once in 92 points instead of once in 371, same handbook), and the EWMA sees what they would."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One figure. ``is_at_least``: the rinse was given up, so the true figure is this or more. ``is_apart``: drawn only."""

    value: float
    is_at_least: bool = False
    is_apart: bool = False

    @property
    def counts(self) -> bool:
        """Whether it may set limits."""
        return not (self.is_at_least or self.is_apart)


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of an individuals chart and of its moving ranges, in the unit of the figures."""

    centre: float
    sigma: float
    lower: float
    upper: float
    mean_range: float
    range_upper: float
    count: int
    """How many points they are from."""

    @property
    def is_provisional(self) -> bool:
        """Whether they are from fewer than ``FIRM`` points."""
        return self.count < FIRM

    def above(self, sigmas: float) -> float:
        """So many standard deviations above the mean, in the unit of the figures."""
        return self.centre + sigmas * self.sigma


def moving_ranges(values: Sequence[float]) -> tuple[float, ...]:
    """Differences between neighbours, without sign: one fewer than there are values."""
    return tuple(abs(after - before) for before, after in pairwise(values))


def individuals_limits(values: Sequence[float], floor: float = -math.inf) -> Limits:
    """Mean ± 3·(mean moving range)/1.128. NIST e-Handbook 6.3.2.2.

    Parameters
    ----------
    values : Sequence
        In order of time, two at least, all of one unit
    floor : float
        What the figure cannot fall under; the lower limit does not either

    Raises: OutOfRange for fewer than two values.
    """
    if len(values) < 2:
        raise OutOfRange(f"Limits take two values at least, here {len(values)}.", field="values")
    centre, mean_range = statistics.fmean(values), statistics.fmean(moving_ranges(values))
    sigma = mean_range / D2
    return Limits(
        centre=centre,
        sigma=sigma,
        lower=max(floor, centre - SIGMAS * sigma),
        upper=centre + SIGMAS * sigma,
        mean_range=mean_range,
        range_upper=D4 * mean_range,
        count=len(values),
    )


def alien(values: Sequence[float]) -> int | None:
    """The one value that should not set limits: the farthest from the median, if beyond 4·(median moving range)/0.954.

    Medians, because one wild value makes two wide ranges and would hide behind the mean range it has blown up itself. Never
    more than one: two wild values in so few are no accident, and the limits should be as wide as they say.
    """
    if len(values) < FEWEST:
        return None
    middle = statistics.median(values)
    reach = ALIEN * statistics.median(moving_ranges(values)) / MEDIAN_RANGE
    index = max(range(len(values)), key=lambda i: abs(values[i] - middle))
    return index if reach > 0 and abs(values[index] - middle) > reach else None


# --- slow drift -------------------------------------------------------------------------------------------------------
def ewma(values: Sequence[float], start: float, weight: float = WEIGHT) -> tuple[float, ...]:
    """zᵢ = w·xᵢ + (1 − w)·zᵢ₋₁ from z₀ = ``start``. NIST e-Handbook 6.3.2.4.

    Raises: OutOfRange for a weight outside 0 to 1.
    """
    if not 0 < weight <= 1:
        raise OutOfRange(f"The weight is above 0 and at most 1, not {weight:g}.", field="weight")
    found, held = [], start
    for value in values:
        held = weight * value + (1 - weight) * held
        found.append(held)
    return tuple(found)


def ewma_reach(sigma: float, weight: float = WEIGHT, sigmas: float = SIGMAS) -> float:
    """Distance of the EWMA's limits from its start, long after it: k·s·√(w/(2 − w)). NIST e-Handbook 6.3.2.4."""
    return sigmas * sigma * math.sqrt(weight / (2 - weight))


# --- the chart --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Signal:
    """A rule that was met at one point. ``excess`` is how far above the mean, in standard deviations."""

    rule: Rule
    index: int
    excess: float


@dataclass(frozen=True, slots=True)
class Chart:
    """Figures in order of time with what is said about them. Without limits nothing is said but how many are there."""

    points: tuple[Observation, ...]
    counted: int
    limits: Limits | None = None
    set_aside: int | None = None
    """The wild point of the baseline that set no limits."""
    smooth: tuple[float | None, ...] = ()
    """EWMA at each point, jumps cut at the upper limit; None at those that are apart. After a given-up rinse a lower bound."""
    smooth_upper: float = math.inf
    signals: tuple[Signal, ...] = ()
    below: tuple[int, ...] = ()
    """Points under the lower limit: look at meter and totalizer."""
    since: int = 0
    """Index of the first point a signal still stands for (``RECENT``)."""

    @property
    def missing(self) -> int:
        """How many rinses are still needed before limits are said."""
        return max(0, FEWEST - self.counted)

    @property
    def standing(self) -> tuple[Signal, ...]:
        """Signals at the newest points, oldest first."""
        return tuple(signal for signal in self.signals if signal.index >= self.since)

    @property
    def level(self) -> float | None:
        """Where the figure stands now: the newest EWMA."""
        return next((value for value in reversed(self.smooth) if value is not None), None)

    @property
    def rise_frac(self) -> float | None:
        """How far the level stands above the mean of the baseline, as a share of it."""
        if self.limits is None or self.level is None or self.limits.centre <= 0:
            return None
        return self.level / self.limits.centre - 1.0

    def rules_at(self, index: int) -> tuple[Rule, ...]:
        """The rules met at this point, jumps first."""
        return tuple(signal.rule for signal in self.signals if signal.index == index)


def chart(points: Sequence[Observation], floor: float = -math.inf) -> Chart:
    """The individuals chart of these figures with its runs rules and its EWMA.

    The first 8 to 12 counted points set the limits, without one wild one among them.
    """
    counted = [index for index, point in enumerate(points) if point.counts]
    since = counted[-RECENT] if len(counted) >= RECENT else 0
    if len(counted) < FEWEST:
        return Chart(tuple(points), len(counted), since=since)
    base = counted[:BASELINE]
    wild = alien([points[index].value for index in base])
    set_aside = base[wild] if wild is not None else None
    limits = individuals_limits([points[index].value for index in base if index != set_aside], floor)
    smooth = tuple(_smooth(points, limits))
    upper = limits.centre + ewma_reach(limits.sigma)
    return Chart(
        points=tuple(points),
        counted=len(counted),
        limits=limits,
        set_aside=set_aside,
        smooth=smooth,
        smooth_upper=upper,
        signals=tuple(_signals(points, limits, smooth, upper)),
        below=tuple(index for index in counted if points[index].value < limits.lower),
        since=since,
    )


def _smooth(points: Sequence[Observation], limits: Limits) -> Iterator[float | None]:
    """EWMA point by point, no figure taken for more than the upper limit: a single jump is called by a rule of its own, and should
    not pass for slow drift in the ten rinses after it. A given-up rinse lifts it as far as it went, and never lowers it.
    """
    held = limits.centre
    for point in points:
        if point.is_apart:
            yield None
            continue
        value = max(point.value, held) if point.is_at_least else point.value
        (held,) = ewma((min(value, limits.upper),), held)
        yield held


def _signals(
    points: Sequence[Observation], limits: Limits, smooth: Sequence[float | None], upper: float
) -> Iterator[Signal]:
    found: list[Signal] = []

    def signal(rule: Rule, index: int) -> None:
        spread = limits.sigma or math.inf
        found.append(Signal(rule, index, (points[index].value - limits.centre) / spread))

    for rule, height, wanted, window in (
        (Rule.BEYOND, limits.upper, 1, 1),
        (Rule.TWO_OF_THREE, limits.above(2.0), 2, 3),
        (Rule.EIGHT_ABOVE, limits.centre, 8, 8),
    ):
        for index in _runs(points, partial(_is_above, height=height), wanted, window):
            signal(rule, index)
    for index, held in enumerate(smooth):
        if held is not None and held > upper and points[index].value > limits.centre:
            signal(Rule.SLOW, index)
    order = list(Rule)
    yield from sorted(found, key=lambda one: (one.index, order.index(one.rule)))


def _is_above(point: Observation, height: float) -> bool | None:
    """True, False, or None where a given-up rinse does not tell."""
    if point.value > height:
        return True
    return None if point.is_at_least else False


def _runs(
    points: Sequence[Observation], test: Callable[[Observation], bool | None], wanted: int, window: int
) -> Iterator[int]:
    """Points that pass the test as one of ``wanted`` among the last ``window`` that tell."""
    seen: list[bool] = []
    for index, point in enumerate(points):
        said = None if point.is_apart else test(point)
        if said is None:
            continue
        seen.append(said)
        if said and sum(seen[-window:]) >= wanted:
            yield index
