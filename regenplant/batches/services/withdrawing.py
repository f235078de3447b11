"""Tanks of a batch that are withdrawn after they were filled, one by one or all of a batch that was amended to fail."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Q

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.moves import batch_snapshot, locked, touch
from regenplant.batches.services._subject import batch_subject
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchState, VisitState
from regenplant.tanks.models import TankVisit
from regenplant.tanks.services import discard_resin, fail_tank, put_tank_back, release_tank, withdraw_tank

FILLED_STATES = (VisitState.REFILLED, VisitState.RELEASED)


@use_case("batch.tank_withdrawn", permission="tank.hold")
def withdraw_filled_tank(*, by: By, visit_id: int, reason: str, version: int | None = None) -> Outcome:
    """Withdraw one filled tank: it is not released and not shipped with its batch until somebody puts it back.

    Raises: RecordRefused without a reason or for a tank no batch filled, TransitionRefused unless it is filled and here.
    """
    link = _filled_link(visit_id)
    batch = locked(link.batch_id)
    visit = withdraw_tank(by=by, visit_id=visit_id, reason=reason, version=version).result
    _withdraw(link, reason=visit.reason, at=by.happened_at)
    touch(batch)
    return _outcome(batch, link, visit.reason)


@use_case("batch.tank_put_back", permission="tank.lift_hold")
def put_back_filled_tank(*, by: By, visit_id: int, reason: str) -> Outcome:
    """What was wrong with a tank is mended: it stands among the filled ones again, and with its released batch it is released.

    Raises: TransitionRefused when its batch failed or was released without it, and for who took part in that batch.
    """
    link = _withdrawn_link(visit_id)
    batch = locked(link.batch_id)
    is_released = batch.state == BatchState.RELEASED
    put_tank_back(
        by=by,
        visit_id=visit_id,
        reason=reason,
        batch_has_failed=batch.state in (BatchState.FAILED, BatchState.SCRAPPED),
        was_left_out=is_released and link.visit.released_at is None,
        took_part=bool(batch_snapshot(batch, by=by).actor_took_part),
    )
    if is_released:
        release_tank(by=by, visit_id=visit_id, batch_is_released=True)
    link.withdrawn_at, link.withdrawn_reason, link.is_current = None, "", not is_released
    link.save(update_fields=["withdrawn_at", "withdrawn_reason", "is_current"])
    touch(batch)
    return _outcome(batch, link, reason.strip())


@use_case("batch.tank_discarded", permission="batch.scrap")
def discard_filled_tank(*, by: By, visit_id: int, reason: str) -> Outcome:
    """Throw away the resin of one tank that was withdrawn. The rest of its batch stands; the empty shell waits for another.

    Raises: RecordRefused, TransitionRefused unless the tank is withdrawn.
    """
    link = _withdrawn_link(visit_id)
    batch = locked(link.batch_id)
    if batch.state == BatchState.FAILED:
        raise RecordRefused(
            f"Batch {batch.number} failed as a whole. Its resin is reworked or scrapped from the page of the batch.",
            code="failed_as_a_whole",
        )
    discard_resin(by=by, visit_id=visit_id, reason=reason)
    link.is_current = False
    link.save(update_fields=["is_current"])
    touch(batch)
    return _outcome(batch, link, reason.strip())


@use_case("batch.tanks_failed", permission="qc.judge")
def fail_tanks(*, by: By, batch_id: int) -> Outcome:
    """Withdraw every tank of a failed batch that is still here, and name those that are shipped, in one act with its failing.

    Raises: RecordRefused unless the batch failed.
    """
    batch = locked(batch_id)
    if batch.state != BatchState.FAILED:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}, not failed.", code="not_failed"
        )
    words = f"Batch {batch.number} was amended to fail. Its resin is reworked or scrapped, never shipped."
    kept, shipped = [], []
    holds_it = Q(withdrawn_at__isnull=True) | Q(
        is_current=True
    )  # what was emptied again holds other resin since
    links = (
        batch.tank_links.filter(holds_it, is_filled=True).select_related("visit__tank").order_by("position")
    )
    for link in links:
        if link.visit.state in FILLED_STATES:
            fail_tank(by=by, visit_id=link.visit_id, reason=words, batch_has_failed=True)
            _withdraw(link, reason=words, at=by.happened_at)
        if link.visit.state == VisitState.SHIPPED:
            shipped.append(link.visit.tank.serial)
        elif link.is_current:
            kept.append(link.visit.tank.serial)
    touch(batch)
    return Outcome(
        subject=batch_subject(batch),
        facts={"withdrawn": kept, "shipped": shipped},
        related=tuple(("tank", serial) for serial in (*kept, *shipped)),
    )


def _withdraw(link: BatchTank, *, reason: str, at: datetime) -> None:
    """The tank belongs to the batch again for as long as it holds its resin; what was filled stays written."""
    visit = link.visit
    if link.filled_volume_m3 is None:
        link.filled_at, link.filled_volume_m3 = visit.refilled_at, visit.refilled_volume_m3
    link.withdrawn_at, link.withdrawn_reason, link.is_current = at, reason, True
    link.save(
        update_fields=["filled_at", "filled_volume_m3", "withdrawn_at", "withdrawn_reason", "is_current"]
    )


def _filled_link(visit_id: int) -> BatchTank:
    """The batch whose resin is in the tank now: the newest that filled it."""
    links = BatchTank.objects.select_related("visit__tank").filter(visit_id=visit_id, is_filled=True)
    link = links.order_by("-pk").first()
    if link is None:
        visit = TankVisit.objects.select_related("tank").get(pk=visit_id)
        raise RecordRefused(
            f"{visit.tank.serial} is {visit.state} and filled from no batch. A tank at intake is held there.",
            code="not_filled",
        )
    return link


def _withdrawn_link(visit_id: int) -> BatchTank:
    link = _filled_link(visit_id)
    if not link.is_withdrawn or not link.is_current:
        raise RecordRefused(
            f"{link.visit.tank.serial} is {link.visit.state}, not withdrawn.", code="not_withdrawn"
        )
    return link


def _outcome(batch: Batch, link: BatchTank, reason: str) -> Outcome:
    return Outcome(
        subject=batch_subject(batch),
        facts={"tank": link.visit.tank.serial},
        reason=reason,
        related=(("tank", link.visit.tank.serial),),
        result=link,
    )


def _say_failed(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    kept, shipped = facts.get("withdrawn", []), facts.get("shipped", [])
    here = f"withdrawn {', '.join(kept)}" if kept else "no tank was here to withdraw"
    gone = f"; to be called back: {', '.join(shipped)}" if shipped else ""
    return f"{subject} failed: {here}{gone}"


say("batch.tank_withdrawn", "{subject}: filled tank {tank} was withdrawn")
say("batch.tank_put_back", "{subject}: tank {tank} was put back among its filled tanks")
say("batch.tank_discarded", "{subject}: the resin in tank {tank} was thrown away")
say("batch.tanks_failed", _say_failed)
