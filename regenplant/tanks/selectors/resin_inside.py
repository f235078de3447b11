"""Resin of lots in tanks, with customers or in the plant."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from regenplant.core.process.lifecycle import VisitState
from regenplant.resins.elsewhere import Standing
from regenplant.tanks.models import Tank, TankVisit
from regenplant.tanks.selectors._base import AWAY_STATES


def in_tanks(lot_ids: Sequence[int]) -> Iterable[Standing]:
    """Each tank that holds resin of these lots, by serial: as it was filled, else its usual volume. A tank that stands empty holds
    none, and a retired one counts while it is not emptied. Two queries."""
    tanks = Tank.objects.filter(resin_lot__in=lot_ids).select_related("resin_type").order_by("serial")
    visits: dict[int, TankVisit] = {}
    latest = TankVisit.objects.filter(tank__resin_lot__in=lot_ids).select_related("customer")
    for visit in latest.order_by("received_at", "pk"):
        visits[visit.tank_id] = visit
    for tank in tanks:
        last = visits.get(tank.pk)
        if last is not None and last.state == VisitState.EMPTIED.value:
            continue
        is_here = last is not None and last.state not in AWAY_STATES
        where = "in the plant" if is_here or last is None else f"with {last.customer.name}"
        volume = _exhausted_m3(tank, last)
        yield Standing(
            tank.resin_lot_id or 0, "tank", tank.serial, where, volume, is_in_plant=is_here or last is None
        )


def _exhausted_m3(tank: Tank, last: TankVisit | None) -> float:
    """What is inside, in the exhausted form [m^3]."""
    if last is not None and last.refilled_volume_m3 is not None and last.refilled_lot_id == tank.resin_lot_id:
        return last.refilled_volume_m3 / (1.0 + tank.resin_type.swelling_frac)
    return last.resin_volume_m3 if last is not None else tank.resin_volume_m3
