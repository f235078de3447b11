"""A plan for one batch as a person reads it: steps, chemicals, water, waste, checks, cautions. Nothing is computed here
but the room that the waste tank has left."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import protective_equipment
from regenplant.core.process.plan import BatchPlan, Caution, Check, PlannedStep, SignalWord, StockData
from regenplant.core.process.strength_change import origin_words
from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar
from regenplant.web.presenters.bed import hours_and_minutes, moment_words, planned_time
from regenplant.web.presenters.words import sentence_case
from regenplant.working import figure_json

STEP_FIGURES = (
    "duration_s",
    "volume_m3",
    "flow_m3_per_s",
    "flow_bv_per_h",
    "linear_velocity_m_per_s",
    "strength_frac",
    "temperature_kelvin",
    "dose_kg_per_m3",
    "chemical_kg_100",
    "stock_kg",
    "stock_m3",
    "dilution_water_m3",
    "dilution_water_flow_m3_per_s",
    "stock_flow_m3_per_s",
    "dilution_water_temperature_kelvin",
    "heating_duty_watt",
    "contact_time_s",
    "regenerant_ratio_frac",
    "volume_bv",
    "bed_depth_m",
    "expansion_frac",
    "expanded_height_m",
    "pressure_drop_pascal",
)
"""Figures of a step in the order a person needs them; others follow as the plan has them."""

MAIN_FIGURES = ("stock_m3", "volume_m3", "bed_depth_m", "duration_s")
"""Which figure's working stands beside a step, the first that it has."""

_ORDER = (SignalWord.DANGER, SignalWord.WARNING, SignalWord.CAUTION, SignalWord.NOTICE)


@dataclass(frozen=True, slots=True)
class Figure:
    """One number of the plan with its working."""

    name: str
    estimate: Estimate
    basis: str = ""


@dataclass(frozen=True, slots=True)
class StepView:
    """One step of a plan."""

    number: int
    name: str
    kind: str
    time: str
    instruction: str
    ends_when: str
    drain_to: str
    figures: tuple[Figure, ...]
    gear: str
    is_safe_hold_after: bool


@dataclass(frozen=True, slots=True)
class ChemicalView:
    """One chemical: the stock it comes from, and how much of it."""

    name: str
    stock: str
    """Lot, strength and when it was checked at the plant."""
    origin: tuple[str, ...]
    """How a strength that was not simply checked came about; empty else."""
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True)
class PlanView:
    """A whole plan, ready to be shown."""

    chemicals: tuple[ChemicalView, ...]
    waters: tuple[Figure, ...]
    waste_bar: LimitBar | None
    waste: tuple[Figure, ...]
    totals: tuple[Figure, ...]
    """Every total of the plan, for whoever recomputes it."""
    steps: tuple[StepView, ...]
    takes: str
    blockers: tuple[Check, ...]
    warnings: tuple[Check, ...]
    remarks: tuple[Check, ...]
    met: tuple[Check, ...]
    cautions: tuple[Caution, ...]
    gear: str
    notes: tuple[str, ...]


def plan_view(plan: BatchPlan, now: datetime, system: str) -> PlanView:
    """The plan in words, figures and panels."""
    cautions = distinct_cautions(plan.steps)
    return PlanView(
        chemicals=tuple(_chemicals(plan, now)),
        waters=tuple(
            Figure(kind.label, plan.totals[f"water_m3:{kind.value}"])
            for kind in WaterKind
            if f"water_m3:{kind.value}" in plan.totals
        ),
        waste_bar=_waste_bar(plan, system),
        waste=tuple(_named(plan, _WASTE)),
        totals=tuple(Figure(sentence_case(total.name), total) for total in plan.totals.values()),
        steps=tuple(step_view(step) for step in plan.steps),
        takes=hours_and_minutes(plan.totals["duration_s"].value),
        blockers=plan.blockers,
        warnings=plan.warnings,
        remarks=tuple(check for check in plan.checks if not (check.is_met or check.blocks or check.warns)),
        met=tuple(check for check in plan.checks if check.is_met),
        cautions=cautions,
        gear=", ".join(protective_equipment(cautions)),
        notes=plan.notes,
    )


_WASTE = (
    ("excess_eq", "Excess in the spent regenerant"),
    ("waste_ph", "pH of the mixed waste, predicted"),
    ("neutralizer_first_kg_100", "Neutralizer, first stage, as 100 %"),
    ("neutralizer_second_kg_100", "Neutralizer, second stage at most, as 100 %"),
    ("chloride_kg", "Chloride to the sewer"),
    ("sodium_kg", "Sodium to the sewer"),
)


def _named(plan: BatchPlan, wanted: Iterable[tuple[str, str]]) -> Iterable[Figure]:
    return (Figure(name, plan.totals[key]) for key, name in wanted if key in plan.totals)


def _chemicals(plan: BatchPlan, now: datetime) -> Iterable[ChemicalView]:
    for chemical in Chemical:
        if f"chemical_kg_100:{chemical.value}" not in plan.totals:
            continue
        formula = chemical.formula
        wanted = (
            (f"chemical_kg_100:{chemical.value}", f"as 100 % {formula}"),
            (f"stock_kg:{chemical.value}", "of stock, by scale"),
            (f"stock_m3:{chemical.value}", "of stock, by tank level"),
        )
        yield ChemicalView(
            name=chemical.label,
            stock=stock_words(plan.request.stock.get(chemical.value), formula, now),
            origin=blend_words(plan.request.stock.get(chemical.value), now),
            figures=tuple(
                Figure(chemical.label, plan.totals[key], basis) for key, basis in wanted if key in plan.totals
            ),
        )


def stock_words(stock: StockData | None, formula: str, now: datetime) -> str:
    """ "Lot HCL-3: 31.95 % HCl, checked Mon 06:00, 2 of 7 days old"."""
    if stock is None:
        return "No lot is in use."
    strength = units.format_quantity(stock.strength_frac, "strength")
    added = f" with {', '.join(stock.added_lots)} on top" if stock.added_lots else ""
    if stock.check_age_days is None and stock.added_lots:
        return f"Lot {stock.lot_code}{added}: not sampled, so the strength in the tank is not known."
    if stock.check_age_days is None:
        return f"Lot {stock.lot_code}: {strength} {formula} by its certificate, never checked at the plant."
    age = f"{stock.check_age_days:.0f} of {stock.max_check_age_days:.0f} days old"
    checked = moment_words(datetime.fromisoformat(stock.checked_at), now) if stock.checked_at else "before"
    worked_out = "by mass balance, " if added else ""
    return f"Lot {stock.lot_code}{added}: {strength} {formula}, {worked_out}checked {checked}, {age}."


def blend_words(stock: StockData | None, now: datetime) -> tuple[str, ...]:
    """How the strength of a blend came about: what stood there by its check, and each delivery by its sample."""
    if stock is None or not stock.added_lots or stock.check_age_days is None:
        return ()
    return origin_words(stock, lambda text: moment_words(datetime.fromisoformat(text), now))


def _waste_bar(plan: BatchPlan, system: str) -> LimitBar | None:
    """What goes to the waste tank against the room the check of the plan allows."""
    check = next((check for check in plan.checks if check.code == "waste_room"), None)
    if check is None or check.seen is None or check.allowed_high is None:
        return None
    return limit_bar(
        caption="To the waste tank, against the room in it",
        value=check.seen,
        kind="liquid_volume",
        high=max(check.allowed_high, 0.0),
        verdict="fits" if check.is_met else "no room",
        system=system,
    )


def step_view(step: PlannedStep) -> StepView:
    """One step with all its figures."""
    return StepView(
        number=step.number,
        name=step.name,
        kind=step.kind.value,
        time=planned_time(step.value("duration_s")),
        instruction=step.instruction,
        ends_when=step.ends_when,
        drain_to=step.drain_to,
        figures=tuple(
            Figure(sentence_case(step.figures[key].name), step.figures[key])
            for key in sorted(step.figures, key=_figure_place)
        ),
        gear=", ".join(protective_equipment(step.cautions)),
        is_safe_hold_after=step.is_safe_hold_after,
    )


def _figure_place(key: str) -> int:
    return STEP_FIGURES.index(key) if key in STEP_FIGURES else len(STEP_FIGURES)


def plan_json(plan: BatchPlan, system: str) -> dict[str, Any]:
    """Every figure and total of a plan with its working, for a program or for recomputing it by hand."""
    return {
        "core_version": plan.core_version,
        "totals": {key: figure_json(total, system) for key, total in plan.totals.items()},
        "steps": [
            {
                "number": step.number,
                "name": step.name,
                "kind": step.kind.value,
                "leg": step.leg.value,
                "instruction": step.instruction,
                "figures": {key: figure_json(figure, system) for key, figure in step.figures.items()},
            }
            for step in plan.steps
        ],
        "checks": [
            {
                "code": check.code,
                "is_met": check.is_met,
                "severity": check.severity.value,
                "step": check.step_number,
                "sentence": check.sentence,
            }
            for check in plan.checks
        ],
        "notes": list(plan.notes),
    }


def main_figure(step: PlannedStep) -> Estimate | None:
    """The figure of a step whose working a person asks for first."""
    return next((step.figures[key] for key in MAIN_FIGURES if key in step.figures), None)


def distinct_cautions(steps: Iterable[PlannedStep]) -> tuple[Caution, ...]:
    """Every caution of these steps once, the gravest first."""
    found: dict[str, Caution] = {}
    for step in steps:
        for caution in step.cautions:
            found.setdefault(f"{caution.code} {caution.headline}", caution)
    return by_gravity(found.values())


def by_gravity(cautions: Iterable[Caution]) -> tuple[Caution, ...]:
    """Danger before warning before caution before notice."""
    return tuple(sorted(cautions, key=lambda caution: _ORDER.index(caution.signal)))
