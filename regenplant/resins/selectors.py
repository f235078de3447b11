"""Reading resin types and lots, and walking the ancestry of a lot both ways."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet, Sum

from regenplant.core.errors import RecordRefused
from regenplant.core.process.plan import MixedData, ResinData
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, REGENERATED_FORM, IonicForm, ResinFamily
from regenplant.resins.models import LotParent, ResinLot, ResinType

DEEPEST = 25
"""Generations walked at most; a lot is remade at every regeneration, so old plants have long lines."""
SMALLEST_SHARE = 0.0005
"""Shares under this are not followed further: half a per mille of the resin."""


def resin_data(resin_type: ResinType, lot_code: str, capacity_factor: float, cycles: int = 0) -> ResinData:
    """The resin of a plan. ``cycles``: regenerations behind the oldest lot in it."""
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
        grade=resin_type.grade,
        cycles=cycles,
        bead_diameter_spread_frac=resin_type.bead_diameter_spread_frac,
        bead_density_spread_kg_per_m3=resin_type.bead_density_spread_kg_per_m3,
    )


def mixed_data(
    resin_type: ResinType, lot_code: str, capacity_factor: float, cycles: int = 0
) -> MixedData | None:
    """The two resins of a mixed bed for a plan; None for any other resin. Both share the lot and its history.

    Raises: RecordRefused when the two resins of a mixed bed are not on record.
    """
    if not ResinFamily(resin_type.family).is_mixed:
        return None
    cation, anion, share = resin_type.cation_type, resin_type.anion_type, resin_type.cation_share_frac
    if cation is None or anion is None or share is None:
        raise RecordRefused(
            f"The two resins of mixed bed {resin_type.code} are not on record. Write them down with the resin type.",
            code="mixed_resins_missing",
        )
    return MixedData(
        cation=resin_data(cation, lot_code, capacity_factor, cycles),
        anion=resin_data(anion, lot_code, capacity_factor, cycles),
        cation_frac=share,
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
    """All lots for a listing, newest first, each with what of it stands in the store (``stored_m3``, exhausted form)."""
    return ResinLot.objects.select_related("resin_type").annotate(stored_m3=Sum("movements__exhausted_m3"))


def resin_types() -> QuerySet[ResinType]:
    """All resin types, those in use first."""
    return ResinType.objects.select_related("cation_type", "anion_type").order_by(
        "-is_active", "family", "code"
    )


def forms_of(family: ResinFamily) -> tuple[str, ...]:
    """Forms in which the volume of this family may be counted, the exhausted one first."""
    return tuple(
        form.value
        for form in dict.fromkeys((EXHAUSTED_FORM[family], *_ALSO.get(family, ()), REGENERATED_FORM[family]))
    )


_ALSO = {ResinFamily.SAC_SODIUM: (IonicForm.HYDROGEN,), ResinFamily.WAC_HYDROGEN: (IonicForm.SODIUM,)}
"""Forms in which a resin may come besides those it is run between."""


def cation_types() -> QuerySet[ResinType]:
    """Resin types in use that can be the cation resin of a mixed bed."""
    return _of_families(family for family in ResinFamily if family.is_cation)


def anion_types() -> QuerySet[ResinType]:
    """Resin types in use that can be the anion resin of a mixed bed."""
    return _of_families(family for family in ResinFamily if family.is_anion)


def _of_families(families: Iterable[ResinFamily]) -> QuerySet[ResinType]:
    wanted = [family.value for family in families]
    return ResinType.objects.filter(is_active=True, family__in=wanted).order_by("code")
