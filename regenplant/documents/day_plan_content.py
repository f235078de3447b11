"""What the day plan says on the wall, day by day: gathered from a made plan and from how its planned batches stand when it is printed."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

from regenplant.batches.models import Batch
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.scheduling.checker import judged
from regenplant.core.scheduling.figures import StageNeed
from regenplant.core.scheduling.judged import Judged
from regenplant.core.scheduling.loads import Load, LoadKind, loads
from regenplant.core.scheduling.plan import PlannedStage
from regenplant.core.scheduling.problem import RunningBatch, Stage, Window
from regenplant.core.scheduling.stays import Stay
from regenplant.documents.issue import Issue
from regenplant.drawing.day_plan import PlanDrawing, day_plan_scene
from regenplant.drawing.scene import Scene
from regenplant.planning.by_day import hours_of, lanes_of, plan_days, plan_window, unstaffed
from regenplant.planning.models import DayPlan, PlanAcceptance, PlannedBatch
from regenplant.planning.moved_on import members_of
from regenplant.planning.not_here import NotHere, not_here
from regenplant.planning.selectors import PlanShown, shown
from regenplant.plant.days import start_of_day
from regenplant.plant.selectors import profile
from regenplant.resins.models import ResinType

MOST_LANES = 17
"""Vessels in one drawing: more stand in the next one below it."""
ATTENTION = "operators' attention"


@dataclass(frozen=True, slots=True)
class StageLine:
    """One stage with its clock time."""

    name: str
    start_at: datetime
    end_at: datetime
    fed: tuple[tuple[str, int], ...] = ()
    """Each chemical that is fed while it runs, with the grams as 100 % that are drawn when it begins; 0 where they were before."""
    stands_min: int = 0
    """How long the bed may stand safely after it; 0 where it may not be left."""


@dataclass(frozen=True, slots=True)
class NoStop:
    """Stages of a mixed bed between which it must not stand while the plant is closed."""

    first: str
    """The stage with which they begin."""
    reached: str
    """The stage that must have begun before closing."""
    latest_at: datetime
    """When ``first`` begins at the latest."""
    closes_at: datetime


@dataclass(frozen=True, slots=True)
class BatchLine:
    """A batch of the plan, or one that runs already."""

    code: str
    """As it scans; of a draft its name in the plan."""
    is_scanned: bool
    vessel: str
    what: str
    """Resin, class, owner."""
    tanks: tuple[str, ...]
    volume_m3: float | None
    """Of the planned ones."""
    start_at: datetime
    ready_at: datetime
    stages: tuple[StageLine, ...]
    is_running: bool = False
    is_underfilled: bool = False
    late: int = 0
    standing: str = ""
    """What became of the planned batch by now: "" while it waits."""
    no_stops: tuple[NoStop, ...] = ()
    """Of a mixed bed, in order."""
    not_here: tuple[NotHere, ...] = ()
    """Those of its tanks that did not come, or are not judged, when the paper is printed; empty once it was started."""

    @property
    def grams(self) -> dict[str, int]:
        """What its stages draw of each chemical, as 100 %."""
        drawn: dict[str, int] = defaultdict(int)
        for stage in self.stages:
            for name, grams in stage.fed:
                drawn[name] += grams
        return {name: amount for name, amount in sorted(drawn.items()) if amount}


@dataclass(frozen=True, slots=True)
class DayPage:
    """One day."""

    day: date
    scenes: tuple[Scene, ...]
    empty_vessels: tuple[str, ...]
    begins: tuple[BatchLine, ...]
    goes_on: tuple[BatchLine, ...]
    """Begun on an earlier day, or running when the plan was made: with what of them begins on this day."""
    second_people: tuple[tuple[datetime, datetime, int], ...]
    """From when to when how many may release."""


@dataclass(frozen=True, slots=True)
class DayPlanContent:
    """Everything the paper says."""

    plant: str
    zone: str
    number: str
    state: str
    """A value of ``DayPlan.State``."""
    name: str
    """What a what-if copy is about."""
    made: tuple[str, datetime]
    planned_from: datetime
    accepted: tuple[str, datetime] | None
    """By whom and when."""
    replaced_by: tuple[str, datetime] | None
    """The plan that was accepted after it."""
    days: tuple[DayPage, ...]
    """Those that are printed."""
    whole: tuple[date, date] | None
    """First and last day of the plan, where only one of several is printed; None otherwise."""
    left_out: tuple[str, ...]
    """Tanks that no batch holds."""
    issue: Issue

    @property
    def is_in_force(self) -> bool:
        """Whether the plant works by it."""
        return self.accepted is not None and self.replaced_by is None

    def local(self, moment: datetime) -> datetime:
        """At the plant's clock."""
        return moment.astimezone(ZoneInfo(self.zone))


def plan_to_print(number: str) -> DayPlan:
    """The plan of a paper. Raises: RecordRefused for one that is not known, or that holds no plan to print."""
    row = DayPlan.objects.select_related("made_by").filter(number__iexact=number.strip()).first()
    if row is None:
        raise RecordRefused(f"There is no day plan {number[:16]} here.", code="unknown_day_plan")
    if row.state == DayPlan.State.RUNNING:
        raise RecordRefused(
            f"{row.number} is still being searched. Wait for it or stop it, then print it.",
            code="plan_running",
        )
    if row.plan is None:
        raise RecordRefused(
            f"{row.number} is {row.get_state_display()} and holds no plan to print.", code="no_plan"
        )
    return row


def day_plan_content(number: str, issue: Issue, day: date | None = None) -> DayPlanContent:
    """The plan as it was made, its batches as they stand when it is printed; of all its days, or of one. Raises: RecordRefused, OutOfRange."""
    row, plant = plan_to_print(number), profile()
    view = shown(row)
    days = plan_days(view)
    if day is not None and day not in days:
        raise OutOfRange(_no_such_day(row.number, day, days), code="day", field="day")
    acceptance = PlanAcceptance.objects.select_related("accepted_by").filter(number=row.number).first()
    newest = PlanAcceptance.objects.first()
    return DayPlanContent(
        plant=plant.name,
        zone=plant.time_zone,
        number=row.number,
        state=row.state,
        name=row.name,
        made=(row.made_by.full_name, row.made_at),
        planned_from=row.from_at,
        accepted=(acceptance.accepted_by.full_name, acceptance.accepted_at) if acceptance else None,
        replaced_by=(newest.number, newest.accepted_at)
        if acceptance and newest and newest.pk != acceptance.pk
        else None,
        days=tuple(_days(view, days if day is None else (day,), datetime.fromisoformat(issue.printed_at))),
        whole=(days[0], days[-1]) if day is not None and len(days) > 1 else None,
        left_out=tuple(sorted({*view.unplaced, *(name for left in view.left_out for name in left.serials)})),
        issue=issue,
    )


def _no_such_day(number: str, day: date, days: Sequence[date]) -> str:
    seen = f"{number} holds no {day:%a %Y-%m-%d}"
    if not days:
        return f"{seen}: no batch stands in it. Nothing was printed."
    return f"{seen}; its days are {days[0]:%a %Y-%m-%d} to {days[-1]:%a %Y-%m-%d}. Nothing was printed."


# --- batches ----------------------------------------------------------------------------------------------------
def _lines(view: PlanShown, now: datetime) -> list[BatchLine]:
    """Every batch of the plan and every one that runs, in order of time."""
    planned = {row.plan_batch: row for row in PlannedBatch.objects.filter(acceptance__number=view.number)}
    families = {
        row.code: ResinFamily(row.family)
        for row in ResinType.objects.filter(code__in={tank.family for tank in view.problem.tanks})
    }
    away = {
        serial: absent
        for serial, member in members_of(view).items()
        if (absent := not_here(member, now)) is not None
    }
    found = [_planned(view, item, planned, families, away) for item in judged(view.problem, view.plan)]
    running = [batch for batch in view.problem.running if batch.stages]
    known = Batch.objects.filter(number__in=[batch.id for batch in running]).select_related("resin_type")
    what = {row.number: f"{row.resin_type.code}, class {row.segregation_class}" for row in known}
    found += [_running(view, batch, what.get(batch.id, "")) for batch in running]
    return sorted(found, key=lambda line: (line.start_at, line.vessel, line.code))


def _planned(
    view: PlanShown,
    item: Judged,
    planned: Mapping[str, PlannedBatch],
    families: Mapping[str, ResinFamily],
    away: Mapping[str, NotHere],
) -> BatchLine:
    batch, key = item.batch, item.key
    row, family = planned.get(batch.id), families.get(key.family)
    way = view.names.ways.get(key.family)
    beside = way.anion_vessels.get(batch.vessel, "") if way else ""
    owner = f", for {view.names.owners.get(key.lot, key.lot)}" if key.lot else ""
    name = f"{key.family} ({family.abbreviation})" if family else key.family
    standing = _standing(row)
    return BatchLine(
        code=row.code if row else batch.id,
        is_scanned=row is not None,
        vessel=f"{batch.vessel} + {beside}" if beside else batch.vessel,
        what=f"{name}, class {key.segregation}{owner}",
        tanks=batch.tanks,
        volume_m3=sum(tank.volume_l for tank in item.tanks) / 1000,
        start_at=view.clock.moment(batch.start_min),
        ready_at=view.clock.moment(batch.end_min),
        stages=tuple(_stages(view, batch.stages, item.needs)),
        is_underfilled=item.is_underfilled,
        late=sum(tank.due_min < batch.end_min for tank in item.tanks),
        standing=standing,
        no_stops=tuple(_no_stops(view, item)) if family is not None and family.is_mixed else (),
        not_here=() if standing else tuple(away[serial] for serial in batch.tanks if serial in away),
    )


def _standing(row: PlannedBatch | None) -> str:
    if row is None or row.state == PlannedBatch.State.WAITING:
        return ""
    return f"started as {row.batch_number}" if row.batch_number else row.get_state_display()


def _stages(
    view: PlanShown, stages: Sequence[PlannedStage], needs: Sequence[StageNeed]
) -> Iterator[StageLine]:
    following = [need.stage for need in needs[1:]]
    for at, (timed, need) in enumerate(zip(stages, needs, strict=True)):
        yield StageLine(
            name=plain_name(timed.name),
            start_at=view.clock.moment(timed.start_min),
            end_at=view.clock.moment(timed.end_min),
            fed=tuple((use.chemical, use.grams) for use in need.uses if use.chemical),
            stands_min=_stands_min(need.stage, following[at] if at < len(following) else None),
        )


def plain_name(name: str) -> str:
    """ "4 Acid injection + 9 Caustic injection" without the numbers of its steps, as a clock time stands before it."""
    parts = (part.partition(" ") for part in name.split(" + "))
    return " + ".join(
        tail if head.isdigit() and tail else f"{head} {tail}".strip() for head, _, tail in parts
    )


def _stands_min(stage: Stage, following: Stage | None) -> int:
    """How long the bed may stand after a stage; 0 after one that goes straight on, and after the vessel is empty."""
    is_empty = following is None or following.after_vessel or stage.after_vessel
    return 0 if is_empty or stage.in_one_opening else stage.max_wait_after_min


def _no_stops(view: PlanShown, item: Judged) -> Iterator[NoStop]:
    """Each run of stages that must lie in one opening of the plant, with when it begins at the latest; none where it never closes."""
    stages, needs = item.batch.stages, item.needs
    first = None
    for at, need in enumerate(needs[:-1]):
        if need.stage.in_one_opening and first is None:
            first = at
        if first is None or needs[at + 1].stage.in_one_opening:
            continue
        start = stages[first].start_min
        opening = next((w for w in view.problem.openings if w.start_min <= start < w.end_min), None)
        if opening is not None:
            needed = sum(one.minutes for one in needs[first : at + 1]) + view.problem.slot_min
            yield NoStop(
                first=plain_name(stages[first].name),
                reached=plain_name(stages[at + 1].name),
                latest_at=view.clock.moment(opening.end_min - needed),
                closes_at=view.clock.moment(opening.end_min),
            )
        first = None


def _running(view: PlanShown, batch: RunningBatch, what: str) -> BatchLine:
    rows: dict[tuple[str, int, int], list[tuple[str, int]]] = {}
    for stage in batch.stages:
        fed = rows.setdefault((stage.name, stage.start_min, stage.end_min), [])
        if stage.chemical:
            fed.append((stage.chemical, stage.grams))
    return BatchLine(
        code=batch.id,
        is_scanned=True,
        vessel=batch.vessel,
        what=what,
        tanks=batch.tanks,
        volume_m3=None,
        start_at=view.clock.moment(batch.stages[0].start_min),
        ready_at=view.clock.moment(max(stage.end_min for stage in batch.stages)),
        stages=tuple(
            StageLine(plain_name(name), view.clock.moment(start), view.clock.moment(end), tuple(fed))
            for (name, start, end), fed in rows.items()
        ),
        is_running=True,
    )


# --- days -------------------------------------------------------------------------------------------------------
def _days(view: PlanShown, days: Sequence[date], now: datetime) -> Iterator[DayPage]:
    """Those days of the plan."""
    if not days:
        return
    lanes, lines = lanes_of(view), _lines(view, now)
    whole = plan_window(view, lanes.values())
    taken = next(
        (
            one
            for one in loads(view.problem, view.plan)
            if one.kind is LoadKind.PEOPLE and one.name == ATTENTION
        ),
        None,
    )
    for day in days:
        since, until = start_of_day(day), start_of_day(day + timedelta(days=1))
        hours = hours_of(view, whole, lanes.values(), day)
        here = {name: row for name, row in lanes.items() if hours and _stands_in(row, hours)}
        yield DayPage(
            day=day,
            scenes=tuple(_scenes(view, hours, here, taken, lines)) if hours else (),
            empty_vessels=tuple(name for name in lanes if name not in here),
            begins=tuple(one for one in lines if since <= one.start_at < until and not one.is_running),
            goes_on=tuple(sorted(_going_on(lines, since, until), key=lambda one: one.stages[0].start_at)),
            second_people=tuple(
                (view.clock.moment(shift.start_min), view.clock.moment(shift.end_min), shift.people)
                for shift in view.problem.second_shifts
                if since <= view.clock.moment(shift.start_min) < until
            ),
        )


def _going_on(lines: Iterable[BatchLine], since: datetime, until: datetime) -> Iterator[BatchLine]:
    for one in lines:
        if one.start_at < since or one.is_running:
            stages = tuple(stage for stage in one.stages if since <= stage.start_at < until)
            if stages:
                yield replace(one, stages=stages)


def _stands_in(row: Sequence[Stay], hours: Window) -> bool:
    return any(stay.start_min < hours.end_min and hours.start_min < stay.end_min for stay in row)


def _scenes(
    view: PlanShown,
    hours: Window,
    lanes: Mapping[str, tuple[Stay, ...]],
    taken: Load | None,
    lines: Iterable[BatchLine],
) -> Iterator[Scene]:
    """The vessels over the hours, as many in one drawing as a page takes, and what they ask of the operators below the last."""
    names = {batch.id: view.codes.get(batch.id, batch.id) for batch in view.plan.batches}
    families = {tank.id: tank.family for tank in view.problem.tanks}
    links = {one.code: ("", one.code) for one in lines if one.is_running}
    links |= {batch.id: ("", f"{names[batch.id]} {families[batch.tanks[0]]}") for batch in view.plan.batches}
    shown_lanes = list(lanes.items())
    cuts = [*range(0, len(shown_lanes), MOST_LANES), len(shown_lanes)]
    for first, last in pairwise(cuts):
        is_last = last == len(shown_lanes)
        yield day_plan_scene(
            PlanDrawing(
                zero=view.clock.zero.astimezone(view.clock.zone),
                shown=hours,
                now_min=None,
                lanes=tuple(shown_lanes[first:last]),
                loads=(_attention(view, taken, hours),) if is_last and taken is not None else (),
                nobody=tuple(unstaffed(view, hours)),
                links=links,
            )
        )


def _attention(view: PlanShown, taken: Load, hours: Window) -> tuple[str, Load]:
    """The load of this day; its caption says how much is asked for at most, of how much then."""
    here = taken.within(hours)
    at, amount = here.tightest()
    people, there = (value / view.problem.attention_per_operator for value in (amount, here.room_at(at)))
    if not amount:
        return "Operators’ attention: none is asked for", here
    over = ", more than there is: the batches under way take it" if amount > here.room_at(at) else ""
    return f"Operators’ attention: peak {people:g}, limit {there:g}{over}", here
