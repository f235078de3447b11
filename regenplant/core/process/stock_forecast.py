"""How long a stock lasts: what the plan still draws first, then the usual use of a day with its spread.

Batches that are planned exactly, ready or running draw before anything else, at once: that is the worst they can do. Without a plan of
the coming days they are part of the usual use, not on top of it: the stock falls by whichever is more, they or the usual use up to that
day. Where a plan of the days was accepted, each of its draws counts on its own day, and the usual use begins behind its last day. Tanks
that come in meanwhile are in no plan: the early edge of the band never falls by less than the usual use from today on.

The usual use is that of the same day of the week, where at least two of each are on record; else all days count alike. The band holds 90
of 100 courses if such days are alike and know nothing of each other; a plant that stops for a holiday is outside it.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.errors import OutOfRange

Z_90 = 1.6449
"""One-sided 95 % point of the normal distribution, so that a band holds 90 % (NIST/SEMATECH e-Handbook 1.3.6.7.1)."""
FEWEST_DAYS = 7
"""Days of the ledger below which no usual use is said."""
FEWEST_WEEKS = 2
"""Of each day of the week, below which they are not told apart: a spread takes two."""
HORIZON_DAYS = 120


@dataclass(frozen=True, slots=True)
class DayUse:
    """One day of the week [kg as 100 %]: mean, standard deviation of single ones, and how many are on record (2 or more)."""

    mean_kg: float
    deviation_kg: float
    count: int


@dataclass(frozen=True, slots=True)
class UsualUse:
    """The use of a day [kg as 100 %]: its mean, the standard deviation of single days, and of how many days."""

    mean_kg: float
    deviation_kg: float
    days: int
    week: tuple[DayUse, ...] = ()
    """By the days of the week that follow, today's first; empty where too few of each are on record to tell them apart."""

    def kg(self, first_day: int, days: int, z: float = 0.0) -> float:
        """The use of so many days from a day on (0 is today) [kg]; ``z`` standard deviations above the mean, never below nothing.

        The uncertainty of each mean itself counts with that of the days: variance s² m (1 + m/n) of m days alike.
        """
        if not self.week:
            spread = self.deviation_kg * math.sqrt(days * (1.0 + days / self.days))
            return max(self.mean_kg * days + z * spread, 0.0)
        mean = variance = 0.0
        for index, own in enumerate(self.week):
            alike = len(range(first_day + (index - first_day) % 7, first_day + days, 7))
            mean += own.mean_kg * alike
            variance += own.deviation_kg**2 * alike * (1.0 + alike / own.count)
        return max(mean + z * math.sqrt(variance), 0.0)


@dataclass(frozen=True, slots=True)
class PlannedCourse:
    """What an accepted plan draws: on which day (0 is today) how much [kg as 100 %], and the last day of which it says something."""

    draws: tuple[tuple[int, float], ...]
    reach_day: int

    def until(self, day: int) -> float:
        """What it draws up to a day, that day with it [kg]."""
        return sum(kg for on, kg in self.draws if on <= day)


@dataclass(frozen=True, slots=True)
class Crossing:
    """In how many days a stock falls under a mark: early (1 in 20 is sooner), likely, late (1 in 20 is later).

    0 is today; None is not within ``HORIZON_DAYS``.
    """

    early_days: int | None
    likely_days: int | None
    late_days: int | None


@dataclass(frozen=True, slots=True)
class StockForecast:
    """One tank or chemical [kg as 100 %]."""

    held_kg: float
    low_kg: float
    planned_kg: float
    usual: UsualUse | None
    low: Crossing
    empty: Crossing
    course: PlannedCourse | None = None
    coming: tuple[tuple[int, float], ...] = ()

    @property
    def after_plan_kg(self) -> float:
        """What is left when every open batch has drawn; below zero they need a delivery."""
        return self.held_kg - self.planned_kg

    def level_kg(self, day: int, z: float = 0.0) -> float:
        """What stands there on a day (0 is today); ``z`` above 0 is where more is used than likely. Below zero that much is missing."""
        return _level(day, self.held_kg, self.planned_kg, self.usual, self.coming, z, self.course)

    def is_planned(self, day: int) -> bool:
        """Whether a plan says what is drawn on that day; else the usual use does, or nothing."""
        return self.course is not None and day <= self.course.reach_day


def usual_use(days_kg: Sequence[float]) -> UsualUse | None:
    """Mean and spread of the use of single days before today, idle ones included, oldest first; None for too few of them or no use at
    all."""
    if len(days_kg) < FEWEST_DAYS or not any(use > 0.0 for use in days_kg):
        return None
    mean = statistics.fmean(days_kg)
    if mean <= 0.0:
        return None
    return UsualUse(mean, statistics.stdev(days_kg), len(days_kg), _week(days_kg))


def _week(days_kg: Sequence[float]) -> tuple[DayUse, ...]:
    """The newest day on record is yesterday, so the same weekday as today is the seventh from the end, and so on."""
    if len(days_kg) < 7 * FEWEST_WEEKS:
        return ()
    newest_first = days_kg[::-1]
    return tuple(
        DayUse(statistics.fmean(alike), statistics.stdev(alike), len(alike))
        for alike in (newest_first[(6 - index) % 7 :: 7] for index in range(7))
    )


def fall_kg(
    day: int,
    planned_kg: float,
    usual: UsualUse | None,
    z: float = 0.0,
    course: PlannedCourse | None = None,
) -> float:
    """By how much the stock has fallen on a day (0 is today) [kg]; ``z`` standard deviations above the usual use.

    Of a plan that day's own draws count; of the usual use without a plan what is used up to that day.
    """
    by_use = usual.kg(0, day, z) if usual is not None else 0.0
    if course is None:
        return max(planned_kg, by_use)
    fallen = planned_kg + course.until(day)
    if usual is not None and day > course.reach_day:
        fallen += usual.kg(course.reach_day + 1, day - course.reach_day, z)
    return max(fallen, by_use) if z > 0.0 else fallen


def forecast(
    held_kg: float,
    low_kg: float,
    planned_kg: float,
    usual: UsualUse | None,
    coming: Sequence[tuple[int, float]] = (),
    course: PlannedCourse | None = None,
) -> StockForecast:
    """When a stock falls under its low mark, and when nothing is left.

    Parameters
    ----------
    held_kg : float
        What stands there now
    low_kg : float
        >= 0; the low mark
    planned_kg : float
        >= 0; what open batches still draw: planned exactly, ready or running
    usual : UsualUse | None
        None: only the plan is known
    coming : Sequence[tuple[int, float]]
        Expected deliveries: in how many days, and how much [kg]; each counts from the day after, when it is surely unloaded
    course : PlannedCourse | None
        What an accepted plan draws beside the open batches; None: none was accepted, or nothing of it waits

    Raises: OutOfRange for a mark, a plan, a draw, a delivery or its day below nothing.
    """
    drawn = course.draws if course is not None else ()
    if low_kg < 0.0 or planned_kg < 0.0 or any(day < 0 or kg < 0.0 for day, kg in (*coming, *drawn)):
        raise OutOfRange(
            "A low mark, a planned mass and what is expected are at least nothing.", code="below_nothing"
        )
    return StockForecast(
        held_kg,
        low_kg,
        planned_kg,
        usual,
        _crossing(held_kg, low_kg, planned_kg, usual, coming, course),
        _crossing(held_kg, 0.0, planned_kg, usual, coming, course),
        course,
        tuple(coming),
    )


def _level(
    day: int,
    held_kg: float,
    planned_kg: float,
    usual: UsualUse | None,
    coming: Sequence[tuple[int, float]],
    z: float,
    course: PlannedCourse | None,
) -> float:
    came = sum(kg for on, kg in coming if on < day)
    return held_kg + came - fall_kg(day, planned_kg, usual, z, course)


def _crossing(
    held_kg: float,
    mark_kg: float,
    planned_kg: float,
    usual: UsualUse | None,
    coming: Sequence[tuple[int, float]],
    course: PlannedCourse | None,
) -> Crossing:
    def day(z: float) -> int | None:
        for passed in range(HORIZON_DAYS + 1):
            if _level(passed, held_kg, planned_kg, usual, coming, z, course) < mark_kg:
                return passed
        return None

    return Crossing(day(Z_90), day(0.0), day(-Z_90))
