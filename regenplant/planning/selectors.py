"""Reading made plans: the newest, and one of them whole, as it is drawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from regenplant.core.scheduling.checker import Score, check
from regenplant.core.scheduling.diagnosis import Impossible, impossible
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem
from regenplant.planning.clock import PlanClock
from regenplant.planning.decided import decided_from, with_decisions
from regenplant.planning.kept import Left, Notes, notes_from, plan_from, problem_from
from regenplant.planning.members import READ
from regenplant.planning.models import (
    DayPlan,
    Decision,
    PlanAcceptance,
    PlannedBatch,
    PlannedExpected,
    PlannedTank,
)


@dataclass(frozen=True, slots=True)
class PlanShown:
    """A made plan with everything that is shown of it, as it was when the plant was read."""

    number: str
    problem: Problem
    """With what people decided."""
    plan: Plan
    clock: PlanClock
    names: Notes
    """Names of resins, owners, customers; the clock, what was left out and assumed stand there too."""
    left_out: tuple[Left, ...]
    assumed: tuple[str, ...]
    unplaced: tuple[str, ...]
    """Serials of tanks that stand in no batch of the plan."""
    impossible: tuple[Impossible, ...]
    """Those of them that no plan can serve, and why."""
    score: Score
    bound: float | None
    gap_frac: float | None
    codes: Mapping[str, str]
    """Code of the planned batch by its name in the plan, once the plan was accepted; as it is scanned."""
    decisions: tuple[Decision, ...]


def newest_plan() -> DayPlan | None:
    """The plan that was begun last and shows something: what-if copies aside, failed ones too."""
    rows = DayPlan.objects.filter(plan__isnull=False, name="").exclude(state=DayPlan.State.FAILED)
    return rows.select_related("made_by").first()


def running_plan() -> DayPlan | None:
    """The plan that is being searched."""
    return DayPlan.objects.filter(state=DayPlan.State.RUNNING).select_related("made_by").first()


def accepted_plan() -> DayPlan | None:
    """The made plan that was accepted last."""
    newest = PlanAcceptance.objects.first()
    if newest is None:
        return None
    return DayPlan.objects.filter(number=newest.number).select_related("made_by").first()


def problem_of(day_plan: DayPlan) -> Problem:
    """Its problem with what people decided. The plant must have been read."""
    assert day_plan.problem is not None
    decisions = [decided_from(row.content) for row in day_plan.decisions.all()]
    return with_decisions(problem_from(day_plan.problem), decisions)


def shown(day_plan: DayPlan) -> PlanShown:
    """All of a plan that has a best so far (``plan`` is not null)."""
    assert day_plan.plan is not None
    problem, plan = problem_of(day_plan), plan_from(day_plan.plan)
    notes = notes_from(day_plan.notes)
    held = {serial for batch in plan.batches for serial in batch.tanks}
    codes = PlannedBatch.objects.filter(acceptance__number=day_plan.number).values_list("plan_batch", "code")
    return PlanShown(
        number=day_plan.number,
        problem=problem,
        plan=plan,
        clock=notes.clock,
        names=notes,
        left_out=notes.left_out,
        assumed=notes.assumed,
        unplaced=tuple(tank.id for tank in problem.tanks if tank.id not in held),
        impossible=impossible(problem, notes.clock.words) if len(held) < len(problem.tanks) else (),
        score=check(problem, plan).score,
        bound=day_plan.bound,
        gap_frac=day_plan.gap_frac,
        codes=dict(codes),
        decisions=tuple(day_plan.decisions.select_related("made_by")),
    )


def waiting_batches() -> list[PlannedBatch]:
    """Planned batches that nobody started yet, in the order of their beginning, with their tanks."""
    return list(
        PlannedBatch.objects.filter(state=PlannedBatch.State.WAITING)
        .select_related("vessel", "anion_vessel", "resin_type", "acceptance")
        .prefetch_related(*READ)
    )


def planned_batch(code: str) -> PlannedBatch | None:
    """The planned batch of a code that waits to be started; None where none does."""
    return next((row for row in waiting_batches() if row.code == code), None)


def planned_for(visit_ids: Iterable[int]) -> dict[int, PlannedBatch]:
    """For which planned batch a tank waits, by key of its visit; nothing for the others. Two queries."""
    pks = list(visit_ids)
    here = PlannedTank.objects.filter(visit_id__in=pks, is_current=True).select_related("planned__vessel")
    found = {link.visit_id: link.planned for link in here}
    came = PlannedExpected.objects.filter(expected__visit_id__in=pks, is_current=True)
    for link in came.select_related("planned__vessel", "expected"):
        assert link.expected.visit_id is not None
        found[link.expected.visit_id] = link.planned
    return found


def planned_for_expected(expected_ids: Iterable[int]) -> dict[int, PlannedBatch]:
    """Which planned batch counts with a tank that is on its way, by key of its row. One query."""
    links = PlannedExpected.objects.filter(expected_id__in=list(expected_ids), is_current=True)
    return {link.expected_id: link.planned for link in links.select_related("planned__vessel")}
