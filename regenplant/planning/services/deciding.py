"""Decisions of people about a draft, kept and undone. Each was worked out before its act (``planning.deciding``), so that nobody waits
for it, and is written only where the plan is still the one that it was worked out on.
"""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.scheduling.exchange import plan_to
from regenplant.planning import moves
from regenplant.planning.decided import Decided, decided_to
from regenplant.planning.hands_on import Tried
from regenplant.planning.models import Decision
from regenplant.planning.services._subject import draft_called, plan_subject

Kind = Decision.Kind
LONGEST_SENTENCE = 400


@use_case("day_plan.decided", permission="day_plan.make")
def keep_decision(
    *, by: By, number: str, version: int, kind: str, decided: Decided, sentence: str, tried: Tried
) -> Outcome:
    """Write a decision that was worked out (``deciding.work_out``), with the plan as it was before. Raises: RecordRefused, StaleRecord."""
    row = draft_called(number, version)
    before, after = tried.before, tried.after
    made = Decision.objects.create(
        day_plan=row,
        position=row.decisions.count() + 1,
        kind=kind,
        content=decided_to(decided),
        sentence=sentence,
        costs={"before": before.to_data(), "after": after.to_data(), "moved": tried.moved},
        plan_before=row.plan,
        score_before=row.score,
        bound_before=row.bound,
        made_at=by.at,
        made_by=by.user,
    )
    is_looser = bool(decided.left_out or decided.pooled)
    moves.change(
        row,
        plan=plan_to(tried.plan),
        score=after.score,
        bound=None if is_looser else row.bound,  # a decision that only binds leaves the bound true
    )
    return Outcome(
        subject=plan_subject(row),
        facts={
            "sentence": sentence,
            "late": after.late_tanks - before.late_tanks,
            "score": round(after.score - before.score, 1),
        },
        result=made,
    )


@use_case("day_plan.decision_undone", permission="day_plan.make")
def undo_decision(*, by: By, number: str, version: int | None = None) -> Outcome:
    """Take the newest decision back; the plan is again as it was before it. Raises: RecordRefused, StaleRecord."""
    row = draft_called(number, version)
    newest = row.decisions.order_by("-position").first()
    if newest is None:
        raise RecordRefused(f"Nothing was decided about {row.number}, so nothing is undone.", code="nothing")
    moves.change(row, plan=newest.plan_before, score=newest.score_before, bound=newest.bound_before)
    sentence = newest.sentence
    newest.delete()
    return Outcome(subject=plan_subject(row), facts={"sentence": sentence}, result=row)


say("day_plan.decided", "{subject}: {sentence}")
say("day_plan.decision_undone", "{subject}, taken back: {sentence}")
