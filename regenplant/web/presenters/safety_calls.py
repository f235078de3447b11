"""What other rooms keep and the safety lead must see: each with its way there, the worst first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from regenplant import units
from regenplant.chemicals.counts import open_differences
from regenplant.chemicals.expected import overdue
from regenplant.chemicals.expiring import expiring
from regenplant.chemicals.models import Unloading
from regenplant.chemicals.reporting import thresholds
from regenplant.chemicals.selectors import StockLine, deliveries, stock_board
from regenplant.chemicals.spills import open_spills
from regenplant.chemicals.weighing import open_weighings
from regenplant.core.process.thresholds import CONFIRM, Counted, ThresholdKind
from regenplant.core.process.vocabulary import Chemical
from regenplant.units import UnitSystem
from regenplant.waste.excursion_models import Excursion
from regenplant.waste.held import standings


@dataclass(frozen=True, slots=True)
class Call:
    """Something that waits for a person: what it is, in words, and the way to it."""

    title: str
    words: str
    url: str
    action: str
    tone: str = "amber"
    symbol: str = "check"


@dataclass(frozen=True, slots=True)
class Reached:
    """A chemical of which as much stands here now as its inventory threshold says."""

    title: str
    words: str


def elsewhere_calls(board: Sequence[StockLine], now: datetime, system: UnitSystem) -> list[Call]:
    """Deliveries that were stopped or did not come, spills, excursions, tanks that are too full, counts that differ, and what has run out by its day."""
    return [
        *_stopped(),
        *_spilled(system),
        *_excursions(),
        *_too_full(board, system),
        *_differences(system),
        *_weighed(),
        *_not_come(now),
        *_run_out(now),
    ]


def reached(board: Sequence[StockLine], system: UnitSystem) -> list[Reached]:
    """Inventory thresholds that what stands here now comes up to. It calls for nobody: it is a fact to be known. One query."""
    limits, found = thresholds(), []
    for line in board:
        limit = limits.get((line.chemical, ThresholdKind.INVENTORY))
        if limit is None:
            continue
        mass = line.kg_100
        if limit.counted is Counted.PRODUCT:
            strength = line.standing.strength_frac or (
                line.lot.certificate_strength_frac if line.lot else None
            )
            if strength is None:
                continue
            mass /= strength
        if limit.is_reached(mass):
            found.append(
                Reached(
                    f"{line.chemical.label}.",
                    f"{units.twin(mass, 'mass', system)} stand here, {limit.counted.label}; from {units.twin(limit.limit_kg, 'mass', system)} "
                    f"on the inventory is reported ({limit.citation}).",
                )
            )
    return found


def board_of(now: datetime) -> list[StockLine]:
    """What stands in every chemical tank now, read once for the page."""
    return stock_board(now)


def _stopped() -> list[Call]:
    rows = deliveries().filter(state=Unloading.State.STOPPED, answered_by=None).order_by("stopped_at", "id")
    return [
        Call(
            f"{row.number} for {row.place.code} was stopped.",
            f"{row.alarm} A supervisor answers it.",
            reverse("chemicals-unloading", args=[row.number]),
            "Open it",
            "red",
            "refused",
        )
        for row in rows
    ]


def _not_come(now: datetime) -> list[Call]:
    """Expected deliveries past their day."""
    return [
        Call(
            f"{row.number} for {row.place.code} was due on {row.due_on:%Y-%m-%d}.",
            f"Order {row.order_number} did not come; the forecast of stock counts with it no more.",
            reverse("chemicals-expected-change", args=[row.number]),
            "Open it",
        )
        for row in overdue(timezone.localdate(now))
    ]


def _spilled(system: UnitSystem) -> list[Call]:
    found = []
    for row in open_spills():
        figure = max(row.figures.all(), key=lambda one: one.position, default=None)
        against = ""
        if figure is not None and figure.is_reached:
            against = (
                f" {units.twin(figure.day_grams / 1000.0, 'mass', system)} within a day: at or over the reportable quantity, "
                f"{figure.limit_words}. {CONFIRM}"
            )
        found.append(
            Call(
                f"Spill {row.number}, {Chemical(row.chemical).label.lower()}, {row.location}.",
                f"{row.what_happened} Open since {timezone.localtime(row.happened_at):%Y-%m-%d}.{against}",
                reverse("chemicals-spill", args=[row.number]),
                "Open it",
                "red",
                "refused",
            )
        )
    return found


def _excursions() -> list[Call]:
    rows = Excursion.objects.filter(closed_at__isnull=True).order_by("happened_at", "id")
    return [
        Call(
            f"Excursion {row.number}, {row.get_kind_display()}.",
            f"{row.words} Open since {timezone.localtime(row.happened_at):%Y-%m-%d}.",
            reverse("waste-excursion", args=[row.number]),
            "Open it",
            "red",
            "refused",
        )
        for row in rows
    ]


def _too_full(board: Sequence[StockLine], system: UnitSystem) -> list[Call]:
    """Chemical tanks over their room, and waste tanks that stand in their reserve or over all they hold."""
    found = []
    for stock in (stock for line in board for stock in line.places):
        place, holds = stock.place, stock.volume_m3
        if place.capacity_m3 is None or holds is None or holds <= place.capacity_m3 - place.ullage_margin_m3:
            continue
        found.append(
            _full(
                place.code,
                holds,
                place.capacity_m3,
                place.ullage_margin_m3,
                reverse("chemicals-tank", args=[place.code]),
                "Count it",
                system,
            )
        )
    for waste in standings():
        if waste.volume_m3 > waste.tank.planned_most_m3:
            tank, url = waste.tank, reverse("waste-tank", args=[waste.tank.code])
            found.append(
                _full(
                    tank.code,
                    waste.volume_m3,
                    tank.capacity_m3,
                    tank.reserve_m3,
                    url,
                    "Open the tank",
                    system,
                )
            )
    return found


def _full(
    code: str, holds: float, capacity: float, kept_free: float, url: str, action: str, system: UnitSystem
) -> Call:
    def volume(value: float) -> str:
        return units.twin(value, "liquid_volume", system)

    is_over = holds > capacity
    of_it = (
        "so read its level now"
        if is_over
        else f"of which {volume(kept_free)} stay free for what nobody expects"
    )
    return Call(
        f"{code} is too full.",
        f"By the books {volume(holds)} stand in it; it holds {volume(capacity)}, {of_it}. Let nothing more in.",
        url,
        action,
        "red" if is_over else "amber",
        "refused" if is_over else "check",
    )


def _differences(system: UnitSystem) -> list[Call]:
    found = []
    for one in open_differences():
        gap, count = one.gap_grams_100, one.count
        side = "less" if gap < 0 else "more"
        found.append(
            Call(
                f"Count {count.number} of {count.place.code} differs.",
                f"{units.twin(abs(gap) / 1000.0, 'mass', system)} as 100 % {side} than the books say. A leak looks like this: look at the tank, then "
                "another person than who counted books it with its reason.",
                reverse("chemicals-count", args=[count.number]),
                "See to it",
            )
        )
    return found


def _weighed() -> list[Call]:
    return [
        Call(
            f"Weigh ticket {one.paper_number} of {one.unloading.number} for {one.unloading.place.code} differs.",
            "More than the plant allows. Another person than who wrote it says where that comes from.",
            reverse("chemicals-unloading", args=[one.unloading.number]),
            "See to it",
        )
        for one in open_weighings()
    ]


def _run_out(now: datetime) -> list[Call]:
    found = []
    for one in expiring(now):
        if not one.is_overdue:
            continue
        name = Chemical(one.chemical).label.lower()
        page = "chemicals-tank" if one.is_tank else "chemicals-lot"
        ended = f"Was due {one.day}." if one.day is not None else "Nothing on record tells it."
        found.append(
            Call(
                f"{one.what}: {one.of}, {name}.",
                f"{ended} {one.consequence}",
                reverse(page, args=[one.of]),
                "See to it",
                symbol="overdue",
            )
        )
    return found
