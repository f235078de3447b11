"""Acts on planned batches: started, by the gates of any start, or cancelled with a reason."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.batches.services import freeze_batch
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.wording import listed
from regenplant.planning import moves
from regenplant.planning.members import members
from regenplant.planning.models import PlannedBatch


def _waiting(code: str) -> PlannedBatch:
    """Raises: RecordRefused where there is none, StaleRecord where it does not wait any more."""
    row = (
        PlannedBatch.objects.select_for_update(of=("self",))
        .select_related("vessel", "acceptance")
        .filter(code=code)
        .first()
    )
    if row is None:
        raise RecordRefused(f"There is no planned batch {code[:16]} here.", code="unknown")
    if row.state == PlannedBatch.State.STARTED:
        raise StaleRecord(f"{row.code} was started already, as {row.batch_number}.", code="not_waiting")
    if row.state != PlannedBatch.State.WAITING:
        raise StaleRecord(
            f"{row.code} was {row.get_state_display()}. Look at the plan as it is now.", code="not_waiting"
        )
    return row


def _subject(row: PlannedBatch) -> tuple[str, str, str]:
    return ("planned_batch", row.code, f"Planned batch {row.code}")


@use_case("planned_batch.started", permission="batch.plan")
def start_planned(
    *,
    by: By,
    planned_code: str,
    visit_ids: Sequence[int],
    vessel_id: int,
    recipe_version_id: int,
    specification_version_id: int,
    shown_digest: str = "",
    anion_vessel_id: int | None = None,
    throughput_m3: float | None = None,
) -> Outcome:
    """Start a planned batch: it is planned exactly, gets its number and is frozen, by the gates of any start.

    Tanks and vessel may differ from the plan, as the person chose them; the act says how.

    Raises: what ``freeze_batch`` raises; StaleRecord where the planned batch does not wait any more.
    """
    row = _waiting(planned_code)
    planned = members(row)
    serials = {one.visit.pk: one.tank.serial for one in planned if one.visit is not None}
    away = [one.tank.serial for one in planned if one.visit is None]
    if not set(serials) & set(visit_ids):
        raise RecordRefused(
            f"None of these tanks stands in {row.code}. Start them as a batch of their own.",
            code="other_tanks",
        )
    batch: Batch = freeze_batch(
        by=by,
        visit_ids=visit_ids,
        vessel_id=vessel_id,
        recipe_version_id=recipe_version_id,
        specification_version_id=specification_version_id,
        shown_digest=shown_digest,
        anion_vessel_id=anion_vessel_id,
        throughput_m3=throughput_m3,
    ).result
    moves.let_go(row, PlannedBatch.State.STARTED, by=by, batch_number=batch.number)
    return Outcome(
        subject=_subject(row),
        facts={"number": batch.number, "differs": _differences(row, batch, serials, away, visit_ids)},
        related=(("batch", batch.number), ("day_plan", row.acceptance.number)),
        result=batch,
    )


def _differences(
    row: PlannedBatch, batch: Batch, serials: dict[int, str], away: Sequence[str], visit_ids: Sequence[int]
) -> str:
    """How a start differs from its plan, as the end of a sentence; "" where it does not. ``away``: planned tanks that did not come."""
    parts = []
    left = [*(serial for pk, serial in serials.items() if pk not in visit_ids), *away]
    added = [pk for pk in visit_ids if pk not in serials]
    if left:
        parts.append(f"without {listed(left)}")
    if added:
        parts.append(f"with {len(added)} more {'tank' if len(added) == 1 else 'tanks'}")
    if batch.vessel_id != row.vessel_id:
        parts.append(f"in {batch.vessel.code} instead of {row.vessel.code}")
    if batch.recipe_version_id != row.recipe_version_id:
        parts.append("by another recipe version")
    return f", {', '.join(parts)}" if parts else ""


@use_case("planned_batch.cancelled", permission="day_plan.accept")
def cancel_planned(*, by: By, planned_code: str, reason: str) -> Outcome:
    """Take a planned batch out of the plan; its tanks wait as before. Raises: RecordRefused, StaleRecord."""
    row = _waiting(planned_code)
    why = words_of(reason, "The reason", field="reason", most=300, least=10)
    moves.let_go(row, PlannedBatch.State.CANCELLED, by=by, reason=why)
    return Outcome(subject=_subject(row), reason=why, result=row)


say("planned_batch.started", "{subject} was started as {number}{differs}")
say("planned_batch.cancelled", "{subject} was cancelled: {reason}")
