"""Down to a lower product: once, never up, met by the measured values, with a customer's order that accepts it, signed by two people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, require, use_case
from regenplant.audit.wording import say
from regenplant.batches.legs import vessel_codes
from regenplant.batches.models import Batch
from regenplant.batches.moves import batch_snapshot, locked, move_batch, performed_by
from regenplant.batches.rinse import specification_of
from regenplant.core.errors import RecordRefused
from regenplant.core.process.downgrading import GOES_DOWN, why_not_lower
from regenplant.core.process.lifecycle import BATCH, BatchAction, BatchState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.people.binding import TwoPeople, bind
from regenplant.people.models import Signature
from regenplant.plant.selectors import plant_day, profile
from regenplant.quality.models import Downgrade, DowngradeOrder, QcDecision
from regenplant.quality.services._lots import lot_from
from regenplant.quality.services._outcomes import keep_outcome
from regenplant.quality.services._signing import told
from regenplant.quality.signed_content import DOWNGRADE_MEANING, decision_content, downgrade_content
from regenplant.quality.specification import judgement
from regenplant.quality.ways import customers_of, once_downgraded
from regenplant.recipes.models import SpecificationVersion
from regenplant.recipes.selectors import specification_definition
from regenplant.tanks.models import Customer
from regenplant.tanks.services import downgrade_tank

SECOND_RIGHT = "batch.downgrade"
"""What the second person holds."""


@dataclass(frozen=True, slots=True)
class CustomerOrder:
    """The order of one customer whose tanks are in the batch: its number, who said yes there, and on which day."""

    customer_id: int
    order_number: str
    accepted_by: str
    accepted_on: date


@use_case("batch.downgraded", permission="qc.judge")
def downgrade_batch(
    *,
    by: By,
    batch_id: int,
    to_version_id: int,
    to_class: str,
    reason: str,
    orders: Sequence[CustomerOrder],
    together: TwoPeople,
    version: int | None = None,
) -> Outcome:
    """Pass a batch against a lower specification than it was planned for. QC signs, and a supervisor who did not work on the bed.

    Its resin becomes a lot of the lower class, and the tanks of the customers that accept it go down with it; tanks of others are set
    aside when it is filled.

    Raises: RecordRefused (no way down, twice, no order, alone), TransitionRefused (not met), SignatureRefused, NotAllowed, StaleRecord.
    """
    batch = locked(batch_id, version)
    BATCH.rule(BatchState(batch.state), BatchAction.PASS)
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    lower_version = _lower_version(to_version_id, by.at)
    lower = specification_definition(lower_version)
    from_class = SegregationClass(batch.segregation_class)
    _refuse_no_way_down(batch, lower_version, to_class)
    kept = _orders(batch, orders, by)
    _refuse_second(by, batch, together)
    judged = judgement(batch, lower)
    snapshot = batch_snapshot(
        batch,
        by=by,
        qc_verdict=judged.verdict.outcome.value,
        qc_reasons=tuple(one.sentence for one in judged.verdict.open_reasons),
    )
    BATCH.transition(
        BatchState(batch.state), BatchAction.PASS, snapshot
    )  # refused before anything is written
    down = downgrade_content(batch, lower_version, to_class, words, [_plain(order) for order in kept])
    content = decision_content(batch, judged, "pass", words, against=lower, downgrade=down)
    own, second = _signed(by, batch, together, content)
    lot = lot_from(batch, by, to_class=to_class)
    move_batch(batch, BatchAction.PASS, by=by, snapshot=snapshot, judged_at=by.happened_at, lot=lot)
    decision = QcDecision.objects.create(
        batch=batch, verdict="pass", reason=words, content=own.content, decided_by=by.user, decided_at=by.happened_at,
        signature=own,
    )  # fmt: skip
    row = Downgrade.objects.create(
        batch=batch, decision=decision, from_version=batch.specification_version, to_version=lower_version,
        from_class=from_class.value, to_class=to_class, reason=words, agreed_by=together.second.user, agreed_at=by.happened_at,
        signature=second,
    )  # fmt: skip
    DowngradeOrder.objects.bulk_create(DowngradeOrder(downgrade=row, **asdict(order)) for order in kept)
    tanks = _tanks_down(by, batch, to_class, {order.customer_id for order in kept})
    keep_outcome(by, batch, "pass", words)
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        before={"state": BatchState.AWAITING_QC.value, "segregation_class": from_class.value},
        after={"state": batch.state, "verdict": "pass", "segregation_class": to_class},
        facts={
            "to": f"{lower_version.specification.code} version {lower_version.number}",
            "to_class": to_class,
            "orders": [order.order_number for order in kept],
            "findings": [one.sentence for one in judged.verdict.reasons],
            "digest": own.digest,
            "signed_by": [own.printed_name, second.printed_name],
            "tanks": tanks,
        },
        reason=words,
        signature=told(own),
        related=tuple(("vessel", code) for code in vessel_codes(batch)),
        result=row,
    )


def _lower_version(pk: int, now: datetime) -> SpecificationVersion:
    version = SpecificationVersion.objects.select_related("specification").filter(pk=pk).first()
    if version is None:
        raise RecordRefused("This specification is not known here.", code="unknown", field="to_version")
    code = version.specification.code
    if version.state != version.State.APPROVED or (version.effective_from and version.effective_from > now):
        raise RecordRefused(
            f"{code} version {version.number} is {version.state} and not in force. A lower product is judged by an approved one.",
            code="not_approved",
            field="to_version",
        )
    return version


def _refuse_no_way_down(batch: Batch, lower_version: SpecificationVersion, to_class: str) -> None:
    """Raises: RecordRefused for a class or a specification that is no way down, and for a second time."""
    from_class = SegregationClass(batch.segregation_class)
    if to_class not in (from_class.value, *(item.value for item in GOES_DOWN.get(from_class, ()))):
        raise RecordRefused(
            f"Class {from_class} does not become class {to_class or 'none'}. Only class C goes down to D, and no class goes up.",
            code="upgrade",
            field="to_version",
        )
    against = why_not_lower(
        specification_of(batch),
        specification_definition(lower_version),
        from_class,
        SegregationClass(to_class),
    )
    if against:
        raise RecordRefused(" ".join(against), code="not_lower", field="to_version")
    twice = once_downgraded(batch)
    if twice:
        raise RecordRefused(twice, code="downgraded_before")


def _orders(batch: Batch, orders: Sequence[CustomerOrder], by: By) -> list[CustomerOrder]:
    """The orders, checked. Raises: RecordRefused without one, for a stranger's, or for one that is not whole."""
    if not orders:
        raise RecordRefused(
            "No customer's order accepts the lower product. Write its number, who accepted it and when.",
            code="no_order",
            field="orders",
        )
    customers = {customer.pk: customer for customer in customers_of(batch)}
    kept: dict[int, CustomerOrder] = {}
    for order in orders:
        customer = customers.get(order.customer_id)
        if customer is None:
            raise RecordRefused(
                "The order is of a customer without a tank in this batch.", code="stranger", field="orders"
            )
        if order.customer_id in kept:
            raise RecordRefused(f"{customer.name} is named twice.", code="twice", field="orders")
        kept[order.customer_id] = _whole(order, customer, by)
    return list(kept.values())


def _whole(order: CustomerOrder, customer: Customer, by: By) -> CustomerOrder:
    today = plant_day(by.happened_at)
    if order.accepted_on > today:
        raise RecordRefused(
            f"{customer.name} accepted on {order.accepted_on:%Y-%m-%d}, which lies ahead; today is {today:%Y-%m-%d}.",
            code="ahead",
            field="orders",
        )
    number = words_of(
        order.order_number, f"The order number of {customer.name}", field="orders", most=40, least=2
    )
    who = words_of(
        order.accepted_by, f"Who accepted it at {customer.name}", field="orders", most=120, least=2
    )
    return CustomerOrder(order.customer_id, number, who, order.accepted_on)


def _plain(order: CustomerOrder) -> dict[str, Any]:
    customer = Customer.objects.get(pk=order.customer_id)
    return {
        "customer": customer.code,
        "order": order.order_number,
        "accepted_by": order.accepted_by,
        "accepted_on": order.accepted_on.isoformat(),
    }


def _refuse_second(by: By, batch: Batch, together: TwoPeople) -> None:
    """Raises: RecordRefused, NotAllowed unless another person with the right, who did not work on the bed, agrees."""
    second = together.second.user
    if second.pk == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} judges it, so the second person is another one.",
            field="second_username",
            code="own_work",
        )
    require(together.second, SECOND_RIGHT, batch.segregation_class)
    worked = performed_by(batch, second.pk)
    if worked:
        raise RecordRefused(
            f"{second.full_name} {' and '.join(worked)} in this batch, so another person must agree to the downgrade.",
            field="second_username",
            code="own_work",
        )


def _signed(
    by: By, batch: Batch, together: TwoPeople, content: dict[str, Any]
) -> tuple[Signature, Signature]:
    """Both signatures over the same content, each on a record of its own. Raises: SignatureRefused."""
    zone = profile().time_zone
    own, second = (
        bind(
            permit, by=who, meaning=DOWNGRADE_MEANING, record_kind=kind, record_key=batch.number, record_version=1,
            content=content, zone=zone,
        )
        for kind, who, permit in (
            ("qc_decision", by, together.permit),
            ("downgrade", together.second, together.second_permit),
        )
    )  # fmt: skip
    return own, second


def _tanks_down(by: By, batch: Batch, to_class: str, customers: set[int]) -> list[str]:
    """The tanks of those who accept go down with the resin; returns their serials. Nothing where the class stays."""
    if to_class == batch.segregation_class:
        return []
    links = batch.tank_links.filter(is_current=True, visit__customer__in=customers).select_related(
        "visit__tank"
    )
    for link in links:
        downgrade_tank(by=by, visit_id=link.visit_id, to_class=to_class, batch_was_downgraded=True)
    return [link.visit.tank.serial for link in links]


say("batch.downgraded", "{subject} went down to {to}, class {to_class}, and passed; signed by two people")
