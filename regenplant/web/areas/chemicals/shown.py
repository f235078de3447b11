"""Chemicals as sentences, pairs and safety panels."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant import units
from regenplant.chemicals.models import ChemicalLot, DataSheet, StrengthCheck
from regenplant.chemicals.selectors import StockLine
from regenplant.chemicals.statements import STATEMENTS
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import Chemical

NONE = "–"
_SIGNALS = {"Danger": SignalWord.DANGER, "Warning": SignalWord.WARNING, "": SignalWord.NOTICE}
METHODS = {"density": "density", "baume": "degrees Baumé", "titration": "titration"}
NOTABLE_GAP_FRAC = 0.01
"""One point of strength between certificate and plant check is said aloud. A convention of this display."""


def stock_sentence(lines: Sequence[StockLine]) -> str:
    problems = [line for line in lines if line.problem]
    if not lines:
        return "No chemical tank is set up yet."
    if not problems:
        return "Every chemical stands over its low mark, and every strength check is in time."
    names = ", ".join(line.chemical.label.lower() for line in problems)
    needs = "One chemical needs" if len(problems) == 1 else f"{len(problems)} chemicals need"
    return f"{needs} a person: {names}."


def check_age(line: StockLine) -> str:
    """ "checked 2 days ago, at most 7"; never checked says so."""
    if line.check_age_days is None:
        return "never checked here"
    days = line.check_age_days
    word = "today" if days == 0 else "yesterday" if days == 1 else f"{days} days ago"
    return f"checked {word}, at most {line.max_check_age_days} days allowed"


def strength(value: float | None) -> str:
    return units.format_quantity(value, "strength")


def lot_sentence(lot: ChemicalLot, check: StrengthCheck | None) -> str:
    if lot.is_finished:
        return "Finished: another lot took its place."
    state = "In use." if lot.is_in_use else "Not in use yet."
    if check is None:
        return f"{state} Its strength was never checked at the plant, so no dose can use it."
    gap = gap_sentence(check.strength_frac, lot.certificate_strength_frac)
    return f"{state} The plant found {strength(check.strength_frac)}. {gap}".strip()


def gap_sentence(found_frac: float, certificate_frac: float) -> str:
    """How far the plant's check lies from the certificate, if that is worth saying."""
    gap = found_frac - certificate_frac
    if abs(gap) < NOTABLE_GAP_FRAC:
        return ""
    side = "over" if gap > 0 else "under"
    return f"That is {abs(gap) * 100:.1f} points {side} the certificate; the tank may hold a blend. The dose uses what the plant found."


def lot_rows(lot: ChemicalLot) -> list[tuple[str, str]]:
    return [
        ("Chemical", Chemical(lot.chemical).label),
        ("Strength on the certificate", strength(lot.certificate_strength_frac)),
        ("Supplier’s lot", lot.supplier_lot or NONE),
        ("Expires, by supplier", str(lot.expires_on) if lot.expires_on else "no date on its papers"),
        ("Data sheet", str(lot.data_sheet) if lot.data_sheet else "none named"),
    ]


def sheet_caution(sheet: DataSheet) -> Caution:
    """The safety panel of a sheet: everything as the supplier printed it."""
    texts = tuple(
        f"{code} {STATEMENTS[code]}." if code in STATEMENTS else f"{code}: text on the sheet."
        for code in sheet.hazard_codes
    )
    name = Chemical(sheet.chemical).label
    transport = ", ".join(
        filter(None, (sheet.un_number, f"packing group {sheet.packing_group}" if sheet.packing_group else ""))
    )
    return Caution(
        code=f"sheet_{sheet.pk}",
        signal=_SIGNALS[sheet.signal_word],
        headline=f"{name}, {sheet.strength_text}",
        measures=(
            *texts,
            *((sheet.hazard_notes,) if sheet.hazard_notes else ()),
            *((f"{transport}.",) if transport else ()),
        ),
        protective_equipment=tuple(
            part.strip() for part in sheet.protective_equipment.split(",") if part.strip()
        ),
        pictograms=tuple(sheet.pictograms),
    )


def sheet_source(sheet: DataSheet) -> str:
    return f"Signal word and codes: data sheet of {sheet.supplier}, {sheet.revised_on}"


def result_sentence(estimate: Estimate, system: str) -> str:
    """A calculated quantity in both unit systems."""
    return units.twin(estimate.value, estimate.kind, system)
