"""What the papers of a lot say, written after its receipt: the data sheet that came with it, and the supplier's expiry date."""

from __future__ import annotations

from datetime import date
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import ChemicalLot
from regenplant.chemicals.services._receiving import data_sheet_for
from regenplant.core.errors import RecordRefused

LEAST_REASON = 10


@use_case("chemical.data_sheet_named", permission="chemical.data_sheet")
def name_data_sheet(*, by: By, lot_id: int, data_sheet_id: int, reason: str = "") -> Outcome:
    """Name the data sheet that came with a lot; its label takes the codes from there. ``result`` is the lot.

    Where another one is named already this corrects it, and takes a reason. Labels that were printed stay as they are.
    Raises: RecordRefused for a sheet of another chemical, one that is not in force, the one that is named, no reason.
    """
    lot = _lot(lot_id)
    sheet, before = data_sheet_for(lot.chemical, data_sheet_id), lot.data_sheet
    if sheet is None:
        raise RecordRefused("Choose the sheet that came with it.", field="data_sheet")
    if sheet == before:
        raise RecordRefused(
            f"This data sheet is named for lot {lot.code} already.",
            field="data_sheet",
            code="nothing_changed",
        )
    least = LEAST_REASON if before is not None else 0
    words = words_of(reason, "The reason", field="reason", most=300, least=least)
    ChemicalLot.objects.filter(pk=lot.pk).update(data_sheet=sheet)
    lot.data_sheet = sheet
    return Outcome(
        subject=_subject(lot),
        before={"data_sheet": str(before) if before else ""},
        after={"data_sheet": str(sheet)},
        facts={"sheet": f"{sheet}, {sheet.strength_text}"},
        reason=words,
        related=(("data_sheet", str(sheet.pk)),),
        result=lot,
    )


@use_case("chemical.expiry_corrected", permission="chemical.correct")
def correct_expiry(*, by: By, lot_id: int, expires_on: date | None, reason: str) -> Outcome:
    """Write the supplier's expiry date of a lot anew: copied wrong, missing, or extended by the supplier in writing.

    Raises: RecordRefused without a reason, and when nothing differs.
    """
    lot = _lot(lot_id)
    if lot.expires_on == expires_on:
        raise RecordRefused(
            f"That is what stands there for lot {lot.code}.", field="expires_on", code="nothing_changed"
        )
    words = words_of(reason, "The reason", field="reason", most=300, least=LEAST_REASON)
    before = lot.expires_on
    ChemicalLot.objects.filter(pk=lot.pk).update(expires_on=expires_on)
    lot.expires_on = expires_on
    return Outcome(
        subject=_subject(lot),
        before={"expires_on": _day(before)},
        after={"expires_on": _day(expires_on)},
        reason=words,
        result=lot,
    )


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""


def _lot(lot_id: int) -> ChemicalLot:
    lot = (
        ChemicalLot.objects.select_for_update(of=("self",))
        .select_related("data_sheet")
        .filter(pk=lot_id)
        .first()
    )
    if lot is None:
        raise RecordRefused("This chemical lot is not known here.", code="unknown")
    return lot


def _subject(lot: ChemicalLot) -> tuple[str, str, str]:
    return ("chemical_lot", str(lot.pk), lot.code)


def _expiry_said(subject: str, stored: dict[str, Any]) -> str:
    before, after = (stored.get(name, {}).get("expires_on") or "none" for name in ("before", "after"))
    return f"Lot {subject}: the supplier’s expiry date reads {after}; it read {before}"


say("chemical.data_sheet_named", "Lot {subject}: its data sheet is {sheet}")
say("chemical.expiry_corrected", _expiry_said)
