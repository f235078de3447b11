"""What single days ask of people, vessels and everything shared, against what is there: from a plan, or from what days usually asked.

Plain sums over intervals of minutes; knows nothing of records. Amounts are in units of their own (operators, lines, litres per minute), sums
in unit-minutes.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

FEWEST_DAYS = 7
"""Whole days on record below which no usual load is said."""
FEWEST_WEEKS = 2
"""Of each day of the week, below which they are not told apart."""


def by_day(intervals: Iterable[tuple[float, float, float]], edges: Sequence[float]) -> list[float]:
    """Amount times minutes of (from, to, amount) in each day.

    Parameters
    ----------
    intervals : Iterable
        Minutes from and to, and an amount; one that ends before it begins counts for nothing
    edges : Sequence
        Beginnings of the days and the end of the last [min], rising

    Returns
    -------
    sums : list of float
        One for each day [unit min]
    """
    sums = [0.0] * (len(edges) - 1)
    for start, end, amount in intervals:
        for number, (left, right) in enumerate(pairwise(edges)):
            length = min(end, right) - max(start, left)
            if length > 0:
                sums[number] += amount * length
    return sums


def overtime_by_day(
    taken: Sequence[tuple[float, float, float]],
    there: Sequence[tuple[float, float, float]],
    edges: Sequence[float],
) -> list[float]:
    """In each day, what is taken while nobody is there, and what is taken beyond all that is there on the day [unit min].

    More than is there at one minute is no overtime by itself: it can wait until somebody is free.
    """
    outside = by_day(_while_none(taken, there), edges)
    whole_day, offered = by_day(taken, edges), by_day(there, edges)
    return [
        alone + max(0.0, all_of_it - alone - people)
        for alone, all_of_it, people in zip(outside, whole_day, offered, strict=True)
    ]


def _while_none(
    taken: Sequence[tuple[float, float, float]], there: Sequence[tuple[float, float, float]]
) -> list[tuple[float, float, float]]:
    """The parts of what is taken at which nobody is there."""
    covered: list[tuple[float, float]] = []
    for start, end, amount in sorted(there):
        if amount <= 0 or end <= start:
            continue
        if covered and start <= covered[-1][1]:
            covered[-1] = (covered[-1][0], max(end, covered[-1][1]))
        else:
            covered.append((start, end))
    found = []
    for start, end, amount in taken:
        at = start
        for begin, until in covered:
            if until <= at or begin >= end:
                continue
            if begin > at:
                found.append((at, begin, amount))
            at = until
        if at < end:
            found.append((at, end, amount))
    return found


@dataclass(frozen=True, slots=True)
class Usual:
    """What a day of the week usually asks: mean and standard deviation of single days, of how many."""

    mean: float
    deviation: float
    count: int


def usual_week(values: Sequence[float]) -> tuple[Usual, ...]:
    """By the days of the week that follow, today's first; ``values`` are those of the whole days before today, idle ones included, oldest
    first. Where fewer than two of each day are on record all days count alike; empty where fewer than seven are."""
    if len(values) < FEWEST_DAYS:
        return ()
    if len(values) < 7 * FEWEST_WEEKS:
        return (Usual(statistics.fmean(values), statistics.stdev(values), len(values)),) * 7
    newest_first = values[::-1]
    found = []
    for index in range(7):
        alike = newest_first[(6 - index) % 7 :: 7]
        found.append(Usual(statistics.fmean(alike), statistics.stdev(alike), len(alike)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Asked:
    """Of one thing on one day: what is asked of it and what is there, in the same unit; ``there`` None where nobody recorded it."""

    asked: float
    there: float | None

    @property
    def share_frac(self) -> float | None:
        """None where nothing is there, or nobody knows what is: then no share can be said."""
        return self.asked / self.there if self.there else None


def whole(days: Iterable[Asked]) -> Asked:
    """Several days of one thing together."""
    listed = list(days)
    known = [day.there for day in listed if day.there is not None]
    return Asked(sum(day.asked for day in listed), sum(known) if len(known) == len(listed) else None)


def bottleneck(things: Mapping[str, Asked]) -> str:
    """The name of which the largest share is asked; the first of equals; "" where no share is above nothing."""
    shares = {name: one.share_frac or 0.0 for name, one in things.items()}
    most = max(shares.values(), default=0.0)
    return next((name for name, share in shares.items() if share == most), "") if most > 0.0 else ""
