"""A tank comes back: known, or without a record."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.intake import SHORTEST_REASON, ReturnReason
from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily, SegregationClass
from regenplant.tanks.models import Customer, Site, Tank, TankVisit
from regenplant.tanks.selectors import AWAY_STATES, findings_against, next_visit_number
from regenplant.tanks.services._expected import promised, settle_expected_tank
from regenplant.tanks.services._moves import hold_now, related_of, subject_of
from regenplant.tanks.services._registering import new_tank, require_room

LONGEST_PROMISE = timedelta(days=366)
LONGEST_WORDS = 200
RETURN_REASONS = [reason.value for reason in ReturnReason]


@use_case("tank.received", permission="tank.receive")
def receive_tank(
    *,
    by: By,
    tank_id: int,
    customer_id: int,
    return_reason: str,
    site_id: int | None = None,
    customer_words: str = "",
    bay: str = "",
    due_at: datetime | None = None,
    resin_volume_m3: float | None = None,
) -> Outcome:
    """A tank comes back. Its resin volume [m^3] is counted in the exhausted form; None takes the tank's usual one.

    One that was expected has come with it; what it was promised for holds where ``due_at`` says nothing else.
    A tank whose declared service, customer or class forbids a shared bed is held at once, with the reason.
    Raises: RecordRefused when the tank is here already or retired, or the site is another customer's; OutOfRange for
    the volume.
    """
    tank = Tank.objects.select_related("size", "resin_type", "dedicated_to").get(pk=tank_id)
    customer = Customer.objects.get(pk=customer_id)
    _may_come_in(tank)
    if due_at is None and (due := promised(tank)) is not None and due >= by.at:
        due_at = due
    visit = _new_visit(
        by, tank, customer, return_reason, site_id, customer_words, bay, due_at, resin_volume_m3
    )
    settle_expected_tank(visit)
    return _received(by, visit)


@use_case("tank.unknown_received", permission="tank.receive")
def receive_unknown_tank(
    *,
    by: By,
    size_id: int,
    resin_type_id: int,
    customer_id: int,
    what_is_seen: str,
    serial: str = "",
    bay: str = "",
) -> Outcome:
    """A tank that no record knows: it gets a serial, class E (suspect), and is held.

    ``resin_type_id`` is what the shell or the driver says; nothing relies on it until the safety lead has written a
    disposition. ``customer_id`` is whose return it came with.
    Raises: RecordRefused when nothing is said about it, or the serial is taken.
    """
    words = words_of(
        what_is_seen, "What is seen on it", field="what_is_seen", most=LONGEST_WORDS, least=SHORTEST_REASON
    )
    tank = new_tank(
        size_id=size_id,
        resin_type_id=resin_type_id,
        segregation_class=SegregationClass.SUSPECT.value,
        serial=serial,
    )
    customer = Customer.objects.get(pk=customer_id)
    visit = _new_visit(by, tank, customer, ReturnReason.OTHER.value, None, words, bay, None, None)
    return _received(by, visit)


def _may_come_in(tank: Tank) -> None:
    if tank.is_retired:
        raise RecordRefused(f"{tank.serial} is retired. Hand it to the planner; it is not taken in again.")
    here = tank.visits.exclude(state__in=AWAY_STATES).first()
    if here is not None:
        since = timezone.localtime(here.received_at)
        raise RecordRefused(
            f"{tank.serial} is here already: {here.number}, received {since:%Y-%m-%d %H:%M}, now {here.state}. A tank is "
            "received once per round trip.",
            code="here_already",
        )


def _new_visit(
    by: By,
    tank: Tank,
    customer: Customer,
    return_reason: str,
    site_id: int | None,
    customer_words: str,
    bay: str,
    due_at: datetime | None,
    resin_volume_m3: float | None,
) -> TankVisit:
    volume_m3 = tank.resin_volume_m3 if resin_volume_m3 is None else resin_volume_m3
    require_room(volume_m3, tank.size.gross_m3, field="resin_volume_m3")
    _due_can_be(due_at, by.at)
    visit = TankVisit(
        number=next_visit_number(),
        tank=tank,
        customer=customer,
        site=_site_of(customer, site_id),
        return_reason=one_of(return_reason, RETURN_REASONS, "The reason of return", field="return_reason"),
        customer_words=words_of(
            customer_words, "Customer’s words", field="customer_words", most=LONGEST_WORDS
        ),
        resin_type=tank.resin_type,
        resin_volume_m3=volume_m3,
        resin_volume_form=EXHAUSTED_FORM[ResinFamily(tank.resin_type.family)].value,
        bay=words_of(bay, "The bay", field="bay", most=20),
        due_at=due_at,
        received_at=by.happened_at,
        received_by=by.user,
    )
    visit.save()
    return visit


def _received(by: By, visit: TankVisit) -> Outcome:
    """Hold what may not stand among the others, then report the whole act."""
    own = SegregationClass(visit.tank.segregation_class)
    stops = findings_against(visit)
    if not own.may_be_regenerated:
        stops += (f"It is class {own.value} ({own.label.lower()}).",)
    if stops:
        hold_now(by, visit, stops)
    return Outcome(
        subject_of(visit),
        after={"state": visit.state, "resin_volume_m3": visit.resin_volume_m3, "bay": visit.bay},
        facts={"visit": visit.number, "customer": visit.customer.name, "return_reason": visit.return_reason},
        reason=visit.reason,
        related=related_of(visit),
        result=visit,
    )


def _site_of(customer: Customer, site_id: int | None) -> Site | None:
    if site_id is None:
        return None
    site = Site.objects.get(pk=site_id)
    if site.customer_id != customer.pk:
        raise RecordRefused(
            f"{site.name} is no site of {customer.name}. Choose one of theirs, or none.", field="site_id"
        )
    return site


def _due_can_be(due_at: datetime | None, now: datetime) -> None:
    if due_at is None or now <= due_at <= now + LONGEST_PROMISE:
        return
    raise OutOfRange(
        f"Due {timezone.localtime(due_at):%Y-%m-%d %H:%M} cannot be: it is before now or more than a year away.",
        field="due_at",
    )


def _say_received(subject: str, stored: dict[str, Any]) -> str:
    facts, after = stored.get("facts", {}), stored.get("after", {})
    words = f"{subject} came back from {facts.get('customer')}: {facts.get('return_reason')}"
    return f"{words}; it was held at once" if after.get("state") == VisitState.HELD.value else words


def _say_unknown(subject: str, stored: dict[str, Any]) -> str:
    return f"A tank without a record came with the return of {stored.get('facts', {}).get('customer')}; it is {subject}, class E, held"


say("tank.received", _say_received)
say("tank.unknown_received", _say_unknown)
