"""Reading resin types and lots, and walking the ancestry of a lot both ways."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import QuerySet

from regenplant.core.process.plan import ResinData
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.resins.models import LotParent, ResinLot, ResinType

DEEPEST = 25
"""Generations walked at most; a lot is remade at every regeneration, so old plants have long lines."""
SMALLEST_SHARE = 0.0005
"""Shares under this are not followed further: half a per mille of the resin."""


def resin_data(resin_type: ResinType, lot_code: str, capacity_factor: float) -> ResinData:
    """The resin of a plan."""
    return ResinData(
        family=ResinFamily(resin_type.family),
        type_code=resin_type.code,
        lot_code=lot_code,
        total_capacity_eq_per_m3=resin_type.total_capacity_eq_per_m3,
        operating_capacity_eq_per_m3=resin_type.operating_capacity_eq_per_m3,
        bead_diameter_m=resin_type.bead_diameter_m,
        bead_density_kg_per_m3=resin_type.bead_density_kg_per_m3,
        settled_void_frac=resin_type.settled_void_frac,
        swelling_frac=resin_type.swelling_frac,
        max_temperature_kelvin=resin_type.max_temperature_kelvin,
        capacity_factor=capacity_factor,
    )


@dataclass(frozen=True, slots=True)
class Relative:
    """A lot somewhere in the line. ``share_frac``: of this lot's resin (an ancestor) or of that one's (a descendant), over
    every way; ``direct_frac``: what of it went straight from the one to the other, 0 for a lot further away."""

    lot: ResinLot
    generation: int
    share_frac: float
    direct_frac: float = 0.0


@dataclass(frozen=True, slots=True)
class Ancestry:
    """A lot with where it came from and where it went, nearest first."""

    lot: ResinLot
    came_from: tuple[Relative, ...]
    went_to: tuple[Relative, ...]
    unrecorded_frac: float
    """Share of this lot whose origin is not recorded, counted over its direct parents; 1 for a new lot."""


def ancestry(lot: ResinLot) -> Ancestry:
    """Both lines of a lot; one query per generation and side, plus one for the lots."""
    up, down = _walk(lot.pk, "child", "parent"), _walk(lot.pk, "parent", "child")
    lots = ResinLot.objects.select_related("resin_type").in_bulk({*up, *down})
    direct = sum(LotParent.objects.filter(child=lot).values_list("fraction", flat=True))
    return Ancestry(lot, _relatives(up, lots), _relatives(down, lots), max(0.0, 1.0 - direct))


def _walk(start: int, this: str, next_: str) -> dict[int, tuple[int, float, float]]:
    """Generation (first met), share (over all paths) and direct share of every lot reached from ``start``."""
    found: dict[int, tuple[int, float, float]] = {}
    front, generation = {start: 1.0}, 0
    while front and generation < DEEPEST:
        generation += 1
        links = LotParent.objects.filter(**{f"{this}__in": front}).values_list(
            f"{this}_id", f"{next_}_id", "fraction"
        )
        ahead: dict[int, float] = {}
        for here, there, fraction in links:
            ahead[there] = ahead.get(there, 0.0) + front[here] * fraction
        for pk, share in ahead.items():
            met, known, direct = found.get(pk, (generation, 0.0, share if generation == 1 else 0.0))
            found[pk] = (met, known + share, direct)
        front = {pk: share for pk, share in ahead.items() if share >= SMALLEST_SHARE}
    return found


def _relatives(found: dict[int, tuple[int, float, float]], lots: dict[int, ResinLot]) -> tuple[Relative, ...]:
    rows = [
        Relative(lots[pk], generation, min(share, 1.0), min(direct, 1.0))
        for pk, (generation, share, direct) in found.items()
    ]
    return tuple(sorted(rows, key=lambda row: (row.generation, -row.share_frac, row.lot.code)))


def lots() -> QuerySet[ResinLot]:
    """All lots for a listing, newest first."""
    return ResinLot.objects.select_related("resin_type")


def resin_types() -> QuerySet[ResinType]:
    """All resin types, those in use first."""
    return ResinType.objects.order_by("-is_active", "family", "code")
