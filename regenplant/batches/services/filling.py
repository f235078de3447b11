"""From a passed batch back into tanks; or scrap."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.moves import batch_snapshot, locked, move_batch, touch
from regenplant.batches.preview import one_pool
from regenplant.batches.resin_volumes import filled_regenerated_m3, made_regenerated_m3
from regenplant.batches.services._subject import batch_subject, with_tanks
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import BatchAction, BatchState, VisitState
from regenplant.core.process.plan_entries import COUNT_BAND_FRAC
from regenplant.resins.services import scrap_lot
from regenplant.tanks.models import TankVisit
from regenplant.tanks.services import discard_resin, refill_tank


@use_case("batch.tank_filled", permission="batch.run")
def fill_tank(*, by: By, batch_id: int, visit_id: int, volume_m3: float) -> Outcome:
    """Fill one tank from a passed batch.

    Raises: RecordRefused when more is filled than a tank holds (95 % of its gross volume) or than the batch has left.
    """
    batch = locked(batch_id)
    if batch.state != BatchState.PASSED or batch.lot_id is None:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; tanks are filled from a batch that passed QC.",
            code="not_passed",
        )
    link = _open_link(batch.pk, visit_id)
    gross_m3 = link.visit.tank.size.gross_m3
    if volume_m3 <= 0:
        raise RecordRefused(
            f"{volume_m3 * 1000:.0f} L was written, which fills nothing. Write the settled volume, or set the tank aside.",
            code="no_volume",
            field="volume",
        )
    if volume_m3 > 0.95 * gross_m3:
        raise RecordRefused(
            f"{link.visit.tank.serial} holds at most {0.95 * gross_m3 * 1000:.0f} L (95 % of its gross volume); "
            f"{volume_m3 * 1000:.0f} L was written.",
            code="overfilled",
            field="volume",
        )
    _refuse_more_than_is_left(batch, volume_m3)
    refill_tank(by=by, visit_id=visit_id, lot_id=batch.lot_id, volume_m3=volume_m3, batch_has_passed=True)
    link.is_filled, link.filled_at, link.filled_volume_m3 = True, by.happened_at, volume_m3
    link.save(update_fields=["is_filled", "filled_at", "filled_volume_m3"])
    touch(batch)
    return Outcome(
        subject=batch_subject(batch),
        facts={"tank": link.visit.tank.serial, "volume_m3": volume_m3, "litres": round(volume_m3 * 1000, 1)},
        related=(("tank", link.visit.tank.serial),),
        result=link,
    )


@use_case("batch.shell_added", permission="batch.run")
def add_shell(*, by: By, batch_id: int, visit_id: int) -> Outcome:
    """Add an empty shell whose own resin was scrapped to a passed batch of the same pool, to be filled from it.

    Raises: RecordRefused unless the shell waits empty, belongs to no batch and has the same pooling key.
    """
    batch = locked(batch_id)
    if batch.state != BatchState.PASSED:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; shells are added while it is filled."
        )
    visit = TankVisit.objects.select_related("tank").get(pk=visit_id)
    first = batch.tank_links.select_related("visit__tank", "visit__resin_type").order_by("position")[0].visit
    if visit.state != VisitState.EMPTIED or visit.batch_links.filter(is_current=True).exists():
        raise RecordRefused(f"{visit.tank.serial} is no empty shell without a batch.", code="no_free_shell")
    one_pool([first, visit])
    if batch.tank_links.filter(visit=visit).exists():
        raise RecordRefused(
            f"{visit.tank.serial} was filled from {batch.number} already and emptied again. Fill it from another batch.",
            code="was_filled_before",
        )
    BatchTank.objects.create(
        batch=batch, visit=visit, resin_volume_m3=visit.resin_volume_m3, position=batch.tank_links.count() + 1
    )
    touch(batch)
    return Outcome(
        subject=batch_subject(batch),
        facts={"tank": visit.tank.serial},
        related=(("tank", visit.tank.serial),),
    )


@use_case("batch.tank_set_aside", permission="batch.run")
def set_aside_tank(*, by: By, batch_id: int, visit_id: int, reason: str) -> Outcome:
    """A tank of this batch is not filled again (unsound shell, missing): say why."""
    batch = locked(batch_id)
    if batch.state != BatchState.PASSED:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}; tanks are set aside while it is filled."
        )
    link = _open_link(batch.pk, visit_id)
    if len(reason.strip()) < 10:
        raise RecordRefused(
            "Too short. Say in at least 10 characters why this tank is not filled.", field="reason"
        )
    link.set_aside_reason = reason.strip()
    link.save(update_fields=["set_aside_reason"])
    touch(batch)
    return Outcome(
        subject=batch_subject(batch),
        facts={"tank": link.visit.tank.serial},
        reason=reason.strip(),
        related=(("tank", link.visit.tank.serial),),
    )


@use_case("batch.filled", permission="batch.run")
def finish_filling(*, by: By, batch_id: int, version: int | None = None) -> Outcome:
    """All tanks are filled or set aside: the batch waits for its release and the vessel is free."""
    batch = locked(batch_id, version)
    move_batch(batch, BatchAction.FILL, by=by, snapshot=batch_snapshot(batch, by=by))
    return Outcome(
        subject=batch_subject(batch),
        before={"state": BatchState.PASSED.value},
        after={"state": batch.state},
        facts={"filled": batch.tank_links.filter(is_filled=True).count()},
        related=with_tanks(batch),
        result=batch,
    )


@use_case("batch.scrapped", permission="batch.scrap")
def scrap_batch(*, by: By, batch_id: int, reason: str, version: int | None = None) -> Outcome:
    """The resin of a failed or aborted batch is thrown away: out of the vessel, and out of tanks that were filled with it. Its
    empty tanks are set aside."""
    batch = locked(batch_id, version)
    if len(reason.strip()) < 10:
        raise RecordRefused(
            "Too short. Say in at least 10 characters why the resin is scrapped.", field="reason"
        )
    before, related = batch.state, with_tanks(batch)
    move_batch(
        batch, BatchAction.SCRAP, by=by, snapshot=batch_snapshot(batch, by=by), finished_at=by.happened_at
    )
    for link in batch.tank_links.filter(is_current=True, visit__state=VisitState.WITHDRAWN):
        discard_resin(by=by, visit_id=link.visit_id, reason=reason)
    batch.tank_links.filter(is_current=True).update(
        set_aside_reason=f"Resin of {batch.number} scrapped", is_current=False
    )
    if batch.lot_id is not None:
        scrap_lot(by=by, lot_id=batch.lot_id, reason=reason, with_batch=True)
    return Outcome(
        subject=batch_subject(batch),
        before={"state": before},
        after={"state": batch.state},
        reason=reason.strip(),
        related=related,
        result=batch,
    )


def _refuse_more_than_is_left(batch: Batch, volume_m3: float) -> None:
    """Tanks never take more than the bed gave: its volume, grown by its change of form, within the counting band."""
    made_m3 = made_regenerated_m3(batch)
    filled_m3 = filled_regenerated_m3(batch)
    left_m3 = made_m3 * (1.0 + COUNT_BAND_FRAC) - filled_m3
    if volume_m3 > left_m3 + 1e-9:
        raise RecordRefused(
            f"Batch {batch.number} gave about {made_m3 * 1000:.0f} L and {filled_m3 * 1000:.0f} L are in tanks; "
            f"{volume_m3 * 1000:.0f} L was written. Count again.",
            code="more_than_left",
            field="volume",
        )


def _open_link(batch_id: int, visit_id: int) -> BatchTank:
    link = (
        BatchTank.objects.select_related("visit__tank__size")
        .filter(batch_id=batch_id, visit_id=visit_id, is_current=True)
        .first()
    )
    if link is None:
        raise RecordRefused("This tank does not belong to this batch.", code="not_in_batch")
    if link.is_filled or link.set_aside_reason:
        raise RecordRefused(f"{link.visit.tank.serial} is already filled or set aside.", code="already_done")
    return link


say("batch.tank_filled", "{subject}: tank {tank} was filled with {litres} L")
say("batch.shell_added", "{subject}: empty tank {tank} was added, to be filled from it")
say("batch.tank_set_aside", "{subject}: tank {tank} was set aside")
say("batch.filled", "{subject}: {filled} tanks filled, waits for release")
say("batch.scrapped", "{subject}: the resin was scrapped")
