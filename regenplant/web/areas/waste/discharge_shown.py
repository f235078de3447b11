"""What the pages of discharges show: rows of facts, readings with their standing, the day's budget."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from regenplant import units
from regenplant.core.process.hazard_words import SHOWER, SPLASH_GEAR, caution
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.sewer_budget import IONS, WORDS, BudgetLine, Loads
from regenplant.waste.discharge_models import Discharge, DischargeReading
from regenplant.waste.discharges import MOST_UNKNOWN_FRAC, DischargeStanding
from regenplant.web.presenters.words import day_and_clock, sentence_case

Rows = list[tuple[str, str]]
MARKS = {
    "open": ("running", "Being proven"),
    "released": ("held", "Released, outlet open"),
    "closed": ("done", "Discharged"),
    "given_up": ("scrapped", "Given up"),
}
READING_MARKS = {
    "good": ("done", "Counts"),
    "outside": ("failed", "Outside"),
    "before": ("waiting", "Undone since"),
    "unmixed": ("waiting", "Not mixed long enough"),
    "instrument": ("waiting", "No proof"),
}


@dataclass(frozen=True, slots=True)
class ReadingRow:
    row: DischargeReading
    state: str
    word: str
    why: str


def reading_rows(readings: Iterable[DischargeReading], standing: Iterable[str]) -> list[ReadingRow]:
    found = []
    for row, word in zip(readings, standing, strict=True):
        state, said = READING_MARKS[word]
        why = row.fault
        if not why and not row.instrument_was_valid:
            why = f"{row.instrument.code} was out of calibration"
        elif not why and row.is_late:
            why = "written too long after it was taken"
        found.append(ReadingRow(row, state, said, why))
    return found


def facts_of(row: Discharge, system: str) -> Rows:
    facts = [
        ("Waste tank", f"{row.tank.code}, {row.tank.name}"),
        ("To discharge", units.twin(row.planned_volume_m3, "liquid_volume", system)),
        ("Opened", f"{row.opened_by.full_name}, {day_and_clock(row.opened_at)}"),
    ]
    if row.mixing_since and row.state in ("open", "released"):
        facts.append(("Mixed since", day_and_clock(row.mixing_since)))
    if row.released_by and row.released_at:
        second = f" with {row.second_signature.printed_name}" if row.second_signature else ""
        facts.append(("Released", f"{row.released_by.full_name}{second}, {day_and_clock(row.released_at)}"))
    if row.closed_by and row.ended_at and row.volume_m3 is not None:
        facts.append(("Went", units.twin(row.volume_m3, "liquid_volume", system)))
        facts.append(("Outlet shut", f"{day_and_clock(row.ended_at)}, written by {row.closed_by.full_name}"))
        facts += load_rows(
            Loads(*(getattr(row, f"{ion}_kg") for ion in IONS)),
            row.measured_kg_per_m3,
            row.unknown_frac,
            system,
        )
    if row.reason:
        facts.append(("Given up", row.reason))
    return facts


def load_rows(loads: Loads, measured: Iterable[str], unknown_frac: float, system: str) -> Rows:
    """Masses with what they rest on; what nobody knows is no zero."""
    by_analysis = set(measured)

    def words(ion: str) -> str:
        mass = units.twin(loads.of(ion), "mass", system)
        if ion in by_analysis:
            return f"{mass}, by analysis"
        if unknown_frac > MOST_UNKNOWN_FRAC:
            return "not known: most of the water is of unknown composition"
        rest = f", {unknown_frac:.0%} of the water of unknown composition" if unknown_frac >= 0.005 else ""
        return f"{mass}, as worked out{rest}"

    return [(sentence_case(WORDS[ion]), words(ion)) for ion in IONS]


def release_rows(row: Discharge, stands: DischargeStanding, system: str) -> Rows:
    """What the release signs, in words."""
    good = [one for one, word in zip(stands.readings, stands.judged.standing, strict=True) if word == "good"]
    read = [
        (
            f"Reading {one.number}",
            f"pH {one.ph_as_typed}, {one.temperature_as_typed}, {one.instrument.code}, {clock(one.taken_at)}",
        )
        for one in good
    ]
    window = stands.permit.content
    return [
        ("Permit", f"{stands.permit.title}, until {window.expires_on or 'no day written'}"),
        (
            "Window",
            f"pH {window.ph_low:g} to {window.ph_high:g}, at most {units.twin(window.temperature_max_kelvin, 'temperature', system)}",
        ),
        ("To discharge", units.twin(row.planned_volume_m3, "liquid_volume", system)),
        *read,
        *load_rows(stands.loads(row.planned_volume_m3), row.measured_kg_per_m3, stands.unknown_frac, system),
    ]


def budget_bars(lines: Iterable[BudgetLine]) -> list[dict[str, object]]:
    """Values for limit bars: what went with what is wanted, against the day."""
    return [
        {
            "caption": f"{sentence_case(WORDS[line.ion])} today{' with this one' if line.wanted_kg else ''}",
            "value": line.gone_kg + line.wanted_kg,
            "kind": "mass",
            "high": line.limit_kg,
        }
        for line in lines
    ]


def clock(moment: datetime) -> str:
    return f"{timezone.localtime(moment):%H:%M}"


def outlet_caution() -> Caution:
    """Before somebody takes a sample or opens an outlet."""
    return caution(
        "waste_outlet",
        SignalWord.WARNING,
        "Waste of a regeneration is corrosive until it is proven otherwise.",
        (
            SHOWER,
            "Never pour concentrated acid or caustic into the tank by hand to bring a pH right. Treat by the plan, in stages, mixed.",
            "Open the outlet only after the release. Stay with it; shut it at once when a reading leaves the window.",
        ),
        SPLASH_GEAR,
        ("GHS05",),
        "trade_practice",
    )
