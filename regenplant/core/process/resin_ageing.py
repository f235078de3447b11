"""How much of its capacity a resin still has: published ageing as the prior, the plant's own evidence on top, always as a band.

A capacity factor is a share of what the resin type has when new. The prior comes from published tables by years in service; each piece
of evidence says a factor with its own standard deviation; both are brought together by weight (normal distributions, closed form), and
"at least so much" only cuts from below. Where the pieces disagree more than their deviations allow, the band is widened (Birge ratio).

Sources: Gottlieb, Predicting the operating capacity of strongly basic anion resins, Water Quality Association conference 1997, tables 1-2
(read in an excerpt); UFC 3-240-13FN (2005) on cation: 1 to 5 % a year (read). The conjugate update of a normal mean with known variance,
the slope through the origin and the truncated likelihood are textbook statistics; R. T. Birge, Phys. Rev. 40, 207 (1932) for the widening.
What the program chose itself is marked so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import ResinFamily

Z90 = 1.6448536269514722
"""Half of the band from 5 to 95 % in standard deviations of a normal distribution."""
NEW_SD = 0.02
"""New resin against its data sheet; this program's choice."""
LOSS_SPREAD = 1.0 / 3.0
"""Standard deviation of a loss over the loss itself: 1 to 5 % a year of the source, read as two deviations around 3 %. The same for anion
resin, where the source gives no spread; this program's choice."""
CATION_LOSS_PER_YEAR = 0.03
"""Middle of the 1 to 5 % a year that UFC 3-240-13FN calls normal."""
BEYOND_SD_PER_YEAR = 0.02
"""Wider by so much for each year past the end of a table; this program's choice."""
LEAST_FACTOR = 0.1
"""No prior goes lower; this program's choice."""
OLDEST_YEARS = 8.0
"""Resin of unknown age is taken to be anything up to so old: the lower average life of cation resin in UFC 3-240-13FN."""
MOST_YEARS = 60.0
"""A larger age is a slip."""
LOT_SD = 0.15
"""How far the resin that came in after a sample may differ from it; this program's choice."""
RINSE_SD = 0.10
"""What a rise of the rinse says of the capacity, at best: rinses are a sign of age, not a measure of it; this program's choice."""
SLOPE, SLOPE_SD = 0.5, 0.25
"""Loss of capacity for each share that the rinse rises. No publication gives it: this program's choice, weak on purpose, until the plant's
own tests say better."""
LEAST_SD, MOST_SD = 0.005, 0.5
"""Bounds of what evidence may claim."""


class Curve(StrEnum):
    """Which published ageing a resin follows."""

    CATION = "cation"
    TYPE_1 = "type_1"
    TYPE_2 = "type_2"
    WEAK_CATION = "weak_cation"
    NO_TABLE = "no_table"

    @property
    def words(self) -> str:
        """Where its figures come from, as a sentence."""
        return _WORDS[self]


BY_RATE = (Curve.CATION, Curve.WEAK_CATION)
"""Resins of which a rate is published, no table."""
BORROWED = (Curve.WEAK_CATION, Curve.NO_TABLE)
"""Resins that take another one's figures: with twice the spread."""

_WORDS = {
    Curve.CATION: "Cation resin loses 1 to 5 % of its capacity a year (UFC 3-240-13FN, 2005, read).",
    Curve.TYPE_1: "Strong-base capacity of type 1 anion by years in service (Gottlieb 1997, table 1, read in an excerpt).",
    Curve.TYPE_2: "Strong-base capacity of type 2 anion by years in service (Gottlieb 1997, table 2, read in an excerpt).",
    Curve.WEAK_CATION: "No rate of weak-acid cation resin was found: that of strong-acid cation (UFC 3-240-13FN, 2005) with twice the spread, this program’s choice.",
    Curve.NO_TABLE: "No table of this resin was found: that of type 1 anion (Gottlieb 1997) with twice the spread, this program’s choice.",
}

TYPE_1 = ((0.0, 1.00), (1.0, 0.83), (2.0, 0.76), (3.0, 0.75), (4.0, 0.73))
"""Years in service; strong-base capacity left, of new (Gottlieb 1997)."""
TYPE_2 = ((0.0, 1.00, 1.00), (1.0, 0.57, 0.64), (2.0, 0.41, 0.56), (3.0, 0.39, 0.55), (4.0, 0.37, 0.52))
"""Years in service; lower and upper end of the strong-base capacity left, of new (Gottlieb 1997)."""
_CURVES = {
    ResinFamily.SAC_HYDROGEN: Curve.CATION,
    ResinFamily.SAC_SODIUM: Curve.CATION,
    ResinFamily.WAC_HYDROGEN: Curve.WEAK_CATION,
    ResinFamily.SBA_TYPE_1: Curve.TYPE_1,
    ResinFamily.SBA_TYPE_2: Curve.TYPE_2,
    ResinFamily.SBA_ACRYLIC: Curve.NO_TABLE,
    ResinFamily.WBA: Curve.NO_TABLE,
}


@dataclass(frozen=True, slots=True)
class Belief:
    """A capacity factor as mean and standard deviation, shares of new [-]."""

    mean: float
    sd: float

    @property
    def low(self) -> float:
        """5 %."""
        return max(0.0, self.mean - Z90 * self.sd)

    @property
    def high(self) -> float:
        """95 %."""
        return self.mean + Z90 * self.sd


@dataclass(frozen=True, slots=True)
class Part:
    """A share of a lot with one age. ``age_years`` None: nobody knows how old it is; ``is_at_least``: older than that, by how much is
    not known."""

    share_frac: float
    age_years: float | None
    is_at_least: bool = False


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one observation says of the factor of the lot as it is now. ``is_at_least``: the resin gave so much, and may have had more."""

    key: str
    factor: float
    sd: float
    is_at_least: bool = False


@dataclass(frozen=True, slots=True)
class Posterior:
    """What is believed after the evidence. ``shares`` says by key how much each piece weighs, the prior under "prior"; they add to 1
    over what is no lower bound. ``widening`` is 1 where the pieces agree."""

    prior: Belief
    now: Belief
    shares: dict[str, float]
    widening: float
    cut_from_below: bool
    """Whether an "at least" moved it."""


def curve_of(family: ResinFamily) -> Curve:
    """The ageing that a family follows. Raises: OutOfRange for a mixed bed (two resins, two curves) and for carbon (none)."""
    found = _CURVES.get(family)
    if found is None:
        raise OutOfRange(
            f"{family.label} has no ageing of its own: a mixed bed is looked at resin by resin, carbon exchanges no ions.",
            code="no_ageing",
        )
    return found


def left(curve: Curve, age_years: float) -> Belief:
    """Capacity left by published ageing.

    Parameters
    ----------
    curve : Curve
        Which resin
    age_years : float
        Years in service, 0 to 60 [a]

    Returns
    -------
    belief : Belief
        Share of the new capacity, mean and standard deviation [-]

    Raises: OutOfRange for an age outside.
    Source: Gottlieb 1997; UFC 3-240-13FN 2005; spreads are this program's choice where the source has none.
    """
    require_within(age_years, 0.0, MOST_YEARS, "age of the resin", "a")
    if curve in BY_RATE:
        mean, half_range = 1.0 - CATION_LOSS_PER_YEAR * age_years, 0.0
    elif curve is Curve.TYPE_2:
        lower = _at([(year, low) for year, low, _ in TYPE_2], age_years)
        upper = _at([(year, high) for year, _, high in TYPE_2], age_years)
        mean, half_range = (lower + upper) / 2.0, (upper - lower) / 2.0
    else:
        mean, half_range = _at(TYPE_1, age_years), 0.0
    mean = max(LEAST_FACTOR, mean)
    spread = LOSS_SPREAD * (2.0 if curve in BORROWED else 1.0) * (1.0 - mean)
    beyond = 0.0 if curve in BY_RATE else BEYOND_SD_PER_YEAR * max(0.0, age_years - TYPE_1[-1][0])
    return Belief(mean, math.hypot(NEW_SD, spread, half_range / 2.0, beyond))


def _at(table: Sequence[tuple[float, float]], age_years: float) -> float:
    """Straight between the years; past the last one with the slope of the last year."""
    for (year, value), (next_year, next_value) in pairwise(table):
        if age_years <= next_year or next_year == table[-1][0]:
            return value + (next_value - value) * (age_years - year) / (next_year - year)
    raise AssertionError("a table has at least two years")


def prior(curve: Curve, parts: Iterable[Part]) -> Belief:
    """The factor of a lot made of parts of different age, by published ageing alone.

    Parameters
    ----------
    curve : Curve
        Which resin
    parts : Iterable[Part]
        Shares that add to 1

    Returns
    -------
    belief : Belief
        Means weighted by share; deviations weighted by share too, because parts of one plant err together [-]

    Raises: OutOfRange for shares that are no whole, or an age outside.
    """
    found = tuple(parts)
    total = sum(part.share_frac for part in found)
    if not found or abs(total - 1.0) > 1e-3 or any(part.share_frac <= 0.0 for part in found):
        raise OutOfRange(
            f"The shares of the parts add to {100 * total:.2f} %; they must make 100 %.", code="no_whole"
        )
    each = [(part.share_frac / total, _of_part(curve, part)) for part in found]
    return Belief(sum(share * one.mean for share, one in each), sum(share * one.sd for share, one in each))


def _of_part(curve: Curve, part: Part) -> Belief:
    """An unknown age is anything from what is known up to ``OLDEST_YEARS``: even between the two factors (rectangular distribution)."""
    known = part.age_years or 0.0
    young = left(curve, known)
    if part.age_years is not None and not part.is_at_least:
        return young
    old = left(curve, max(known, OLDEST_YEARS))
    width = young.mean - old.mean
    return Belief(
        (young.mean + old.mean) / 2.0, math.hypot(width / math.sqrt(12.0), (young.sd + old.sd) / 2.0)
    )


def mean_age_years(parts: Iterable[Part]) -> float | None:
    """Age by share over the parts of known age; None where none is known [a]."""
    known = [(part.share_frac, part.age_years) for part in parts if part.age_years is not None]
    total = sum(share for share, _ in known)
    return sum(share * age for share, age in known) / total if total > 0.0 else None


def from_test(
    key: str,
    measured: float,
    new: float,
    sd_frac: float,
    *,
    share_frac: float = 1.0,
    then: Belief,
    now: Belief,
) -> Evidence:
    """What a capacity that a laboratory measured says of the lot now.

    Parameters
    ----------
    key : str
        Names the test
    measured, new : float
        Capacity of the sample and of new resin, > 0, same unit
    sd_frac : float
        Standard deviation of the method over the value, 0.005 to 0.5 [-]
    share_frac : float
        How much of the lot is the resin that was sampled, above 0 to 1 [-]
    then, now : Belief
        Published ageing at the day of the sample and now

    Returns
    -------
    evidence : Evidence
        The factor carried forward to now: less what published ageing takes in between, with more spread for it and for other resin [-]

    Raises: OutOfRange for numbers that cannot be.
    """
    require_positive(measured, "measured capacity")
    require_positive(new, "capacity of new resin")
    require_within(
        measured / new, 0.01, 1.3, "measured share of the new capacity", "", "Look at the unit and the form."
    )
    require_within(sd_frac, LEAST_SD, MOST_SD, "uncertainty of the method")
    require_within(share_frac, 1e-6, 1.0, "share of the lot that was sampled")
    ratio = measured / new
    since = max(0.0, now.sd**2 - then.sd**2)
    sd = math.sqrt((sd_frac * ratio) ** 2 + since + ((1.0 - share_frac) * LOT_SD) ** 2)
    return Evidence(key, max(LEAST_FACTOR, ratio - (then.mean - now.mean)), _bounded(sd))


def from_rinse(
    key: str, rise_frac: float, at_first: Belief, slope: float = SLOPE, slope_sd: float = SLOPE_SD
) -> Evidence:
    """What a rinse that rose says of the capacity. Old anion resin rinses long: common practice.

    Parameters
    ----------
    key : str
        Names the series
    rise_frac : float
        Rise of the rinse volume over its first ones, -0.9 to 10; 0.2 is 20 % more [-]
    at_first : Belief
        The factor when the first ones were rinsed
    slope, slope_sd : float
        Loss of capacity for each share of rise, and its standard deviation [-]

    Returns
    -------
    evidence : Evidence
        Factor at first times (1 − slope · rise); a rinse that fell says no more than that nothing was lost [-]

    Raises: OutOfRange.
    """
    require_within(rise_frac, -0.9, 10.0, "rise of the rinse")
    rise = max(0.0, rise_frac)
    factor = max(LEAST_FACTOR, at_first.mean * (1.0 - slope * rise))
    return Evidence(key, factor, _bounded(math.hypot(at_first.sd, at_first.mean * slope_sd * rise, RINSE_SD)))


def from_load(key: str, taken_eq: float, new_eq: float, sd_frac: float, *, was_exhausted: bool) -> Evidence:
    """What a load that the resin took in service says.

    Parameters
    ----------
    key : str
        Names the batch
    taken_eq, new_eq : float
        Equivalents taken, and operating capacity of the same volume of new resin, > 0 [eq]
    sd_frac : float
        Standard deviation of the load over itself: water meter and analysis, 0.005 to 0.5 [-]
    was_exhausted : bool
        Whether the tanks came back exhausted; else the resin may have had more

    Returns
    -------
    evidence : Evidence
        [-]

    Raises: OutOfRange.
    """
    require_positive(taken_eq, "load", "eq")
    require_positive(new_eq, "operating capacity of new resin", "eq")
    require_within(sd_frac, LEAST_SD, MOST_SD, "uncertainty of the load")
    ratio = taken_eq / new_eq
    require_within(
        ratio,
        1e-4,
        3.0,
        "load over the operating capacity of new resin",
        "",
        "Look at the throughput and the feed.",
    )
    return Evidence(key, ratio, _bounded(sd_frac * ratio), is_at_least=not was_exhausted)


def _bounded(sd: float) -> float:
    return min(MOST_SD, max(LEAST_SD, sd))


def learned_slope(pairs: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """The slope of loss over rise as this plant's tests say: (slope, standard deviation).

    A line through the origin with known spread ``RINSE_SD`` and normal prior: precision 1/σ₀² + Σx²/σ², mean by precision.
    ``pairs`` are (rise of the rinse, loss of capacity), shares; a rise at or below zero says nothing of the slope.
    """
    precision, weighted = 1.0 / SLOPE_SD**2, SLOPE / SLOPE_SD**2
    for rise, loss in pairs:
        if rise > 0.0:
            precision += rise * rise / RINSE_SD**2
            weighted += rise * loss / RINSE_SD**2
    return weighted / precision, math.sqrt(1.0 / precision)


def update(before: Belief, evidence: Iterable[Evidence]) -> Posterior:
    """The prior and all evidence together; their order does not matter.

    Parameters
    ----------
    before : Belief
        The prior
    evidence : Iterable[Evidence]
        Each independent of the others

    Returns
    -------
    posterior : Posterior
        Mean and deviation by precision, widened where the pieces disagree, then cut from below

    Raises: OutOfRange for a deviation that is not above zero.
    """
    found = tuple(evidence)
    for sd in (before.sd, *(one.sd for one in found)):
        require_positive(sd, "standard deviation")
    firm = [one for one in found if not one.is_at_least]
    pieces = [("prior", before.mean, before.sd), *((one.key, one.factor, one.sd) for one in firm)]
    precision = sum(1.0 / sd**2 for _, _, sd in pieces)
    mean = sum(value / sd**2 for _, value, sd in pieces) / precision
    shares: dict[str, float] = {}
    for key, _, sd in pieces:
        shares[key] = shares.get(key, 0.0) + 1.0 / sd**2 / precision
    widening = _birge([((value - mean) / sd) for _, value, sd in pieces])
    now = Belief(mean, widening / math.sqrt(precision))
    bounds = [one for one in found if one.is_at_least]
    cut = _cut(now, bounds) if bounds else now
    return Posterior(before, cut, shares, widening, cut_from_below=cut.mean - now.mean > 0.005)


def _birge(residuals: Sequence[float]) -> float:
    """√(χ²/(n − 1)), never below 1."""
    if len(residuals) < 2:
        return 1.0
    return max(1.0, math.sqrt(sum(one * one for one in residuals) / (len(residuals) - 1)))


_STEPS = 1200


def _cut(now: Belief, bounds: Sequence[Evidence]) -> Belief:
    """Mean and deviation of the normal times Φ((c − bound)/σ) of each bound, summed over six deviations to each side.

    For one bound the closed form is known: the mean moves by σ²/√(σ²+s²)·φ(z)/Φ(z) (the tests hold this against it).
    """
    reach = 6.0 * now.sd + max(0.0, max(one.factor for one in bounds) - now.mean)
    low, step = now.mean - 6.0 * now.sd, (reach + 6.0 * now.sd) / _STEPS
    weights, sums, squares = 0.0, 0.0, 0.0
    for number in range(_STEPS + 1):
        at = low + number * step
        weight = math.exp(-0.5 * ((at - now.mean) / now.sd) ** 2)
        for one in bounds:
            weight *= 0.5 * math.erfc((one.factor - at) / (one.sd * math.sqrt(2.0)))
        weights += weight
        sums += weight * at
        squares += weight * at * at
    if weights <= 0.0:
        # bounds far above everything else believed: what was delivered stands, the rest is in doubt
        highest = max(bounds, key=lambda one: one.factor)
        return Belief(highest.factor, max(now.sd, highest.sd))
    mean = sums / weights
    return Belief(mean, math.sqrt(max(LEAST_SD**2, squares / weights - mean * mean)))


def stands_apart(piece: Evidence, before: Belief) -> bool:
    """Whether a piece lies further from the prior than 2.5 of both deviations: worth a look at the sample before it is believed."""
    gap = before.mean - piece.factor if not piece.is_at_least else piece.factor - before.mean
    distance = abs(gap) if not piece.is_at_least else max(0.0, gap)
    return distance > 2.5 * math.hypot(piece.sd, before.sd)
