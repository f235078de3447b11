"""What receiving a delivery asks for, with the lock or without: room in the tank, nothing beside it that it must not meet, a data sheet that fits, a UN number as written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from regenplant import units
from regenplant.chemicals.blending import standing
from regenplant.chemicals.counts import grams_by_level
from regenplant.chemicals.locations import meetings
from regenplant.chemicals.models import ChemicalLot, DataSheet, Place
from regenplant.chemicals.quantities import product_volume_m3
from regenplant.chemicals.selectors import balance_grams, balances
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.plant.selectors import plant_day


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


def refuse_overfull(chemical: str, tank: Place, strength_frac: float, grams_100: int) -> None:
    """Raises: OutOfRange where the tank has no room."""
    words = no_room(chemical, tank, strength_frac, grams_100)
    room = room_for(chemical, tank, strength_frac, grams_100) if words else None
    if room is not None:
        raise OutOfRange(
            words, field="quantity", code="no_room", seen=room.rest + room.coming, allowed_high=room.takes
        )


def refuse_ill_stored(tank: Place) -> None:
    """Nothing is brought to a tank that stands beside what it must never meet. Raises: RecordRefused."""
    refused = [meeting for meeting in meetings(tank) if meeting.is_refused]
    if refused:
        raise RecordRefused(
            f"{refused[0].sentence} Nothing more is brought there: unload nothing, and call the supervisor or the safety lead.",
            field="place",
            code="must_not_meet",
        )


def refuse_expired(expires_on: date | None, now: datetime) -> None:
    """A delivery past the supplier's date is not taken in. Raises: RecordRefused."""
    if expires_on is not None and expires_on < plant_day(now):
        raise RecordRefused(
            f"The papers say that it expired on {expires_on}. It is not taken in: read the date again, or send it back.",
            field="expires_on",
            code="expired",
        )


def data_sheet_for(chemical: str, data_sheet_id: int | None) -> DataSheet | None:
    if data_sheet_id is None:
        return None
    sheet = DataSheet.objects.filter(pk=data_sheet_id).first()
    if sheet is None or sheet.chemical != chemical:
        raise RecordRefused(
            "This data sheet is not one of this chemical. Choose the sheet that came with it.",
            field="data_sheet",
        )
    if not sheet.is_in_force:
        raise RecordRefused(
            "This data sheet is no longer in force. Choose the newest revision.", field="data_sheet"
        )
    return sheet


def normal_un(text: str) -> str:
    """ "un 1789" is "UN1789"; digits alone get their letters."""
    found = "".join(text.upper().split())
    return f"UN{found}" if found.isdigit() else found
