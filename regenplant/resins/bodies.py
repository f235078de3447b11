"""A lot as a body of resin: of which deliveries it consists, how old they are, and what of it stands in the store."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time
from typing import Any

from django.db.models import Sum

from regenplant.core.process import resin_lots
from regenplant.core.process.resin_lots import Part
from regenplant.core.process.vocabulary import IonicForm, ResinFamily
from regenplant.resins.models import LotMovement, LotParent, ResinLot, ResinType

NOTHING_M3 = 1e-6
"""A millilitre: less than this is nothing [m^3]."""


@dataclass(frozen=True, slots=True)
class AgedPart:
    """A part of a lot with its age. ``since`` is None where parts too small to tell apart were put together."""

    part: Part
    since: datetime | None
    is_at_least: bool
    """Older than ``since`` by an unknown time: when it was delivered is not on record."""

    def age_days(self, now: datetime) -> float | None:
        """Days since it was delivered, or at least so many [d]."""
        return None if self.since is None else max(0.0, (now - self.since).total_seconds() / 86400.0)


def as_rows(parts: Iterable[Part]) -> list[list[Any]]:
    """Parts as they are stored with the lot."""
    return [
        [part.origin, round(part.share_frac, 9), round(part.cycles_mean, 6), part.cycles_least, part.cycles_most, part.is_recorded]
        for part in parts
    ]  # fmt: skip


def from_rows(rows: Sequence[Sequence[Any]]) -> tuple[Part, ...]:
    """Stored parts. Raises: ValueError or TypeError for rows that are none."""
    return tuple(
        Part(str(origin), float(share), float(mean), int(least), int(most), bool(is_recorded))
        for origin, share, mean, least, most, is_recorded in rows
    )


def raw_parts(lot: ResinLot) -> tuple[Part, ...]:
    """Of which deliveries a lot consists, largest first; of a lot of an older program worked out from its parents."""
    return from_rows(lot.parts) if lot.parts else _worked_out(lot)


def blend_of(
    shares: Mapping[int, float], older: Mapping[int, ResinLot], *, made: str, cycles: int
) -> tuple[Part, ...]:
    """The parts of a lot made from ``older``, each with its share; ``cycles`` as the lot states for its oldest part."""
    before = max((older[pk].cycles for pk in shares), default=0)
    return resin_lots.blended(
        [(share, raw_parts(older[pk])) for pk, share in shares.items()],
        made=made,
        cycles_added=max(0, cycles - before),
    )


def _worked_out(lot: ResinLot) -> tuple[Part, ...]:
    """From the oldest lot on to this one, each once; a lot that comes from itself ends where it is met again."""
    known: dict[int, tuple[Part, ...]] = {}
    links: dict[int, dict[int, float]] = {}
    front, lots = {lot.pk}, {lot.pk: lot}
    while front:
        rows = LotParent.objects.filter(child__in=front).values_list("child_id", "parent_id", "fraction")
        for child, parent, fraction in rows:
            links.setdefault(child, {})[parent] = fraction
        new = {parent for child in front for parent in links.get(child, {})} - set(lots)
        lots.update(ResinLot.objects.in_bulk(new))
        front = {pk for pk in new if not lots[pk].parts}
    waiting = [lot.pk]
    while waiting:
        pk = waiting[-1]
        one = lots[pk]
        parents = {} if one.parts else links.get(pk, {})
        open_ones = [parent for parent in parents if parent not in known and parent not in waiting]
        if open_ones:
            waiting.extend(open_ones)
            continue
        waiting.pop()
        if one.parts:
            known[pk] = from_rows(one.parts)
        elif parents:
            known[pk] = _blended_from(one, {p: f for p, f in parents.items() if p in known}, lots, known)
        else:
            known[pk] = resin_lots.new_part(one.code, one.cycles)
    return known[lot.pk]


def _blended_from(
    lot: ResinLot,
    shares: Mapping[int, float],
    lots: Mapping[int, ResinLot],
    known: Mapping[int, tuple[Part, ...]],
) -> tuple[Part, ...]:
    before = max((lots[pk].cycles for pk in shares), default=0)
    return resin_lots.blended(
        [(share, known[pk]) for pk, share in shares.items()],
        made=lot.code,
        cycles_added=max(0, lot.cycles - before),
    )


def parts_of(lot: ResinLot) -> tuple[AgedPart, ...]:
    """Of which deliveries a lot consists, largest first: share, cycles and age of each. Two queries at most for a lot that
    states its parts."""
    return aged([lot])[lot.pk]


def aged(lots: Sequence[ResinLot]) -> dict[int, tuple[AgedPart, ...]]:
    """``parts_of`` for many lots, by key, with one query for the ages of all."""
    parts = {lot.pk: raw_parts(lot) for lot in lots}
    wanted = {part.origin for of_one in parts.values() for part in of_one if part.origin}
    origins = {
        code: (made_at, delivered_on, cycles)
        for code, made_at, delivered_on, cycles in ResinLot.objects.filter(code__in=wanted).values_list(
            "code", "made_at", "delivered_on", "cycles"
        )
    }
    return {pk: tuple(_aged(part, origins) for part in of_one) for pk, of_one in parts.items()}


def _aged(part: Part, origins: Mapping[str, tuple[datetime, Any, int]]) -> AgedPart:
    if part.origin not in origins:
        return AgedPart(part, None, is_at_least=True)
    made_at, delivered_on, cycles_then = origins[part.origin]
    if delivered_on is not None and part.is_recorded:
        return AgedPart(part, datetime.combine(delivered_on, time(12), UTC), is_at_least=False)
    # what came with regenerations behind it, or of unrecorded origin, was older than the books when it came into them
    return AgedPart(part, made_at, is_at_least=not part.is_recorded or cycles_then > 0)


def mean_age_days(parts: Iterable[AgedPart], now: datetime) -> tuple[float, bool]:
    """Age weighted by volume over the parts whose age is known [d], and whether it is at least so much."""
    ages = [(one.part.share_frac, one.age_days(now), one.is_at_least) for one in parts]
    known = [(share, age, least) for share, age, least in ages if age is not None]
    whole = sum(share for share, _, _ in known)
    mean = sum(share * age for share, age, _ in known) / whole if whole else 0.0
    return mean, len(known) < len(ages) or any(least for _, _, least in known)


# --- the store --------------------------------------------------------------------------------------------------------
def stored_m3(lot: ResinLot) -> float:
    """What of this lot stands in the store, in the exhausted form [m^3]; below a millilitre it is nothing."""
    return stored_by_lot([lot.pk]).get(lot.pk, 0.0)


def stored_by_lot(lot_ids: Iterable[int]) -> dict[int, float]:
    """By lot: what stands in the store, in the exhausted form [m^3]; lots of which nothing does are left out."""
    sums = LotMovement.objects.filter(lot__in=list(lot_ids)).order_by().values_list("lot_id")
    return {pk: total for pk, total in sums.annotate(Sum("exhausted_m3")) if total > NOTHING_M3}


def every_stored() -> dict[int, float]:
    """``stored_by_lot`` of all lots that were ever in the store."""
    return stored_by_lot(LotMovement.objects.order_by().values_list("lot_id", flat=True).distinct())


def moves_of(lot: ResinLot) -> int:
    """How often resin of this lot was moved in the store: the version that its page was shown with."""
    return LotMovement.objects.filter(lot=lot).count()


def family_of(resin_type: ResinType) -> ResinFamily:
    """The family of a resin type."""
    return ResinFamily(resin_type.family)


def exhausted_m3(resin_type: ResinType, volume_m3: float, form: str) -> float:
    """A volume of this resin, counted in ``form``, in the exhausted form [m^3]. Raises: OutOfRange."""
    return resin_lots.in_exhausted_form_m3(
        volume_m3, IonicForm(form), family_of(resin_type), resin_type.swelling_frac
    )


def body_m3(lot: ResinLot) -> float:
    """The whole lot as it was made, in the exhausted form [m^3]; as counted where the growth of its form is not on record."""
    if IonicForm(lot.volume_form) not in resin_lots.forms_with_volume(family_of(lot.resin_type)):
        return lot.volume_m3
    return exhausted_m3(lot.resin_type, lot.volume_m3, lot.volume_form)


def in_form_m3(resin_type: ResinType, exhausted: float, form: str) -> float:
    """A volume of this resin in the exhausted form, as it is in another [m^3]. Raises: OutOfRange."""
    return resin_lots.in_form_m3(exhausted, IonicForm(form), family_of(resin_type), resin_type.swelling_frac)
