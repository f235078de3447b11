"""One batch of the audit in rows: what was planned, written, weighed and moved for each step."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.batches.models import StepEntry
from regenplant.chemicals.models import Movement
from regenplant.core.engineering.estimate import Estimate
from regenplant.use.gathering import RATIO, signed_grams
from regenplant.use.selectors import BatchUse
from regenplant.use.selectors.one_batch import StepDetail
from regenplant.web.templatetags.quantities import signed_percent


@dataclass(frozen=True, slots=True)
class EntryRow:
    """An entry as it was typed."""

    entry: StepEntry
    words: str
    is_replaced: bool


@dataclass(frozen=True, slots=True)
class MovementRow:
    """A movement, out of the stock above zero."""

    movement: Movement
    kg: float


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step on the page."""

    detail: StepDetail
    title: str
    facts: tuple[tuple[str, str], ...]
    estimates: tuple[Estimate, ...]
    """Workings of plan and ratio, from the frozen plan."""
    entries: tuple[EntryRow, ...]
    movements: tuple[MovementRow, ...]
    told: str
    """Where entry and ledger do not say the same; "" where they do."""


def step_rows(found: BatchUse, system: str) -> list[StepRow]:
    """Every step that brings a chemical and ended, and what no step of the plan brings."""
    return [_row(detail, system) for detail in found.steps]


def _mass(grams: float, system: str) -> str:
    return units.format_quantity(grams / 1000.0, "mass", system)


def _row(detail: StepDetail, system: str) -> StepRow:
    use, planned = detail.use, detail.planned
    facts = []
    if use.theory_grams:
        facts.append(("Theory, by stoichiometry", _mass(use.theory_grams, system)))
    facts.append(("Planned", _mass(use.planned_grams, system)))
    facts.append(("Used, by the ledger", _mass(use.used_grams, system)))
    if use.planned_grams:
        off = (use.used_grams - use.planned_grams) / use.planned_grams
        facts.append(("Used − plan", signed_percent(off)))
    if use.theory_grams and use.used_grams:
        facts.append(
            ("Ratio, efficiency", f"{use.used_grams / use.theory_grams:.2f}, {100 * use.theory_grams / use.used_grams:.0f} %")
        )  # fmt: skip
    if detail.check is not None and planned is not None:
        check = detail.check
        facts.append(
            (
                "Strength of the plan",
                f"{100 * check.strength_frac:.2f} % by weight, lot {check.lot.code}, by {check.checked_by.full_name}: "
                f"{check.value_as_typed} {check.unit_as_typed}".strip(),
            )
        )
    name = f"{planned.number} · {planned.name}" if planned is not None else "Not in the plan"
    figures = planned.figures if planned is not None else {}
    estimates = tuple(figures[key] for key in ("chemical_kg_100", RATIO) if key in figures)
    counts = {
        entry.key: entry.pk for entry in detail.entries
    }  # in order: the newest of a key is the one that counts
    return StepRow(
        detail,
        f"{name}: {detail.chemical.formula}",
        tuple(facts),
        estimates,
        tuple(
            EntryRow(entry, entry.words, counts[entry.key] != entry.pk)
            for entry in detail.entries
            if entry.kind in ("quantity", "number") or entry.value is not None
        ),
        tuple(MovementRow(row, signed_grams(row) / 1000.0) for row in detail.movements),
        _told(detail, system),
    )


def _told(detail: StepDetail, system: str) -> str:
    if detail.planned is None:
        return "The plan has no step that brings this chemical. See what the movement was for, and take it back if it belongs elsewhere."
    if detail.run is None:
        return ""
    from regenplant.batches.endings import mass_fed_kg_100

    written = round(mass_fed_kg_100(detail.run, detail.planned) * 1000)
    if abs(written - detail.use.used_grams) <= 1:
        return ""
    return (
        f"By what is written down {_mass(written, system)} went in, by the ledger {_mass(detail.use.used_grams, system)}. One was corrected "
        "and the other was not."
    )
