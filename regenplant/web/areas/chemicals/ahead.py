"""What is ahead: how long each stock lasts, and what runs out by its day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant import units
from regenplant.chemicals import counts
from regenplant.chemicals.expected import expected
from regenplant.chemicals.expiring import expiring
from regenplant.chemicals.models import ExpectedDelivery, Place
from regenplant.core.process.reconciliation import StockFigures
from regenplant.core.process.stock_forecast import StockForecast
from regenplant.planning.stocks_ahead import TankAhead, stocks_ahead
from regenplant.plant.selectors import plant_day
from regenplant.units import UnitSystem
from regenplant.web.areas.chemicals import shown_counts
from regenplant.web.areas.chemicals.expecting import expected_facts
from regenplant.web.presenters.words import counted, sentence_case
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemicals import ExpiryTable


@dataclass(frozen=True, slots=True)
class Ahead:
    """One tank with its forecast in words."""

    place: Place
    name: str
    forecast: StockForecast
    when: str
    why: str
    order: str
    coming: str = ""
    """What is expected for it, in words."""

    @property
    def is_urgent(self) -> bool:
        return self.order.startswith("Order now")


@require_safe
def ahead_page(request: HttpRequest) -> HttpResponse:
    now, system = timezone.now(), unit_system_of(request)
    figures, today = counts.stock_figures(now), plant_day(now)
    awaited = list(expected())
    lines = [_ahead(tank, figures, now, system) for tank in stocks_ahead(now)]
    rows = expiring(now)
    context = {
        "lines": lines,
        "sentence": _sentence(
            lines,
            sum(row.is_overdue for row in rows),
            sum(row.is_soon for row in rows),
            sum(row.due_on < today for row in awaited),
        ),
        "table": ExpiryTable(rows),
        "expected": [(row, expected_facts(row, system)[2][1], row.due_on < today) for row in awaited],
        "receive": right(request, "chemical.receive"),
    }
    return render(request, "chemicals/ahead.html", context)


def _ahead(tank: TankAhead, figures: StockFigures, now: datetime, system: UnitSystem) -> Ahead:
    return Ahead(
        tank.place,
        shown_counts.chemical_name(tank.place),
        tank.forecast,
        shown_counts.crossing_words(tank.forecast, now),
        shown_counts.reason_words(tank, now, system),
        shown_counts.order_words(tank.forecast, figures, now),
        _coming(tank.awaited, plant_day(now), system),
    )


def _coming(rows: Sequence[ExpectedDelivery], today: date, system: UnitSystem) -> str:
    """What is expected for a tank, and what of it is overdue and so not counted with."""
    parts = [
        f"{units.twin(row.grams_100 / 1000.0, 'mass', system)} {'was' if row.due_on < today else 'is'} expected on {row.due_on} "
        f"({row.number}{', overdue and not counted with' if row.due_on < today else ''})"
        for row in rows
    ]
    return f"{'; '.join(parts)}." if parts else ""


def _sentence(lines: list[Ahead], overdue: int, soon: int, late: int) -> str:
    urgent = [line.place.code for line in lines if line.is_urgent]
    first = f"To be ordered now: {', '.join(urgent)}." if urgent else "Nothing has to be ordered today."
    if late:
        first += f" {sentence_case(counted(late, 'expected delivery', 'expected deliveries'))} {'is' if late == 1 else 'are'} overdue."
    parts = []
    if overdue:
        parts.append(f"{overdue} overdue")
    if soon:
        parts.append(f"{soon} due soon")
    return f"{first} Checks, dates and counts: {', '.join(parts) if parts else 'all in time'}."
