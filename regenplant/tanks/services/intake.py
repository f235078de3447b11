"""Intake: a tank that came back is looked over and is accepted to a class, held or refused."""

from __future__ import annotations

from typing import Any

from django.db.models import F

from regenplant.audit.by import By
from regenplant.audit.records import within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process import intake
from regenplant.core.process.canonical import to_plain
from regenplant.core.process.intake import SHORTEST_REASON, InspectionData
from regenplant.core.process.lifecycle import VisitAction, VisitSnapshot, VisitState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.tanks.models import IntakeInspection, Tank, TankVisit
from regenplant.tanks.selectors import DOCK_STATES, findings_against, judged
from regenplant.tanks.services._moves import (
    hold_now,
    move_visit,
    related_of,
    require_version,
    subject_of,
    write_visit,
)
from regenplant.tanks.services._rules import reason_of

DISPOSITION_RIGHT = "tank.disposition"


@use_case("tank.inspected", permission="tank.judge")
def inspect_tank(*, by: By, visit_id: int, inspection: InspectionData, version: int | None = None) -> Outcome:
    """Write down the look-over. A finding that stops holds the tank at once; a later look is a second row.

    Raises: RecordRefused when the tank is past intake; OutOfRange when the weight cannot be; StaleRecord.
    """
    visit = _visit(visit_id)
    require_version(visit, version)
    if visit.state not in DOCK_STATES:
        raise RecordRefused(
            f"{visit.tank.serial} is {visit.state}. The look-over belongs before the verdict."
        )
    _weight_can_be(inspection.weight_kg, visit.tank)
    stops = intake.findings_that_stop(inspection)
    row = _inspection_row(visit, inspection, stops, by)
    row.save()
    _hold_or_touch(by, visit, stops)
    facts = {**to_plain(inspection), "findings_that_stop": list(stops)}
    return Outcome(
        subject_of(visit), after={"state": visit.state}, facts=facts, related=related_of(visit), result=row
    )


@use_case("tank.accepted", permission="tank.judge")
def accept_tank(*, by: By, visit_id: int, segregation_class: str, version: int, reason: str = "") -> Outcome:
    """Accept a tank to a class; it then waits under its pooling key.

    The class is the tank's own, or class D for a class C tank, once, with a reason. From hold this takes the right to lift
    a hold. What the declared service forbids, and a suspect tank, only the safety lead accepts, by a written
    disposition (``reason``).
    Raises: NotAllowed, TransitionRefused with every finding, RecordRefused for the class or the reason, StaleRecord.
    """
    visit = _visit(visit_id)
    tank = visit.tank
    require_version(visit, version)
    before = {"state": visit.state, "tank_class": tank.segregation_class}
    wanted = _class_named(segregation_class)
    has_disposition = by.user.may(DISPOSITION_RIGHT, tank.segregation_class)
    snapshot = judged(visit, wanted, now=by.at, has_disposition=has_disposition)
    own = SegregationClass(tank.segregation_class)
    if wanted is not None:
        _class_may_change(own, wanted, has_disposition=has_disposition)
    needs_words = wanted not in (None, own) or (has_disposition and bool(findings_against(visit)))
    words = reason_of(reason, least=SHORTEST_REASON if needs_words else 0)
    move_visit(
        by=by,
        visit=visit,
        action=VisitAction.ACCEPT,
        snapshot=snapshot,
        version=version,
        segregation_class=segregation_class,
        reason=words,
    )
    _reclass(tank, segregation_class)
    after = {
        "state": visit.state,
        "segregation_class": segregation_class,
        "tank_class": tank.segregation_class,
    }
    return Outcome(
        subject_of(visit), before=before, after=after, reason=words, related=related_of(visit), result=visit
    )


@use_case("tank.held", permission="tank.hold")
def hold_tank(*, by: By, visit_id: int, reason: str, version: int) -> Outcome:
    """Hold a tank, at the dock or from the waiting list. Raises: RecordRefused without a reason, StaleRecord."""
    visit = _visit(visit_id)
    require_version(visit, version)
    words = reason_of(reason)
    before = {"state": visit.state}
    move_visit(
        by=by, visit=visit, action=VisitAction.HOLD, snapshot=VisitSnapshot(), version=version, reason=words
    )
    return Outcome(
        subject_of(visit),
        before=before,
        after={"state": visit.state},
        reason=words,
        related=related_of(visit),
        result=visit,
    )


@use_case("tank.refused", permission="tank.judge")
def refuse_tank(*, by: By, visit_id: int, reason: str, version: int) -> Outcome:
    """Refuse a tank: it goes back or to a licensed treater and is never regenerated here.

    Raises: RecordRefused without a reason, StaleRecord.
    """
    visit = _visit(visit_id)
    require_version(visit, version)
    words = reason_of(reason)
    before = {"state": visit.state}
    move_visit(
        by=by, visit=visit, action=VisitAction.REFUSE, snapshot=VisitSnapshot(), version=version, reason=words
    )
    return Outcome(
        subject_of(visit),
        before=before,
        after={"state": visit.state},
        reason=words,
        related=related_of(visit),
        result=visit,
    )


# --- looking --------------------------------------------------------------------------------------------------------
def _visit(visit_id: int) -> TankVisit:
    return TankVisit.objects.select_related("tank__size", "tank__dedicated_to", "customer", "resin_type").get(
        pk=visit_id
    )


def _weight_can_be(weight_kg: float | None, tank: Tank) -> None:
    if weight_kg is None:
        return
    low, high = intake.possible_weight_kg(tank.size.gross_m3)
    why = f"It is a {tank.size.code} tank. Look at the scale and at the unit."
    within(weight_kg, low, high, "The weight", "mass", field="weight", why=why)


def _inspection_row(
    visit: TankVisit, seen: InspectionData, stops: tuple[str, ...], by: By
) -> IntakeInspection:
    return IntakeInspection(
        visit=visit,
        shell=seen.shell.value,
        head_and_fittings=seen.head_and_fittings.value,
        odour=seen.odour.value,
        water_colour=seen.water_colour.value,
        first_drain_ph=seen.first_drain_ph,
        first_drain_ph_as_typed=words_of(
            seen.first_drain_ph_as_typed, "The pH as typed", field="first_drain_ph", most=20
        ),
        oxidizer_strip=seen.oxidizer_strip.value,
        weight_kg=seen.weight_kg,
        weight_as_typed=words_of(seen.weight_as_typed, "The weight as typed", field="weight", most=30),
        foreign_material=words_of(
            seen.foreign_material, "Foreign material", field="foreign_material", most=160
        ),
        note=words_of(seen.note, "The note", field="note", most=300),
        findings_that_stop=list(stops),
        inspected_at=by.happened_at,
        inspected_by=by.user,
    )


def _hold_or_touch(by: By, visit: TankVisit, stops: tuple[str, ...]) -> None:
    """A stop holds a received tank at once, so that only who may lift a hold can go on; else count the version up."""
    if stops and visit.state == VisitState.RECEIVED.value:
        hold_now(by, visit, stops)
    else:
        write_visit(visit)


# --- judging --------------------------------------------------------------------------------------------------------
def _class_named(text: str) -> SegregationClass | None:
    """The class chosen; None when none is, which the lifecycle refuses."""
    if not text:
        return None
    if text not in [item.value for item in SegregationClass]:
        raise RecordRefused(
            f"“{text}” is no segregation class. It is never guessed.", field="segregation_class"
        )
    return SegregationClass(text)


def _class_may_change(own: SegregationClass, wanted: SegregationClass, *, has_disposition: bool) -> None:
    blocker = intake.class_blocker(own, wanted, has_disposition=has_disposition)
    if blocker is not None:
        raise RecordRefused(blocker.sentence, code=blocker.code, field="segregation_class")


def _reclass(tank: Tank, segregation_class: str) -> None:
    if tank.segregation_class != segregation_class:
        Tank.objects.filter(pk=tank.pk).update(segregation_class=segregation_class, version=F("version") + 1)
        tank.segregation_class = segregation_class


# --- wording --------------------------------------------------------------------------------------------------------
def _say_inspected(subject: str, stored: dict[str, Any]) -> str:
    facts, after = stored.get("facts", {}), stored.get("after", {})
    stops = facts.get("findings_that_stop", [])
    if not stops:
        return f"{subject} was looked over: nothing stops it"
    held = " It is held." if after.get("state") == VisitState.HELD.value else ""
    return f"{subject} was looked over: {' '.join(stops)}{held}"


def _say_accepted(subject: str, stored: dict[str, Any]) -> str:
    before, after = stored.get("before", {}), stored.get("after", {})
    lifted = "taken from hold and " if before.get("state") == VisitState.HELD.value else ""
    words = f"{subject} was {lifted}accepted to class {after.get('segregation_class')}"
    was = before.get("tank_class")
    return words if was == after.get("segregation_class") else f"{words}; it was class {was}"


say("tank.inspected", _say_inspected)
say("tank.accepted", _say_accepted)
say("tank.held", "{subject} was held")
say("tank.refused", "{subject} was refused")
