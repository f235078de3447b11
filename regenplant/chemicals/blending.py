"""Strength of what stands in a tank: the plant's newest check, and by mass balance every delivery that came on top of it.

A delivery does not change what was checked, it changes what stands in the tank. Until the two together are checked, the
strength follows from both: what was left at its checked strength, and the delivery at the strength that the plant found in its
sample. A certificate is no check: a delivery without a sample leaves the strength unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch, Q

from regenplant.chemicals.models import ChemicalLot, Movement, Place, StrengthCheck
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan import StrengthPart


@dataclass(frozen=True, slots=True)
class Standing:
    """Strength by weight of what the plant draws from one tank.

    ``check`` is the newest check of it, ``added`` the lots that came on top since. ``strength`` is None where nobody at the
    plant has checked what stands there, or what came on top.
    """

    check: StrengthCheck | None
    strength: Estimate | None
    added: tuple[str, ...] = ()
    unsampled: tuple[str, ...] = ()
    """Those of ``added`` of which the plant took no sample."""
    expires_on: date | None = None
    """The first of the suppliers' expiry dates of what stands in the tank; None where no papers give one."""
    parts: tuple[StrengthPart, ...] = ()
    """How ``strength`` came about: the check, then each delivery in turn."""

    @property
    def strength_frac(self) -> float | None:
        return self.strength.value if self.strength else None

    @property
    def is_blend(self) -> bool:
        return bool(self.added)


def blended_strength(
    grams_100: int, strength_frac: float, added_grams_100: int, added_frac: float
) -> Estimate:
    """Strength by weight of two solutions of one substance poured together.

    Parameters
    ----------
    grams_100 : int
        >= 0; substance that was there, as 100 % [g]
    strength_frac : float
        > 0; its strength by weight [-]
    added_grams_100 : int
        > 0; substance that came on top, as 100 % [g]
    added_frac : float
        > 0; its strength by weight [-]

    Returns
    -------
    strength : Estimate
        Weight of substance per weight of solution [-]; between the two, weighed by the masses of solution
    """
    substance = grams_100 + added_grams_100
    solution = grams_100 / strength_frac + added_grams_100 / added_frac
    return Estimate(
        "w",
        "strength of what stands in the tank",
        substance / solution,
        "dimensionless",
        "strength",
        "(m_1 + m_2) / (m_1 / w_1 + m_2 / w_2)",
        (
            Input("m_1", "left in the tank, as 100 %", grams_100 / 1000.0, "kg", "mass"),
            Input("w_1", "its checked strength", strength_frac, "dimensionless", "strength"),
            Input("m_2", "came on top, as 100 %", added_grams_100 / 1000.0, "kg", "mass"),
            Input("w_2", "strength of its sample", added_frac, "dimensionless", "strength"),
        ),
        "mass balance",
        "mass_balance",
    )


def standing(lots: Mapping[str, ChemicalLot], held: Mapping[tuple[str, int], int]) -> dict[str, Standing]:
    """What the plant draws, for the lot in use of each chemical; ``held`` are the balances now.

    One query as long as nothing came on top of a check, else four. The lots come with their checks prefetched, newest first.
    """
    came = _came_since(lots)
    if not came:
        return {chemical: _standing(lot, [], [], None, 0) for chemical, lot in lots.items()}
    tanks = _tanks_of(lots.values())
    moves = _movements_since(lots, tanks)
    found: dict[str, Standing] = {}
    for chemical, lot in lots.items():
        tank_id = tanks.get(lot.pk)
        own = [move for move in moves if tank_id in (move.from_place_id, move.to_place_id)]
        onto = [move for move in came if tank_id is not None and move.to_place_id == tank_id]
        found[chemical] = _standing(lot, onto, own, tank_id, held.get((chemical, tank_id or 0), 0))
    return found


def _oldest(lots: Mapping[str, ChemicalLot]) -> datetime | None:
    """When the oldest of the newest checks was made."""
    checked = [check.checked_at for lot in lots.values() for check in list(lot.checks.all())[:1]]
    return min(checked, default=None)


def _came_since(lots: Mapping[str, ChemicalLot]) -> list[Movement]:
    """Deliveries of other lots since the oldest check, with their samples; those that were taken back never came."""
    since = _oldest(lots)
    if since is None:
        return []
    checks = StrengthCheck.objects.select_related("lot").order_by("-checked_at", "-id")
    rows = Movement.objects.filter(
        moved_at__gte=since,
        chemical__in=list(lots),
        from_place__kind=Place.Kind.SUPPLIER,
        lot__isnull=False,
        corrects__isnull=True,
        corrected_by__isnull=True,
    ).exclude(lot__in=list(lots.values()))
    return list(
        rows.select_related("lot__unloading")
        .prefetch_related(Prefetch("lot__checks", checks))
        .order_by("moved_at", "number")
    )


def _tanks_of(lots: Iterable[ChemicalLot]) -> dict[int, int]:
    """The bulk tank that each lot was received into."""
    rows = Movement.objects.filter(lot__in=list(lots), to_place__kind=Place.Kind.BULK_TANK).order_by(
        "-number"
    )
    return {lot: place for lot, place in rows.values_list("lot_id", "to_place_id") if lot is not None}


def _movements_since(lots: Mapping[str, ChemicalLot], tanks: Mapping[int, int]) -> list[Movement]:
    """What came and went in these tanks since the oldest check, as it happened, without what was taken back whole."""
    places = list(tanks.values())
    rows = (
        Movement.objects.filter(moved_at__gte=_oldest(lots))
        .filter(Q(to_place__in=places) | Q(from_place__in=places))
        .select_related("lot")
    )
    found = list(rows.order_by("moved_at", "number"))
    taken_back = {move.corrects_id for move in found if move.corrects_id is not None}
    whole = {move.pk for move in found if move.pk in taken_back}
    return [move for move in found if move.pk not in whole and move.corrects_id not in whole]


def _standing(
    lot: ChemicalLot, onto: list[Movement], moves: list[Movement], tank_id: int | None, held_now: int
) -> Standing:
    own = next(iter(lot.checks.all()), None)
    if own is None:
        return Standing(None, None)
    checks = [own, *(check for move in onto if move.lot for check in list(move.lot.checks.all())[:1])]
    check = max(checks, key=lambda one: (one.checked_at, one.pk))
    came = {move.pk: move.lot for move in onto if move.lot and _is_after(move, check)}
    measured = Estimate(
        "w", "strength by the plant’s check", check.strength_frac, "dimensionless", "strength", "w",
        (Input("w", "as found", check.strength_frac, "dimensionless", "strength"),), check.method, "plant_record",
    )  # fmt: skip
    added = tuple(one.code for one in came.values())
    ends = min((one.expires_on for one in (lot, *came.values()) if one.expires_on), default=None)
    unsampled = tuple(one.code for one in came.values() if _sample_of(one) is None)
    if unsampled:
        return Standing(check, None, added, unsampled, ends)
    samples = {pk: sample for pk, one in came.items() if (sample := _sample_of(one)) is not None}
    later = [move for move in moves if _is_after(move, check)]
    begun = StrengthPart(check.lot.code, check.method, check.checked_at.isoformat(), check.strength_frac)
    strength, deliveries = _followed(measured, later, samples, tank_id, held_now)
    return Standing(check, strength, added, expires_on=ends, parts=(begun, *deliveries))


def _followed(
    measured: Estimate,
    moves: list[Movement],
    samples: Mapping[int, float],
    tank_id: int | None,
    held_now: int,
) -> tuple[Estimate, list[StrengthPart]]:
    """The strength after each movement in turn, and each delivery as it was reckoned in; only deliveries change it, and by how
    much depends on what was left."""
    signed = [move.grams_100 if move.to_place_id == tank_id else -move.grams_100 for move in moves]
    grams, strength = held_now - sum(signed), measured
    parts: list[StrengthPart] = []
    for move, change in zip(moves, signed, strict=True):
        if move.pk in samples and move.lot is not None:
            left, sample = max(grams, 0), samples[move.pk]
            strength = blended_strength(left, strength.value, move.grams_100, sample)
            at, kilograms = move.moved_at.isoformat(), move.grams_100 / 1000.0
            parts.append(
                StrengthPart(move.lot.code, "sample", at, sample, kilograms, left / 1000.0, strength.value)
            )
        grams += change
    return strength, parts


def _is_after(move: Movement, check: StrengthCheck) -> bool:
    """After the sample of the check was drawn. At the very same moment only what the check is of came before."""
    if move.moved_at == check.checked_at:
        return move.lot_id != check.lot_id
    return bool(move.moved_at > check.checked_at)


def _sample_of(lot: ChemicalLot) -> float | None:
    """What the plant found in the sample of the delivery; None where it took none."""
    unloading = getattr(lot, "unloading", None)
    return unloading.sample_strength_frac if unloading else None
