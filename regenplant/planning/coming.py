"""The coming two weeks: stocks, people, vessels and what is shared, day by day. From the accepted plan as long as it reaches; behind it from
what the same days of the week asked in the last weeks; nothing where neither says anything.

Of a plan only what still waits counts, with what runs now. A batch that should have begun counts from now on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise

from regenplant.core.scheduling.checker import judged
from regenplant.core.scheduling.days_ahead import Asked, Usual, by_day, overtime_by_day
from regenplant.core.scheduling.plan import Plan, PlannedBatch, PlannedStage
from regenplant.core.scheduling.problem import Shift
from regenplant.core.scheduling.uses import Uses, planned_uses, uses_of
from regenplant.planning.accepted_text import accepted_content
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import PlanningFigures
from regenplant.planning.figures_kept import figures_in_force
from regenplant.planning.kept import notes_from, plan_from, problem_from
from regenplant.planning.live import SLOT_MIN
from regenplant.planning.models import PlanAcceptance
from regenplant.planning.running import laid_under_way
from regenplant.planning.selectors import waiting_batches
from regenplant.planning.shared import shared_at
from regenplant.planning.stocks_ahead import TankAhead, stocks_ahead
from regenplant.planning.usual_load import (
    OPERATORS,
    TECHNICIANS,
    WASTE,
    Spans,
    Thing,
    ThingKind,
    UsualLoad,
    usual_load,
)
from regenplant.plant.days import calendar
from regenplant.plant.models import Skid, Vessel, WaterSupply
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import waste_tank

DAYS = 14
ATTENTION = 4
"""Units of a whole operator in a plan."""


@dataclass(frozen=True, slots=True)
class DayAhead:
    """One day. Of people in hours, of vessels and skids in hours, of water and waste in litres."""

    day: date
    is_planned: bool
    """From the plan; else from the record."""
    asked: Mapping[Thing, Asked]
    """Nothing for what neither plan nor record says."""
    spread: Mapping[Thing, float]
    """Standard deviation of single days, of what comes from the record."""
    overtime_h: Mapping[Thing, float]
    """Of operators and technicians: needed when none of them works by the planning figures, or beyond all hours of a day."""


@dataclass(frozen=True, slots=True)
class ComingDays:
    """Two weeks from today on."""

    days: tuple[DayAhead, ...]
    tanks: tuple[TankAhead, ...]
    plan: str
    """Number of the accepted plan; "" where none was accepted or nothing of it waits."""
    planned_days: int
    record_days: int
    """Whole days of the record behind what comes from it; 0 for none."""

    @property
    def is_empty(self) -> bool:
        """Whether neither a plan nor the record says anything of people and vessels."""
        return not any(day.asked for day in self.days)


def coming_days(now: datetime) -> ComingDays:
    """Everything of the page. The accepted plan is read as it was kept, the rest as it stands."""
    figures = figures_in_force()
    clock = PlanClock(now, SLOT_MIN, DAYS)
    here = calendar()
    today = here.day(now)
    days = [today + timedelta(days=number) for number in range(DAYS)]
    edges = [clock.minute(here.start(day)) for day in (*days, today + timedelta(days=DAYS))]
    number, reach, spans = _planned(clock, figures, today)
    usual = usual_load(now, figures)
    from_now = _there(clock, figures, edges, now)
    whole_days = _there(PlanClock(here.start(today), SLOT_MIN, DAYS), figures, edges, now)
    sums = {thing: by_day(own, edges) for thing, own in spans.items()}
    over = {
        thing: overtime_by_day(spans.get(thing, []), from_now.people[thing], edges)
        for thing in (OPERATORS, TECHNICIANS)
    }
    found = []
    for index, day in enumerate(days):
        if index < reach:
            found.append(_planned_day(day, index, sums, over, from_now.amounts))
        else:
            found.append(_usual_day(day, index, usual, whole_days.amounts))
    return ComingDays(tuple(found), tuple(stocks_ahead(now)), number, reach, usual.days)


# --- what the plan asks ---------------------------------------------------------------------------------------------------
def _planned(clock: PlanClock, figures: PlanningFigures, today: date) -> tuple[str, int, Spans]:
    """Number of the plan, how many days it covers, and what it and running batches take, in minutes of the clock."""
    acceptance = PlanAcceptance.objects.first()
    waiting = [row for row in waiting_batches() if acceptance and row.acceptance_id == acceptance.pk]
    if acceptance is None or not waiting:
        return "", 0, {}
    content = accepted_content(acceptance.content)
    problem, notes = problem_from(content["problem"]), notes_from(content["notes"])
    moved_min = round((notes.clock.zero - clock.zero).total_seconds() / 60)
    names = {row.plan_batch for row in waiting}
    plan = plan_from(content["plan"])
    batches = tuple(_shifted(batch, moved_min, clock.now_min) for batch in plan.batches if batch.id in names)
    whole = judged(problem, Plan(plan.instance, batches))
    under_way = laid_under_way(shared_at(clock, figures).limits, clock, figures)
    spans: Spans = defaultdict(list)
    for uses in (planned_uses(whole), uses_of(under_way.batches)):
        _add(spans, uses)
    for item in whole:
        span = (float(item.batch.start_min), float(item.vessel_free_min), 1.0)
        way = notes.ways.get(item.key.family)
        beside = way.anion_vessels.get(item.vessel.id) if way else None
        for code in filter(None, (item.vessel.id, beside)):
            spans[Thing(ThingKind.VESSEL, code)].append(span)
    codes = dict(Vessel.objects.filter(pk__in=list(under_way.vessels)).values_list("pk", "code"))
    for pk, one in under_way.vessels.items():
        spans[Thing(ThingKind.VESSEL, codes[pk])].append((float(clock.now_min), float(one.free_min), 1.0))
    last = max(batch.end_min for batch in batches)
    reach = (clock.moment(last - 1).astimezone(clock.zone).date() - today).days + 1
    return acceptance.number, min(DAYS, reach), spans


def _shifted(batch: PlannedBatch, moved_min: int, now_min: int) -> PlannedBatch:
    """The batch in minutes of today; one that should have begun begins now."""
    by = moved_min + max(0, now_min - batch.start_min - moved_min)
    stages = tuple(PlannedStage(one.name, one.start_min + by, one.end_min + by) for one in batch.stages)
    return replace(batch, stages=stages)


def _add(spans: Spans, uses: Uses) -> None:
    for start, end, units in uses.people["operators' attention"]:
        spans[OPERATORS].append((start, end, units / ATTENTION))
    spans[TECHNICIANS] += [
        (start, end, float(people)) for start, end, people in uses.people["QC technicians"]
    ]
    for chemical, held in uses.skids.items():
        spans[Thing(ThingKind.SKID, chemical)] += [(start, end, float(lines)) for start, end, lines in held]
    for water, flows in uses.water.items():
        spans[Thing(ThingKind.WATER, water)] += [(start, end, float(flow)) for start, end, flow in flows]
    spans[WASTE] += [(start, end, float(flow)) for start, end, flow in uses.waste]


# --- what is there --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _There:
    amounts: Mapping[Thing, Sequence[float | None]]
    """By day [unit min, L]."""
    people: Mapping[Thing, list[tuple[float, float, float]]]


def _there(clock: PlanClock, figures: PlanningFigures, edges: Sequence[int], now: datetime) -> _There:
    """From the clock's now on: vessels and water around the clock, skids while somebody works, people by the working times."""
    people = {
        OPERATORS: _shifts(clock.shifts(figures.working_times, "operators")),
        TECHNICIANS: _shifts(clock.shifts(figures.working_times, "technicians")),
    }
    left = by_day([(clock.now_min, edges[-1], 1.0)], edges)
    open_min = by_day(
        [(one.start_min, one.end_min, 1.0) for one in clock.openings(figures.working_times)], edges
    )
    amounts: dict[Thing, Sequence[float | None]] = {
        thing: by_day(own, edges) for thing, own in people.items()
    }
    for vessel in Vessel.objects.filter(is_active=True).order_by("code"):
        amounts[Thing(ThingKind.VESSEL, vessel.code)] = [0.0] * DAYS if vessel.is_locked_out else left
    lines: dict[str, int] = defaultdict(int)
    for skid in Skid.objects.filter(is_active=True):
        lines[skid.chemical] += not skid.lock_out_reason
    for chemical, count in lines.items():
        amounts[Thing(ThingKind.SKID, chemical)] = [count * minutes for minutes in open_min]
    for supply in WaterSupply.objects.all():
        rate = supply.max_flow_m3_per_s * 60_000
        amounts[Thing(ThingKind.WATER, supply.kind)] = [rate * minutes for minutes in left]
    a_day_l = _waste_a_day_l(now)
    if a_day_l is not None:
        amounts[WASTE] = [
            a_day_l * minutes / (right - begin)
            for minutes, (begin, right) in zip(left, pairwise(edges), strict=True)
        ]
    return _There(amounts, people)


def _shifts(shifts: Sequence[Shift]) -> list[tuple[float, float, float]]:
    return [(shift.start_min, shift.end_min, float(shift.people)) for shift in shifts]


def _waste_a_day_l(now: datetime) -> float | None:
    """As plans reckon: what the permit lets go in a day, at most one tank; None before a waste tank is set up."""
    tank = waste_tank()
    if tank is None:
        return None
    room_l = (tank.capacity_m3 - tank.reserve_m3) * 1000
    permitted = permit_in_force(now).content.volume_m3_per_day
    return min(room_l, permitted * 1000) if permitted is not None else room_l


# --- days -----------------------------------------------------------------------------------------------------------------
def _unit(thing: Thing) -> float:
    """From unit minutes to hours; litres stay litres."""
    return 1.0 if thing.kind in (ThingKind.WATER, ThingKind.WASTE) else 60.0


def _asked(thing: Thing, amount: float, there: float | None) -> Asked:
    unit = _unit(thing)
    return Asked(amount / unit, there / unit if there is not None else None)


def _planned_day(
    day: date,
    index: int,
    sums: Mapping[Thing, Sequence[float]],
    over: Mapping[Thing, Sequence[float]],
    there: Mapping[Thing, Sequence[float | None]],
) -> DayAhead:
    things = dict.fromkeys([*there, *sums])
    asked = {
        thing: _asked(
            thing,
            sums[thing][index] if thing in sums else 0.0,
            there[thing][index] if thing in there else None,
        )
        for thing in things
    }
    return DayAhead(day, True, asked, {}, {thing: own[index] / 60 for thing, own in over.items()})


def _usual_day(
    day: date, index: int, usual: UsualLoad, there: Mapping[Thing, Sequence[float | None]]
) -> DayAhead:
    said: dict[Thing, Usual] = {
        thing: found for thing in dict.fromkeys([*there, *usual.week]) if (found := usual.of(thing, index))
    }
    asked = {
        thing: _asked(thing, found.mean, there[thing][index] if thing in there else None)
        for thing, found in said.items()
    }
    spread = {thing: found.deviation / _unit(thing) for thing, found in said.items()}
    over = {
        thing: max(0.0, asked[thing].asked - (asked[thing].there or 0.0))
        for thing in (OPERATORS, TECHNICIANS)
        if thing in asked
    }
    return DayAhead(day, False, asked, spread, over)
