"""A plan against the whiteboard way: the figures of both, and where either is better, in a sentence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from regenplant.core.process.vocabulary import Chemical
from regenplant.planning.first_come import Against
from regenplant.units import UnitSystem
from regenplant.web.presenters.day_plan_compared import FigureRow, plain_row, unit_row
from regenplant.web.presenters.words import counted


@dataclass(frozen=True, slots=True)
class BesideFirstCome:
    """First come in the first column, the plan in the second."""

    sentence: str
    rows: tuple[FigureRow, ...]


def beside_first_come(against: Against, system: UnitSystem) -> BesideFirstCome:
    """Both ways in figures."""
    first, plan = against.first_come, against.plan
    one, two = first.totals, plan.totals
    rows = [
        plain_row("Tanks on time", first.on_time, plan.on_time),
        plain_row("Tanks in no batch", first.without_batch, plan.without_batch),
        plain_row("Hours late, by weight", one.weighted_late_h, two.weighted_late_h, 1),
        plain_row("Batches", one.batches, two.batches),
        plain_row("Batches below the minimum fill", first.waivers, plan.waivers),
        plain_row("Changeovers", first.changeovers, plan.changeovers),
        *(
            unit_row(
                f"{Chemical(name).label}, as 100 %",
                (one.chemicals_kg.get(name, 0.0), two.chemicals_kg.get(name, 0.0)),
                "mass",
                system,
            )
            for name in sorted({*one.chemicals_kg, *two.chemicals_kg})
        ),
        unit_row("Water", (one.water_m3, two.water_m3), "liquid_volume", system),
        unit_row("To the waste tank", (one.waste_m3, two.waste_m3), "liquid_volume", system),
        plain_row("All ready, h after midnight of the first day", one.makespan_h, two.makespan_h, 1),
        plain_row("Operators at batches, h", first.operator_h, plan.operator_h, 1),
        plain_row("Technicians at batches, h", first.technician_h, plan.technician_h, 1),
        plain_row("Score", one.score, two.score),
    ]
    return BesideFirstCome(_sentence(against), tuple(rows))


def _sentence(against: Against) -> str:
    first, plan = against.first_come, against.plan
    if plan.totals == first.totals:
        return "Both come to the same: looking ahead gains nothing here."
    saved = first.totals.weighted_late_h - plan.totals.weighted_late_h
    more = plan.on_time - first.on_time
    parts = []
    if more:
        parts.append(f"{counted(abs(more), 'tank')} {'more' if more > 0 else 'fewer'} on time")
    if abs(saved) >= 0.05:
        parts.append(
            f"{abs(saved):,.1f} h {'less' if saved > 0 else 'more'} lateness by weight".replace(",", " ")
        )
    batches = first.totals.batches - plan.totals.batches
    if batches:
        parts.append(f"{counted(abs(batches), 'batch', 'batches')} {'fewer' if batches > 0 else 'more'}")
    worse = list(_worse(against))
    said = f"The plan has {_listed(parts)}." if parts else "On time, lateness and batches are the same."
    return f"{said} First come is better in {_listed(worse)}." if worse else said


def _worse(against: Against) -> Iterable[str]:
    """Where the whiteboard does better, though the plan weighs all of it together."""
    first, plan = against.first_come, against.plan
    for words, before, after in (
        ("changeovers", first.changeovers, plan.changeovers),
        ("fill of the vessels", first.waivers, plan.waivers),
        ("chemicals", sum(first.totals.chemicals_kg.values()), sum(plan.totals.chemicals_kg.values())),
        ("water", first.totals.water_m3, plan.totals.water_m3),
        ("the hour at which all is ready", first.totals.makespan_h, plan.totals.makespan_h),
        ("hours of people", first.operator_h + first.technician_h, plan.operator_h + plan.technician_h),
    ):
        if after > before + 1e-6:
            yield words


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
