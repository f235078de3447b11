"""The beads of a resin as a population: diameter and wet density are spread, and the spread decides what is lost or mixed.

Diameter by volume is lognormal (a sieve analysis is nearly a straight line on that paper), wet density is normal, both
are independent. Two ways to use a population:

    classes      a few beads with weights (15 x 5 Gauss points): sums over the bed, such as its expansion
    tabulate     the distribution of one property (settling velocity, density of the layer): shares and quantiles
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from statistics import NormalDist

from regenplant.core.engineering.interpolation import solve_rising
from regenplant.core.engineering.ranges import require_within

NORMAL = NormalDist()
_SCORE_10, _SCORE_60 = NORMAL.inv_cdf(0.10), NORMAL.inv_cdf(0.60)
DIAMETER_CLASSES, DENSITY_CLASSES = 15, 5
LEAST_SPREAD_FRAC = 0.002
"""No sieve makes beads more alike than this; a distribution of one single size would have no quantiles."""
_SCORES = tuple(step / 2.0 for step in range(-10, 11))
"""Normal scores at which a distribution is tabulated: -5 to 5."""
_TAIL = NORMAL.cdf(_SCORES[0])
"""What lies beyond either end, 3 in ten million: left out, so that shares run from exactly 0 to 1."""
_CROSS_CLASSES = 5


@dataclass(frozen=True, slots=True)
class BeadPopulation:
    """The beads of one resin in one form, in one fluid or another.

    ``diameter_m`` is the median by volume (d50) [m]; ``diameter_spread_frac`` the standard deviation of the diameter over
    its mean [-]; ``density_kg_per_m3`` the mean wet density [kg/m^3]; ``density_spread_kg_per_m3`` its standard
    deviation [kg/m^3]; ``settled_void_frac`` the void fraction of the settled bed [-].

    Raises: OutOfRange for beads that cannot be.
    """

    diameter_m: float
    diameter_spread_frac: float = 0.15
    density_kg_per_m3: float = 1280.0
    density_spread_kg_per_m3: float = 5.0
    settled_void_frac: float = 0.38

    def __post_init__(self) -> None:
        require_within(self.diameter_m, 1e-4, 3e-3, "bead diameter", "m", "Resin beads are 0.3 to 1.2 mm.")
        require_within(self.diameter_spread_frac, 0.0, 0.7, "spread of the bead diameter")
        require_within(self.density_kg_per_m3, 1000.0, 2000.0, "wet density of the bead", "kg/m³")
        require_within(self.density_spread_kg_per_m3, 0.0, 60.0, "spread of the wet density", "kg/m³")
        require_within(self.settled_void_frac, 0.2, 0.6, "void fraction of the settled bed")

    @property
    def log_spread(self) -> float:
        """Standard deviation of the natural logarithm of the diameter."""
        return math.sqrt(math.log1p(self.diameter_spread_frac**2))

    def diameter_quantile_m(self, share_frac: float) -> float:
        """Diameter below which this share of the bead volume lies, such as d10 for 0.10.

        Raises: OutOfRange for a share that is not between 0.001 and 0.999.
        """
        require_within(share_frac, 0.001, 0.999, "share of the bead volume")
        return self.diameter_m * math.exp(self.log_spread * NORMAL.inv_cdf(share_frac))

    @property
    def effective_size_m(self) -> float:
        """d10, the sieve that passes 10 % of the volume."""
        return self.diameter_quantile_m(0.10)

    @property
    def uniformity_coefficient(self) -> float:
        """d60/d10; 1 for beads of one size."""
        return self.diameter_quantile_m(0.60) / self.effective_size_m

    @property
    def sauter_diameter_m(self) -> float:
        """Diameter with the surface per volume of the whole population: what a packed bed's resistance follows."""
        return self.diameter_m * math.exp(-(self.log_spread**2) / 2.0)

    def classes(self) -> tuple[BeadClass, ...]:
        """The population as weighted beads whose weights add up to one."""
        return _classes(self)


@dataclass(frozen=True, slots=True)
class BeadClass:
    """Some of a population's beads, all alike: their share of the volume, diameter and wet density."""

    share_frac: float
    diameter_m: float
    density_kg_per_m3: float


@dataclass(frozen=True, slots=True)
class _Branch:
    """Part of a distribution: ascending values of the property with the normal scores at or below them."""

    weight: float
    values: tuple[float, ...]
    scores: tuple[float, ...]

    def share_below(self, value: float) -> float:
        above = bisect_right(self.values, value)
        if above in (0, len(self.values)):
            return 0.0 if above == 0 else 1.0
        low, high = self.values[above - 1], self.values[above]
        part = (value - low) / (high - low)
        score = self.scores[above - 1] + part * (self.scores[above] - self.scores[above - 1])
        return (0.5 * math.erfc(-score / math.sqrt(2.0)) - _TAIL) / (1.0 - 2.0 * _TAIL)


@dataclass(frozen=True, slots=True)
class PropertyCurve:
    """The distribution, by bead volume, of one property over a population."""

    branches: tuple[_Branch, ...]

    @property
    def lowest(self) -> float:
        return min(branch.values[0] for branch in self.branches)

    @property
    def highest(self) -> float:
        return max(branch.values[-1] for branch in self.branches)

    def share_below(self, value: float) -> float:
        """Share of the bead volume with the property at or below a value, 0 to 1."""
        return min(sum(branch.weight * branch.share_below(value) for branch in self.branches), 1.0)

    def quantile(self, share_frac: float) -> float:
        """The value with this share of the bead volume below it.

        Raises: OutOfRange for a share that is not between 0 and 1.
        """
        require_within(share_frac, 0.0, 1.0, "share of the bead volume")
        return solve_rising(self.share_below, share_frac, self.lowest, self.highest)


def spread_from_uniformity(uniformity_coefficient: float) -> float:
    """Spread of a lognormal diameter from the uniformity coefficient d60/d10 of a data sheet.

    Parameters
    ----------
    uniformity_coefficient : float
        d60/d10 by volume, 1 to 2.5 [-]

    Returns
    -------
    diameter_spread_frac : float
        Standard deviation of the diameter over its mean [-]

    Raises: OutOfRange outside 1 to 2.5.
    Source: lognormal_beads; ln(d60/d10) = (z60 − z10) σ with z the normal scores 0.2533 and −1.2816.
    """
    require_within(uniformity_coefficient, 1.0, 2.5, "uniformity coefficient")
    log_spread = math.log(uniformity_coefficient) / (_SCORE_60 - _SCORE_10)
    return math.sqrt(math.expm1(log_spread**2))


def median_from_effective_size(effective_size_m: float, uniformity_coefficient: float) -> float:
    """Median diameter from the effective size d10 and the uniformity coefficient d60/d10 of a data sheet.

    Parameters
    ----------
    effective_size_m : float
        Sieve that passes 10 % of the volume, > 0 [m]
    uniformity_coefficient : float
        d60/d10 by volume, 1 to 2.5 [-]

    Returns
    -------
    diameter_m : float
        Median diameter by volume [m]

    Raises: OutOfRange outside the ranges.
    Source: lognormal_beads.
    """
    require_within(effective_size_m, 1e-4, 3e-3, "effective size", "m", "Resin beads are 0.3 to 1.2 mm.")
    require_within(uniformity_coefficient, 1.0, 2.5, "uniformity coefficient")
    return effective_size_m * uniformity_coefficient ** (-_SCORE_10 / (_SCORE_60 - _SCORE_10))


@lru_cache(maxsize=8)
def gauss_normal(count: int) -> tuple[tuple[float, float], ...]:
    """Gauss points of the normal distribution: (score, weight), weights adding up to one.

    Parameters
    ----------
    count : int
        Number of points, 1 to 20; exact for polynomials up to degree 2 count − 1

    Returns
    -------
    points : tuple
        Scores ascending, each with its weight
    """
    roots: list[float] = [0.0]
    for order in range(2, count + 1):
        edge = 2.0 * math.sqrt(order) + 1.0
        ends = [-edge, *roots, edge]
        roots = [_root(order, low, high) for low, high in pairwise(ends)]
    norm = math.factorial(count) / count**2
    weights = [norm / _hermite(count - 1, root) ** 2 for root in roots]
    return tuple(zip(roots, weights, strict=True))


def _hermite(order: int, x: float) -> float:
    before, value = 0.0, 1.0
    for k in range(order):
        before, value = value, x * value - k * before
    return value


def _root(order: int, low: float, high: float) -> float:
    """The one root between two neighbors of the order below."""
    sign = math.copysign(1.0, _hermite(order, high) or 1.0)
    for _ in range(80):
        middle = (low + high) / 2.0
        if sign * _hermite(order, middle) < 0.0:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


@lru_cache(maxsize=256)
def _classes(population: BeadPopulation) -> tuple[BeadClass, ...]:
    one = ((0.0, 1.0),)
    sizes = gauss_normal(DIAMETER_CLASSES) if population.diameter_spread_frac else one
    densities = gauss_normal(DENSITY_CLASSES) if population.density_spread_kg_per_m3 else one
    return tuple(
        BeadClass(size_share * share, _diameter(population, score), _density(population, density_score))
        for score, size_share in sizes
        for density_score, share in densities
    )


def _diameter(population: BeadPopulation, score: float) -> float:
    return population.diameter_m * math.exp(max(population.log_spread, LEAST_SPREAD_FRAC) * score)


def _density(population: BeadPopulation, score: float) -> float:
    return population.density_kg_per_m3 + population.density_spread_kg_per_m3 * score


def tabulate(
    population: BeadPopulation, bead_property: Callable[[float, float], float], along_density: bool = False
) -> PropertyCurve:
    """The distribution of a property of (diameter, wet density) over a population.

    The spread that moves the property most is tabulated closely, the other by a few Gauss points.

    Parameters
    ----------
    population : BeadPopulation
        The beads
    bead_property : Callable
        Property of (diameter [m], density [kg/m³]); it must rise or fall throughout with each of them
    along_density : bool
        Whether density moves the property more than diameter does

    Returns
    -------
    curve : PropertyCurve
        Shares by bead volume, to five standard deviations either side
    """
    branches = []
    for cross_score, weight in gauss_normal(_CROSS_CLASSES):
        if along_density:
            diameter = _diameter(population, cross_score)
            values = [bead_property(diameter, _density(population, score)) for score in _SCORES]
        else:
            density = _density(population, cross_score)
            values = [bead_property(_diameter(population, score), density) for score in _SCORES]
        scores = _SCORES
        if values[-1] < values[0]:
            values, scores = values[::-1], tuple(-score for score in reversed(_SCORES))
        branches.append(_Branch(weight, tuple(values), scores))
    return PropertyCurve(tuple(branches))
