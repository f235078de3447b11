"""Two plans in figures beside each other, what is decided in each, and the tanks that they serve at another time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.core.process.vocabulary import Chemical
from regenplant.planning.models import DayPlan
from regenplant.planning.selectors import PlanShown
from regenplant.planning.totals import Totals, totals_of
from regenplant.units import UnitSystem
from regenplant.web.presenters.words import day_and_clock

MOST_TANKS = 60


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure of both plans."""

    what: str
    first: str
    second: str
    difference: str
    """Second less first; "the same" where they do not differ as written."""


@dataclass(frozen=True, slots=True)
class TankDifference:
    """A tank that is ready at another time, or in another vessel."""

    serial: str
    first: str
    second: str


@dataclass(frozen=True, slots=True)
class Compared:
    """Two plans side by side."""

    figures: tuple[FigureRow, ...]
    decided: tuple[tuple[str, tuple[str, ...]], ...]
    """Number of the plan and what was decided about it."""
    tanks: tuple[TankDifference, ...]
    left_off: int
    """Differing tanks that are not listed."""


def compared(plans: Sequence[tuple[DayPlan, PlanShown]], system: UnitSystem) -> Compared:
    """Of exactly two plans."""
    (_, first), (_, second) = plans
    tanks = list(_tanks(first, second))
    return Compared(
        figures=tuple(
            _figures(totals_of(first.problem, first.plan), totals_of(second.problem, second.plan), system)
        ),
        decided=tuple((row.number, tuple(one.sentence for one in view.decisions)) for row, view in plans),
        tanks=tuple(tanks[:MOST_TANKS]),
        left_off=max(0, len(tanks) - MOST_TANKS),
    )


def _figures(first: Totals, second: Totals, system: UnitSystem) -> list[FigureRow]:
    rows = [
        plain_row("Tanks in a batch", first.tanks, second.tanks),
        plain_row("Tanks late", first.late_tanks, second.late_tanks),
        plain_row("Hours late, by weight", first.weighted_late_h, second.weighted_late_h, 1),
        plain_row("Batches", first.batches, second.batches),
        plain_row("All ready, h after midnight of the first day", first.makespan_h, second.makespan_h, 1),
    ]
    for name in sorted({*first.chemicals_kg, *second.chemicals_kg}):
        pair = (first.chemicals_kg.get(name, 0.0), second.chemicals_kg.get(name, 0.0))
        rows.append(unit_row(f"{Chemical(name).label}, as 100 %", pair, "mass", system))
    rows.append(unit_row("Water", (first.water_m3, second.water_m3), "liquid_volume", system))
    rows.append(unit_row("To the waste tank", (first.waste_m3, second.waste_m3), "liquid_volume", system))
    rows.append(plain_row("Score", first.score, second.score))
    return rows


def plain_row(what: str, first: float, second: float, decimals: int = 0) -> FigureRow:
    """A bare number of both."""
    said = [f"{value:,.{decimals}f}".replace(",", " ") for value in (first, second)]
    more = round(second, decimals) - round(first, decimals)
    difference = f"{more:+,.{decimals}f}".replace(",", " ").replace("-", "−") if more else "the same"
    return FigureRow(what, said[0], said[1], difference)


def unit_row(what: str, pair: tuple[float, float], kind: str, system: UnitSystem) -> FigureRow:
    """A quantity of both, in the units of the reader."""
    first, second = (units.format_quantity(value, kind, system) for value in pair)
    if first == second:
        return FigureRow(what, first, second, "the same")
    more = units.format_quantity(abs(pair[1] - pair[0]), kind, system)
    return FigureRow(what, first, second, f"{'+' if pair[1] > pair[0] else '−'}{more}")


def _tanks(first: PlanShown, second: PlanShown) -> list[TankDifference]:
    places = []
    for view in (first, second):
        places.append(
            {
                name: f"{batch.vessel}, ready {day_and_clock(view.clock.moment(batch.end_min))}"
                for batch in view.plan.batches
                for name in batch.tanks
            }
        )
    serials = sorted({*places[0], *places[1]})
    return [
        TankDifference(name, places[0].get(name, "in no batch"), places[1].get(name, "in no batch"))
        for name in serials
        if places[0].get(name) != places[1].get(name)
    ]
