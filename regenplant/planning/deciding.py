"""What a person chose to decide about a batch of a draft, or about several tanks of it at once, worked out: in the terms of the problem, in words, and tried. Writes nothing."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from django.utils import timezone

from regenplant.core.errors import RecordRefused
from regenplant.core.process.wording import listed
from regenplant.core.scheduling.plan import Plan, PlannedBatch
from regenplant.core.scheduling.problem import Pin
from regenplant.planning.clock import PlanClock
from regenplant.planning.decided import Decided
from regenplant.planning.hands_on import tried
from regenplant.planning.kept import notes_from, plan_from
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.selectors import problem_of

Kind = Decision.Kind
LONGEST_SENTENCE = 400
MOST_NAMED = 12


def work_out(
    *,
    number: str,
    kind: str,
    batch: str = "",
    tanks: Sequence[str] = (),
    other: str = "",
    vessel: str = "",
    starts_at: datetime | None = None,
    wanted_by: datetime | None = None,
    version: int | None = None,
    steps: int | None = None,
) -> dict[str, Any]:
    """What a decision about a batch of a draft, or about several of its tanks, makes of it: the arguments of ``services.keep_decision``.

    Parameters
    ----------
    kind : str
        Of ``Decision.Kind``
    batch : str
        Name of the batch in the plan; "" for a decision about tanks of any batches, which leaves them out, rushes them or keeps them together
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

    Raises: RecordRefused with what keeps it from being carried out.
    """
    row = _draft(number)
    assert row.plan is not None
    clock = notes_from(row.notes).clock
    plan = plan_from(row.plan)
    if batch:
        decided, sentence = _decided(
            plan, clock, kind, _batch(plan, batch), tanks, other, vessel, starts_at, wanted_by
        )
    else:
        known = {tank.id for tank in problem_of(row).tanks}
        decided, sentence = _about_several(plan, known, clock, kind, tanks, wanted_by)
    return {
        "number": number,
        "version": row.version if version is None else version,
        "kind": kind,
        "decided": decided,
        "sentence": sentence[:LONGEST_SENTENCE],
        "tried": tried(row, decided, steps=steps),
    }


def _draft(number: str) -> DayPlan:
    row = DayPlan.objects.prefetch_related("decisions").filter(number=number).first()
    if row is None:
        raise RecordRefused(f"There is no day plan {number[:16]} here.", code="unknown")
    if row.state not in (DayPlan.State.DONE, DayPlan.State.STOPPED) or row.plan is None:
        raise RecordRefused(
            f"{row.number} is {row.get_state_display()}. Only a plan that was found and that nobody accepted or set aside can be changed.",
            code="no_draft",
        )
    return row


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
            f"{listed(chosen)} {_go(chosen)} apart from {listed(rest)}.",
        )
    if kind == Kind.LEAVE_OUT:
        return Decided(
            left_out=chosen, pooled=batch.tanks
        ), f"{listed(chosen)} {_is(chosen)} left out of this plan."
    if kind == Kind.RUSH:
        return _rush(chosen, clock, wanted_by)
    raise RecordRefused("This is no decision about a plan.", field="kind", code="unknown")


def _about_several(
    plan: Plan,
    known: Collection[str],
    clock: PlanClock,
    kind: str,
    tanks: Sequence[str],
    wanted_by: datetime | None,
) -> tuple[Decided, str]:
    """One decision about tanks of any batches, also about some that have none."""
    chosen = tuple(dict.fromkeys(tanks))
    if not chosen or not set(chosen) <= set(known):
        raise RecordRefused("Tick the tanks, of this plan only.", field="tanks", code="none_chosen")
    beside = tuple(
        name
        for one in plan.batches
        if set(one.tanks) & set(chosen)
        for name in one.tanks
        if name not in chosen
    )
    if kind == Kind.LEAVE_OUT:
        return (
            Decided(left_out=chosen, pooled=(*chosen, *beside)),
            f"{_named(chosen)} {_is(chosen)} left out of this plan.",
        )
    if kind == Kind.RUSH:
        return _rush(chosen, clock, wanted_by)
    if kind == Kind.PIN:
        if len(chosen) < 2:
            raise RecordRefused("One tank alone is always together. Tick two or more.", field="tanks")
        return Decided(
            pins=(Pin("", chosen),), pooled=beside
        ), f"{_named(chosen)} go together, by themselves."
    raise RecordRefused("Several tanks are left out, rushed or kept together.", field="kind", code="unknown")


def _rush(chosen: tuple[str, ...], clock: PlanClock, wanted_by: datetime | None) -> tuple[Decided, str]:
    if wanted_by is None:
        raise RecordRefused("Write by when the tanks are wanted.", field="wanted_by")
    minute = clock.minute(wanted_by)
    if not clock.now_min < minute <= clock.end_min:
        raise RecordRefused(
            f"A rush is wanted after the beginning of this plan and within its days: {_days(clock)}. {_local(wanted_by)} was written.",
            field="wanted_by",
        )
    words = f"{_named(chosen)} {_is(chosen)} wanted by {_local(wanted_by)}, before all others."
    return Decided(rush=dict.fromkeys(chosen, minute)), words


def _pin(
    batch: PlannedBatch, clock: PlanClock, vessel: str, starts_at: datetime | None
) -> tuple[Decided, str]:
    minute = clock.minute(starts_at) if starts_at is not None else None
    if minute is not None and not clock.now_min <= minute < clock.end_min:
        raise RecordRefused(
            f"The batch begins within the days of this plan, not before it: {_days(clock)}. {_local(clock.moment(minute))} was written.",
            field="starts_at",
            code="outside",
        )
    where = f" in {vessel}" if vessel else ""
    when = f" at {_local(clock.moment(minute))}" if minute is not None else ""
    place = f"{_go(batch.tanks)}{where}{when}" if where or when else "stay together"
    return (
        Decided(pins=(Pin("", batch.tanks, vessel or None, minute),)),
        f"{listed(batch.tanks)} {place}.",
    )


def _chosen(batch: PlannedBatch, tanks: Sequence[str]) -> tuple[str, ...]:
    chosen = tuple(name for name in batch.tanks if name in set(tanks))
    if not chosen or len(chosen) != len(set(tanks)):
        raise RecordRefused("Tick the tanks, of this batch only.", field="tanks", code="none_chosen")
    return chosen


def _named(tanks: Sequence[str]) -> str:
    """All of few, the first of many."""
    more = len(tanks) - MOST_NAMED
    return listed(tanks) if more <= 0 else f"{', '.join(tanks[:MOST_NAMED])} and {more} more"


def _days(clock: PlanClock) -> str:
    """From when to when is planned."""
    return f"{clock.words(clock.now_min)} to {clock.words(clock.end_min)} by the clock at the plant, {clock.zone.key}"


def _local(moment: datetime) -> str:
    """By the clock at the plant."""
    return f"{timezone.localtime(moment):%Y-%m-%d %H:%M}"


def _is(tanks: Sequence[str]) -> str:
    return "is" if len(tanks) == 1 else "are"


def _go(tanks: Sequence[str]) -> str:
    return "goes" if len(tanks) == 1 else "go"
