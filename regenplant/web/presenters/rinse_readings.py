"""The readings of a rinse in words: the table with its corrections, the entry, the receipt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.batches.models import RinseReading
from regenplant.batches.rinse import informs_only
from regenplant.batches.selectors.reading import ReadingMeaning
from regenplant.batches.selectors.rinse import RinsePage
from regenplant.core.engineering.conductivity import Compensation
from regenplant.web.presenters.rinse import basis_of, in_kind, is_replaced, kind_of, newest, shown_value
from regenplant.web.presenters.words import (
    calibration_words,
    clock,
    counted,
    day_and_clock,
    joined,
    sentence_case,
    together,
)

WATER_WORDS = {
    Compensation.ACID: "as water with a trace of acid",
    Compensation.BASE: "as water with a trace of caustic",
    Compensation.NEUTRAL: "as water with a trace of salt",
}
METER_WORDS = {
    Compensation.NONE: "not compensated by the meter",
    Compensation.NEUTRAL: "compensated by the meter, neutral salt",
    Compensation.ACID: "compensated by the meter, trace of acid",
    Compensation.BASE: "compensated by the meter, trace of caustic",
    Compensation.FLAT: "compensated by the meter, flat 2 %/K",
}


@dataclass(frozen=True, slots=True)
class Struck:
    """A value that a correction replaced."""

    typed: str
    temperature: str


@dataclass(frozen=True, slots=True)
class ReadingRow:
    """One reading that stands, with what it replaced."""

    id: int
    at: datetime
    value: float
    other: str
    """The reciprocal, with three digits however small."""
    typed: str
    temperature_kelvin: float
    temperature_typed: str
    rinsed_bv: float
    cell: str
    initials: str
    person: str
    struck: tuple[Struck, ...]
    notes: tuple[str, ...]
    tone: str
    """ "near" for a reading that needs a look, "quiet" for one that informs only, else ""."""


def reading_rows(page: RinsePage, system: str) -> tuple[ReadingRow, ...]:
    """The readings that stand, newest first, each with the values it replaced and what is said about it."""
    by_pk = {row.pk: row for row in page.readings}
    standing = [row for row in page.readings if not is_replaced(row)]
    earlier: list[RinseReading | None] = [*standing[1:], None]
    return tuple(
        _row(page, row, before, _chain(row, by_pk), system)
        for row, before in zip(standing, earlier, strict=False)
    )


def cells_sentence(rows: Sequence[ReadingRow]) -> str:
    """How many readings, and by which cells: "5 readings by CELL-2."."""
    cells = joined(dict.fromkeys(row.cell for row in rows))
    return f"{sentence_case(counted(len(rows), 'reading'))} by {cells}." if rows else ""


def _chain(row: RinseReading, by_pk: dict[int, RinseReading]) -> list[RinseReading]:
    """The readings this one replaced, oldest first."""
    found: list[RinseReading] = []
    old = row.replaces_id
    while old is not None and old in by_pk:
        found.insert(0, by_pk[old])
        old = by_pk[old].replaces_id
    return found


def _row(
    page: RinsePage,
    row: RinseReading,
    before: RinseReading | None,
    replaced: Sequence[RinseReading],
    system: str,
) -> ReadingRow:
    value = shown_value(page, row)
    is_other_cell = before is not None and before.instrument_id != row.instrument_id
    notes = [f"From here by {row.instrument.code}."] if is_other_cell else []
    if row.instrument_check:
        notes.append(row.instrument_check)
    informs = informs_only(row, page.limit)
    if not row.instrument_was_valid:
        notes.append("Informs only: the cell was out of calibration.")
    elif informs:
        notes.append(f"Informs only. {informs}")
    if row.replaces_id is not None:
        notes.append(f"Corrected {clock(row.entered_at)}: {row.reason}")
    elif (row.entered_at - row.occurred_at).total_seconds() > 900:
        notes.append(f"Written late, at {clock(row.entered_at)}.")
    return ReadingRow(
        id=row.pk,
        at=row.occurred_at,
        value=value,
        other=reciprocal_text(value, kind_of(page), system),
        typed=f"{row.value_as_typed} {row.unit_as_typed}".strip(),
        temperature_kelvin=row.temperature_kelvin,
        temperature_typed=row.temperature_as_typed,
        rinsed_bv=row.rinsed_bv,
        cell=row.instrument.code,
        initials=row.entered_by.initials,
        person=row.entered_by.full_name,
        struck=tuple(
            Struck(f"{old.value_as_typed} {old.unit_as_typed}".strip(), old.temperature_as_typed)
            for old in replaced
        ),
        notes=tuple(notes),
        tone="near" if row.instrument_check else "quiet" if informs else "",
    )


def reciprocal_text(value: float, kind: str, system: str) -> str:
    """The reciprocal in its own unit, three digits: 0.119, 0.000609."""
    other = "conductivity" if kind == "resistivity" else "resistivity"
    return units.format_number(units.shown_value(1.0 / value, other, system), digits=3, decimals=6)


def heads(page: RinsePage, system: str) -> tuple[str, str]:
    """The units over the two value columns: the page's own first, its reciprocal second."""
    own = kind_of(page)
    other = "conductivity" if own == "resistivity" else "resistivity"
    return units.unit_text(own, system), units.unit_text(other, system)


def cell_choices(page: RinsePage) -> list[tuple[str, str]]:
    """Every conductivity cell with what its calibration says, those that prove something first."""
    ordered = sorted(page.cells, key=lambda cell: not cell.is_valid)
    return [
        (
            str(cell.instrument.pk),
            f"{cell.instrument.code}, {calibration_words(cell.instrument, cell.is_valid)}"
            + ("" if cell.is_valid else ", informs only"),
        )
        for cell in ordered
    ]


def last_words(page: RinsePage, system: str) -> str:
    """The help over the entry: "8.42 MΩ·cm at 14:05", "" before the first reading."""
    row = newest(page)
    if row is None:
        return ""
    return (
        f"{units.format_quantity(shown_value(page, row), kind_of(page), system)} at {clock(row.occurred_at)}"
    )


def last_temperature(page: RinsePage) -> str:
    """The help over the temperature, as it was typed last: "18.9 °C at 14:05", "" before the first reading."""
    row = newest(page)
    return f"{together(row.temperature_as_typed)} at {clock(row.occurred_at)}" if row is not None else ""


def meaning_rows(meaning: ReadingMeaning, system: str, kind: str) -> list[tuple[str, str]]:
    """What a reading means before it is written: at 25 °C with its reciprocal, how, and by which cell."""
    at_25 = in_kind(meaning.at_25_siemens_per_m, kind)
    how = METER_WORDS[meaning.meter]
    if meaning.meter is Compensation.NONE:
        how = f"{how}; brought to 25 °C {WATER_WORDS[meaning.water]}"
    cell = f"{meaning.instrument.code}, {calibration_words(meaning.instrument, meaning.is_valid)}"
    return [
        ("at 25 °C", units.twin(at_25, kind, "us" if system == "us" else "metric")),
        ("temperature", how),
        ("instrument", cell if meaning.is_valid else f"{cell}: the reading informs only"),
    ]


def receipt_sentence(page: RinsePage, row: RinseReading, system: str) -> str:
    """What was written, as a receipt."""
    kind = kind_of(page)
    value = units.twin(shown_value(page, row), kind, "us" if system == "us" else "metric")
    typed, warm = together(f"{row.value_as_typed} {row.unit_as_typed}"), together(row.temperature_as_typed)
    said = f"Written: {typed} at {warm}, {clock(row.occurred_at)}: {value} {basis_of(page)}."
    if row.instrument_check:
        return f"{said} {row.instrument_check}"
    if not row.instrument_was_valid:
        return f"{said} {row.instrument.code} is out of calibration, so it informs only."
    informs = informs_only(row, page.limit)
    return f"{said} It informs only. {informs}" if informs else said


def correction_facts(row: RinseReading, system: str) -> list[tuple[str, str]]:
    """The reading as it stands before its correction."""
    return [
        ("Written", f"{row.value_as_typed} {row.unit_as_typed} at {row.temperature_as_typed}"),
        (
            "At 25 °C",
            units.twin(
                row.conductivity_25_siemens_per_m, "conductivity", "us" if system == "us" else "metric"
            ),
        ),
        ("Cell", f"{row.instrument.code}, {row.instrument.name}"),
        ("Rinsed", units.format_quantity(row.rinsed_bv, "bed_volumes", system)),
        (
            "Happened",
            f"{day_and_clock(row.occurred_at)}, written by {row.entered_by.full_name} at {clock(row.entered_at)}",
        ),
    ]
