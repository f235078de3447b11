"""A made plan in rows and sentences: its batches in order of time, its tanks late ones first, how good it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.utils import timezone

from regenplant import units
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.scheduling.problem import Tank
from regenplant.planning.members import members
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.planning.selectors import PlanShown
from regenplant.plant.days import plant_day
from regenplant.units import UnitSystem
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case


@dataclass(frozen=True, slots=True)
class BatchRow:
    """A batch of a plan."""

    name: str
    """In the plan."""
    code: str
    """Of the planned batch, once it is one."""
    vessel: str
    what: str
    tanks: tuple[str, ...]
    volume: str
    starts_at: datetime
    ready_at: datetime
    is_underfilled: bool
    late: int


@dataclass(frozen=True, slots=True)
class TankRow:
    """A tank with when it is ready against when it is due."""

    serial: str
    customer: str
    batch: str
    vessel: str
    ready_at: datetime
    due_at: datetime | None
    late_h: float
    comes: str
    """When it is expected to wait, for one that did not wait when the plan was made; "" for others."""
    rush: str
    """Whose contract makes it count as rush; "" for others."""


def batch_rows(view: PlanShown, system: UnitSystem) -> list[BatchRow]:
    """In order of time."""
    tanks = {tank.id: tank for tank in view.problem.tanks}
    rows = []
    for batch in sorted(view.plan.batches, key=lambda one: (one.start_min, one.vessel)):
        first = tanks[batch.tanks[0]]
        litres = sum(tanks[name].volume_l for name in batch.tanks)
        rows.append(
            BatchRow(
                name=batch.id,
                code=view.codes.get(batch.id, ""),
                vessel=batch.vessel,
                what=key_words(view, first),
                tanks=batch.tanks,
                volume=units.format_quantity(litres / 1000, "resin_volume", system),
                starts_at=view.clock.moment(batch.start_min),
                ready_at=view.clock.moment(batch.end_min),
                is_underfilled=batch.underfill_waiver,
                late=sum(tanks[name].due_min < batch.end_min for name in batch.tanks),
            )
        )
    return rows


def key_words(view: PlanShown, tank: Tank) -> str:
    """With what a tank may be regenerated together: resin, class, owner."""
    owner = f", for {view.names.owners.get(tank.lot, tank.lot)}" if tank.lot else ""
    return f"{tank.family}, class {tank.segregation}{owner}"


def tank_rows(view: PlanShown) -> list[TankRow]:
    """Late ones first, then by when they are ready."""
    return sorted(_tanks(view), key=lambda row: (-row.late_h, row.ready_at, row.serial))


def _tanks(view: PlanShown) -> Iterator[TankRow]:
    tanks = {tank.id: tank for tank in view.problem.tanks}
    for batch in view.plan.batches:
        for serial in batch.tanks:
            due = tanks[serial].due_min
            yield TankRow(
                serial=serial,
                customer=view.names.customers.get(serial, ""),
                batch=view.codes.get(batch.id, batch.id),
                vessel=batch.vessel,
                ready_at=view.clock.moment(batch.end_min),
                due_at=view.clock.moment(due) if due < view.clock.end_min else None,
                late_h=max(0, batch.end_min - due) / 60,
                comes=_comes(view, tanks[serial]),
                rush=rush_words(view, serial),
            )


def rush_words(view: PlanShown, serial: str) -> str:
    """That a tank counts as rush because of its customer, "" where it does not; what was rushed by hand stands among the decisions."""
    return "rush, by its customer" if serial in view.names.rush else ""


def _comes(view: PlanShown, tank: Tank) -> str:
    if tank.received_min <= view.clock.now_min:
        return ""
    what = "on its way" if tank.id in view.names.expected else "at the door"
    return f"{what}, counts from {timezone.localtime(view.clock.moment(tank.received_min)):%a %H:%M}"


def plan_sentence(view: PlanShown) -> str:
    """The plan in a sentence."""
    score = view.score
    held = sum(len(batch.tanks) for batch in view.plan.batches)
    waiting = len(view.problem.tanks)
    late = f"{score.late_tanks} late" if score.late_tanks else "none late"
    if not view.plan.batches:
        return "No tank is in this plan."
    ready = view.clock.moment(max(batch.end_min for batch in view.plan.batches))
    return (
        f"Of {counted(waiting, 'tank')} {held} in {counted(len(view.plan.batches), 'batch', 'batches')}, {late}; "
        f"all planned ones ready {day_and_clock(ready)}."
    )


def wall_days(days: Iterable[date], now: datetime) -> list[tuple[date, str]]:
    """The days of a plan, any of which may be printed alone; that of today says so."""
    today = plant_day(now)
    return [(day, f"{day:%a %Y-%m-%d}{', today' if day == today else ''}, alone") for day in days]


def past_words(row: DayPlan, waiting: int, now: datetime) -> str:
    """What is said of a plan whose day is over, with what to do; empty for one of today. ``waiting`` of its batches wait."""
    made_for, today = plant_day(row.from_at), plant_day(now)
    if made_for >= today or row.state not in LIVING:
        return ""
    day = "yesterday" if (today - made_for).days == 1 else f"{made_for:%A} {made_for.day} {made_for:%B %Y}"
    if row.state != DayPlan.State.ACCEPTED:
        return f"This plan was made for {day}. Make another before you accept one: the plant stands elsewhere by now."
    held = (
        f"{counted(waiting, 'batch', 'batches')} of it wait{'s' if waiting == 1 else ''} still; start what is right as it is, and "
        if waiting
        else "Nothing of it waits any more; "
    )
    return f"This is the plan of {day}. {sentence_case(held)}make a plan for today: what has started is kept in it."


def percent_done(row: DayPlan, now: datetime) -> int:
    """How much of its search is over: as it told last, or by the clock while it is busy with something that tells nothing on the way."""
    if row.plan is None or row.state != DayPlan.State.RUNNING:
        return round(100 * row.progress_frac)
    passed = min((now - row.made_at).total_seconds() / row.seconds, MOST_UNTOLD_FRAC)
    return round(100 * max(row.progress_frac, passed))


MOST_UNTOLD_FRAC = 0.99
"""A search that has not ended is not told as over."""

LIVING = (DayPlan.State.ACCEPTED, DayPlan.State.DONE, DayPlan.State.STOPPED)
"""States of plans that somebody may still act on."""


def gap_words(row: DayPlan) -> str:
    """How far the plan may be from the best there is."""
    if row.gap_frac is None:
        return (
            "How far the best may be is not known yet." if row.state == DayPlan.State.RUNNING else "not known"
        )
    if row.gap_frac < 0.0005:
        return "no plan is better"
    return f"at most {100 * row.gap_frac:.1f} % above the best there can be"


def plan_facts(row: DayPlan, view: PlanShown) -> list[tuple[str, str]]:
    """What is told of a plan beside its drawing."""
    score = view.score
    facts = [
        ("Planned from", day_and_clock(row.from_at)),
        ("Made", f"{row.made_by.full_name}, {day_and_clock(row.made_at)}"),
        ("Late", f"{counted(score.late_tanks, 'tank')}, {score.weighted_late_h:.1f} h by weight"),
        ("Batches", f"{score.batches}, {score.waivers} of them below the minimum fill"),
        ("Changeovers", str(score.changeovers)),
        ("Score", f"{score.total:,.0f}".replace(",", " ")),
        ("Gap", sentence_case(gap_words(row))),
        ("Search", f"{row.steps:,} steps".replace(",", " ")),
    ]
    return [("What if", row.name), *facts] if row.name else facts


def cost_words(costs: Mapping[str, Any]) -> str:
    """What a decision costs, as a sentence: only what changed."""
    before, after = costs["before"], costs["after"]
    parts = [
        f"{after[name] - before[name]:+,.{decimals}f}{unit}".replace(",", " ") + f" {noun}".rstrip()
        for name, noun, unit, decimals in (
            ("late_tanks", "tanks late", "", 0),
            ("weighted_late_h", "h late by weight", "", 1),
            ("batches", "batches", "", 0),
            ("makespan_h", "h until all is ready", "", 1),
            ("water_m3", "m³ water", "", 1),
        )
        if round(after[name] - before[name], decimals)
    ]
    names = {*before["chemicals_kg"], *after["chemicals_kg"]}
    for name in sorted(names):
        more = after["chemicals_kg"].get(name, 0.0) - before["chemicals_kg"].get(name, 0.0)
        if round(more, 1):
            parts.append(f"{more:+,.1f} kg {Chemical(name).label.lower()}".replace(",", " "))
    moved = f" {sentence_case(counted(costs['moved'], 'other tank'))} moved." if costs.get("moved") else ""
    score = f"score {after['score'] - before['score']:+,.0f}".replace(",", " ")
    return f"It costs: {', '.join([*parts, score])}.{moved}"


@dataclass(frozen=True, slots=True)
class DecisionRow:
    """What somebody decided about a draft, and what it cost."""

    sentence: str
    cost: str
    who: str
    at: datetime


def decision_rows(view: PlanShown) -> list[DecisionRow]:
    """In the order in which they were made."""
    return [
        DecisionRow(one.sentence, cost_words(one.costs), one.made_by.full_name, one.made_at)
        for one in view.decisions
    ]


def nowhere(view: PlanShown) -> list[str]:
    """Tanks without a batch for which no single reason stands."""
    said = {name for item in view.impossible for name in item.tanks}
    return [name for name in view.unplaced if name not in said]


@dataclass(frozen=True, slots=True)
class PlannedRow:
    """A planned batch that waits to be started."""

    code: str
    vessel: str
    what: str
    tanks: int
    starts_at: datetime
    ready_at: datetime


def planned_rows(rows: Iterable[PlannedBatch]) -> list[PlannedRow]:
    """As they come, with how many tanks each has."""
    return [
        PlannedRow(
            code=row.code,
            vessel=row.vessel.code,
            what=f"{row.resin_type.code}, class {row.segregation_class}",
            tanks=len(members(row)),
            starts_at=row.starts_at,
            ready_at=row.ready_at,
        )
        for row in rows
    ]


def planned_facts(row: PlannedBatch) -> list[tuple[str, str]]:
    """What is told of a planned batch."""
    beside = f", anion leg in {row.anion_vessel.code}" if row.anion_vessel else ""
    facts = [
        ("Resin", f"{row.resin_type.code}, class {row.segregation_class}"),
        ("Vessel", f"{row.vessel.code}{beside}"),
        ("Begins", day_and_clock(row.starts_at)),
        ("Ready", day_and_clock(row.ready_at)),
        ("Recipe", f"{row.recipe_version.recipe.code} version {row.recipe_version.number}"),
        ("Plan", row.acceptance.number),
    ]
    if row.ended_at and row.ended_by:
        facts.append(
            (
                sentence_case(row.get_state_display()),
                f"{row.ended_by.full_name}, {day_and_clock(row.ended_at)}",
            )
        )
    if row.reason:
        facts.append(("Why", row.reason))
    return facts


@dataclass(frozen=True, slots=True)
class MoveRow:
    """Tanks of one batch of the plan that holds, and where this plan puts them."""

    tanks: tuple[str, ...]
    was: str
    now: str
    is_moved: bool


def move_rows(view: PlanShown) -> list[MoveRow]:
    """The plan that holds against this one: what moves first."""
    places = {name: batch for batch in view.plan.batches for name in batch.tanks}
    rows = []
    for known in view.problem.standing:
        was = f"{known.vessel}, {day_and_clock(view.clock.moment(known.start_min))}"
        by_batch: dict[str, list[str]] = {}
        for name in known.tanks:
            by_batch.setdefault(places[name].id if name in places else "", []).append(name)
        for batch_id, names in by_batch.items():
            if not batch_id:
                rows.append(MoveRow(tuple(names), was, "in no batch", True))
                continue
            batch = places[names[0]]
            now = f"{batch.vessel}, {day_and_clock(view.clock.moment(batch.start_min))}"
            rows.append(MoveRow(tuple(names), was, now, now != was))
    return sorted(rows, key=lambda row: not row.is_moved)
