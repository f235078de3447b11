"""Acts on the search of a plan: begun, stopped, set aside. What is found is a draft and no record; that it was asked for is one."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db import transaction
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.planning import moves, processes
from regenplant.planning.models import DayPlan
from regenplant.planning.services._subject import DRAFTS, plan_called, plan_subject

LEAST_S, MOST_S = 5, 300
MOST_AHEAD = timedelta(days=7)
PREFIX, FIRST = "DP", 101


@use_case("day_plan.begun", permission="day_plan.make")
def begin_plan(*, by: By, seconds: int, from_at: datetime | None = None, seed: int = 1) -> Outcome:
    """Let the plant be planned as it stands. The search begins when this act is written, in a process of its own.

    ``seconds`` is how long it may search, 5 to 300; ``from_at`` from when on batches may begin (None: now), up to seven days ahead.

    Raises: OutOfRange; RecordRefused while another plan is searched.
    """
    if not LEAST_S <= seconds <= MOST_S:
        raise OutOfRange(
            f"{seconds} s is outside: a search takes {LEAST_S} to {MOST_S} seconds.", field="seconds"
        )
    start = from_at or by.at
    if not by.at - timedelta(minutes=1) <= start <= by.at + MOST_AHEAD:
        raise OutOfRange(
            "A plan begins now or up to seven days ahead. Leave the time empty for now.", field="from_at"
        )
    processes.clear_stale(by.at)
    other = DayPlan.objects.filter(state=DayPlan.State.RUNNING).select_related("made_by").first()
    if other is not None:
        until = other.made_at + timedelta(seconds=other.seconds)
        raise RecordRefused(
            f"{other.number} is being searched for {other.made_by.full_name} until about {timezone.localtime(until):%a %H:%M:%S} by the clock at the plant. One plan is searched at a "
            "time: wait for it, or stop it.",
            code="plan_running",
        )
    row = DayPlan.objects.create(
        number=next_number(DayPlan, "number", PREFIX, FIRST),
        made_at=by.at,
        made_by=by.user,
        from_at=max(start, by.at),
        seconds=seconds,
        seed=seed,
        told_at=by.at,
    )
    transaction.on_commit(lambda: processes.begin_process(row.number))
    return Outcome(
        subject=plan_subject(row),
        facts={"seconds": seconds, "from": row.from_at.isoformat()},
        result=row,
    )


@use_case("day_plan.stopped", permission="day_plan.make")
def stop_plan(*, by: By, number: str) -> Outcome:
    """End the search within a second or two; the best plan so far is kept. Raises: RecordRefused where none is searched."""
    row = plan_called(number)
    if row.state != DayPlan.State.RUNNING:
        raise RecordRefused(
            f"{row.number} is not being searched any more: it is {row.get_state_display()}.",
            code="not_running",
        )
    moves.ask_to_stop(row)
    return Outcome(subject=plan_subject(row), facts={"progress": round(row.progress_frac, 3)}, result=row)


@use_case("day_plan.set_aside", permission="day_plan.make")
def set_plan_aside(*, by: By, number: str, version: int | None = None) -> Outcome:
    """Take a plan out of the list of those that may be accepted. Raises: RecordRefused, StaleRecord."""
    row = plan_called(number)
    if row.state not in (*DRAFTS, DayPlan.State.FAILED):
        raise RecordRefused(
            f"{row.number} is {row.get_state_display()} and is not set aside.", code="no_draft"
        )
    moves.move(row, DayPlan.State.SET_ASIDE)
    return Outcome(subject=plan_subject(row), result=row)


say("day_plan.begun", "{subject} was asked for, {seconds} s of search")
say("day_plan.stopped", "the search of {subject} was stopped")
say("day_plan.set_aside", "{subject} was set aside")
