"""A what-if copy of a draft: the same problem, plan and decisions under a number and a name of its own, to be changed beside the first."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.services._subject import draft_called, plan_subject


@use_case("day_plan.copied", permission="day_plan.make")
def copy_plan(*, by: By, number: str, name: str, version: int | None = None) -> Outcome:
    """Copy a draft with everything decided about it. ``name`` says what is tried. Raises: RecordRefused, StaleRecord."""
    row = draft_called(number, version)
    what = words_of(name, "What is tried", field="name", most=60, least=3)
    copy = DayPlan.objects.create(
        number=next_number(DayPlan, "number", "DP", 101),
        name=what,
        state=DayPlan.State.DONE.value,
        made_at=by.at,
        made_by=by.user,
        from_at=row.from_at,
        parent=row,
        problem=row.problem,
        plan=row.plan,
        notes=row.notes,
        seed=row.seed,
        seconds=row.seconds,
        progress_frac=row.progress_frac,
        steps=row.steps,
        score=row.score,
        bound=row.bound,
        ended_at=by.at,
    )
    Decision.objects.bulk_create(
        Decision(
            day_plan=copy,
            position=one.position,
            kind=one.kind,
            content=one.content,
            sentence=one.sentence,
            costs=one.costs,
            plan_before=one.plan_before,
            score_before=one.score_before,
            bound_before=one.bound_before,
            made_at=one.made_at,
            made_by_id=one.made_by_id,
        )
        for one in row.decisions.all()
    )
    return Outcome(
        subject=plan_subject(copy),
        facts={"of": row.number, "name": what},
        related=(("day_plan", row.number),),
        result=copy,
    )


say("day_plan.copied", "{subject} was made as a copy of {of}: {name}")
