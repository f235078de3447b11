"""Acts on storage: areas, and which tank stands in which. What must not meet is refused, or takes a reason (``core.process.storing``)."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import code_of, refuse_known, saved_words, within, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.locations import meetings
from regenplant.chemicals.models import Place, StorageArea
from regenplant.core.errors import RecordRefused
from regenplant.core.process.storing import Meeting

LEAST_REASON = 10


def _values(name: str, room: str, location: str, bund_m3: float | None) -> dict[str, Any]:
    if bund_m3 is not None:
        within(bund_m3, 0.01, 1000.0, "What the bund holds", "liquid_volume", field="bund_m3")
    return {
        "name": words_of(name, "The area’s name", field="name", most=80, least=2),
        "room": words_of(room, "The room", field="room", most=60, least=2),
        "location": words_of(location, "How it is found", field="location", most=160),
        "bund_m3": bund_m3,
    }


@use_case("storage.area_added", permission="chemical.store")
def add_storage_area(
    *, by: By, code: str, name: str, room: str, location: str = "", bund_m3: float | None = None
) -> Outcome:
    """A bund, or a floor without one, in a room. ``result`` is the area. Raises: RecordRefused, OutOfRange."""
    code = code_of(code, "The area’s code", longest=20)
    refuse_known(StorageArea, code, "Storage area")
    area = StorageArea.objects.create(code=code, **_values(name, room, location, bund_m3))
    return Outcome(
        subject=("storage_area", str(area.pk), code),
        after={"room": area.room, "bund_m3": bund_m3},
        result=area,
    )


@use_case("storage.area_changed", permission="chemical.store")
def change_storage_area(
    *,
    by: By,
    area_id: int,
    name: str,
    room: str,
    location: str = "",
    bund_m3: float | None = None,
    reason: str = "",
    version: int | None = None,
) -> Outcome:
    """Name, room, way to it, and bund of an area. Another room may bring tanks together that must not meet.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    area = StorageArea.objects.select_for_update().filter(pk=area_id).first()
    if area is None:
        raise RecordRefused("This storage area is not known here.", code="unknown")
    values = _values(name, room, location, bund_m3)
    moved = StorageArea(pk=area.pk, code=area.code, **values)
    is_elsewhere = area.room.casefold() != values["room"].casefold()
    found = [
        meeting
        for tank in Place.objects.filter(storage_area=area).order_by("code")
        for meeting in (meetings(tank, moved) if is_elsewhere else ())
        if meeting.other.bund != area.code
    ]
    words = _allowed(found, reason)
    before, after = write_changed(area, values, version=version, label=f"Storage area {area.code}")
    return Outcome(
        subject=("storage_area", str(area.pk), area.code),
        before=before,
        after=after,
        facts=_facts(found),
        reason=words,
        result=area,
    )


@use_case("storage.tank_placed", permission="chemical.store")
def place_tank(
    *, by: By, place_id: int, area_id: int | None, reason: str = "", version: int | None = None
) -> Outcome:
    """Say in which area a bulk tank stands; None: in none of those that are set up. ``result`` is the tank.

    Raises: RecordRefused where it would meet what it must not (``code`` "must_not_meet"), or where a rule asks for the reason
    (``code`` "needs_reason"); StaleRecord.
    """
    place = Place.objects.select_for_update().filter(pk=place_id, kind=Place.Kind.BULK_TANK).first()
    if place is None:
        raise RecordRefused("Only a bulk tank stands in a storage area.", code="unknown")
    area = StorageArea.objects.filter(pk=area_id).first() if area_id is not None else None
    if area is None and area_id is not None:
        raise RecordRefused("This storage area is not known here. Choose one of the list.", field="area")
    found = list(meetings(place, area)) if area is not None else []
    words = _allowed(found, reason)
    before, after = write_changed(place, {"storage_area": area}, version=version, label=f"Tank {place.code}")
    return Outcome(
        subject=("place", str(place.pk), place.code),
        before=before,
        after=after,
        facts={"area": area.code if area else "no area", **_facts(found)},
        reason=words,
        related=(("storage_area", str(area.pk)),) if area else (),
        result=place,
    )


def _facts(found: list[Meeting]) -> dict[str, Any]:
    return {"meetings": [meeting.sentence for meeting in found]} if found else {}


def _allowed(found: list[Meeting], reason: str) -> str:
    """The reason, where one is asked for and told. Raises: RecordRefused."""
    refused = [meeting for meeting in found if meeting.is_refused]
    if refused:
        raise RecordRefused(
            f"{refused[0].sentence} Nobody stores them so. Choose an area in another room.",
            field="area",
            code="must_not_meet",
        )
    words = words_of(reason, "The reason", field="reason", most=300)
    if found and len(words) < LEAST_REASON:
        raise RecordRefused(
            f"{' '.join(meeting.sentence for meeting in found)} Choose another area; or, where data sheets and the fire code allow it, "
            f"write in at least {LEAST_REASON} characters what keeps them apart.",
            field="reason",
            code="needs_reason",
        )
    return words


def _placed(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    warned = f". {' '.join(facts['meetings'])}" if facts.get("meetings") else ""
    reason = f" Reason: {stored['reason']}" if stored.get("reason") else ""
    return f"Tank {subject} stands in {facts.get('area', 'another area')}{warned}{reason}"


say("storage.area_added", saved_words("Storage area"))
say("storage.area_changed", saved_words("Storage area"))
say("storage.tank_placed", _placed)
