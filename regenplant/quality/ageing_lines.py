"""Where the resin of a lot comes from, far enough back for its age: all lots of a listing are followed together.

A lot is remade at every regeneration, so lines are long; each generation of all of them takes one query.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.batches.models import Batch
from regenplant.core.process.resin_ageing import MOST_YEARS, Part
from regenplant.resins.models import LotParent, ResinLot

DEEPEST = 600
"""Generations followed at most."""
SMALLEST_SHARE = 0.0005
"""Shares under half a per mille are followed no further; they count as of unknown age."""
YEAR = timedelta(days=365.25)


@dataclass(frozen=True, slots=True)
class Origin:
    """A share of a lot that came into the books together. ``lot`` None: from where is not recorded."""

    lot: ResinLot | None
    share_frac: float
    is_age_known: bool
    """False where the resin had a past when it came into the books."""

    def part(self, now: datetime) -> Part:
        """As the ageing counts it."""
        if self.lot is None:
            return Part(self.share_frac, None)
        age_years = min(MOST_YEARS, max(0.0, (now - self.lot.made_at) / YEAR))
        return Part(self.share_frac, age_years, is_at_least=not self.is_age_known)


@dataclass(frozen=True, slots=True)
class Line:
    """One lot with the lots behind it."""

    lot: ResinLot
    shares: dict[int, float]
    """Share of this lot's resin by the key of each lot on the way, itself with 1."""
    origins: tuple[Origin, ...]
    """Largest first; their shares make a whole."""

    def parts(self, now: datetime) -> tuple[Part, ...]:
        return tuple(origin.part(now) for origin in self.origins)


def lines_of(lots: Sequence[ResinLot]) -> dict[int, Line]:
    """The line of each lot, by its key."""
    shares: dict[int, dict[int, float]] = {lot.pk: {lot.pk: 1.0} for lot in lots}
    heads: dict[int, dict[int, float]] = {lot.pk: {} for lot in lots}
    lost: dict[int, float] = dict.fromkeys(shares, 0.0)
    front: dict[int, dict[int, float]] = {lot.pk: {lot.pk: 1.0} for lot in lots}
    for _ in range(DEEPEST):
        wanted = {pk for ahead in front.values() for pk in ahead}
        if not wanted:
            break
        parents: dict[int, list[tuple[int, float]]] = {}
        links = LotParent.objects.filter(child__in=wanted).values_list("child_id", "parent_id", "fraction")
        for child, parent, fraction in links:
            parents.setdefault(child, []).append((parent, fraction))
        for root, ahead in front.items():
            front[root] = _one_back(ahead, parents, shares[root], heads[root], lost, root)
    for root, ahead in front.items():
        lost[root] += sum(ahead.values())
    return _made(lots, shares, heads, lost)


def _one_back(
    ahead: dict[int, float],
    parents: dict[int, list[tuple[int, float]]],
    shares: dict[int, float],
    heads: dict[int, float],
    lost: dict[int, float],
    root: int,
) -> dict[int, float]:
    """One generation back from every lot in ``ahead``."""
    reached: dict[int, float] = {}
    for pk, share in ahead.items():
        above = parents.get(pk)
        if above is None:
            heads[pk] = heads.get(pk, 0.0) + share
            continue
        lost[root] += share * max(0.0, 1.0 - sum(fraction for _, fraction in above))
        for parent, fraction in above:
            reached[parent] = reached.get(parent, 0.0) + share * fraction
    for pk, share in reached.items():
        shares[pk] = shares.get(pk, 0.0) + share
    small = [pk for pk, share in reached.items() if share < SMALLEST_SHARE]
    lost[root] += sum(reached.pop(pk) for pk in small)
    return reached


def _made(
    lots: Iterable[ResinLot],
    shares: dict[int, dict[int, float]],
    heads: dict[int, dict[int, float]],
    lost: dict[int, float],
) -> dict[int, Line]:
    every = {pk for found in heads.values() for pk in found}
    rows = ResinLot.objects.in_bulk(every)
    out_of_batches = set(Batch.objects.filter(lot__in=every).values_list("lot_id", flat=True))
    lines: dict[int, Line] = {}
    for lot in lots:
        origins = [
            Origin(rows[pk], share, is_age_known=pk not in out_of_batches and rows[pk].cycles == 0)
            for pk, share in sorted(heads[lot.pk].items(), key=lambda item: (-item[1], rows[item[0]].code))
        ]
        if lost[lot.pk] > SMALLEST_SHARE or not origins:
            origins.append(Origin(None, max(lost[lot.pk], SMALLEST_SHARE), is_age_known=False))
        whole = sum(origin.share_frac for origin in origins)
        lines[lot.pk] = Line(
            lot,
            shares[lot.pk],
            tuple(Origin(one.lot, one.share_frac / whole, one.is_age_known) for one in origins),
        )
    return lines
