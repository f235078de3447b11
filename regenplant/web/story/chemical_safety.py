"""Chemical safety in the story: where the tanks stand, a revised data sheet, the plant's own threshold, one spill that is closed and one open."""

from __future__ import annotations

from datetime import datetime, timedelta

from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import DataSheet, Place
from regenplant.chemicals.quantities import Basis
from regenplant.chemicals.services import Amount, DataSheetContent
from regenplant.plant.selectors import plant_day
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)
HALL, SHED = "Chemical hall", "Hypochlorite shed"
AREAS = {
    "hcl": ("BUND-1", "Acid bund", HALL, "first on the left behind gate 2"),
    "naoh": ("BUND-2", "Caustic bund", HALL, "at the far wall, next to the heater"),
    "nacl": ("FLOOR-3", "Brine floor", HALL, "in the middle, no bund"),
    "h2so4": ("BUND-4", "Sulfuric bund", HALL, "at the right wall, own drain pit"),
    "naocl": ("BUND-5", "Hypochlorite bund", SHED, "across the yard, apart from every acid"),
}
"""Code, name, room and how it is found, by what stands there."""
BUND_SHARE = 1.2


def put_up_storage(stage: Stage, at: datetime) -> None:
    """An area for each tank, and a letter that asks for less than the reference figure."""
    for chemical, place_id in stage.bulk_tanks.items():
        code, name, room, location = AREAS[chemical]
        place = Place.objects.get(pk=place_id)
        bund = None if chemical == "nacl" else round(BUND_SHARE * (place.capacity_m3 or 1.0), 2)
        area = chemicals.add_storage_area(
            by=stage.by("quill", at), code=code, name=name, room=room, location=location, bund_m3=bund
        ).result
        chemicals.place_tank(by=stage.by("quill", at), place_id=place_id, area_id=area.pk)
    chemicals.write_threshold(
        by=stage.by("quill", at), chemical="hcl", kind="release", limit_kg=1000.0, value_as_typed="1000 kg",
        paper="Letter of the invented river authority, confirmed by the safety lead",
    )  # fmt: skip


def new_revision(stage: Stage, at: datetime) -> Script:
    """The supplier of the caustic sends a newer sheet; labels from now on say what it says."""
    yield at
    item = next(item for item in stage.data["chemicals"] if item["chemical"] == "naoh")
    old = DataSheet.objects.get(pk=item["sheet_id"])
    sheet = chemicals.add_data_sheet(
        by=stage.by("quill", at),
        sheet=DataSheetContent(
            chemical="naoh",
            supplier=old.supplier,
            revised_on=plant_day(at),
            strength_text=old.strength_text,
            signal_word=old.signal_word,
            hazard_codes=tuple(old.hazard_codes),
            precaution_codes=tuple(dict.fromkeys([*old.precaution_codes, "P273"])),
            pictograms=tuple(old.pictograms),
            un_number=old.un_number,
            packing_group=old.packing_group,
            protective_equipment="goggles, face shield, gauntlets, apron, boots",
            hazard_notes="Eyes: rinse at once, it does not hurt at first. Gives hydrogen with aluminum and zinc. Heats strongly with acid.",
        ),
    ).result
    item["sheet_id"] = sheet.pk


def spills(stage: Stage, now: datetime) -> Script:
    """A seal of the caustic pump leaked and the spill is closed; this morning some acid ran at the sampling tap, and it is open."""
    at = now - 5 * 24 * HOUR
    yield at
    caustic = chemicals.record_spill(
        by=stage.by("tarn", at),
        chemical="naoh",
        place_id=stage.bulk_tanks["naoh"],
        location="bund 2, below the transfer pump",
        reached="contained",
        what_happened="The shaft seal of the transfer pump dripped through the night.",
        amount=Amount(Basis.PRODUCT_VOLUME, 0.006, 0.50, "6", "L"),
        happened_at=at - 10 * MINUTE,
    ).result
    at += 50 * MINUTE
    yield at
    chemicals.note_spill(
        by=stage.by("tarn", at), spill_id=caustic.pk, kind="done", words="Bund rinsed to the waste tank, pump locked out, seal ordered.",
        happened_at=at - 15 * MINUTE,
    )  # fmt: skip
    at += 26 * HOUR
    yield at
    chemicals.close_spill(
        by=stage.by("quill", at), spill_id=caustic.pk, words="Seal replaced and watched for a shift. Far under the reportable quantity."
    )  # fmt: skip
    at = now - 3 * HOUR - 20 * MINUTE
    yield at
    chemicals.record_spill(
        by=stage.by("tarn", at),
        chemical="hcl",
        place_id=stage.bulk_tanks["hcl"],
        location="bund 1, at the sampling tap",
        reached="contained",
        what_happened="The tap was not shut wholly after the sample.",
        amount=Amount(Basis.PRODUCT_VOLUME, 0.0025, 0.32, "2.5", "L"),
        happened_at=at - 5 * MINUTE,
    )
