"""Whether a delivery has room in its tank."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.chemicals.blending import standing
from regenplant.chemicals.counts import grams_by_level
from regenplant.chemicals.models import ChemicalLot, Place, Unloading
from regenplant.chemicals.quantities import product_volume_m3
from regenplant.chemicals.selectors import balance_grams, balances


@dataclass(frozen=True, slots=True)
class Room:
    """Of a tank: what stands in it, what would come, and what it takes [m3]."""

    rest: float
    coming: float
    takes: float


def room_for(chemical: str, tank: Place, strength_frac: float, grams_100: int) -> Room | None:
    """Room in the tank: the rest by the books or by the last count, whichever is more, at the strength in use, the delivery at its
    certificate, both at 20 °C. None where that cannot be said: a tank without a size, a solid."""
    if tank.capacity_m3 is None or grams_100 <= 0:
        return None
    coming = product_volume_m3(chemical, grams_100, strength_frac)
    if coming is None:  # a solid, or a strength without a known density: the level decides, at the tank
        return None
    used = ChemicalLot.objects.filter(chemical=chemical, is_in_use=True).prefetch_related("checks").first()
    drawn = standing({chemical: used}, balances(chemical))[chemical] if used else None
    known = drawn.strength_frac or (drawn.check.strength_frac if drawn.check else None) if drawn else None
    rest_strength = known or strength_frac
    held = balance_grams(chemical, tank)
    rest = product_volume_m3(chemical, max(held, grams_by_level(tank, held), 0), rest_strength) or 0.0
    return Room(rest, coming, tank.capacity_m3 - tank.ullage_margin_m3)


def no_room(chemical: str, tank: Place, strength_frac: float, grams_100: int) -> str:
    """Why this delivery has no room in the tank, as a sentence; "" where it has, or where only the level at the tank can say."""
    room = room_for(chemical, tank, strength_frac, grams_100)
    if room is None or room.rest + room.coming <= room.takes:
        return ""
    free = " with the room that stays free" if tank.ullage_margin_m3 else ""
    return (
        f"{tank.code} takes {units.twin(room.takes, 'liquid_volume')}{free}; {units.twin(room.rest, 'liquid_volume')} stand in it and "
        f"{units.twin(room.coming, 'liquid_volume')} would come. Do not unload more than there is room for."
    )


def no_room_now(row: Unloading) -> str:
    """Why a delivery that is still locked has no room in its tank by now, as a sentence; "" where it has."""
    return no_room(row.chemical, row.place, row.certificate_strength_frac, row.grams_100)
