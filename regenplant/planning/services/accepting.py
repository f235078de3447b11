"""A draft becomes the plan of the plant: its batches are planned for their tanks, those of an earlier plan that still waited give way."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.canonical import digest
from regenplant.core.scheduling.checker import check
from regenplant.planning import moves
from regenplant.planning.accepted_text import accepted_text
from regenplant.planning.models import DayPlan, PlanAcceptance, PlannedBatch, PlannedExpected, PlannedTank
from regenplant.planning.moved_on import members_of, moved_on, recipe_of
from regenplant.planning.selectors import PlanShown, shown
from regenplant.planning.services._subject import draft_called, plan_subject
from regenplant.plant.models import Vessel
from regenplant.resins.models import ResinType

PREFIX, FIRST = "PB", 1001
MOST_SAID = 4


@use_case("day_plan.accepted", permission="day_plan.accept")
def accept_plan(*, by: By, number: str, version: int | None = None) -> Outcome:
    """Make a draft the plan of the plant. Each of its batches becomes a planned batch with a code that scans.

    Nothing is reserved in the record of batches: each is planned exactly, by the gates of any start, when somebody starts it.

    Raises: RecordRefused for a plan that is empty or breaks a limit; StaleRecord with what has moved since it was made.
    """
    row = draft_called(number, version)
    view = shown(row)
    if not view.plan.batches:
        raise RecordRefused(f"{row.number} holds no batch, so there is nothing to accept.", code="empty")
    moved = moved_on(view, by.at)
    if moved:
        more = f" And {len(moved) - MOST_SAID} more." if len(moved) > MOST_SAID else ""
        raise StaleRecord(
            f"The plant has moved on since {row.number} was made: {' '.join(moved[:MOST_SAID])}{more} Plan again.",
            code="plan_stale",
        )
    known = {f"tank {name} stands in 0 batches" for name in view.unplaced}
    broken = [one for one in check(view.problem, view.plan, view.clock.words).violations if one not in known]
    if broken:
        raise RecordRefused(
            f"{row.number} breaks a limit: {broken[0]}. Times are those of the plant, {view.clock.zone.key}.",
            code="breaks_limit",
        )
    replaced = list(PlannedBatch.objects.filter(state=PlannedBatch.State.WAITING))
    for old in replaced:
        moves.let_go(old, PlannedBatch.State.REPLACED, by=by)
    text = accepted_text(row)
    acceptance = PlanAcceptance.objects.create(
        number=row.number,
        content=text,
        digest=digest(text),
        score=view.score.total,
        bound=row.bound,
        accepted_at=by.at,
        accepted_by=by.user,
    )
    made = _plan_batches(view, acceptance)
    moves.move(row, DayPlan.State.ACCEPTED)
    return Outcome(
        subject=plan_subject(row),
        facts={
            "batches": len(made),
            "tanks": sum(len(batch.tanks) for batch in view.plan.batches),
            "late": view.score.late_tanks,
            "codes": [one.code for one in made],
            "replaced": [one.code for one in replaced],
            "digest": acceptance.digest,
        },
        related=tuple(("planned_batch", one.code) for one in made),
        result=acceptance,
    )


def _plan_batches(view: PlanShown, acceptance: PlanAcceptance) -> list[PlannedBatch]:
    tanks = members_of(view)
    keys = {tank.id: tank.key for tank in view.problem.tanks}
    types = {
        row.code: row for row in ResinType.objects.filter(code__in={key.family for key in keys.values()})
    }
    vessels = {vessel.code: vessel for vessel in Vessel.objects.all()}
    recipes = {family: recipe_of(view, family) for family in types}
    made = []
    for batch in sorted(view.plan.batches, key=lambda one: (one.start_min, one.vessel)):
        key = keys[batch.tanks[0]]
        family = key.family
        way, recipe = view.names.ways[family], recipes[family]
        assert recipe is not None
        planned = PlannedBatch.objects.create(
            code=next_number(PlannedBatch, "code", PREFIX, FIRST),
            acceptance=acceptance,
            plan_batch=batch.id,
            resin_type=types[family],
            segregation_class=key.segregation,
            vessel=vessels[batch.vessel],
            anion_vessel=vessels.get(way.anion_vessels.get(batch.vessel, "")),
            recipe_version=recipe,
            starts_at=view.clock.moment(batch.start_min),
            ready_at=view.clock.moment(batch.end_min),
        )
        members = [(position, tanks[serial]) for position, serial in enumerate(batch.tanks, start=1)]
        PlannedTank.objects.bulk_create(
            PlannedTank(planned=planned, visit=one.visit, position=position)
            for position, one in members
            if one.expected is None
        )
        PlannedExpected.objects.bulk_create(
            PlannedExpected(planned=planned, expected=one.expected, position=position)
            for position, one in members
            if one.expected is not None
        )
        made.append(planned)
    return made


say(
    "day_plan.accepted",
    "{subject} was accepted: {batches} planned batches for {tanks} tanks, {late} of them late",
)
