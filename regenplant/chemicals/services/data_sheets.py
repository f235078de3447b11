"""Acts on safety data sheets (SDS): signal words and codes come from the supplier's revision, never from code."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from regenplant.audit.by import By
from regenplant.audit.records import one_of, values_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import DataSheet
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant.selectors import plant_day

SIGNAL_WORDS = ("", "Danger", "Warning")
PICTOGRAM_CODES = tuple(f"GHS{number:02d}" for number in range(1, 10))
_HAZARD = re.compile(r"(?:EU)?H\d{3}[A-Za-z]{0,3}")
_PRECAUTION = re.compile(r"P\d{3}(?:\+P\d{3})*")


@dataclass(frozen=True, slots=True)
class DataSheetContent:
    """One revision of one supplier's sheet, as printed on it."""

    chemical: str
    supplier: str
    revised_on: date
    strength_text: str
    signal_word: str = ""
    hazard_codes: tuple[str, ...] = ()
    precaution_codes: tuple[str, ...] = ()
    pictograms: tuple[str, ...] = ()
    un_number: str = ""
    packing_group: str = ""
    protective_equipment: str = ""
    hazard_notes: str = ""
    """What else it warns of: first aid, spills, what it reacts with, in its own words."""


@use_case("data_sheet.added", permission="chemical.data_sheet")
def add_data_sheet(*, by: By, sheet: DataSheetContent) -> Outcome:
    """Add a revision; it takes the place of older ones of the same supplier and chemical. ``result`` is the sheet.

    Raises: RecordRefused, each with its field.
    """
    _refuse_sheet(sheet)
    if sheet.revised_on > plant_day(by.at):
        raise RecordRefused(
            f"{sheet.revised_on} is still to come. Copy the date of revision from the sheet.",
            field="revised_on",
        )
    same = DataSheet.objects.filter(
        chemical=sheet.chemical,
        supplier__iexact=sheet.supplier.strip(),
        strength_text__iexact=sheet.strength_text.strip(),
    )
    newest = same.order_by("-revised_on").first()
    if newest is not None and newest.revised_on >= sheet.revised_on:
        raise RecordRefused(
            f"The revision of {newest.revised_on} is on file; {sheet.revised_on} is not newer.",
            field="revised_on",
            code="not_newer",
        )
    older = list(same.filter(is_in_force=True))
    same.update(is_in_force=False)
    values = values_of(sheet)
    record = DataSheet.objects.create(
        **{**values, "supplier": sheet.supplier.strip(), "strength_text": sheet.strength_text.strip()}
    )
    return Outcome(
        subject=("data_sheet", str(record.pk), f"{Chemical(record.chemical).label}, {record}"),
        before={"in_force": [str(old.revised_on) for old in older]},
        after={
            "signal_word": record.signal_word,
            "hazard_codes": record.hazard_codes,
            "pictograms": record.pictograms,
        },
        facts={"codes": ", ".join(record.hazard_codes) or "no hazard codes"},
        result=record,
    )


def _refuse_sheet(sheet: DataSheetContent) -> None:
    one_of(sheet.chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    words_of(sheet.supplier, "The supplier", field="supplier", most=80, least=2)
    words_of(sheet.strength_text, "The strength on the sheet", field="strength_text", most=40, least=1)
    one_of(sheet.signal_word, SIGNAL_WORDS, "The signal word", field="signal_word")
    words_of(sheet.un_number, "The UN number", field="un_number", most=10)
    words_of(sheet.packing_group, "The packing group", field="packing_group", most=4)
    words_of(sheet.protective_equipment, "What to wear", field="protective_equipment", most=300)
    words_of(sheet.hazard_notes, "The notes on hazards", field="hazard_notes", most=400)
    for code in sheet.hazard_codes:
        if not _HAZARD.fullmatch(code):
            raise RecordRefused(
                f"“{code}” is no hazard code. Copy codes such as H314 from section 2 of the sheet.",
                field="hazard_codes",
            )
    for code in sheet.precaution_codes:
        if not _PRECAUTION.fullmatch(code):
            raise RecordRefused(
                f"“{code}” is no precaution code. Copy codes such as P280 or P301+P330.",
                field="precaution_codes",
            )
    for code in sheet.pictograms:
        one_of(code, PICTOGRAM_CODES, "The pictogram", field="pictograms")
    if (sheet.hazard_codes or sheet.pictograms) and not sheet.signal_word:
        raise RecordRefused(
            "Hazard codes or pictograms stand on the sheet, so a signal word does too. Copy it.",
            field="signal_word",
        )


@use_case("data_sheet.withdrawn", permission="chemical.data_sheet")
def withdraw_data_sheet(*, by: By, data_sheet_id: int, reason: str) -> Outcome:
    """A sheet that holds no longer (the supplier is not used any more). Raises: RecordRefused."""
    record = DataSheet.objects.select_for_update().filter(pk=data_sheet_id).first()
    if record is None:
        raise RecordRefused("This data sheet is not known here.", code="unknown")
    if not record.is_in_force:
        raise RecordRefused("This data sheet is not in force any more.", code="not_in_force")
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    DataSheet.objects.filter(pk=record.pk).update(is_in_force=False)
    return Outcome(
        subject=("data_sheet", str(record.pk), f"{Chemical(record.chemical).label}, {record}"),
        before={"is_in_force": True},
        after={"is_in_force": False},
        reason=words,
        result=record,
    )


say("data_sheet.added", "Data sheet {subject} was added: {codes}")
say("data_sheet.withdrawn", "Data sheet {subject} was withdrawn ({reason})")
