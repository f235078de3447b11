"""What receiving a delivery asks for, with the lock or without: room in the tank, nothing beside it that it must not meet, a data sheet that fits, a UN number as written."""

from __future__ import annotations

from datetime import date, datetime

from regenplant.chemicals.locations import meetings
from regenplant.chemicals.models import DataSheet, Place
from regenplant.chemicals.room import no_room, room_for
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.plant.selectors import plant_day


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
