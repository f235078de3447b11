"""The resin lot that a passed batch makes."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.batches import resin_volumes
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.moves import current_entries
from regenplant.core.process.vocabulary import Purpose, ResinFamily, SegregationClass, StepKind
from regenplant.resins.capacities import factors_of
from regenplant.resins.models import ResinLot
from regenplant.resins.services import mix_lot


def lot_from(batch: Batch, by: By, *, to_class: str = "") -> ResinLot:
    """The resin of a batch becomes a lot of its own: a child of every lot that went in, by volume.

    Tanks without a lot on record leave a rest of unrecorded origin. A regeneration counts one more cycle than the oldest of them; conditioning of new resin counts none, as nothing was in
    service. Exchanged carbon is new: its lot comes from the carbon that was filled in, and begins at none.
    """
    segregation_class = to_class or batch.segregation_class
    if ResinFamily(batch.resin_type.family).is_exchanged:
        return _new_carbon(batch, by, segregation_class)
    volumes, whole = resin_volumes.by_lot(batch, volumes_by_lot(batch))
    parents = [(pk, volume / whole) for pk, volume in volumes.items()]
    lots = {lot.pk: lot for lot in ResinLot.objects.filter(pk__in=volumes)}
    factors = factors_of(lots.values())
    is_new = plan_of(batch).request.recipe.purpose is Purpose.CONDITIONING
    cycles = max((lots[pk].cycles for pk in volumes), default=0)
    return _made(
        batch,
        by,
        parents=parents,
        cycles=cycles if is_new else cycles + 1,
        segregation_class=segregation_class,
        capacity_factor=_capacity_factor([(factors[pk], share) for pk, share in parents]),
    )


def _capacity_factor(known: list[tuple[float, float]]) -> float:
    """Of (factor, share): weighted over what is on record; 1 where nothing is."""
    whole = sum(share for _, share in known)
    return sum(factor * share for factor, share in known) / whole if whole else 1.0


def volumes_by_lot(batch: Batch) -> dict[int, float]:
    """By lot: resin of it that went into this batch, or into the first of a line of reworks. A batch that passed and was amended to
    fail had made a lot of its own: its rework takes that one."""
    origin = batch
    while origin.parent is not None:
        origin = origin.parent
        if origin.lot_id is not None:
            return {origin.lot_id: batch.resin_volume_m3}
    volumes: dict[int, float] = {}
    for link in origin.tank_links.select_related("visit__tank__resin_lot"):
        lot = link.visit.tank.resin_lot
        if lot is not None:
            volumes[lot.pk] = volumes.get(lot.pk, 0.0) + link.resin_volume_m3
    return volumes


def _new_carbon(batch: Batch, by: By, segregation_class: str) -> ResinLot:
    """The parent is the lot on record whose code was written down at the filling; none where no such lot is known."""
    codes = [
        entry.value_as_typed.strip().upper()
        for step in batch.steps.filter(kind=StepKind.FILL.value)
        for entry in current_entries(step).values()
        if entry.kind == "text"
    ]
    filled = ResinLot.objects.filter(
        code__in=codes,
        resin_type=batch.resin_type,
        segregation_class=batch.segregation_class,
        is_scrapped=False,
    ).first()
    parents = [(filled.pk, 1.0)] if filled else []
    return _made(
        batch, by, parents=parents, cycles=0, capacity_factor=1.0, segregation_class=segregation_class
    )


def _volume(batch: Batch) -> dict[str, Any]:
    """As it was loaded; of a bed that was topped up as it was counted then."""
    last = batch.top_ups.order_by("topped_at", "pk").last()
    if last is None:
        return {"volume_m3": batch.resin_volume_m3, "volume_form": batch.resin_volume_form}
    return {"volume_m3": last.bed_volume_m3, "volume_form": last.bed_form}


def _owner(batch: Batch) -> str:
    """Code of the customer to whom the tanks of a dedicated batch belong; "" where none is on record."""
    owners = batch.tank_links.filter(visit__tank__dedicated_to__isnull=False)
    return owners.values_list("visit__tank__dedicated_to__code", flat=True).first() or ""


def _made(
    batch: Batch,
    by: By,
    *,
    parents: list[tuple[int, float]],
    cycles: int,
    capacity_factor: float,
    segregation_class: str,
) -> ResinLot:
    made: ResinLot = mix_lot(
        by=by,
        code=f"L-{batch.number.removeprefix('B-')}",
        resin_type_id=batch.resin_type_id,
        segregation_class=segregation_class,
        **_volume(batch),
        origin=f"made by batch {batch.number}",
        parents=parents,
        cycles=cycles,
        capacity_factor=capacity_factor,
        dedicated_to=_owner(batch) if segregation_class == SegregationClass.DEDICATED.value else "",
    ).result
    return made
