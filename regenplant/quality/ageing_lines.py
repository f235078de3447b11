"""Where the resin of a lot comes from: its deliveries with their ages, and the lots behind it whose samples speak for it.

A lot is remade at every regeneration, so lines are long. All lots of a listing are followed together: each generation takes one query.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.core.process.resin_ageing import MOST_YEARS, Part
from regenplant.resins.bodies import AgedPart, aged
from regenplant.resins.models import LotParent, ResinLot

DEEPEST = 600
"""Generations followed at most."""
SMALLEST_SHARE = 0.01
"""Lots that make up less say nothing of this one and are followed no further; this program's choice."""
YEAR = timedelta(days=365.25)


@dataclass(frozen=True, slots=True)
class Line:
    """One lot with what is behind it."""

    lot: ResinLot
    deliveries: tuple[AgedPart, ...]
    """Largest first; their shares make a whole."""
    shares: dict[int, float]
    """Share of this lot's resin by the key of each lot on the way, itself with 1."""
    steps: dict[int, int]
    """How many steps back each of them is, by the shortest way."""

    def parts(self, now: datetime) -> tuple[Part, ...]:
        """As the ageing counts them."""
        return tuple(_part(one, now) for one in self.deliveries)


def _part(one: AgedPart, now: datetime) -> Part:
    days = one.age_days(now)
    if days is None:
        return Part(one.part.share_frac, None)
    return Part(one.part.share_frac, min(MOST_YEARS, timedelta(days=days) / YEAR), one.is_at_least)


def lines_of(lots: Sequence[ResinLot]) -> dict[int, Line]:
    """The line of each lot, by its key."""
    shares: dict[int, dict[int, float]] = {lot.pk: {lot.pk: 1.0} for lot in lots}
    front: dict[int, dict[int, float]] = {lot.pk: {lot.pk: 1.0} for lot in lots}
    steps: dict[int, dict[int, int]] = {lot.pk: {lot.pk: 0} for lot in lots}
    for step in range(1, DEEPEST + 1):
        wanted = {pk for ahead in front.values() for pk in ahead}
        if not wanted:
            break
        parents: dict[int, list[tuple[int, float]]] = {}
        links = LotParent.objects.filter(child__in=wanted).values_list("child_id", "parent_id", "fraction")
        for child, parent, fraction in links:
            parents.setdefault(child, []).append((parent, fraction))
        front = {root: _one_back(ahead, parents, shares[root]) for root, ahead in front.items()}
        for root, ahead in front.items():
            steps[root].update({pk: step for pk in ahead if pk not in steps[root]})
    deliveries = aged(lots)
    return {lot.pk: Line(lot, deliveries[lot.pk], shares[lot.pk], steps[lot.pk]) for lot in lots}


def _one_back(
    ahead: dict[int, float], parents: dict[int, list[tuple[int, float]]], shares: dict[int, float]
) -> dict[int, float]:
    """One generation back from every lot in ``ahead``; adds to ``shares`` what is met."""
    reached: dict[int, float] = {}
    for pk, share in ahead.items():
        for parent, fraction in parents.get(pk, ()):
            reached[parent] = reached.get(parent, 0.0) + share * fraction
    for pk, share in reached.items():
        shares[pk] = shares.get(pk, 0.0) + share
    return {pk: share for pk, share in reached.items() if share >= SMALLEST_SHARE}
