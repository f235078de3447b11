"""A made plan as it is drawn, and the same as tables: what every batch shares at its tightest, and how busy each vessel is by day."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.urls import reverse
from django.utils import timezone

from regenplant import units
from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.core.scheduling.loads import Load, LoadKind, loads
from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import Stay, occupied_min, stays
from regenplant.drawing.day_plan import PlanDrawing, day_plan_scene
from regenplant.drawing.scene import Scene
from regenplant.planning.by_day import day_window, days_of, hours_of, plan_window, unstaffed
from regenplant.planning.selectors import PlanShown
from regenplant.units import UnitSystem
from regenplant.web.presenters.words import sentence_case

MOST_DAYS = 7
"""So many days are drawn; later ones stand in the tables."""


OVER_FRAC = 1e-9
"""Rounding of sums is no overload."""


@dataclass(frozen=True, slots=True)
class LimitRow:
    """Something that is shared, when it is tightest, and its limit."""

    what: str
    tightest: str
    limit: str
    at: datetime
    word: str
    """Said where nothing is left, or more is taken than there is; empty otherwise."""


@dataclass(frozen=True, slots=True)
class BusyRow:
    """A vessel and how busy it is on each day, in percent of the time that is planned on it."""

    vessel: str
    percents: tuple[int, ...]
    whole: int
    is_bottleneck: bool


@dataclass(frozen=True, slots=True)
class PlanDrawn:
    """The drawings, one for each day on which something stands in a vessel, and their tables."""

    scenes: tuple[tuple[date, Scene], ...]
    later: int
    """Days after those that are not drawn."""
    limits: tuple[LimitRow, ...]
    days: tuple[date, ...]
    busy: tuple[BusyRow, ...]


def plan_drawn(view: PlanShown, now: datetime, system: UnitSystem) -> PlanDrawn | None:
    """All that is drawn of a plan; None for one without a batch."""
    if not view.plan.batches:
        return None
    lanes = stays(view.problem, view.plan)
    whole = plan_window(view, lanes.values())
    shared = [
        load for load in loads(view.problem, view.plan) if any(at < whole.end_min for at, _ in load.taken)
    ]
    rows = [_limit_row(view, load, system) for load in shared]
    captions = tuple((_caption(row, load), load) for row, load in zip(rows, shared, strict=True))
    links = {
        batch.id: (
            reverse("day-plan-batch", args=[view.number, batch.id]),
            view.codes.get(batch.id, batch.id),
        )
        for batch in view.plan.batches
    }
    days = tuple(days_of(view, whole))
    drawn = [(day, window) for day in days if (window := hours_of(view, whole, lanes.values(), day))]
    scenes = tuple(
        (
            day,
            day_plan_scene(
                PlanDrawing(
                    zero=timezone.localtime(view.clock.zero),
                    shown=window,
                    now_min=(now - view.clock.zero).total_seconds() / 60,
                    lanes=tuple(lanes.items()),
                    loads=captions,
                    nobody=tuple(unstaffed(view, window)),
                    links=links,
                )
            ),
        )
        for day, window in drawn[:MOST_DAYS]
    )
    later = max(0, len(drawn) - MOST_DAYS)
    return PlanDrawn(scenes, later, tuple(rows), days, tuple(_busy(view, whole, lanes, days)))


def _caption(row: LimitRow, load: Load) -> str:
    """What the line is, with its tightest moment in the whole plan."""
    if load.kind is LoadKind.STOCK:
        return f"{row.what}: at least {row.tightest}, {row.limit} must stay"
    return f"{row.what}: at most {row.tightest} of {row.limit}"


def _name(load: Load) -> str:
    match load.kind:
        case LoadKind.SKID:
            return f"{Chemical(load.name).label} skid"
        case LoadKind.STOCK:
            return f"{Chemical(load.name).label} in stock, as 100 %"
        case LoadKind.WATER:
            return sentence_case(WaterKind(load.name).label)
        case LoadKind.WASTE:
            return "Waste tank"
        case LoadKind.PEOPLE:
            return sentence_case(load.name)


def _limit_row(view: PlanShown, load: Load, system: UnitSystem) -> LimitRow:
    at_min, amount = load.tightest()
    limit = load.room_at(at_min)
    return LimitRow(
        what=_name(load),
        tightest=_amount(view, load, amount, system),
        limit=_amount(view, load, limit, system),
        at=view.clock.moment(round(at_min)),
        word=_word(load, amount, limit),
    )


def _word(load: Load, amount: float, limit: float) -> str:
    over = limit - amount if load.kind is LoadKind.STOCK else amount - limit
    if over > OVER_FRAC * max(1.0, limit):
        return "more than there is"
    return "all of it" if over >= 0.0 else ""


def _amount(view: PlanShown, load: Load, amount: float, system: UnitSystem) -> str:
    match load.kind:
        case LoadKind.WATER:
            return units.format_quantity(amount / 60_000, "flow", system)
        case LoadKind.WASTE:
            return units.format_quantity(amount / 1000, "liquid_volume", system)
        case LoadKind.STOCK:
            return units.format_quantity(amount, "mass", system)
        case LoadKind.PEOPLE if load.name == "operators' attention":
            people = amount / view.problem.attention_per_operator
            return f"{people:g} operator{'' if people == 1 else 's'}"
        case LoadKind.PEOPLE | LoadKind.SKID:
            return f"{amount:.0f}"


def _busy(
    view: PlanShown, shown: Window, lanes: dict[str, tuple[Stay, ...]], days: tuple[date, ...]
) -> Iterator[BusyRow]:
    """In the order of the vessels; the busiest is the bottleneck, if it is busy at all."""
    windows = [day_window(view, shown, day) for day in days]
    taken = {name: [occupied_min(row, window) for window in windows] for name, row in lanes.items()}
    most = max((sum(minutes) for minutes in taken.values()), default=0)
    length = shown.end_min - shown.start_min
    for name, minutes in taken.items():
        yield BusyRow(
            name,
            tuple(
                round(100 * part / (window.end_min - window.start_min))
                for part, window in zip(minutes, windows, strict=True)
            ),
            round(100 * sum(minutes) / length),
            bool(most) and sum(minutes) == most,
        )
