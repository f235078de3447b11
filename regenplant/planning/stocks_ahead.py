"""How long each chemical tank lasts: what open batches still draw, then the accepted plan, then the usual use; with what is expected.

One forecast for every page that tells one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from regenplant.batches.selectors.chemical_needs import Need, needs
from regenplant.chemicals import counts, selectors
from regenplant.chemicals.expected import coming_days, expected
from regenplant.chemicals.models import ExpectedDelivery, Place
from regenplant.core.process.stock_forecast import PlannedCourse, StockForecast, forecast
from regenplant.planning.models import PlanAcceptance
from regenplant.planning.selectors import waiting_batches
from regenplant.planning.shortages import planned_draws
from regenplant.plant.days import Calendar, calendar


@dataclass(frozen=True, slots=True)
class TankAhead:
    """One tank."""

    place: Place
    forecast: StockForecast
    open_needs: tuple[Need, ...]
    """What open batches still draw from it."""
    awaited: tuple[ExpectedDelivery, ...]
    """What is expected for it, overdue ones too, soonest first."""
    plan: str
    """Number of the accepted plan whose draws are in it; "" for none."""


def stocks_ahead(now: datetime) -> list[TankAhead]:
    """Every bulk tank, by chemical and code. A plan draws from the tank into which the lot in use was received."""
    here = calendar()
    held, today = selectors.balances(), here.day(now)
    drawn_from = {
        chemical: selectors.place_of(lot) for chemical, (lot, _) in selectors.strengths_standing().items()
    }
    still, awaited = needs(), list(expected())
    number, courses = planned_courses(here, today)
    found = []
    for place in selectors.bulk_tanks():
        is_drawn = drawn_from.get(place.chemical) == place
        own = tuple(need for need in still if is_drawn and need.chemical == place.chemical)
        course = courses.get(place.chemical) if is_drawn else None
        coming = tuple(row for row in awaited if row.place_id == place.pk)
        made = forecast(
            held.get((place.chemical, place.pk), 0) / 1000.0,
            place.low_stock_grams_100 / 1000.0,
            sum(need.kg_100 for need in own),
            counts.usual_use_of(place, now),
            coming_days(coming, today),
            course,
        )
        found.append(TankAhead(place, made, own, coming, number if course is not None else ""))
    return found


def planned_courses(here: Calendar, today: date) -> tuple[str, Mapping[str, PlannedCourse]]:
    """Number of the accepted plan and what its batches that nobody started yet draw, by value of ``Chemical`` and day from today; what
    should have begun before today counts today. Every chemical has the same last day: a plan that draws none says that too."""
    acceptance = PlanAcceptance.objects.first()
    waiting = [row for row in waiting_batches() if acceptance and row.acceptance_id == acceptance.pk]
    if acceptance is None or not waiting:
        return "", {}
    reach = max(max(0, (here.day(row.ready_at) - today).days) for row in waiting)
    by_day: dict[str, dict[int, float]] = defaultdict(lambda: defaultdict(float))
    for name, draws in planned_draws(acceptance, {row.plan_batch for row in waiting}).items():
        for at, kg in draws:
            by_day[name][max(0, (here.day(at) - today).days)] += kg
    chemicals = set(by_day) | set(selectors.stored_chemicals())
    return acceptance.number, {
        name: PlannedCourse(tuple(sorted(by_day[name].items())), reach) for name in chemicals
    }
