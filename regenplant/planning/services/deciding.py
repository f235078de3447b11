"""Decisions of people about a draft: a batch into a vessel or at a time, split, joined, a tank left out, a rush; and undone again.

Each is worked out before its act begins, so that nobody waits for it, and written only where the plan is still the one it was worked out on.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.wording import listed
from regenplant.core.scheduling.exchange import plan_to
from regenplant.core.scheduling.plan import Plan, PlannedBatch
from regenplant.core.scheduling.problem import Pin
from regenplant.planning import moves
from regenplant.planning.clock import PlanClock
from regenplant.planning.decided import Decided, decided_to
from regenplant.planning.hands_on import Tried, tried
from regenplant.planning.kept import notes_from, plan_from
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.services._subject import DRAFTS, draft_called, plan_subject

Kind = Decision.Kind
LONGEST_SENTENCE = 400


def decide(
    *,
    by: By,
    number: str,
    kind: str,
    batch: str,
    tanks: Sequence[str] = (),
    other: str = "",
    vessel: str = "",
    starts_at: datetime | None = None,
    wanted_by: datetime | None = None,
    version: int | None = None,
    steps: int | None = None,
) -> Outcome:
    """Work out what a decision about a batch of a draft makes of it, and keep it.

    Parameters
    ----------
    kind : str
        Of ``Decision.Kind``
    batch : str
        Name of the batch in the plan
    tanks : sequence of str
        Serials: of a split those that go apart, of leaving out and rush those it is about
    other : str
        Name of the batch that is joined to it
    vessel, starts_at
        Of a pin; both may be left open, then the tanks only stay together
    wanted_by : datetime
        Of a rush
    version : int
        Of the plan as it was shown
    steps : int
        Of the search, in place of a fraction of a second

    Raises: RecordRefused, StaleRecord, NotAllowed.
    """
    row = DayPlan.objects.prefetch_related("decisions").filter(number=number, state__in=DRAFTS).first()
    if row is None or row.plan is None:
        draft_called_outside(number)
    assert row is not None
    clock = notes_from(row.notes).clock
    plan = plan_from(row.plan)
    decided, sentence = _decided(
        plan, clock, kind, _batch(plan, batch), tanks, other, vessel, starts_at, wanted_by
    )
    return keep_decision(
        by=by,
        number=number,
        version=row.version if version is None else version,
        kind=kind,
        decided=decided,
        sentence=sentence[:LONGEST_SENTENCE],
        worked_out=tried(row, decided, steps=steps),
    )


def draft_called_outside(number: str) -> None:
    """Raises: RecordRefused, for a plan that is no draft."""
    row = DayPlan.objects.filter(number=number).first()
    what = f"{row.number} is {row.get_state_display()}" if row else f"There is no day plan {number[:16]} here"
    raise RecordRefused(
        f"{what}. Only a plan that was found and not accepted can be changed.", code="no_draft"
    )


@use_case("day_plan.decided", permission="day_plan.make")
def keep_decision(
    *, by: By, number: str, version: int, kind: str, decided: Decided, sentence: str, worked_out: Tried
) -> Outcome:
    """Write a decision that was worked out, with the plan as it was before. Raises: RecordRefused, StaleRecord."""
    row = draft_called(number, version)
    before, after = worked_out.before, worked_out.after
    made = Decision.objects.create(
        day_plan=row,
        position=row.decisions.count() + 1,
        kind=kind,
        content=decided_to(decided),
        sentence=sentence,
        costs={"before": before.to_data(), "after": after.to_data(), "moved": worked_out.moved},
        plan_before=row.plan,
        score_before=row.score,
        bound_before=row.bound,
        made_at=by.at,
        made_by=by.user,
    )
    is_looser = bool(decided.left_out or decided.pooled)
    moves.change(
        row,
        plan=plan_to(worked_out.plan),
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


# --- from what a person chose to the terms of the problem ------------------------------------------------------------------
def _batch(plan: Plan, name: str) -> PlannedBatch:
    found = next((one for one in plan.batches if one.id == name), None)
    if found is None:
        raise RecordRefused(
            f"The plan has no batch {name[:12]} any more. Look at it as it is now.", code="unknown_batch"
        )
    return found


def _decided(
    plan: Plan,
    clock: PlanClock,
    kind: str,
    batch: PlannedBatch,
    tanks: Sequence[str],
    other: str,
    vessel: str,
    starts_at: datetime | None,
    wanted_by: datetime | None,
) -> tuple[Decided, str]:
    if kind == Kind.PIN:
        return _pin(batch, clock, vessel, starts_at)
    if kind == Kind.JOIN:
        second = _batch(plan, other)
        if second.id == batch.id:
            raise RecordRefused("A batch is joined to another one. Choose the other.", field="other")
        together = (*batch.tanks, *second.tanks)
        return (
            Decided(pins=(Pin("", together),)),
            f"{listed(together)} go together.",
        )
    chosen = _chosen(batch, tanks)
    if kind == Kind.SPLIT:
        rest = tuple(name for name in batch.tanks if name not in chosen)
        if not rest:
            raise RecordRefused(
                "All tanks are ticked, so nothing stays behind. Tick those that go apart.", field="tanks"
            )
        return (
            Decided(pins=(Pin("", chosen), Pin("", rest))),
            f"{listed(chosen)} go apart from {listed(rest)}.",
        )
    if kind == Kind.LEAVE_OUT:
        return Decided(left_out=chosen, pooled=batch.tanks), f"{listed(chosen)} are left out of this plan."
    if kind == Kind.RUSH:
        if wanted_by is None:
            raise RecordRefused("Write by when the tanks are wanted.", field="wanted_by")
        minute = clock.minute(wanted_by)
        if not clock.now_min < minute <= clock.end_min:
            raise RecordRefused(
                "A rush is wanted after the beginning of this plan and within its days.", field="wanted_by"
            )
        words = f"{listed(chosen)} are wanted by {wanted_by:%Y-%m-%d %H:%M} UTC, before all others."
        return Decided(rush=dict.fromkeys(chosen, minute)), words
    raise RecordRefused("This is no decision about a plan.", field="kind", code="unknown")


def _pin(
    batch: PlannedBatch, clock: PlanClock, vessel: str, starts_at: datetime | None
) -> tuple[Decided, str]:
    minute = clock.minute(starts_at) if starts_at is not None else None
    if minute is not None and not clock.now_min <= minute < clock.end_min:
        raise RecordRefused(
            "The batch begins within the days of this plan, not before it.", field="starts_at", code="outside"
        )
    where = f" in {vessel}" if vessel else ""
    when = f" at {clock.moment(minute):%Y-%m-%d %H:%M} UTC" if minute is not None else ""
    place = f"go{where}{when}" if where or when else "stay together"
    return (
        Decided(pins=(Pin("", batch.tanks, vessel or None, minute),)),
        f"{listed(batch.tanks)} {place}.",
    )


def _chosen(batch: PlannedBatch, tanks: Sequence[str]) -> tuple[str, ...]:
    chosen = tuple(name for name in batch.tanks if name in set(tanks))
    if not chosen or len(chosen) != len(set(tanks)):
        raise RecordRefused("Tick the tanks, of this batch only.", field="tanks", code="none_chosen")
    return chosen


say("day_plan.decided", "{subject}: {sentence}")
say("day_plan.decision_undone", "{subject}, taken back: {sentence}")
