"""The revisions of one supplier's data sheet: what changed from one to the next, which lots came with which, and which holds for whom."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.chemicals.models import ChemicalLot, DataSheet
from regenplant.chemicals.selectors import sheet_in_force


@dataclass(frozen=True, slots=True)
class Revision:
    """One revision beside the one before it; ``changes`` are sentences, none for the first."""

    sheet: DataSheet
    changes: tuple[str, ...]


def revisions_of(sheet: DataSheet) -> list[Revision]:
    """Every revision of the same supplier's sheet of the same chemical and strength, the newest first. One query."""
    rows = DataSheet.objects.filter(
        chemical=sheet.chemical,
        supplier__iexact=sheet.supplier,
        strength_text__iexact=sheet.strength_text,
    ).order_by("-revised_on", "-pk")
    found = list(rows)
    return [
        Revision(row, _changes(before, row) if before else ())
        for row, before in zip(found, [*found[1:], None], strict=True)
    ]


_WORDS = (
    ("signal_word", "Signal word"),
    ("un_number", "UN number"),
    ("packing_group", "Packing group"),
    ("protective_equipment", "What to wear"),
    ("hazard_notes", "Notes on hazards"),
)
_CODES = (
    ("hazard_codes", "Hazard codes"),
    ("precaution_codes", "Precaution codes"),
    ("pictograms", "Pictograms"),
)


def _changes(before: DataSheet, after: DataSheet) -> tuple[str, ...]:
    found = []
    for field, words in _WORDS:
        old, new = getattr(before, field), getattr(after, field)
        if old != new:
            found.append(f"{words}: {new or 'none'}, before {old or 'none'}")
    for field, words in _CODES:
        old, new = getattr(before, field), getattr(after, field)
        gone, come = [code for code in old if code not in new], [code for code in new if code not in old]
        parts = [*(f"new {code}" for code in come), *(f"no longer {code}" for code in gone)]
        if parts:
            found.append(f"{words}: {', '.join(parts)}")
    return tuple(found)


def lots_that_came_with(sheet: DataSheet) -> list[ChemicalLot]:
    """Lots whose papers named this revision, the newest first."""
    return list(ChemicalLot.objects.filter(data_sheet=sheet).order_by("-received_at"))


def lots_labelled_from(sheet: DataSheet) -> list[ChemicalLot]:
    """Lots that are not finished and whose label is printed from this revision now."""
    same = ChemicalLot.objects.filter(
        chemical=sheet.chemical, is_finished=False, data_sheet__supplier__iexact=sheet.supplier
    )
    return [lot for lot in same.select_related("data_sheet").order_by("code") if sheet_in_force(lot) == sheet]
