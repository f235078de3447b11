"""Logs of meters in words: what a log holds before it is taken in, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone

from regenplant import units
from regenplant.batches.log_files import LogRead
from regenplant.batches.log_preview import LogPreview
from regenplant.batches.models import MeterLog, MeterLogSetAside
from regenplant.batches.selectors.rinse import RinsePage
from regenplant.core.engineering.conductivity import Compensation
from regenplant.drawing.rinse import RinseDown
from regenplant.drawing.rinse import RinseReading as DrawnReading
from regenplant.web.presenters.rinse import in_kind, kind_of, limit_in_kind
from regenplant.web.presenters.words import (
    calibration_words,
    clock,
    counted,
    day_and_clock,
    short_digest,
    thousands,
)

HEAD_LINES = 12


def readings_word(count: int) -> str:
    """ "1 reading", "100,000 readings"."""
    return "1 reading" if count == 1 else f"{thousands(count)} readings"


def _pointing(count: int) -> str:
    if count == 1:
        return "1 reading points to the cell and is not counted."
    return f"{readings_word(count)} point to the cell and are not counted."


def preview_facts(page: RinsePage, seen: LogPreview, read: LogRead, system: str) -> list[tuple[str, str]]:
    """What taking it in would keep, line by line."""
    kind = kind_of(page)

    def value(conductivity: float) -> str:
        return units.format_quantity(in_kind(conductivity, kind), kind, system)

    calibration = calibration_words(seen.instrument, seen.is_valid)
    facts = [
        ("Readings", f"{thousands(seen.kept)} new of {thousands(seen.received)}"),
        ("From, to", f"{day_and_clock(seen.first_at)} to {day_and_clock(seen.last_at)}"),
        ("Understood", "; ".join(read.heads)),
        ("Cell", f"{seen.instrument.code}, {calibration}"),
        (
            "Lowest, highest at 25 °C",
            f"{value(seen.lowest_siemens_per_m)}, {value(seen.highest_siemens_per_m)}",
        ),
        ("Newest at 25 °C", value(seen.newest_siemens_per_m)),
        (
            "Water temperature",
            f"{units.format_quantity(seen.coldest_kelvin, 'temperature', system)} to {units.format_quantity(seen.warmest_kelvin, 'temperature', system)}",
        ),
        ("Rinsed at the last", units.format_quantity(seen.rinsed_bv, "bed_volumes", system)),
        ("Count for the end point", f"{thousands(seen.counting)} of {thousands(seen.kept)}"),
    ]
    if again := seen.known_already - seen.same_moment:
        facts.append(("Kept already", f"{readings_word(again)}, left out: nothing counts twice"))
    if seen.same_moment:
        facts.append(
            (
                "Of one moment",
                f"{readings_word(seen.same_moment)}, left out: another figure stands for the same moment already. Of a log without "
                "seconds one reading a minute is kept; let the logger write seconds",
            )
        )
    if seen.outside:
        facts.append(("Outside the rinse", f"{readings_word(seen.outside)}, left out"))
    if read.without_value:
        facts.append(("Without a figure", f"{counted(read.without_value, 'line')}, passed over"))
    return facts


def preview_curve(page: RinsePage, seen: LogPreview) -> RinseDown:
    """What it shows, small; the limit beside it."""
    kind = kind_of(page)
    is_raw = page.limit is not None and bool(page.limit.table)
    start = page.rinse_started_at
    return RinseDown(
        title=f"Log of {seen.instrument.code}",
        kind=kind,
        readings=tuple(
            DrawnReading(60.0 * minutes, in_kind(shown if is_raw else at_25, kind), is_by_hand=False)
            for minutes, at_25, shown in seen.points
        ),
        limit=limit_in_kind(page.limit, kind),
        is_at_least=kind == "resistivity",
        started_at=timezone.localtime(start) if start is not None else None,
    )


def nothing_taken(read: LogRead) -> str:
    """Said over the lines that cannot be read."""
    count = len(read.refused) + read.more_refused
    if count == 1 and not read.refused[0].line:
        return "Nothing was taken in: the log cannot be read."
    return f"Nothing was taken in: {counted(count, 'line')} cannot be read. Correct them, or leave them out, and hand it in again."


def taken_in(log: MeterLog) -> str:
    """The receipt."""
    said = f"Written: {readings_word(log.count)} of {log.instrument.code}, {clock(log.first_at)} to {clock(log.last_at)}."
    if not log.instrument_was_valid:
        said += f" {log.instrument.code} is out of calibration, so they inform only."
    elif log.check_count:
        said += f" {_pointing(log.check_count)}"
    return said


@dataclass(frozen=True, slots=True)
class LogRow:
    """One log on the rinse page."""

    id: int
    named: str
    cell: str
    by: str
    notes: tuple[str, ...]
    tone: str


def log_rows(page: RinsePage) -> tuple[LogRow, ...]:
    """The logs of a rinse, newest first."""
    return tuple(
        LogRow(
            log.pk, named(log), log.instrument.code, _by(log), _notes(log), "near" if log.check_count else ""
        )
        for log in page.logs
    )


def named(log: MeterLog) -> str:
    """ "3,600 readings, 14:02 to 15:02"."""
    return f"{readings_word(log.count)}, {clock(log.first_at)} to {clock(log.last_at)}"


def _by(log: MeterLog) -> str:
    source = log.get_source_display()
    return f"{source}, {log.entered_by.full_name}" if not log.is_of_a_meter else f"{source}, {log.name}"


def _notes(log: MeterLog) -> tuple[str, ...]:
    notes = []
    if not log.instrument_was_valid:
        notes.append("Informs only: the cell was out of calibration.")
    if log.check_count:
        notes.append(_pointing(log.check_count))
    notes += [aside_words(log, row) for row in log.set_asides.all()]
    return tuple(notes)


def aside_words(log: MeterLog, row: MeterLogSetAside) -> str:
    """What of a log counts no more, and why."""
    stretch = (
        "all of it"
        if row.from_at is None or row.until_at is None
        else f"{clock(row.from_at)} to {clock(row.until_at)}"
    )
    return f"Set aside, {stretch}, {clock(row.set_aside_at)} by {row.set_aside_by.full_name}: {row.reason}"


def log_facts(log: MeterLog) -> list[tuple[str, str]]:
    """One log, line by line."""
    return [
        ("Came as", f"{log.get_source_display()} {log.name}".strip()),
        ("Readings", f"{readings_word(log.count)} in {log.unit_as_typed}"),
        ("From, to", f"{day_and_clock(log.first_at)} to {day_and_clock(log.last_at)}"),
        ("Step", f"{log.step.number}, {log.step.name}"),
        ("Cell", f"{log.instrument.code}, {log.instrument.name}"),
        ("Cell constant", f"{log.cell_constant_per_cm:g} /cm" if log.cell_constant_per_cm else "not noted"),
        ("The meter", Compensation(log.meter_compensation).label),
        ("In calibration", "yes" if log.instrument_was_valid else "no: it informs only"),
        ("Point to the cell", readings_word(log.check_count) if log.check_count else "none"),
        (
            "Left out",
            f"{thousands(log.known_already)} of a moment kept already, {thousands(log.outside)} outside the rinse",
        ),
        ("Taken in", f"{day_and_clock(log.entered_at)} by {log.entered_by.full_name}"),
        ("Digest", short_digest(log.digest)),
    ]


def aside_rows(log: MeterLog) -> list[str]:
    """What was set aside of it, oldest first."""
    return [aside_words(log, row) for row in log.set_asides.all()]


def head_of(text: str) -> str:
    """Its first lines, as received."""
    lines = text.splitlines()
    more = len(lines) - HEAD_LINES
    return "\n".join(line[:200] for line in lines[:HEAD_LINES]) + (
        f"\n… {thousands(more)} more lines" if more > 0 else ""
    )
