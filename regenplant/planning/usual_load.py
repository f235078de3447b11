"""What days asked of people, vessels, skids and the waste room, read from the record of the last weeks: the load where no plan reaches.

Hands count as steps were run, watched or held as the planning figures say for each kind of step; a step that stood counts twice its planned
length at most, this program's choice. Judging and filling count with the minutes of the planning figures. A vessel counts from the start of
its batch to its last filled tank. Which water a step took stands in its plan only, so no usual water is said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from typing import NamedTuple

from django.db.models import Max, Min, Q, QuerySet

from regenplant.batches.models import Batch, BatchTank, StepRun
from regenplant.batches.readiness import occupants
from regenplant.chemicals.counts import stock_figures
from regenplant.chemicals.models import Movement, Place
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.days_ahead import Usual, by_day, usual_week
from regenplant.core.scheduling.from_plan import WHOLE_OPERATOR
from regenplant.planning.figures import PlanningFigures
from regenplant.plant.days import Calendar, calendar
from regenplant.waste.models import WasteMovement

LONGEST_TIMES_PLANNED = 2.0
LONGEST_BATCH = timedelta(days=14)
"""A batch that was started longer before the days that are read is not looked at; this program's choice."""


class ThingKind(StrEnum):
    """What may bind."""

    VESSEL = "vessel"
    SKID = "skid"
    WATER = "water"
    WASTE = "waste"
    OPERATORS = "operators"
    TECHNICIANS = "technicians"


class Thing(NamedTuple):
    """One thing that is shared. ``name`` is the code of a vessel, the chemical of a skid, the kind of water; "" where there is one only."""

    kind: ThingKind
    name: str = ""


OPERATORS, TECHNICIANS, WASTE = (
    Thing(ThingKind.OPERATORS),
    Thing(ThingKind.TECHNICIANS),
    Thing(ThingKind.WASTE),
)
Spans = dict[Thing, list[tuple[float, float, float]]]
"""By thing: minutes from and to, and an amount: operators, technicians, skid lines, a vessel as 1, litres per minute."""


@dataclass(frozen=True, slots=True)
class UsualLoad:
    """By thing what the coming days of the week usually ask, today's first [unit min]; of how many whole days."""

    days: int
    week: Mapping[Thing, tuple[Usual, ...]]

    def of(self, thing: Thing, day: int) -> Usual | None:
        """Of a day from today on; None where the record says nothing."""
        found = self.week.get(thing, ())
        return found[day % 7] if found else None


def usual_load(now: datetime, figures: PlanningFigures) -> UsualLoad:
    """Read the whole days before today, as many as the plant looks back for its usual use, none before its first batch."""
    here = calendar()
    today = here.day(now)
    first = Batch.objects.aggregate(first=Min("started_at"))["first"]
    if first is None:
        return UsualLoad(0, {})
    start = max(
        today - timedelta(days=int(stock_figures(now).usual_use_days)), here.day(first) + timedelta(days=1)
    )
    days = max(0, (today - start).days)
    if days == 0:
        return UsualLoad(0, {})
    clock = _Clock(start, today, here)
    spans: Spans = defaultdict(list)
    for thing, span in (
        *_steps(clock, figures),
        *_vessels(clock, now),
        *_filled(clock, figures),
        *_judged(clock, figures),
        *_waste(clock),
    ):
        spans[thing].append(span)
    found = {thing: usual_week(by_day(own, clock.edges)) for thing, own in spans.items()}
    return UsualLoad(days, {thing: week for thing, week in found.items() if week})


class _Clock:
    """Minutes from the first day that is read."""

    def __init__(self, start: date, end: date, here: Calendar) -> None:
        self.begin, self.end = here.start(start), here.start(end)
        days = [start + timedelta(days=number) for number in range((end - start).days + 1)]
        self.edges: Sequence[float] = [self.minute(here.start(day)) for day in days]

    def minute(self, moment: datetime) -> float:
        return (moment.timestamp() - self.begin.timestamp()) / 60


def _recent(clock: _Clock) -> QuerySet[Batch]:
    """Batches that may have taken anything in these days, so that a large record is not read whole."""
    return Batch.objects.filter(started_at__gte=clock.begin - LONGEST_BATCH, started_at__lt=clock.end)


Found = Iterator[tuple[Thing, tuple[float, float, float]]]


def _steps(clock: _Clock, figures: PlanningFigures) -> Found:
    drawn = {
        (reference, step): chemical
        for reference, step, chemical in Movement.objects.filter(
            step_number__isnull=False, to_place__kind=Place.Kind.BATCH, corrects=None,
            reference__in=_recent(clock).values("number"),
        ).values_list("reference", "step_number", "chemical")
    }  # fmt: skip
    rows = StepRun.objects.filter(
        batch__in=_recent(clock).values("pk"), started_at__lt=clock.end, finished_at__gte=clock.begin
    ).values_list("batch__number", "number", "kind", "planned_duration_s", "started_at", "finished_at")
    for number, step, kind, planned_s, started_at, finished_at in rows:
        if started_at is None or finished_at is None:
            continue
        start = clock.minute(started_at)
        end = min(clock.minute(finished_at), start + LONGEST_TIMES_PLANNED * planned_s / 60)
        units = figures.hands.attention.get(StepKind(kind), 0)
        if units:
            yield OPERATORS, (start, end, units / WHOLE_OPERATOR)
        if (number, step) in drawn:
            yield Thing(ThingKind.SKID, drawn[number, step]), (start, end, 1.0)


def _vessels(clock: _Clock, now: datetime) -> Found:
    """Until the last tank was filled, or the batch ended otherwise; one that still stands in its vessel until now."""
    standing = set(occupants().values_list("number", flat=True))
    rows = (
        _recent(clock)
        .annotate(filled=Max("tank_links__filled_at"))
        .filter(
            Q(filled__gte=clock.begin)
            | Q(finished_at__gte=clock.begin)
            | Q(judged_at__gte=clock.begin)
            | Q(number__in=standing)
        )
        .values_list(
            "number", "vessel__code", "anion_vessel__code", "started_at", "filled", "finished_at", "judged_at"
        )
    )
    for number, vessel, anion_vessel, started_at, filled_at, finished_at, judged_at in rows:
        end = now if number in standing else filled_at or finished_at or judged_at
        if started_at is None or end is None:
            continue
        for code in filter(None, (vessel, anion_vessel)):
            yield Thing(ThingKind.VESSEL, code), (clock.minute(started_at), clock.minute(end), 1.0)


def _filled(clock: _Clock, figures: PlanningFigures) -> Found:
    """The hands of filling: for each tank, and once for each batch on the day of its last."""
    hands = figures.hands
    last: dict[int, datetime] = {}
    for batch, filled_at in BatchTank.objects.filter(
        batch__in=_recent(clock).values("pk"), filled_at__gte=clock.begin, filled_at__lt=clock.end
    ).values_list("batch_id", "filled_at"):
        if filled_at is None:
            continue
        last[batch] = max(filled_at, last.get(batch, filled_at))
        yield OPERATORS, _ending(clock, filled_at, hands.filling_per_tank_min)
    for filled_at in last.values():
        yield OPERATORS, _ending(clock, filled_at, hands.filling_min)


def _judged(clock: _Clock, figures: PlanningFigures) -> Found:
    rows = Batch.objects.filter(judged_at__gte=clock.begin, judged_at__lt=clock.end)
    for judged_at in rows.values_list("judged_at", flat=True):
        if judged_at is not None:
            yield TECHNICIANS, _ending(clock, judged_at, figures.hands.judging_min)


def _waste(clock: _Clock) -> Found:
    """What ran into the waste tanks, as litres within the minute in which it was booked."""
    rows = WasteMovement.objects.filter(
        kind=WasteMovement.Kind.DRAIN, moved_at__gte=clock.begin, moved_at__lt=clock.end
    )
    for volume_m3, moved_at in rows.values_list("volume_m3", "moved_at"):
        at = clock.minute(moved_at)
        yield WASTE, (at, at + 1.0, volume_m3 * 1000)


def _ending(clock: _Clock, moment: datetime, minutes: float) -> tuple[float, float, float]:
    """One person for so many minutes on the day of this moment, wherever on it."""
    at = clock.minute(moment)
    left = max(edge for edge in clock.edges if edge <= at)
    start = max(left, at - minutes)
    return start, start + minutes, 1.0
