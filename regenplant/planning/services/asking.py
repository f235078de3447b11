"""The answer to what would bring a late tank on time, kept with its plan. It was worked out before its act (``planning.answers``), so
that nobody waits for it, and is written only where the plan is still the one that was asked about."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.planning.answers import refuse_unaskable
from regenplant.planning.models import LateTankAnswer
from regenplant.planning.services._subject import plan_called, plan_subject


@use_case("day_plan.asked", permission="day_plan.make")
def keep_answer(*, by: By, number: str, version: int, tank: str, content: dict[str, Any]) -> Outcome:
    """Write an answer that was worked out (``answers.work_out``); an earlier one about the tank gives way.

    Raises: RecordRefused, StaleRecord.
    """
    row = plan_called(number)
    refuse_unaskable(row)
    if version != row.version:
        raise StaleRecord(
            f"{row.number} was changed since you opened it. Look at it as it is now, then ask again.",
            seen=version,
            present=row.version,
        )
    if not any(tank in batch["tanks"] for batch in (row.plan or {}).get("batches", ())):
        raise RecordRefused(f"Tank {tank[:40]} stands in no batch of {row.number}.", code="unknown_tank")
    made, _ = LateTankAnswer.objects.update_or_create(
        day_plan=row,
        tank=tank,
        defaults={
            "plan_version": row.version,
            "content": content,
            "asked_at": by.at,
            "asked_by": by.user,
        },
    )
    helps = sum(one["helps"] for one in content["tried"])
    return Outcome(subject=plan_subject(row), facts={"tank": tank, "helps": helps}, result=made)


say("day_plan.asked", "{subject} was asked what would bring {tank} on time; changes that do so: {helps}")
