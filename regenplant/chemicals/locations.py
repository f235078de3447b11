"""What stands where: storage areas with their tanks, what must not meet there, and how much of what burns or poisons whom."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Prefetch, QuerySet

from regenplant.chemicals.blending import standing
from regenplant.chemicals.models import ChemicalLot, DataSheet, Place, StorageArea, StrengthCheck
from regenplant.chemicals.quantities import product_volume_m3
from regenplant.chemicals.selectors import balances, data_sheets
from regenplant.core.process.storing import KeptApart, Meeting, Stands, meetings_of, never_beside
from regenplant.core.process.vocabulary import Chemical

BUND_SHARE = 1.1
"""A bund holds at least this much of its largest tank: common practice, from memory; local code decides."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One tank with what stands in it by the books. What is not known is None, never a guess."""

    place: Place
    area: StorageArea | None
    chemical: Chemical
    grams_100: int
    strength_frac: float | None
    """Of what is drawn: checked by the plant, else as on the certificate; None where no lot is in use."""
    is_strength_checked: bool
    product_m3: float | None
    lot: ChemicalLot | None
    sheet: DataSheet | None
    """The revision in force for the lot in use; where none is, the newest in force of the chemical."""

    @property
    def kg_100(self) -> float:
        return max(self.grams_100, 0) / 1000.0

    @property
    def product_kg(self) -> float | None:
        return self.kg_100 / self.strength_frac if self.strength_frac else None

    @property
    def area_words(self) -> str:
        """The area and how to find it, for somebody who does not know the plant; "" where nobody has said where it stands."""
        if self.area is None:
            return ""
        return ", ".join(part for part in (self.area.name, self.area.room, self.area.location) if part)


def chemicals_by_location() -> list[Standing]:
    """Every bulk tank with what stands in it, by room, area and code; tanks without an area last. Seven queries, more where a lot is blended."""
    held = balances()
    places = Place.objects.filter(kind=Place.Kind.BULK_TANK).select_related("storage_area")
    checks = StrengthCheck.objects.select_related("lot").order_by("-checked_at", "-id")
    in_use = {
        lot.chemical: lot
        for lot in ChemicalLot.objects.filter(is_in_use=True)
        .select_related("data_sheet")
        .prefetch_related(Prefetch("checks", checks))
    }
    drawn = standing(in_use, held)
    sheets = list(data_sheets(only_in_force=True))
    found = []
    for place in places:
        lot = in_use.get(place.chemical)
        now = drawn.get(place.chemical)
        checked = now.strength_frac or (now.check.strength_frac if now.check else None) if now else None
        strength = checked or (lot.certificate_strength_frac if lot else None)
        grams = held.get((place.chemical, place.pk), 0)
        volume = product_volume_m3(place.chemical, grams, strength) if strength and grams > 0 else None
        found.append(
            Standing(
                place, place.storage_area, Chemical(place.chemical), grams, strength, checked is not None, volume, lot,
                _sheet_for(place.chemical, lot, sheets),
            )
        )  # fmt: skip
    return sorted(found, key=_order)


def _order(line: Standing) -> tuple[bool, str, str, str]:
    area = line.area
    return (area is None, area.room.casefold() if area else "", area.code if area else "", line.place.code)


def _sheet_for(chemical: str, lot: ChemicalLot | None, sheets: Iterable[DataSheet]) -> DataSheet | None:
    """As ``selectors.sheet_in_force``, out of sheets that were read at once."""
    same = [sheet for sheet in sheets if sheet.chemical == chemical]
    came_with = lot.data_sheet if lot else None
    if came_with is not None:
        own = [
            sheet
            for sheet in same
            if sheet.supplier.casefold() == came_with.supplier.casefold()
            and sheet.strength_text.casefold() == came_with.strength_text.casefold()
        ]
        if own:
            return own[0]
    return max(same, key=lambda sheet: sheet.revised_on, default=None)


# --- storage areas --------------------------------------------------------------------------------------------------
def storage_areas() -> QuerySet[StorageArea]:
    """Storage areas by room and code, with their tanks."""
    tanks = Place.objects.order_by("code")
    return StorageArea.objects.prefetch_related(Prefetch("tanks", tanks)).order_by("room", "code")


def stands(place: Place, area: StorageArea | None = None) -> Stands:
    """A tank as the rules see it, where it stands or where it would stand."""
    here = area or place.storage_area
    return Stands(place.code, Chemical(place.chemical), here.code if here else "", here.room if here else "")


def neighbours(but: Place) -> list[Stands]:
    """Every other bulk tank that has a storage area."""
    others = Place.objects.filter(kind=Place.Kind.BULK_TANK, storage_area__isnull=False).exclude(pk=but.pk)
    return [stands(place) for place in others.select_related("storage_area").order_by("code")]


def meetings(place: Place, area: StorageArea | None = None) -> tuple[Meeting, ...]:
    """Each rule that a tank breaks where it stands, or would break in ``area``."""
    if area is None and place.storage_area is None:
        return ()
    return meetings_of(stands(place, area), neighbours(place))


def never_with(chemical: Chemical) -> list[tuple[Chemical, KeptApart, list[Place]]]:
    """What must not meet a chemical, the rule, and the tanks of this plant that hold it. One query."""
    tanks = list(Place.objects.filter(kind=Place.Kind.BULK_TANK).order_by("code"))
    return [
        (other, rule, [tank for tank in tanks if tank.chemical == other.value])
        for other, rule in never_beside(chemical)
    ]


def never_words(chemical: Chemical) -> list[str]:
    """The same in sentences: "Sodium hypochlorite: chlorine gas. Here in T-4, connection FILL-4."."""
    found = []
    for other, rule, tanks in never_with(chemical):
        where = ", ".join(
            f"{tank.code}, connection {tank.connection_code}" if tank.connection_code else tank.code
            for tank in tanks
        )
        found.append(f"{other.label}: {rule.gives}.{f' Here in {where}.' if where else ''}")
    return found


def all_meetings() -> list[Meeting]:
    """Each pair of tanks that stands nearer than a rule allows, once, the refused ones first. One query."""
    tanks = Place.objects.filter(kind=Place.Kind.BULK_TANK, storage_area__isnull=False)
    rows = [stands(place) for place in tanks.select_related("storage_area").order_by("code")]
    found = [meeting for index, row in enumerate(rows) for meeting in meetings_of(row, rows[index + 1 :])]
    return sorted(found, key=lambda meeting: not meeting.is_refused)


def bund_shortage_m3(area: StorageArea) -> float | None:
    """How much the bund holds too little for its largest tank and a tenth more [m3]; None where it suffices or nothing is known."""
    largest = max((tank.capacity_m3 for tank in area.tanks.all() if tank.capacity_m3), default=None)
    if area.bund_m3 is None or largest is None:
        return None
    missing = BUND_SHARE * largest - area.bund_m3
    return missing if missing > 0 else None
