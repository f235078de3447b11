"""From the waiting list to the truck: empty, inspect the shell, refill, release, ship.

Emptying, refilling and releasing are steps of a batch; its services call them and say what the batch is at. A visit
knows no batch: whether it is in one, has passed or is released comes in as a fact.
"""

from __future__ import annotations

from typing import Any

from django.db.models import F

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.lifecycle import VisitAction, VisitSnapshot, VisitState
from regenplant.resins.models import ResinLot
from regenplant.tanks.guards import against_shipping
from regenplant.tanks.models import Tank, TankVisit
from regenplant.tanks.services._moves import move_visit, related_of, require_version, subject_of, write_visit
from regenplant.tanks.services._registering import require_room
from regenplant.tanks.services.withdrawing import EMPTY_AGAIN


@use_case("tank.emptied", permission="batch.run")
def empty_tank(*, by: By, visit_id: int, is_in_batch: bool) -> Outcome:
    """The resin went out of the tank into a batch. Raises: TransitionRefused when it belongs to none."""
    visit = _visit(visit_id)
    before = {"state": visit.state}
    snapshot = VisitSnapshot(is_in_batch=is_in_batch)
    again = {"reason": "", **EMPTY_AGAIN} if visit.state == VisitState.WITHDRAWN else {}
    move_visit(
        by=by, visit=visit, action=VisitAction.EMPTY, snapshot=snapshot, emptied_at=by.happened_at, **again
    )
    return _outcome(visit, before, resin_volume_m3=visit.resin_volume_m3)


@use_case("tank.shell_inspected", permission="batch.run")
def record_shell(
    *, by: By, visit_id: int, is_sound: bool, note: str = "", version: int | None = None
) -> Outcome:
    """Write down how the empty shell looks; an unsound one is not filled again.

    Raises: RecordRefused when the tank is not empty, or an unsound shell has no note; StaleRecord.
    """
    visit = _visit(visit_id)
    require_version(visit, version)
    if visit.state != VisitState.EMPTIED.value:
        raise RecordRefused(
            f"{visit.tank.serial} is {visit.state}. The shell is inspected while it is empty."
        )
    words = words_of(note, "What is wrong with the shell", field="note", most=200, least=0 if is_sound else 3)
    before = {"is_shell_sound": visit.is_shell_sound}
    write_visit(visit, is_shell_sound=is_sound)
    Tank.objects.filter(pk=visit.tank_id).update(
        shell_inspected_on=by.happened_at.date(), version=F("version") + 1
    )
    return _outcome(visit, before, is_shell_sound=is_sound, reason=words)


@use_case("tank.refilled", permission="batch.run")
def refill_tank(*, by: By, visit_id: int, lot_id: int, volume_m3: float, batch_has_passed: bool) -> Outcome:
    """Regenerated resin of a lot goes in; ``volume_m3`` is counted in the regenerated form [m^3].

    Raises: TransitionRefused unless the batch passed and the shell is sound; RecordRefused for a lot of another type or
    class; OutOfRange when more than 95 % of the cylinder would be resin.
    """
    visit = _visit(visit_id)
    lot = ResinLot.objects.select_related("resin_type").get(pk=lot_id)
    _lot_belongs(visit, lot)
    require_room(volume_m3, visit.tank.size.gross_m3, field="volume_m3")
    before = {"state": visit.state}
    move_visit(
        by=by,
        visit=visit,
        action=VisitAction.REFILL,
        snapshot=VisitSnapshot(batch_has_passed=batch_has_passed, is_shell_sound=visit.is_shell_sound),
        refilled_at=by.happened_at,
        refilled_lot=lot,
        refilled_volume_m3=volume_m3,
    )
    Tank.objects.filter(pk=visit.tank_id).update(resin_lot=lot, version=F("version") + 1)
    return _outcome(visit, before, lot=lot.code, volume_m3=volume_m3)


@use_case("tank.released", permission="batch.release")
def release_tank(*, by: By, visit_id: int, batch_is_released: bool) -> Outcome:
    """The tank is released with its batch. Raises: TransitionRefused unless the batch is."""
    visit = _visit(visit_id)
    before = {"state": visit.state}
    snapshot = VisitSnapshot(batch_is_released=batch_is_released)
    move_visit(by=by, visit=visit, action=VisitAction.RELEASE, snapshot=snapshot, released_at=by.happened_at)
    return _outcome(visit, before)


@use_case("tank.shipped", permission="tank.ship")
def ship_tank(*, by: By, visit_id: int, version: int) -> Outcome:
    """The tank leaves; its round trip ends. Raises: TransitionRefused unless it is released and nothing is held against
    it (``tanks.guards``), StaleRecord."""
    visit = _visit(visit_id)
    before = {"state": visit.state}
    _refuse_withdrawn(visit)
    move_visit(
        by=by,
        visit=visit,
        action=VisitAction.SHIP,
        snapshot=VisitSnapshot(shipping_stops=against_shipping(visit)),
        version=version,
        shipped_at=by.happened_at,
    )
    return _outcome(visit, before, customer=visit.customer.name)


def _visit(visit_id: int) -> TankVisit:
    return TankVisit.objects.select_related("tank__size", "customer", "resin_type").get(pk=visit_id)


def _refuse_withdrawn(visit: TankVisit) -> None:
    """The lifecycle has no way from there to the truck; the person is told why."""
    if visit.state == VisitState.WITHDRAWN:
        raise TransitionRefused(
            f"{visit.tank.serial} is withdrawn and is not shipped. {visit.reason}", code="withdrawn"
        )


def _lot_belongs(visit: TankVisit, lot: ResinLot) -> None:
    if (lot.resin_type_id, lot.segregation_class) != (visit.resin_type_id, visit.segregation_class):
        raise RecordRefused(
            f"{visit.tank.serial} takes {visit.resin_type.code} of class {visit.segregation_class}; lot {lot.code} is "
            f"{lot.resin_type.code} of class {lot.segregation_class}. They are never mixed.",
            field="lot_id",
        )
    if lot.is_scrapped:
        raise RecordRefused(f"Lot {lot.code} is scrapped. Nothing is filled from it.", field="lot_id")


def _outcome(visit: TankVisit, before: dict[str, Any], *, reason: str = "", **facts: Any) -> Outcome:
    return Outcome(
        subject_of(visit),
        before=before,
        after={"state": visit.state},
        facts=facts,
        reason=reason,
        related=related_of(visit),
        result=visit,
    )


def _say_shell(subject: str, stored: dict[str, Any]) -> str:
    is_sound = stored.get("facts", {}).get("is_shell_sound")
    return f"{subject}: the empty shell is {'sound' if is_sound else 'not sound'}"


say("tank.emptied", "{subject} was emptied")
say("tank.shell_inspected", _say_shell)
say("tank.refilled", "{subject} was filled from lot {lot}")
say("tank.released", "{subject} was released")
say("tank.shipped", "{subject} was shipped to {customer}")
