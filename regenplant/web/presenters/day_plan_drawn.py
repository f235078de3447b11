"""A made plan as it is drawn, and the same as tables: what every batch shares at its tightest, and how busy each vessel is by day."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.urls import reverse
from django.utils import timezone

from regenplant import units
from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.core.scheduling.loads import Load, LoadKind, loads
from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import Stay, StayKind, occupied_min
from regenplant.drawing.day_plan import PlanDrawing, day_plan_scene, names_scene
from regenplant.drawing.scene import Scene
from regenplant.planning.by_day import day_window, days_of, hours_of, lanes_of, plan_window, unstaffed
from regenplant.planning.selectors import PlanShown
from regenplant.plant.days import plant_day
from regenplant.units import UnitSystem
from regenplant.web.presenters.words import sentence_case

MOST_DAYS = 7
"""So many days are drawn; later ones stand in the tables."""


MOST_IN_PRINT = 1450
"""Pixels of a drawing that a printed page across takes at the usual size, beside its head and its foot."""

OVER = "more than there is"

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
class DayDrawn:
    """The drawing of one day, and what has no place in it because nothing happens there, as a sentence; empty where all is used."""

    day: date
    scene: Scene
    names: Scene
    """The names of its vessels and the captions below them alone, which stay while the hours are scrolled."""
    unused: str
    is_tall: bool
    """Whether it is printed smaller, so that the day stays on one page."""


@dataclass(frozen=True, slots=True)
class PlanDrawn:
    """The drawings, one for each day on which something stands in a vessel, and their tables."""

    scenes: tuple[DayDrawn, ...]
    later: int
    """Days after those that are not drawn."""
    limits: tuple[LimitRow, ...]
    days: tuple[date, ...]
    busy: tuple[BusyRow, ...]


def plan_drawn(view: PlanShown, now: datetime, system: UnitSystem) -> PlanDrawn | None:
    """All that is drawn of a plan; None for one without a batch."""
    if not view.plan.batches:
        return None
    lanes = lanes_of(view)
    whole = plan_window(view, lanes.values())
    shared = [load.within(whole) for load in loads(view.problem, view.plan)]
    rows = [_limit_row(view, load, system) for load in shared if load.is_used]
    days = tuple(days_of(view, whole))
    drawn = [(day, window) for day in days if (window := hours_of(view, whole, lanes.values(), day))]
    scenes = tuple(
        _day_drawn(view, day, window, now, lanes, shared, system) for day, window in drawn[:MOST_DAYS]
    )
    later = max(0, len(drawn) - MOST_DAYS)
    return PlanDrawn(scenes, later, tuple(rows), days, tuple(_busy(view, whole, lanes, days)))


def today_drawn(view: PlanShown, now: datetime, system: UnitSystem) -> DayDrawn | None:
    """The drawing of today, or of the first day after it on which something stands; None where nothing does."""
    if not view.plan.batches:
        return None
    lanes = lanes_of(view)
    whole = plan_window(view, lanes.values())
    today = plant_day(now)
    for day in days_of(view, whole):
        window = hours_of(view, whole, lanes.values(), day) if day >= today else None
        if window is not None:
            shared = [load.within(whole) for load in loads(view.problem, view.plan)]
            return _day_drawn(view, day, window, now, lanes, shared, system)
    return None


def _day_drawn(
    view: PlanShown,
    day: date,
    window: Window,
    now: datetime,
    lanes: Mapping[str, tuple[Stay, ...]],
    shared: Sequence[Load],
    system: UnitSystem,
) -> DayDrawn:
    """What is used on the day; the rest in a sentence."""
    here = {name: row for name, row in lanes.items() if _stands(row, window)}
    of_day = [load.within(window) for load in shared]
    drawing = PlanDrawing(
        zero=timezone.localtime(view.clock.zero),
        shown=window,
        now_min=(now - view.clock.zero).total_seconds() / 60,
        lanes=tuple(here.items()),
        loads=tuple((_caption(view, load, system), load) for load in of_day if load.is_used),
        nobody=tuple(unstaffed(view, window)),
        links=_links(view),
    )
    unused = (
        *(name for name in lanes if name not in here),
        *(_name(one) for one in of_day if not one.is_used),
    )
    scene = day_plan_scene(drawing)
    return DayDrawn(
        day,
        scene,
        names_scene(drawing),
        f"Not used on this day: {', '.join(unused)}." if unused else "",
        is_tall=scene.height > MOST_IN_PRINT,
    )


def _links(view: PlanShown) -> dict[str, tuple[str, str]]:
    """Address and name of every batch: what runs leads to its own page."""
    links = {one.id: (reverse("batches-detail", args=[one.id]), one.id) for one in view.problem.running}
    for batch in view.plan.batches:
        url = reverse("day-plan-batch", args=[view.number, batch.id])
        links[batch.id] = (url, view.codes.get(batch.id, batch.id))
    return links


def _stands(row: Iterable[Stay], window: Window) -> bool:
    return any(
        stay.kind is not StayKind.CLOSED
        and stay.start_min < window.end_min
        and window.start_min < stay.end_min
        for stay in row
    )


def _caption(view: PlanShown, load: Load, system: UnitSystem) -> str:
    """What the line is, with its highest value of these hours and the limit then; of a stock the lowest. Where more is taken than there is,
    how much then. Short, because it stays in sight on a tablet while the hours are scrolled."""
    at_min, amount = load.peak()
    word = "lowest" if load.kind is LoadKind.STOCK else "peak"
    limit = _amount(view, load, load.room_at(at_min), system)
    over_min, over = load.tightest()
    if _word(load, over, load.room_at(over_min)) == OVER:
        at = f"{timezone.localtime(view.clock.moment(round(over_min))):%H:%M}"
        taken = _amount(view, load, over, system)
        return f"{_name(load)}: over at {at}: {taken}, limit {_amount(view, load, load.room_at(over_min), system)}"
    name = f"{Chemical(load.name).label}, as 100 %" if load.kind is LoadKind.STOCK else _name(load)
    return f"{name}: {word} {_amount(view, load, amount, system)}, limit {limit}"


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
        return OVER
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
