"""What the acts on plans share: whom they are about, and the draft as it stands."""

from __future__ import annotations

from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.planning.models import DayPlan

DRAFTS = (DayPlan.State.DONE, DayPlan.State.STOPPED)
"""States in which a plan can be changed, copied and accepted."""


def plan_subject(row: DayPlan) -> tuple[str, str, str]:
    return ("day_plan", row.number, f"Day plan {row.number}")


def plan_called(number: str) -> DayPlan:
    """The plan, locked for this act where the database locks rows. Raises: RecordRefused."""
    row = DayPlan.objects.select_for_update().filter(number=number).first()
    if row is None:
        raise RecordRefused(f"There is no day plan {number[:16]} here.", code="unknown")
    return row


def draft_called(number: str, version: int | None) -> DayPlan:
    """A plan that was found and that nobody accepted or set aside yet.

    Raises: RecordRefused where it is none, StaleRecord where somebody changed it since ``version`` was shown.
    """
    row = plan_called(number)
    if version is not None and version != row.version:
        raise StaleRecord(
            f"{row.number} was changed since you opened it. Look at it as it is now, then do it again.",
            seen=version,
            present=row.version,
        )
    if row.state not in DRAFTS or row.plan is None:
        raise RecordRefused(
            f"{row.number} is {row.get_state_display()}. Only a plan that was found and that nobody accepted or set aside can be changed.",
            code="no_draft",
        )
    return row
