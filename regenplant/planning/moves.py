"""The one private writer of drafts and of the states of planned batches. Acts call it, and the search for its own row.

A search writes outside of any act: short, on its own, and only while the row still is its own.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from regenplant.audit.by import By
from regenplant.core.errors import StaleRecord
from regenplant.planning.models import DayPlan, PlannedBatch, PlannedExpected, PlannedTank

RUNNING = DayPlan.State.RUNNING


def take_on(row: DayPlan, *, process: int, host: str, at: datetime) -> bool:
    """The search takes its row; False where another has it."""
    free = DayPlan.objects.filter(pk=row.pk, state=RUNNING, process__isnull=True)
    return free.update(process=process, host=host, told_at=at) == 1


def tell(pk: int, *, process: int, at: datetime, **values: Any) -> bool:
    """What the search found so far; False where the row is no longer its own."""
    return DayPlan.objects.filter(pk=pk, state=RUNNING, process=process).update(told_at=at, **values) == 1


def end(pk: int, state: DayPlan.State, *, process: int, at: datetime, failure: str) -> bool:
    """The last word of the search."""
    mine = DayPlan.objects.filter(pk=pk, state=RUNNING, process=process)
    return mine.update(state=state.value, ended_at=at, told_at=at, failure=failure) == 1


def clear(row: DayPlan, *, at: datetime, why: str) -> bool:
    """End a row whose search is gone, with what it had found; False where it told something meanwhile."""
    state = DayPlan.State.FAILED if row.plan is None else DayPlan.State.STOPPED
    as_it_stood = DayPlan.objects.filter(pk=row.pk, state=RUNNING, told_at=row.told_at)
    return as_it_stood.update(state=state.value, failure=why, ended_at=at) == 1


def ask_to_stop(row: DayPlan) -> None:
    """The search reads it within a second or two."""
    DayPlan.objects.filter(pk=row.pk, state=RUNNING).update(is_stop_wanted=True)


def change(row: DayPlan, **values: Any) -> None:
    """Write to a draft, one version further. Raises: StaleRecord where somebody was faster."""
    hit = DayPlan.objects.filter(pk=row.pk, version=row.version, state=row.state).update(
        **values, version=row.version + 1
    )
    if hit != 1:
        raise StaleRecord(f"{row.number} was changed at the same moment. Look at it, then do it again.")
    row.refresh_from_db()


def move(row: DayPlan, state: DayPlan.State) -> None:
    """A draft is accepted or set aside. Raises: StaleRecord."""
    change(row, state=state.value)


# --- planned batches --------------------------------------------------------------------------------------------------------
def let_go(
    row: PlannedBatch,
    state: PlannedBatch.State,
    *,
    by: By,
    batch_number: str = "",
    reason: str = "",
) -> None:
    """A planned batch waits no longer: started, cancelled or replaced; its tanks are free for other plans.

    Raises: StaleRecord where it did not wait any more.
    """
    waiting = PlannedBatch.objects.filter(pk=row.pk, state=PlannedBatch.State.WAITING)
    hit = waiting.update(
        state=state.value, batch_number=batch_number, reason=reason, ended_at=by.at, ended_by=by.user
    )
    if hit != 1:
        raise StaleRecord(f"{row.code} does not wait any more. Look at it as it is now.", code="not_waiting")
    for model in (PlannedTank, PlannedExpected):
        model.objects.filter(planned=row, is_current=True).update(is_current=False)
    row.refresh_from_db()
